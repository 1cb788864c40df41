"""`done` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.decisions.outcome import LearnedShares
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
            "To paste under [finished] in the plan, if you agree", [f"{s.line}  ({s.plan})" for s in shares.learned]
        ),
        bullets("Take care", cautions),
    ]
    return "\n".join(part for part in parts if part)


def _jobs(jobs: Sequence[JobOutcome]) -> str:
    columns = [
        Column("row"), Column("plan", figures=False), Column("finished"), Column("hours"), Column("planned"),
        Column("paid out"), Column("planned"), Column("net cost"), Column("planned"), Column("over"),
    ]  # fmt: skip
    rows = [
        (
            str(j.row), j.plan, j.finished_on.isoformat(), _figure(j.hours.actual), _figure(j.hours.planned),
            money(j.paid.actual), money(j.paid.planned), money(j.net_cost.actual), money(j.net_cost.planned),
            _over(j.net_cost),
        )
        for j in jobs
    ]  # fmt: skip
    why = [
        wrapped(f"row {j.row}: {what}: {one.reason}", bullet="- ")
        for j in jobs
        for what, one in (("hours", j.hours), ("paid out", j.paid))
        if one.actual is None
    ]
    return "\n".join([table(columns, rows), *why])


def _figure(value: Decimal | None) -> str:
    return "?" if value is None else figure(value)


def _over(one: Against) -> str:
    return "?" if one.more is None else f"{one.more:+,.0f}"


def _sales(jobs: Sequence[JobOutcome], shares: LearnedShares) -> str:
    by_row = {sale.row: sale for sale in shares.sales}
    columns = [
        Column("row"), Column("plan", figures=False), Column("sold"), Column("for, gross"), Column("profit"),
        Column("margin"), Column("planned"), Column("markup"), Column("of the market"), Column("planned"),
    ]  # fmt: skip
    rows, why = [], []
    for j in jobs:
        if j.sold_for is None:
            continue
        sale, seen = j.sale, by_row.get(j.row)
        rows.append(
            (
                str(j.row), j.plan, j.sold_on.isoformat() if j.sold_on else "?", money(j.sold_for, cents=True),
                money(sale.profit if sale else None, cents=True), percent(sale.margin if sale else None, 1),
                percent(j.planned_margin, 1), percent(sale.markup if sale else None, 1),
                percent(seen.share if seen else None, 1), percent(seen.planned if seen else None),
            )
        )  # fmt: skip
        if sale is None:
            why.append(wrapped(f"row {j.row}: profit: {j.sale_reason}", bullet="- "))
    return "\n".join([table(columns, rows), *why]) if rows else "  none yet"


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
            f"{s.low} to {s.high} %",
        )
        for s in shares.learned
    ]  # fmt: skip
    return table(columns, rows)
