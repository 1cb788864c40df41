"""done.csv: finished builds, one row each, as a workshop keeps them beside its plans.

Hours stand in one column for each operation of [work.hours], named after it (`hours_edge`), the hours of the whole job
in `hours`. Only `plan` and `finished_on` must be filled; what was not written down stays blank and is never taken as 0.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.columns import Column, ColumnFindings, date_column, known_amount, number_column, word_column
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import TextTable, read_table
from kitvalue.intake.text.numbers import Amount, Reading, Sign, read_amount, read_number
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem, shown
from kitvalue.intake.text.words import Refusal, fold, listed, nearest, trimmed, visible

HOURS: Final = "hours_"  # begins the column of an operation
_HOURS_CURE: Final = "write hours as a number, such as 6.5, or leave it blank if nobody wrote them down"
_COST_CURE: Final = "write one amount, or leave it blank if unknown"
_MOST_HOURS: Final = 10_000
_CLOCK: Final = re.compile(r"(\d{1,4}):([0-5]\d)(?::00)?")  # 5:30, as spreadsheets show a duration


REQUIRED: Final = ("plan", "finished_on")
OPTIONAL: Final = ("hours", "cost", "sold_on", "sold_for", "note")


@dataclass(frozen=True, slots=True)
class OperationHours:
    """Hours that one build took for an operation, all its units together."""

    operation: str
    hours: Decimal


@dataclass(frozen=True, slots=True)
class FinishedBuild:
    """One finished build. Whatever is None was not written down.

    `hours` are the shop's own hours of the whole job, `operations` those of single operations. `cost` is the money paid
    out, net: donors with freight, sent-out work and parts, less what was sold off; the shop's own hours are not in it.
    `sold_for` is the kit's price, gross, without the freight that the buyer was charged.
    """

    row: int
    plan: str
    finished_on: dt.date
    hours: Decimal | None
    operations: tuple[OperationHours, ...]
    cost: Decimal | None
    sold_on: dt.date | None
    sold_for: Decimal | None
    note: str | None


@dataclass(frozen=True, slots=True)
class DoneReading:
    """What came of reading done.csv: the usable builds in file order, every problem, and the counts."""

    builds: tuple[FinishedBuild, ...]
    problems: tuple[Problem, ...]
    counts: FileCounts


@dataclass(frozen=True, slots=True)
class _OperationColumn:
    operation: str
    column: Column[Amount]


@dataclass(frozen=True, slots=True)
class _Columns:
    plan: Column[str]
    finished_on: Column[dt.date]
    hours: Column[Amount]
    cost: Column[Amount]
    sold_on: Column[dt.date]
    sold_for: Column[Amount]
    note: Column[str]
    operations: tuple[_OperationColumn, ...]
    numbers: tuple[ColumnFindings[Amount], ...]
    days: tuple[ColumnFindings[dt.date], ...]


def done_columns(shop: Shop) -> WantedColumns:
    """The columns of done.csv: one of hours for each operation of the shop."""
    operations = shop.work.hours if shop.work is not None else {}
    return WantedColumns(REQUIRED, (*OPTIONAL, *(HOURS + name for name in operations)))


def read_done(path: Path, shop: Shop, plans: Sequence[str]) -> DoneReading:
    """Read the finished builds; `plans` are the names of the shop's plans. Every problem is in the result."""
    try:
        table = read_table(path, done_columns(shop), shop.files)
    except FileError as error:
        return DoneReading((), error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    columns = _columns(table, shop, plans, shop.files.decimal)
    proven = {found.sign for found in columns.numbers if found.sign is not None}
    if shop.files.decimal is None and len(proven) == 1:  # one file, one decimal sign: a column may prove it for another
        columns = _columns(table, shop, plans, proven.pop())
    unread = (*(number.undecided for number in columns.numbers), *(day.undecided for day in columns.days))
    undecided = [one for one in unread if one is not None]
    sign = next((found.sign for found in columns.numbers if found.sign is not None), shop.files.decimal)
    if undecided:
        counts = table.counts(0, sign)
        return DoneReading((), (*table.problems, *undecided), counts)
    problems = [*table.problems, *(warning for found in columns.numbers for warning in found.warnings)]
    builds: list[FinishedBuild] = []
    first: dict[tuple[str, ...], int] = {}
    for at in range(len(table)):
        found = [*_cell_problems(table, columns, at), *_across(table, columns, at), *_again(table, at, first)]
        problems += found
        if not any(problem.level is Level.REFUSED for problem in found):
            builds.append(_build(table, columns, at))
    problems.sort(key=lambda problem: problem.row or 0)
    counts = table.counts(len(builds), sign)
    return DoneReading(tuple(builds), tuple(problems), counts)


def _columns(table: TextTable, shop: Shop, plans: Sequence[str], decimal: Sign | None) -> _Columns:
    numbers: list[ColumnFindings[Amount]] = []

    def number(name: str, read: Callable[[str], Reading], check: Callable[[Amount], Refusal | None], cure: str) -> (
        Column[Amount]
    ):  # fmt: skip
        numbers.append(number_column(table, name, read, check, cure, decimal))
        return numbers[-1].column

    days = [date_column(table, name, shop.files.day_first) for name in ("finished_on", "sold_on")]
    own = shop.shop.currency
    operations = shop.work.hours if shop.work is not None else {}
    return _Columns(
        plan=word_column(table, "plan", _plan_reader(plans), "write the name of its plan"),
        finished_on=days[0].column,
        hours=number("hours", read_hours, hours_check, _HOURS_CURE),
        cost=number("cost", read_amount, _money_check(own, zero=True), _COST_CURE),
        sold_on=days[1].column,
        sold_for=number("sold_for", read_amount, _money_check(own, zero=False), "write what the kit was sold for"),
        note=word_column(table, "note", str, ""),
        operations=tuple(
            _OperationColumn(name, number(HOURS + name, read_hours, hours_check, _HOURS_CURE)) for name in operations
        ),
        numbers=tuple(numbers),
        days=tuple(days),
    )


def _plan_reader(plans: Sequence[str]) -> Callable[[str], str | Refusal]:
    known = {fold(name): name for name in plans}

    def read(text: str) -> str | Refusal:
        name = trimmed(text)
        found = known.get(fold(name)) or known.get(fold(name.removesuffix(".toml")))
        if found is not None:
            return found
        likely = nearest(name, plans)
        names = listed(plans) if plans else "there are none"
        return Refusal(
            "unknown_plan", "is no plan in builds/", f"did you mean {likely}?" if likely else f"the plans: {names}"
        )

    return read


def read_hours(text: str) -> Reading:
    """Hours as a number, or as hours and minutes with a colon: 5:30 is 5.5."""
    clock = _CLOCK.fullmatch(visible(text))
    return read_number(text) if clock is None else Amount(Decimal(clock[1]) + Decimal(clock[2]) / 60)


def hours_check(amount: Amount) -> Refusal | None:
    """Hours are 0 or more, and no year of them."""
    if amount.value < 0:
        return Refusal("negative", "is below 0")
    return Refusal("range", "is no sensible number of hours") if amount.value > _MOST_HOURS else None


def _money_check(currency: str, *, zero: bool) -> Callable[[Amount], Refusal | None]:
    def check(amount: Amount) -> Refusal | None:
        if amount.currencies and currency not in amount.currencies:
            return Refusal("currency", f"is not in {currency}", f"write the amount in {currency}")
        if amount.value < 0 or (amount.value == 0 and not zero):
            return Refusal("not_positive", "must be 0 or more" if zero else "must be above 0")
        return None

    return check


def _cell_problems(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    required: tuple[Column[object], ...] = (columns.plan.plain(), columns.finished_on.plain())
    optional = (
        columns.hours.plain(), columns.cost.plain(), columns.sold_on.plain(), columns.sold_for.plain(),
        *(one.column.plain() for one in columns.operations),
    )  # fmt: skip
    for column in (*required, *optional):
        value = column.values[at]
        if isinstance(value, Refusal):
            yield column.problem(table, at, value)
        elif value is None and column in required:
            yield column.problem(table, at, Refusal("empty", "is empty"))


def _across(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    total, parts = known_amount(columns.hours, at), _operations(columns, at)
    together = sum((part.hours for part in parts), Decimal(0))
    if total is not None and together > total:
        why = Refusal(
            "hours_sum", f"is less than the operations of this row together ({together.normalize():f})",
            "correct one of them; hours are those of the whole job",
        )  # fmt: skip
        yield columns.hours.problem(table, at, why)
    sold_for, sold_on = columns.sold_for.values[at], columns.sold_on.values[at]
    if isinstance(sold_for, Amount) and sold_on is None:
        message = "the day of the sale is not written down, so this sale teaches nothing about the share; add sold_on"
        cell = columns.sold_for.cells[at]
        yield Problem(table.file, table.row(at), columns.sold_for.header, cell, "no_sold_on", Level.WARNING, message)
    if isinstance(sold_on, dt.date) and sold_for is None:
        yield columns.sold_on.problem(
            table, at, Refusal("no_sold_for", "has no price beside it", "add sold_for, or leave both blank")
        )


def _again(table: TextTable, at: int, first: dict[tuple[str, ...], int]) -> Iterator[Problem]:
    """A row that says the same as an earlier one in every cell: one job written down twice."""
    cells = tuple(trimmed(cell) for cell in table.row_cells(at))
    row = table.row(at)
    if first.setdefault(cells, row) != row:
        message = (
            f"repeats row {first[cells]} in every cell ({shown(cells[0])}); delete it, or say in note what differs"
        )
        yield Problem(table.file, row, None, cells[0], "row_twice", Level.REFUSED, message)


def _operations(columns: _Columns, at: int) -> tuple[OperationHours, ...]:
    found = ((one.operation, known_amount(one.column, at)) for one in columns.operations)
    return tuple(OperationHours(name, hours) for name, hours in found if hours is not None)


def _build(table: TextTable, columns: _Columns, at: int) -> FinishedBuild:
    return FinishedBuild(
        row=table.row(at),
        plan=columns.plan.sure(at),
        finished_on=columns.finished_on.sure(at),
        hours=known_amount(columns.hours, at),
        operations=_operations(columns, at),
        cost=known_amount(columns.cost, at),
        sold_on=columns.sold_on.known(at),
        sold_for=known_amount(columns.sold_for, at),
        note=columns.note.known(at),
    )
