"""`done` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.decisions.outcome import LearnedShares, ShareOutcome
from kitvalue.pages.terminal.table import Column, bullets, figure, money, percent, table, wrapped
from kitvalue.workshop.learned import LearnedHours, LearnedOperations, settings_lines
from kitvalue.workshop.outcome import Against, JobOutcome


def outcome_text(
    jobs: Sequence[JobOutcome], hours: LearnedOperations, shares: LearnedShares, currency: str, cautions: Sequence[str]
) -> str:
    """Finished builds against their plans, and what they teach: settings to paste, never changed by themselves."""
    if not jobs:
        return "No finished build is written down in done.csv yet."
    parts = [
        f"Finished builds: planned against actual (net {currency})\n{_jobs(jobs)}\n",
        f"What they were sold for\n{_sales(jobs, shares)}\n",
        f"Hours by operation, of all jobs together\n{_operations(hours)}\n" if hours.operations else "",
        _offered("To paste under [work.hours] in shop.toml, if you agree", settings_lines(hours)),
        f"The share of an original's price that the builds fetched\n{_shares(shares)}\n",
        _offered(
            "To paste under [finished] in the plan, if you agree",
            [line for s in shares.learned for line in (f"in {s.plan}:", f"  {s.line}")],
        ),
        bullets("Take care", cautions),
    ]
    return "\n".join(part for part in parts if part)


def _jobs(jobs: Sequence[JobOutcome]) -> str:
    columns = [
        Column("row"), Column("plan, finished", figures=False), Column("", figures=False), Column("hours"),
        Column("paid out"), Column("net cost"), Column("over"),
    ]  # fmt: skip
    rows = [line for j in jobs for line in _job(j)]
    why = [
        wrapped(f"row {j.row}: {what}: {one.reason}", bullet="- ")
        for j in jobs
        for what, one in (("hours", j.hours), ("paid out", j.paid))
        if one.actual is None
    ]
    return "\n".join([table(columns, rows), *why])


def _job(j: JobOutcome) -> list[tuple[str, ...]]:
    """What it came to, and what was planned under it."""
    return [
        (
            str(j.row), j.plan, "actual", _figure(j.hours.actual), money(j.paid.actual), money(j.net_cost.actual),
            _over(j.net_cost),
        ),
        (
            "", j.finished_on.isoformat(), "planned", _figure(j.hours.planned), money(j.paid.planned),
            money(j.net_cost.planned), "",
        ),
    ]  # fmt: skip


def _figure(value: Decimal | None) -> str:
    return "?" if value is None else figure(value)


def _over(one: Against) -> str:
    return "?" if one.more is None else f"{one.more:+,.0f}"


def _sales(jobs: Sequence[JobOutcome], shares: LearnedShares) -> str:
    by_row = {sale.row: sale for sale in shares.sales}
    columns = [
        Column("row"), Column("plan, sold", figures=False), Column("", figures=False), Column("for, gross"),
        Column("profit"), Column("margin"), Column("markup"), Column("of the market"),
    ]  # fmt: skip
    sold = [j for j in jobs if j.sold_for is not None]
    rows = [line for j in sold for line in _sale(j, by_row.get(j.row))]
    why = [wrapped(f"row {j.row}: profit: {j.sale_reason}", bullet="- ") for j in sold if j.sale is None]
    return "\n".join([table(columns, rows), *why]) if rows else "  none yet"


def _sale(j: JobOutcome, seen: ShareOutcome | None) -> list[tuple[str, ...]]:
    """What it brought, and what was planned under it."""
    sale = j.sale
    return [
        (
            str(j.row), j.plan, "actual", money(j.sold_for, cents=True),
            money(sale.profit if sale else None, cents=True), percent(sale.margin if sale else None, 1),
            percent(sale.markup if sale else None, 1), percent(seen.share if seen else None, 1),
        ),
        (
            "", j.sold_on.isoformat() if j.sold_on else "?", "planned", "", "", percent(j.planned_margin, 1), "",
            percent(seen.planned if seen else None),
        ),
    ]  # fmt: skip


def _operations(hours: LearnedOperations) -> str:
    columns = [
        Column("", figures=False), Column("for one", figures=False), Column("jobs"), Column("setting"),
        Column("their mean"), Column("learned"), Column("8 in 10"), Column("own weight"),
    ]  # fmt: skip
    lines = [table(columns, [_operation(one) for one in hours.operations])]
    if hours.common is not None:
        lines.append(
            wrapped(
                f"all operations together took {hours.common:.2f} times their settings; an operation seen in few jobs "
                "leans on that (own weight: how far it follows its own jobs)"
            )
        )
    reasons = dict.fromkeys(one.reason for one in hours.operations if one.reason)
    for reason in reasons:
        names = ", ".join(one.operation for one in hours.operations if one.reason == reason)
        lines.append(wrapped(f"{names}: {reason}", bullet="- "))
    return "\n".join(lines)


def _operation(one: LearnedHours) -> tuple[str, ...]:
    span = "-" if one.low is None or one.high is None else f"{figure(one.low)} to {figure(one.high)}"
    return (
        one.operation, one.unit, str(one.jobs), figure(one.planned), _figure(one.own), _figure(one.learned), span,
        percent(None if one.weight is None else 100 * one.weight),
    )  # fmt: skip


def _offered(heading: str, lines: Sequence[str]) -> str:
    return "\n".join([heading, *(f"  {line}" for line in lines)]) + "\n" if lines else ""


def _shares(shares: LearnedShares) -> str:
    if shares.reason is not None:
        return wrapped(shares.reason)
    columns = [
        Column("plan", figures=False), Column("held against", figures=False), Column("sales"), Column("planned"),
        Column("their mean"), Column("learned"), Column("8 in 10"),
    ]  # fmt: skip
    rows = [
        (
            s.plan, s.series, str(s.sales), percent(s.planned), percent(s.own, 1), percent(s.learned, 1),
            f"{s.low:.0f} to {s.high:.0f} %",
        )
        for s in shares.learned
    ]  # fmt: skip
    return table(columns, rows)
