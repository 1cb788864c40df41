"""`done` as a JSON object."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.decisions.outcome import LearnedShares
from kitvalue.pages.answers.common import Answer, money, number
from kitvalue.workshop.learned import LearnedOperations, settings_lines
from kitvalue.workshop.outcome import Against, JobOutcome


def outcome_answer(
    jobs: Sequence[JobOutcome], hours: LearnedOperations, shares: LearnedShares, currency: str
) -> Answer:
    """`done`. Money is net but for `sold_for`; hours of `learned_hours` are for one unit, shares in percent."""
    return {
        "currency": currency,
        "jobs": [_job(job) for job in jobs],
        "common_hours_factor": number(hours.common),
        "learned_hours": [
            {
                "operation": one.operation, "unit": one.unit or None, "jobs": one.jobs, "planned": number(one.planned),
                "own": number(one.own), "learned": number(one.learned), "low": number(one.low),
                "high": number(one.high), "weight": number(one.weight), "reason": one.reason,
            }
            for one in hours.operations
        ],
        "work_hours_lines": list(settings_lines(hours)),
        "sales": [
            {
                "row": s.row, "plan": s.plan, "series": s.series, "sold_on": s.sold_on.isoformat(),
                "sold_for": money(s.sold_for), "typical": money(s.typical), "share": number(s.share),
                "planned": number(s.planned),
            }
            for s in shares.sales
        ],
        "learned_shares": [
            {
                "plan": s.plan, "series": s.series, "sales": s.sales, "planned": number(s.planned),
                "own": number(s.own), "learned": number(s.learned), "low": number(s.low), "high": number(s.high),
                "weight": number(s.weight), "line": s.line,
            }
            for s in shares.learned
        ],
        "shares_reason": shares.reason,
    }  # fmt: skip


def _job(job: JobOutcome) -> Answer:
    sale = job.sale
    return {
        "row": job.row, "plan": job.plan, "title": job.title, "finished_on": job.finished_on.isoformat(),
        "hours": _figures(job.hours),
        "operations": [
            {
                "operation": one.operation, "unit": one.unit or None, "quantity": number(one.quantity),
                "planned": number(one.hours.planned), "actual": number(one.hours.actual), "reason": one.hours.reason,
            }
            for one in job.operations
        ],
        "paid_out": _sums(job.paid), "net_cost": _sums(job.net_cost),
        "sold_on": job.sold_on.isoformat() if job.sold_on else None, "sold_for": money(job.sold_for),
        "vat": money(sale.vat if sale else None), "net": money(sale.net if sale else None),
        "profit": money(sale.profit if sale else None), "margin": number(sale.margin if sale else None),
        "markup": number(sale.markup if sale else None), "planned_margin": number(job.planned_margin),
        "sale_reason": job.sale_reason, "note": job.note,
    }  # fmt: skip


def _figures(one: Against) -> Answer:
    return {"planned": number(one.planned), "actual": number(one.actual), "reason": one.reason}


def _sums(one: Against) -> Answer:
    return {"planned": money(one.planned), "actual": money(one.actual), "reason": one.reason}
