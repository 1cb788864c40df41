"""Whole columns of days: each cell by itself, and what the others show where one can be read in two ways."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.columns import Column, ColumnFindings, parsed_or_blank, raw_cells
from kitvalue.intake.dates import DateReading, Day, SeveralDays, day_order, read_date
from kitvalue.intake.decoding import file_problem
from kitvalue.intake.problems import Problem, shown
from kitvalue.intake.tables import TextTable
from kitvalue.intake.words import Refusal, is_dash, rows_phrase, says_not_known

ROWS_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class DaysProven:
    """What a whole column of days shows: whether any day can be read in one way only, and the first rows that can only
    be read day first and month first. The rows are looked for only where a cell can be read in two ways.
    """

    any_day: bool = False
    day_first: tuple[int, ...] = ()
    month_first: tuple[int, ...] = ()

    def cure(self) -> str:
        """What to do about a cell that can be several days. The other rows are named; they decide nothing."""
        if self.day_first and self.month_first:
            day, month = f"row {self.day_first[0]}", f"row {self.month_first[0]}"
            return f"write it as one of these: {day} can only be read day first, {month} only month first"
        if not self.day_first and not self.month_first:
            return "write it as one of these, or set day_first under [files]"
        value, rows = ("true", self.day_first) if self.day_first else ("false", self.month_first)
        setting = f"set day_first = {value} under [files], as {rows_phrase(rows)} can only be read"
        return f"write it as one of these, or {setting}"


def date_column(
    table: TextTable,
    name: str,
    day_first: bool | None,
    counted: Sequence[bool],
    proven: DaysProven | None = None,
) -> ColumnFindings[dt.date]:
    """A column of days. Where no cell of it can be read but some can be read in two ways, the file is unusable. Where
    the table holds some rows of a larger one, `proven` is what the whole column shows.
    """
    cells, present = raw_cells(table, name)
    header = table.header.name(name)
    readings = parsed_or_blank(cells, lambda cell: read_day(cell, day_first))
    several = [at for at, reading in enumerate(readings) if isinstance(reading, SeveralDays) and counted[at]]
    if proven is None:
        proven = _proven(table, cells, readings, bool(several))
    undecided = None
    if several and not proven.any_day:
        undecided = _undecided_date(table, header, cells, several, readings[several[0]])
    cure = proven.cure()
    settle = _last_day if undecided is not None else _settled_day
    known = {cell: settle(reading, cure) for cell, reading in zip(cells, readings, strict=True)}
    column = Column(
        header, cells, [known[cell] for cell in cells], "write the day as 2023-04-03, or leave it blank", present
    )
    return ColumnFindings(column, (), undecided)


def read_day(text: str, day_first: bool | None) -> DateReading | None:
    """The day in a cell; None for a dash and for what says that it is not known."""
    return None if is_dash(text) or says_not_known(text) else read_date(text, day_first)


def _proven(
    table: TextTable, cells: Sequence[str], readings: Sequence[DateReading | None], several: bool
) -> DaysProven:
    any_day = any(isinstance(reading, Day) for reading in readings)
    if not several:
        return DaysProven(any_day)
    orders = {cell: day_order(cell) for cell in set(cells)}
    found = [(orders[cell], row.row) for cell, row in zip(cells, table.rows, strict=True)]
    return DaysProven(any_day, _first(row for order, row in found if order is True),
                      _first(row for order, row in found if order is False))  # fmt: skip


def _first(rows: Iterable[int]) -> tuple[int, ...]:
    return tuple(row for row, _ in zip(rows, range(ROWS_NAMED), strict=False))


def _settled_day(reading: DateReading | None, cure: str) -> dt.date | Refusal | None:
    if isinstance(reading, Day):
        return reading.date
    if isinstance(reading, SeveralDays):
        return Refusal("two_dates", f"can be {' or '.join(day.isoformat() for day in reading.dates)}", cure)
    return reading


def _last_day(reading: DateReading | None, cure: str) -> dt.date | Refusal | None:
    """The same in an undecided column, in which no row is used: the last day that a cell can be leaves the cell to the
    column's one problem, and has an exchange rate wherever another one has.
    """
    return max(reading.dates) if isinstance(reading, SeveralDays) else _settled_day(reading, cure)


def _undecided_date(
    table: TextTable, header: str, cells: Sequence[str], several: Sequence[int], first: DateReading | None
) -> Problem | None:
    if not isinstance(first, SeveralDays):
        return None
    at = several[0]
    days = " or ".join(day.isoformat() for day in first.dates)
    others = ", ".join(f"{shown(cells[other])} in row {table.rows[other].row}" for other in several[1:3])
    also = f" (likewise {others}{' and more' if len(several) > 3 else ''})" if others else ""
    message = (
        f"{shown(cells[at])} can be {days}, and no date in this column shows which{also}; "
        "set day_first = true or false under [files], or write dates as 2023-04-03"
    )
    return file_problem(table.file, "undecided_date", message, row=table.rows[at].row, column=header, text=cells[at])
