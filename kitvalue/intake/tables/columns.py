"""Whole columns of text cells as values: each cell by itself first, then what only the column can decide."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Generic, TypeVar

from kitvalue.intake.tables.table import TextTable
from kitvalue.intake.text.dates import DateReading, Day, SeveralDays, day_order, read_date
from kitvalue.intake.text.decoding import file_problem
from kitvalue.intake.text.numbers import (
    Amount,
    ColumnStyle,
    Reading,
    Sign,
    TwoReadings,
    both_readings,
    column_style,
    plain,
)
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.words import Refusal, is_dash, rows_phrase, says_not_known, trimmed

V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Column(Generic[V]):
    """One column of a table, row by row: its text, what it means (None where blank), or why it cannot be taken.

    `cure` tells what to write instead where a refusal says nothing better; `present` is False for a column that the
    file lacks (all its cells are then blank).
    """

    header: str
    cells: Sequence[str]
    values: Sequence[V | Refusal | None]
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

    def plain(self) -> Column[object]:
        """The same column for code that asks no more than whether a cell was refused."""
        return Column(self.header, self.cells, self.values, self.cure, self.present)

    def problem(self, table: TextTable, at: int, why: Refusal) -> Problem:
        """The refusal of one cell as a problem of its row."""
        cell = self.cells[at]
        message = why.message(shown(cell) if trimmed(cell) else "the cell", self.cure)
        return Problem(table.file, table.rows[at].row, self.header, cell, why.code, Level.REFUSED, message)


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


def raw_cells(table: TextTable, name: str) -> tuple[list[str], bool]:
    """The cells of a column and whether the file has it."""
    cells = table.column(name)
    return ([""] * len(table.rows), False) if cells is None else (cells, True)


def word_column(table: TextTable, name: str, parse: Callable[[str], V | Refusal | None], cure: str) -> Column[V]:
    """A column whose cells each speak for themselves."""
    cells, present = raw_cells(table, name)
    return Column(table.header.name(name), cells, parsed_or_blank(cells, parse), cure, present)


def parsed_or_blank(cells: Sequence[str], parse: Callable[[str], V]) -> list[V | None]:
    """Every cell parsed, equal texts once; None where it is blank."""
    known: dict[str, V | None] = {cell: parse(cell) if trimmed(cell) else None for cell in set(cells)}
    return [known[cell] for cell in cells]


def number_column(
    table: TextTable,
    name: str,
    read: Callable[[str], Reading | None],
    check: Callable[[Amount], Refusal | None],
    cure: str,
    decimal: Sign | None,
    counted: Sequence[bool],
    proven: ColumnStyle | None = None,
) -> ColumnFindings[Amount]:
    """A column of numbers: cells that show their style as they are, the others by the style that the column proves,
    else by the setting `decimal`. `counted` rows speak for the column (totals rows do not). Where the table holds some
    rows of a larger one, `proven` is what the whole column proves.
    """
    cells, present = raw_cells(table, name)
    header = table.header.name(name)
    readings = parsed_or_blank(cells, read)
    speaking = [reading for reading, speaks in zip(readings, counted, strict=True) if speaks and reading is not None]
    style = column_style(speaking) if proven is None else proven
    sign = style.sign or decimal
    undecided = None
    if sign is None and not style.mixed:
        undecided = _undecided_number(table, header, cells, readings, counted)
    known: dict[str, Amount | Refusal | None] = {}
    for cell, reading in zip(cells, readings, strict=True):
        if cell not in known:
            known[cell] = settled(cell, reading, sign or _either(reading, undecided), check)
    warnings = (_mixed_in(table, header, cells, readings),) if style.mixed and proven is None else ()
    column = Column(header, cells, [known[cell] for cell in cells], cure, present)
    return ColumnFindings(column, warnings, undecided, sign)


def _either(reading: Reading | None, undecided: Problem | None) -> Sign | None:
    """A sign for a cell of an undecided column, by which nothing is valued: it leaves the cell to the one problem that
    the column has, and the other cells of its row to be looked at.
    """
    return reading.mark if undecided is not None and isinstance(reading, TwoReadings) else None


def settled(
    cell: str, reading: Reading | None, sign: Sign | None, check: Callable[[Amount], Refusal | None]
) -> Amount | Refusal | None:
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
    table: TextTable, header: str, cells: Sequence[str], readings: Sequence[Reading | None], counted: Sequence[bool]
) -> Problem | None:
    found = [at for at, reading in enumerate(readings) if isinstance(reading, TwoReadings) and counted[at]]
    if not found:
        return None
    first = found[0]
    two = readings[first]
    if not isinstance(two, TwoReadings):
        return None
    others = "".join(f", {shown(cells[at])} in row {table.rows[at].row}" for at in found[1:3])
    also = f" (likewise{others[1:]}{' and more' if len(found) > 3 else ''})" if others else ""
    whole = plain(two.as_thousands)
    message = (
        f"{both_readings(shown(cells[first]), two)}, and nothing in this column shows which{also}; "
        f'set decimal = "," or "." under [files], or write {whole} or {whole}.00'
    )
    row = table.rows[first].row
    return file_problem(table.file, "undecided_decimal", message, row=row, column=header, text=cells[first])


def _mixed_in(table: TextTable, header: str, cells: Sequence[str], readings: Sequence[Reading | None]) -> Problem:
    rows: dict[Sign, list[int]] = {",": [], ".": []}
    samples: dict[Sign, str] = {}
    for at, reading in enumerate(readings):
        if isinstance(reading, Amount) and reading.sign is not None:
            rows[reading.sign].append(table.rows[at].row)
            samples.setdefault(reading.sign, cells[at])
    return mixed_warning(table.file, header, rows, samples)


def mixed_warning(file: str, header: str, rows: Mapping[Sign, Sequence[int]], samples: Mapping[Sign, str]) -> Problem:
    """The warning about a column that proves both decimal signs: which rows prove which, with a cell of each."""
    rare: Sign = "." if len(rows["."]) <= len(rows[","]) else ","
    common: Sign = "," if rare == "." else "."
    names = {",": "comma", ".": "dot"}
    message = (
        f"number styles are mixed: decimal {names[rare]} in {rows_phrase(rows[rare])} ({shown(samples[rare])}), "
        f"decimal {names[common]} in {rows_phrase(rows[common], 3)}; each is read as it is written"
    )
    return Problem(file, None, header, samples[rare], "mixed_styles", Level.WARNING, message)


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
