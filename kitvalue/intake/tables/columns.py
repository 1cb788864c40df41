"""Whole columns of text cells as values: each cell by itself first, then what only the column can decide."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Generic, TypeVar, get_args

import numpy as np

from kitvalue.intake.tables.table import BoolArray, Coded, TextTable
from kitvalue.intake.text.dates import DateReading, Day, SeveralDays, day_order, read_date
from kitvalue.intake.text.decoding import file_problem
from kitvalue.intake.text.numbers import (
    Amount,
    Reading,
    Sign,
    TwoReadings,
    both_readings,
    column_style,
    plain,
)
from kitvalue.intake.text.problems import Problem, shown
from kitvalue.intake.text.words import Refusal, is_dash, rows_phrase, says_not_known, trimmed

V = TypeVar("V", covariant=True)
EMPTY: Final = Refusal("empty", "is empty")


@dataclass(frozen=True, slots=True, eq=False)
class Column(Generic[V]):
    """One column of a table, row by row: its text, what it means (None where blank), or why it cannot be taken.

    `cure` tells what to write instead where a refusal says nothing better; `present` is False for a column that the
    file lacks (all its cells are then blank).
    """

    header: str
    cells: Coded[str]
    values: Coded[V | Refusal | None]
    cure: str
    present: bool = True

    def known(self, at: int) -> V | None:
        """The value in one row; None where the cell is blank or refused."""
        value = self.values[at]
        return None if isinstance(value, Refusal) else value

    def sure(self, at: int) -> V:
        """A value that earlier checks have found to be there."""
        value = self.known(at)
        if value is None:
            raise ValueError(f"column {self.header} has no value at {at}")
        return value

    def blank(self) -> BoolArray:
        """(n,) the rows that say nothing."""
        return self.values.where(lambda value: value is None)

    def refused(self) -> BoolArray:
        """(n,) the rows whose cell cannot be taken."""
        return self.values.where(lambda value: isinstance(value, Refusal))

    def plain(self) -> Column[object]:
        """The same column for code that asks no more than whether a cell was refused."""
        return self

    def problem(self, table: TextTable, at: int, why: Refusal) -> Problem:
        """The refusal of one cell as a problem of its row."""
        cell = self.cells[at]
        message = why.message(shown(cell) if trimmed(cell) else "the cell", self.cure)
        return table.problem(at, self.header, cell, why.code, message)

    def problems(self, table: TextTable, rows: BoolArray, empty: Refusal = EMPTY) -> Iterator[Problem]:
        """Why the cells in some rows (n,) cannot be taken; `empty` is said of blank ones."""
        for at in np.flatnonzero(rows).tolist():
            value = self.values[at]
            yield self.problem(table, at, value if isinstance(value, Refusal) else empty)


def known_amount(column: Column[Amount], at: int) -> Decimal | None:
    """The amount in one row; None where the cell is blank."""
    amount = column.known(at)
    return None if amount is None else amount.value


@dataclass(frozen=True, slots=True)
class ColumnFindings(Generic[V]):
    """A column and what was found while the whole of it was read; `undecided` makes the file unusable."""

    column: Column[V]
    warnings: tuple[Problem, ...] = ()
    undecided: Problem | None = None
    sign: Sign | None = None


def raw_cells(table: TextTable, name: str) -> tuple[Coded[str], bool]:
    """The cells of a column and whether the file has it."""
    cells = table.column(name)
    return (Coded([""], np.zeros(len(table), dtype=np.int32)), False) if cells is None else (cells, True)


def word_column(table: TextTable, name: str, parse: Callable[[str], V | Refusal | None], cure: str) -> Column[V]:
    """A column whose cells each speak for themselves."""
    cells, present = raw_cells(table, name)
    return Column(table.header.name(name), cells, parsed_or_blank(cells, parse), cure, present)


def parsed_or_blank(cells: Coded[str], parse: Callable[[str], V]) -> Coded[V | None]:
    """Every different cell parsed; None where it is blank."""
    return cells.map(lambda cell: parse(cell) if trimmed(cell) else None)


def number_column(
    table: TextTable,
    name: str,
    read: Callable[[str], Reading | None],
    check: Callable[[Amount], Refusal | None],
    cure: str,
    decimal: Sign | None,
    counted: BoolArray | None = None,
) -> ColumnFindings[Amount]:
    """A column of numbers: cells that show their style as they are, the others by the style that the column proves,
    else by the setting `decimal`. `counted` rows speak for the column (totals rows do not); all if not given.
    """
    cells, present = raw_cells(table, name)
    header = table.header.name(name)
    readings = parsed_or_blank(cells, read)
    speaking = readings if counted is None else readings.take(counted)
    style = column_style(speaking.each[code] for code in np.unique(speaking.codes).tolist())
    sign = style.sign or decimal
    undecided = None
    if sign is None and not style.mixed:
        undecided = _undecided_number(table, header, cells, readings, counted)
    known = [settled(reading, sign or _either(reading, undecided), check) for reading in readings.each]
    warnings = (_mixed_in(table, header, cells, readings),) if style.mixed else ()
    column = Column(header, cells, Coded(known, cells.codes), cure, present)
    return ColumnFindings(column, warnings, undecided, sign)


def _either(reading: Reading | None, undecided: Problem | None) -> Sign | None:
    """A sign for a cell of an undecided column, by which nothing is valued: it leaves the cell to the one problem that
    the column has, and the other cells of its row to be looked at.
    """
    return reading.mark if undecided is not None and isinstance(reading, TwoReadings) else None


def settled(
    reading: Reading | None, sign: Sign | None, check: Callable[[Amount], Refusal | None]
) -> Amount | Refusal | None:
    """What a cell means once its column's decimal sign is known."""
    if reading is None or isinstance(reading, Refusal):
        return reading
    if isinstance(reading, TwoReadings):
        if sign is None:
            why = both_readings("", reading).strip() + ", and the column mixes both styles"
            return Refusal("two_readings", why, _write_either(reading))
        reading = reading.under(sign)
    return check(reading) or reading


def _write_either(two: TwoReadings) -> str:
    return f"write {plain(two.as_thousands)} or {plain(two.as_decimal)}, or set decimal under [files]"


def _undecided_number(
    table: TextTable, header: str, cells: Coded[str], readings: Coded[Reading | None], counted: BoolArray | None
) -> Problem | None:
    several = readings.where(lambda reading: isinstance(reading, TwoReadings))
    at = np.flatnonzero(several if counted is None else several & counted).tolist()
    two = readings[at[0]] if at else None
    if not isinstance(two, TwoReadings):
        return None
    whole = plain(two.as_thousands)
    message = (
        f"{both_readings(shown(cells[at[0]]), two)}, and nothing in this column shows which"
        f"{_likewise(table, cells, at)}; "
        f'set decimal = "," or "." under [files], or write {whole} or {whole}.00'
    )
    row, text = table.row(at[0]), cells[at[0]]
    return file_problem(table.file, "undecided_decimal", message, row=row, column=header, text=text)


def _likewise(table: TextTable, cells: Coded[str], at: Sequence[int]) -> str:
    """Further cells of which the same is to be said, beside the first."""
    others = ", ".join(f"{shown(cells[other])} in row {table.row(other)}" for other in at[1:3])
    return f" (likewise {others}{' and more' if len(at) > 3 else ''})" if others else ""


def _mixed_in(table: TextTable, header: str, cells: Coded[str], readings: Coded[Reading | None]) -> Problem:
    """The warning about a column that proves both decimal signs: which rows prove which, with a cell of each."""
    signs = readings.map(lambda reading: reading.sign if isinstance(reading, Amount) else None)
    rows: dict[Sign, list[int]] = {}
    samples: dict[Sign, str] = {}
    for sign in get_args(Sign):
        at = np.flatnonzero(np.array([one == sign for one in signs.each])[signs.codes])
        rows[sign], samples[sign] = table.rows[at].tolist(), cells[int(at[0])]
    rare: Sign = "." if len(rows["."]) <= len(rows[","]) else ","
    common: Sign = "," if rare == "." else "."
    names = {",": "comma", ".": "dot"}
    message = (
        f"number styles are mixed: decimal {names[rare]} in {rows_phrase(rows[rare])} ({shown(samples[rare])}), "
        f"decimal {names[common]} in {rows_phrase(rows[common], 3)}; each is read as it is written"
    )
    return table.warning(header, samples[rare], "mixed_styles", message)


ROWS_NAMED: Final = 3


def date_column(
    table: TextTable, name: str, day_first: bool | None, counted: BoolArray | None = None
) -> ColumnFindings[dt.date]:
    """A column of days. Where no cell of it can be read but some can be read in two ways, the file is unusable."""
    cells, present = raw_cells(table, name)
    header = table.header.name(name)
    readings = parsed_or_blank(cells, lambda cell: read_day(cell, day_first))
    several = readings.where(lambda reading: isinstance(reading, SeveralDays))
    at = np.flatnonzero(several if counted is None else several & counted).tolist()
    undecided = None
    if at and not any(isinstance(reading, Day) for reading in readings.each):
        undecided = _undecided_date(table, header, cells, at, readings[at[0]])
    cure = _which_day(table, cells) if several.any() else ""
    settle = _last_day if undecided is not None else _settled_day
    values = readings.map(lambda reading: settle(reading, cure))
    column = Column(header, cells, values, "write the day as 2023-04-03, or leave it blank", present)
    return ColumnFindings(column, (), undecided)


def _which_day(table: TextTable, cells: Coded[str]) -> str:
    """What to do about a cell that can be several days. Rows that can be read in one order only are named; they decide
    nothing.
    """
    orders = cells.map(day_order)
    day = table.rows[orders.where(lambda first: first is True)][:ROWS_NAMED].tolist()
    month = table.rows[orders.where(lambda first: first is False)][:ROWS_NAMED].tolist()
    if day and month:
        return f"write it as one of these: row {day[0]} can only be read day first, row {month[0]} only month first"
    if not day and not month:
        return "write it as one of these, or set day_first under [files]"
    value, rows = ("true", day) if day else ("false", month)
    return (
        f"write it as one of these, or set day_first = {value} under [files], as {rows_phrase(rows)} can only be read"
    )


def read_day(text: str, day_first: bool | None) -> DateReading | None:
    """The day in a cell; None for a dash and for what says that it is not known."""
    return None if is_dash(text) or says_not_known(text) else read_date(text, day_first)


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
    table: TextTable, header: str, cells: Coded[str], at: Sequence[int], first: DateReading | None
) -> Problem | None:
    if not isinstance(first, SeveralDays):
        return None
    days = " or ".join(day.isoformat() for day in first.dates)
    message = (
        f"{shown(cells[at[0]])} can be {days}, and no date in this column shows which{_likewise(table, cells, at)}; "
        "set day_first = true or false under [files], or write dates as 2023-04-03"
    )
    row, text = table.row(at[0]), cells[at[0]]
    return file_problem(table.file, "undecided_date", message, row=row, column=header, text=text)
