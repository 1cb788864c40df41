"""What a table's columns are: said once for each, and from it the reading, the messages and the Table Schemas.

One skeleton reads every table: columns first, each different cell once; then what only several cells of a row show;
then a record for each row about which nothing speaks.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, Final, Generic, Literal, TypeVar

import numpy as np

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import BoolArray, Coded, FloatArray, TextTable, read_table
from kitvalue.intake.text.dates import DateReading, Day, SeveralDays, day_order, read_date
from kitvalue.intake.text.numbers import Amount, Reading, Sign, TwoReadings, both_readings, column_style, plain
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem, shown
from kitvalue.intake.text.words import Refusal, is_dash, rows_phrase, says_not_known, trimmed

Record = TypeVar("Record")
V = TypeVar("V", covariant=True)
Value = Any  # what a cell means: text, a number, a day; its column says which
_EMPTY: Final = Refusal("empty", "is empty")
_ROWS_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class Bounds:
    """Numbers from `lowest` on, up to `highest` where there is one, and why a number outside is refused."""

    low: Refusal
    zero: Refusal | None = None  # why 0 itself is outside
    highest: int | None = None
    high: Refusal | None = None  # that of `low` where None
    below: bool = False  # `highest` itself is outside
    lowest: Decimal = Decimal(0)

    def refusal(self, value: Decimal) -> Refusal | None:
        """Why a number lies outside; None where it lies inside."""
        if value < self.lowest:
            return self.low
        if value == 0 and self.zero is not None:
            return self.zero
        outside = self.highest is not None and (value > self.highest or (self.below and value == self.highest))
        return (self.high or self.low) if outside else None


@dataclass(frozen=True, slots=True)
class ColumnSpec:
    """One column. Its numbers and days may have several readings until the whole column is seen."""

    name: str
    read: Callable[[str], Any] = str
    cure: str = ""  # what to write instead of a refused cell
    kind: Literal["word", "number", "day"] = "word"
    unit: Literal["", "money", "percent", "hours", "weeks"] = ""
    needed: bool = False
    unless: str = ""  # the column that may be filled in instead of a needed one
    bounds: Bounds | None = None
    firm: bool = False  # an amount that is open to offers is refused
    own_money: bool = False  # and so is one in another currency than the shop's
    # The decimal sign that a column proves tells those with `takes_sign` that prove none how they are meant, if it
    # `gives_sign`; that of a column with "file" is the whole file's as well.
    gives_sign: Literal["", "columns", "file"] = ""
    takes_sign: bool = False
    by_shop: Callable[[Shop], Callable[[str], Any]] | None = None  # the reader where a shop's settings make it
    description: str = ""
    schema: Mapping[str, object] = field(default_factory=dict)  # what a Table Schema says beyond all this

    def reader(self, shop: Shop) -> Callable[[str], Any]:
        return self.by_shop(shop) if self.by_shop is not None else self.read

    def refusal(self, amount: Amount, shop: Shop) -> Refusal | None:
        """Why an amount is not allowed in the column; None where it is."""
        own = shop.shop.currency
        if self.own_money and amount.currencies and own not in amount.currencies:
            return Refusal("currency", f"is not in {own}", f"write the amount in {own}")
        if self.firm and amount.negotiable:
            return Refusal("negotiable", "says negotiable")
        return self.bounds.refusal(amount.value) if self.bounds is not None else None


def wanted(columns: Sequence[ColumnSpec]) -> WantedColumns:
    """The columns that a file's header is looked through for."""
    return WantedColumns(
        tuple(one.name for one in columns if one.needed), tuple(one.name for one in columns if not one.needed)
    )


@dataclass(frozen=True, slots=True, eq=False)
class Column(Generic[V]):
    """One column of a table, row by row: its text, what it means (None where blank), or why it cannot be taken."""

    table: TextTable
    header: str
    cells: Coded[str]
    values: Coded[V | Refusal | None]
    cure: str  # what to write instead where a refusal says nothing better
    present: bool = True  # False for a column that the file lacks: all its cells are then blank
    sign: Sign | None = None  # the decimal sign that a column of numbers proves or is read by
    mixed: Problem | None = None  # the warning that it proves both
    undecided: Problem | None = None  # makes the file unusable

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

    def problems(self, rows: BoolArray, empty: Refusal = _EMPTY) -> Iterator[Problem]:
        """Why the cells in some rows (n,) cannot be taken; `empty` is said of blank ones."""
        for at in np.flatnonzero(rows).tolist():
            value = self.values[at]
            yield self.problem(at, value if isinstance(value, Refusal) else empty)


def _word_column(table: TextTable, name: str, read: Callable[[str], Any], cure: str) -> Column[Any]:
    """A column whose cells each speak for themselves; every different one is read once."""
    place = table.header.places.get(name)
    cells = Coded([""], np.zeros(len(table), dtype=np.int32)) if place is None else table.cells[place]
    values = cells.map(lambda cell: read(cell) if trimmed(cell) else None)
    return Column(table, table.header.name(name), cells, values, cure, present=place is not None)


def _number_column(
    table: TextTable, spec: ColumnSpec, shop: Shop, decimal: Sign | None, counted: BoolArray
) -> Column[Amount]:
    """A column of numbers: cells that show their style as they are, the others by the style that the column proves,
    else by the setting `decimal`. `counted` rows speak for the column.
    """
    column = _word_column(table, spec.name, spec.read, spec.cure)
    readings: Coded[Reading | None] = column.values
    style = column_style(readings.each[code] for code in np.unique(readings.codes[counted]).tolist())
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
        return spec.refusal(reading, shop) or reading

    mixed = _mixed_in(column) if style.mixed else None
    return replace(column, values=readings.map(settled), sign=sign, mixed=mixed, undecided=undecided)


def _undecided(
    column: Column[Any], counted: BoolArray, kind: type, code: str, message: Callable[[str, Any, str], str]
) -> Problem | None:
    """The problem of a column in which nothing shows how cells of a `kind` are meant: the `message` of the first one
    that is `counted`, what it can be, and which others there are.
    """
    at = np.flatnonzero(column.values.where(lambda reading: isinstance(reading, kind)) & counted).tolist()
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
    few, many = (column.table.rows[places[sign]].tolist() for sign in (rare, common))
    sample = column.cells[int(places[rare][0])]
    message = f"number styles are mixed: decimal {names[rare]} in {rows_phrase(few)} ({shown(sample)}), "
    message += f"decimal {names[common]} in {rows_phrase(many, 3)}; each is read as it is written"
    return column.table.warning(column.header, sample, "mixed_styles", message)


def _date_column(
    table: TextTable, name: str, day_first: bool | None, today: dt.date, counted: BoolArray
) -> Column[dt.date]:
    """A column of days up to `today`. Where no cell of it can be read but some can be read in two ways, the file is
    unusable.
    """

    def read(text: str) -> DateReading | None:
        return None if is_dash(text) or says_not_known(text) else read_date(text, day_first, today)

    def can_be(several: SeveralDays) -> str:
        return f"can be {' or '.join(day.isoformat() for day in several.dates)}"

    def open_cell(cell: str, several: SeveralDays, others: str) -> str:
        cure = "set day_first = true or false under [files], or write dates as 2023-04-03"
        return f"{cell} {can_be(several)}, and no date in this column shows which{others}; {cure}"

    column = _word_column(table, name, read, "write the day as 2023-04-03, or leave it blank")
    readings: Coded[DateReading | None] = column.values
    undecided = None
    if not any(isinstance(reading, Day) for reading in readings.each):
        undecided = _undecided(column, counted, SeveralDays, "undecided_date", open_cell)
    cure = _which_day(column) if any(isinstance(reading, SeveralDays) for reading in readings.each) else ""

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
    """What to do about a cell that can be several days: rows that have one order only are named, and decide nothing."""
    orders, rows = column.cells.map(day_order), column.table.rows
    day = rows[orders.where(lambda first: first is True)][:_ROWS_NAMED].tolist()
    month = rows[orders.where(lambda first: first is False)][:_ROWS_NAMED].tolist()
    cure = "write it as one of these"
    if day and month:
        return f"{cure}: row {day[0]} can only be read day first, row {month[0]} only month first"
    if not day and not month:
        return f"{cure}, or set day_first under [files]"
    value = "true" if day else "false"
    return f"{cure}, or set day_first = {value} under [files], as {rows_phrase(day or month)} can only be read"


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Every column of a table, read; `undecided` columns make the file unusable. `sign`: the file's decimal sign."""

    table: TextTable
    by_name: Mapping[str, Column[Any]]
    warnings: tuple[Problem, ...]
    undecided: tuple[Problem, ...]
    sign: str | None

    def __getitem__(self, name: str) -> Column[Any]:
        return self.by_name[name]

    def known(self, name: str, at: int) -> Value:
        """The value in one row, an amount as its number; None where the cell is blank or refused."""
        value = self.by_name[name].known(at)
        return value.value if isinstance(value, Amount) else value

    def numbers(self, name: str) -> FloatArray:
        """(n,) the numbers of a column, 1/0 for yes/no; NaN where its cell is blank or refused."""

        def number(value: Value) -> float:
            value = value.value if isinstance(value, Amount) else value
            return np.nan if value is None or isinstance(value, str | Refusal) else float(value)

        return self.by_name[name].values.floats(number)

    def problem(self, name: str, at: int, code: str, reason: str, cure: str | None = None) -> Problem:
        """The refusal of one cell."""
        return self.by_name[name].problem(at, Refusal(code, reason, cure))


def read_columns(
    table: TextTable,
    specs: Sequence[ColumnSpec],
    shop: Shop,
    counted: BoolArray | None = None,
    today: dt.date = dt.date.max,
) -> Columns:
    """Every column by its own rules. Rows that are not `counted` (totals) prove nothing about a column. Days after
    `today` are refused.
    """
    speak = np.ones(len(table), dtype=bool) if counted is None else counted

    def column(spec: ColumnSpec, sign: Sign | None) -> Column[Any]:
        if spec.kind == "number":
            return _number_column(table, spec, shop, sign, speak)
        if spec.kind == "day":
            return _date_column(table, spec.name, shop.files.day_first, today, speak)
        return _word_column(table, spec.name, spec.reader(shop), spec.cure)

    decimal = shop.files.decimal
    columns = {spec.name: column(spec, decimal) for spec in specs}
    proven = {columns[spec.name].sign for spec in specs if spec.gives_sign} - {None}
    if len(proven) == 1:  # one file, one decimal sign: a column may prove it for another
        (sign,) = proven
        columns |= {spec.name: column(spec, sign) for spec in specs if spec.takes_sign and not columns[spec.name].sign}
    numbers_first = sorted(specs, key=lambda spec: spec.kind == "day")
    return Columns(
        table,
        columns,
        tuple(one.mixed for one in columns.values() if one.mixed is not None),
        tuple(why for spec in numbers_first if (why := columns[spec.name].undecided) is not None),
        next((sign for spec in specs if spec.gives_sign == "file" and (sign := columns[spec.name].sign)), decimal),
    )


@dataclass(frozen=True, slots=True)
class FileReading(Generic[Record]):
    """What came of reading a table: a record for each usable row in file order, every problem, and the counts."""

    rows: tuple[Record, ...]
    problems: tuple[Problem, ...]
    counts: FileCounts


def read_rows(
    path: Path,
    specs: Sequence[ColumnSpec],
    shop: Shop,
    across: Callable[[Columns], Iterable[Problem]],
    records: Callable[[Columns, Sequence[int]], Iterable[Record]],
    today: dt.date = dt.date.max,
) -> FileReading[Record]:
    """Read a table by a shop's settings, no day in it after `today`; a missing file is a problem like any other.
    `across` says what only several cells together show; `records` makes what the program works on of the rows that are
    not refused (their places).
    """
    try:
        table = read_table(path, wanted(specs), shop.files, may_be_empty=True)
    except FileError as error:
        return FileReading((), error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    columns = read_columns(table, specs, shop, today=today)
    if columns.undecided:
        return FileReading((), (*table.problems, *columns.undecided), table.counts(0, columns.sign))
    told: list[Problem] = []
    for spec in specs:
        column = columns[spec.name]
        lacks = column.blank() & spec.needed & (not spec.unless or columns[spec.unless].blank())
        told += column.problems(column.refused() | lacks)
    told += across(columns)
    refused = {problem.row for problem in told if problem.level is Level.REFUSED}
    rows = tuple(records(columns, [at for at in range(len(table)) if table.row(at) not in refused]))
    problems = sorted((*table.problems, *columns.warnings, *told), key=lambda problem: problem.row or 0)
    return FileReading(rows, tuple(problems), table.counts(len(rows), columns.sign))
