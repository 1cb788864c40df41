"""done.csv: finished builds, one row each, as a workshop keeps them beside its plans.

Hours stand in one column for each operation of [work.hours], named after it (`hours_edge`), the hours of the whole job
in `hours`. Only `plan` and `finished_on` must be filled; what was not written down stays blank and is never taken as 0.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from kitvalue.intake.books.specs import DONE, HOURS, OWN_HOURS, plan_reader, price_refusal
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.specification import Columns, FileReading, read_rows
from kitvalue.intake.text.numbers import plain
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.words import trimmed


@dataclass(frozen=True, slots=True)
class OperationHours:
    """Hours that one build took for an operation, all its units together."""

    operation: str
    hours: Decimal


@dataclass(frozen=True, slots=True)
class FinishedBuild:
    """One finished build. Whatever is None was not written down.

    `cost` is the money paid out, net: donors with freight, sent-out work and parts, less what was sold off; the shop's
    own hours are not in it.
    """

    row: int
    plan: str
    finished_on: dt.date
    hours: Decimal | None  # the shop's own of the whole job
    operations: tuple[OperationHours, ...]
    cost: Decimal | None
    sold_on: dt.date | None
    sold_for: Decimal | None  # gross, without the freight that the buyer was charged
    note: str | None


def read_done(path: Path, shop: Shop, plans: Sequence[str], today: dt.date) -> FileReading[FinishedBuild]:
    """Read the finished builds; `plans` are the names of the shop's plans. Every problem is in the result."""
    operations = shop.work.hours if shop.work is not None else {}
    plan, *others = DONE
    of_operations = [replace(OWN_HOURS, name=HOURS + name) for name in operations]
    specs = [replace(plan, read=plan_reader(plans)), *others, *of_operations]

    def hours_of(columns: Columns, at: int) -> tuple[OperationHours, ...]:
        hours = ((name, columns.known(HOURS + name, at)) for name in operations)
        return tuple(OperationHours(name, taken) for name, taken in hours if taken is not None)

    def across(columns: Columns) -> Iterator[Problem]:
        table, sold_for, sold_on = columns.table, columns["sold_for"], columns["sold_on"]
        first: dict[tuple[str, ...], int] = {}
        for at in range(len(table)):
            total = columns.known("hours", at)
            together = sum((one.hours for one in hours_of(columns, at)), Decimal(0))
            if total is not None and together > total:
                reason = f"is less than the operations of this row together ({plain(round(together, 2))})"
                cure = "correct one of them; hours are those of the whole job"
                yield columns.problem("hours", at, "hours_sum", reason, cure)
            if sold_for.known(at) is not None and sold_on.values[at] is None:  # used all the same
                message = "the day of the sale is not written down, so this sale teaches nothing about the share; "
                message += "add sold_on"
                yield table.problem(at, sold_for.header, sold_for.cells[at], "no_sold_on", message, Level.WARNING)
            sold = columns.known("sold_for", at)
            if sold is not None and (why := price_refusal(sold, shop)) is not None:
                yield sold_for.problem(at, why)
            if sold_on.known(at) is not None and sold_for.values[at] is None:
                cure = "add sold_for, or leave both blank"
                yield columns.problem("sold_on", at, "no_sold_for", "has no price beside it", cure)
            cells = tuple(map(trimmed, table.row_cells(at)))
            row = first.setdefault(cells, table.row(at))
            if row != table.row(at):  # one job written down twice
                message = f"repeats row {row} in every cell ({shown(cells[0])}); delete it, or say in note what differs"
                yield table.problem(at, None, cells[0], "row_twice", message)

    def builds(columns: Columns, rows: Sequence[int]) -> Iterator[FinishedBuild]:
        for at in rows:
            values = {spec.name: columns.known(spec.name, at) for spec in DONE}
            yield FinishedBuild(row=columns.table.row(at), operations=hours_of(columns, at), **values)

    return read_rows(path, specs, shop, across, builds, today)
