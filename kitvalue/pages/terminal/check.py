"""`check` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.bookrows import RowAsRead
from kitvalue.intake.pricebook import FileCounts
from kitvalue.intake.problems import Level, Problem
from kitvalue.pages.terminal.market import counts_line
from kitvalue.pages.terminal.table import Column, figure, money, table

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}


def problem_lines(problems: Sequence[Problem]) -> list[str]:
    """Every problem in a line of its own, warnings marked."""
    return [("warning: " if p.level is Level.WARNING else "") + p.line() for p in problems]


def check_text(files: Sequence[FileCounts], problems: Sequence[Problem], rows: Sequence[RowAsRead] | None) -> str:
    """How each file was read, and what there is to do."""
    parts = [f"{counts_line(c)}{_dialect(c)}" for c in files]
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
    return "\n".join(parts)


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
