"""`check` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.alike import first_to_do, together
from kitvalue.intake.bookrows import RowAsRead
from kitvalue.intake.counts import FileCounts, PlanCounts
from kitvalue.intake.problems import Level, Problem
from kitvalue.pages.terminal.market import counts_line
from kitvalue.pages.terminal.table import Column, figure, money, table

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}


def problem_lines(problems: Sequence[Problem]) -> list[str]:
    """Every problem in the files' order, those of one kind in one line; warnings marked."""
    return [("warning: " if one.first.level is Level.WARNING else "") + one.line() for one in together(problems)]


def check_text(
    files: Sequence[FileCounts],
    plans: Sequence[PlanCounts],
    problems: Sequence[Problem],
    rows: Sequence[RowAsRead] | None,
) -> str:
    """How each file was read, and what there is to do."""
    parts = [f"{counts_line(c)}{_dialect(c)}" for c in files]
    if plans:
        parts.append(_plans(plans))
    if rows is not None:
        parts.insert(0, _rows(rows) + "\n")
    refused = sum(1 for p in problems if p.level is not Level.WARNING)
    warned = len(problems) - refused
    if refused:
        parts.append(f"{refused} to mend, {warned} to look at")
    elif warned:
        parts.append(f"nothing refused, {warned} to look at")
    else:
        parts.append("nothing to mend")
    if problems:
        parts.append(f"First: {first_to_do(problems, files)}")
    return "\n".join(parts)


def _plans(plans: Sequence[PlanCounts]) -> str:
    broken = [plan.file.rpartition("/")[2] for plan in plans if plan.drums is None]
    many = f"{len(plans)} plan{'s' if len(plans) > 1 else ''} read"
    return f"builds: {many}, {len(plans) - len(broken)} usable" + (f" (not {', '.join(broken)})" if broken else "")


def _dialect(c: FileCounts) -> str:
    known = [c.encoding, DELIMITERS.get(c.delimiter or ""), f"decimal {c.decimal}" if c.decimal else None]
    said = [k for k in known if k]
    return f"  ({', '.join(said)})" if said else ""


def _rows(rows: Sequence[RowAsRead]) -> str:
    columns = [
        Column("row"), Column("series", figures=False), Column("pieces"), Column("cond."), Column("price"),
        Column("", figures=False), Column("kind", figures=False), Column("channel", figures=False), Column("date"),
        Column("freight"),
    ]  # fmt: skip
    return table(
        columns,
        [
            (
                str(r.row), r.series, str(r.pieces), figure(r.condition), money(r.price, cents=True), r.currency,
                r.price_kind, r.channel, r.date.isoformat() if r.date else "-", money(r.freight, cents=True),
            )
            for r in rows
        ],
    )  # fmt: skip
