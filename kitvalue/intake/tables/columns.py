"""Whole columns of text cells as values: each cell by itself first, then what only the column can decide."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Generic, TypeVar

import numpy as np

from kitvalue.intake.tables.table import BoolArray, Coded, TextTable
from kitvalue.intake.text.dates import DateReading, Day, SeveralDays, day_order, read_date
from kitvalue.intake.text.numbers import Amount, Reading, Sign, TwoReadings, both_readings, column_style, plain
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.words import Refusal, is_dash, rows_phrase, says_not_known, trimmed

V = TypeVar("V", covariant=True)
EMPTY: Final = Refusal("empty", "is empty")
_ROWS_NAMED: Final = 3


@dataclass(frozen=True, slots=True, eq=False)
class Column(Generic[V]):
    """One column of a table, row by row: its text, what it means (None where blank), or why it cannot be taken.

    `cure` tells what to write instead where a refusal says nothing better; `present` is False for a column that the
    file lacks (all its cells are then blank). `sign` is the decimal sign that a column of numbers proves or is read
    by; `mixed` the warning that it proves both; `undecided` makes the file unusable.
    """

    table: TextTable
    header: str
    cells: Coded[str]
    values: Coded[V | Refusal | None]
    cure: str
    present: bool = True
    sign: Sign | None = None
    mixed: Problem | None = None
    undecided: Problem | None = None

    def known(self, at: int) -> V | None:
        """The value in one row; None where the cell is blank or refused."""
        value = self.values[at]
        return None if isinstance(value, Refusal) else value

    def blank(self) -> BoolArray:
        """(n,) the rows that say nothing."""
        return self.values.where(lambda value: value is None)

    def refused(self) -> BoolArray:
        """(n,) the rows whose cell cannot be taken."""
        return self.values.where(lambda value: isinstance(value, Refusal))

    def problem(self, at: int, why: Refusal) -> Problem:
        """The refusal of one cell as a problem of its row."""
        cell = self.cells[at]
        message = why.message(shown(cell) if trimmed(cell) else "the cell", self.cure)
        return self.table.problem(at, self.header, cell, why.code, message)

    def problems(self, rows: BoolArray, empty: Refusal = EMPTY) -> Iterator[Problem]:
        """Why the cells in some rows (n,) cannot be taken; `empty` is said of blank ones."""
        for at in np.flatnonzero(rows).tolist():
            value = self.values[at]
            yield self.problem(at, value if isinstance(value, Refusal) else empty)


def word_column(table: TextTable, name: str, read: Callable[[str], Any], cure: str) -> Column[Any]:
    """A column whose cells each speak for themselves; every different one is read once."""
    cells = table.column(name)
    present = cells is not None
    if cells is None:
        cells = Coded([""], np.zeros(len(table), dtype=np.int32))
    values = cells.map(lambda cell: read(cell) if trimmed(cell) else None)
    return Column(table, table.header.name(name), cells, values, cure, present)


def number_column(
    table: TextTable,
    name: str,
    read: Callable[[str], Reading | None],
    check: Callable[[Amount], Refusal | None],
    cure: str,
    decimal: Sign | None,
    counted: BoolArray | None = None,
) -> Column[Amount]:
    """A column of numbers: cells that show their style as they are, the others by the style that the column proves,
    else by the setting `decimal`. `counted` rows speak for the column (totals rows do not); all if not given.
    """
    column = word_column(table, name, read, cure)
    readings: Coded[Reading | None] = column.values
    speaking = readings if counted is None else readings.take(counted)
    style = column_style(speaking.each[code] for code in np.unique(speaking.codes).tolist())
    sign = style.sign or decimal
    undecided = None
    if sign is None and not style.mixed:

        def open_cell(cell: str, two: TwoReadings, others: str) -> str:
            whole = plain(two.as_thousands)
            cure = f'set decimal = "," or "." under [files], or write {whole} or {whole}.00'
            return f"{both_readings(cell, two)}, and nothing in this column shows which{others}; {cure}"

        undecided = _undecided(column, counted, TwoReadings, "undecided_decimal", open_cell)

    def settled(reading: Reading | None) -> Amount | Refusal | None:
        """What a cell means once its column's decimal sign is known."""
        if reading is None or isinstance(reading, Refusal):
            return reading
        if isinstance(reading, TwoReadings):
            # In an undecided column any sign will do, since nothing is valued: the cell is left to the column's one
            # problem, and the other cells of its row are looked at.
            known = sign or (reading.mark if undecided is not None else None)
            if known is None:
                why = both_readings("", reading).strip() + ", and the column mixes both styles"
                either = f"write {plain(reading.as_thousands)} or {plain(reading.as_decimal)}"
                return Refusal("two_readings", why, f"{either}, or set decimal under [files]")
            reading = reading.under(known)
        return check(reading) or reading

    mixed = _mixed_in(column) if style.mixed else None
    return replace(column, values=readings.map(settled), sign=sign, mixed=mixed, undecided=undecided)


def _undecided(
    column: Column[Any],
    counted: BoolArray | None,
    kind: type,
    code: str,
    message: Callable[[str, Any, str], str],
) -> Problem | None:
    """The problem of a column in which nothing shows how cells of a `kind` are meant: the `message` of the first one
    that is `counted`, what it can be, and which others there are.
    """
    several = column.values.where(lambda reading: isinstance(reading, kind))
    at = np.flatnonzero(several if counted is None else several & counted).tolist()
    if not at:
        return None
    row, text, reading = column.table.row(at[0]), column.cells[at[0]], column.values[at[0]]
    others = ", ".join(f"{shown(column.cells[other])} in row {column.table.row(other)}" for other in at[1:3])
    likewise = f" (likewise {others}{' and more' if len(at) > 3 else ''})" if others else ""
    told = message(shown(text), reading, likewise)
    return Problem(column.table.file, row, column.header, text, code, Level.FILE, told)


def _mixed_in(column: Column[Any]) -> Problem:
    """The warning about a column that proves both decimal signs: which rows prove which, with a cell of each."""
    signs = column.values.map(lambda reading: reading.sign if isinstance(reading, Amount) else None)
    names = {".": "dot", ",": "comma"}
    places = {sign: np.flatnonzero(np.array([one == sign for one in signs.each])[signs.codes]) for sign in names}
    rare, common = sorted(names, key=lambda sign: len(places[sign]))
    rows = {sign: column.table.rows[at].tolist() for sign, at in places.items()}
    sample = column.cells[int(places[rare][0])]
    message = (
        f"number styles are mixed: decimal {names[rare]} in {rows_phrase(rows[rare])} ({shown(sample)}), "
        f"decimal {names[common]} in {rows_phrase(rows[common], 3)}; each is read as it is written"
    )
    return column.table.warning(column.header, sample, "mixed_styles", message)


def date_column(
    table: TextTable, name: str, day_first: bool | None, counted: BoolArray | None = None
) -> Column[dt.date]:
    """A column of days. Where no cell of it can be read but some can be read in two ways, the file is unusable."""

    def read(text: str) -> DateReading | None:
        return None if is_dash(text) or says_not_known(text) else read_date(text, day_first)

    def can_be(several: SeveralDays) -> str:
        return f"can be {' or '.join(day.isoformat() for day in several.dates)}"

    def open_cell(cell: str, several: SeveralDays, others: str) -> str:
        cure = "set day_first = true or false under [files], or write dates as 2023-04-03"
        return f"{cell} {can_be(several)}, and no date in this column shows which{others}; {cure}"

    column = word_column(table, name, read, "write the day as 2023-04-03, or leave it blank")
    readings: Coded[DateReading | None] = column.values
    undecided, cure = None, ""
    if not any(isinstance(reading, Day) for reading in readings.each):
        undecided = _undecided(column, counted, SeveralDays, "undecided_date", open_cell)
    if any(isinstance(reading, SeveralDays) for reading in readings.each):
        cure = _which_day(column)

    def settled(reading: DateReading | None) -> dt.date | Refusal | None:
        if isinstance(reading, Day):
            return reading.date
        if not isinstance(reading, SeveralDays):
            return reading
        if undecided is not None:  # no row is used; the last day that it can be has a rate wherever another one has
            return max(reading.dates)
        return Refusal("two_dates", can_be(reading), cure)

    return replace(column, values=readings.map(settled), undecided=undecided)


def _which_day(column: Column[Any]) -> str:
    """What to do about a cell that can be several days. Rows that can be read in one order only are named; they decide
    nothing.
    """
    orders, rows = column.cells.map(day_order), column.table.rows
    day = rows[orders.where(lambda first: first is True)][:_ROWS_NAMED].tolist()
    month = rows[orders.where(lambda first: first is False)][:_ROWS_NAMED].tolist()
    if day and month:
        return f"write it as one of these: row {day[0]} can only be read day first, row {month[0]} only month first"
    if not day and not month:
        return "write it as one of these, or set day_first under [files]"
    value, only = ("true", day) if day else ("false", month)
    return (
        f"write it as one of these, or set day_first = {value} under [files], as {rows_phrase(only)} can only be read"
    )
