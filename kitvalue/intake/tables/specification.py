"""What a table's columns are: said once for each, and from it the reading, the messages and the Table Schemas.

One skeleton reads every table: columns first, each different cell once; then what only several cells of a row show;
then a record for each row about which nothing speaks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar

import numpy as np

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.columns import Column, date_column, number_column, word_column
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import BoolArray, FloatArray, TextTable, read_table
from kitvalue.intake.text.numbers import Amount, Sign
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem
from kitvalue.intake.text.words import Refusal

Record = TypeVar("Record")
Value = Any  # what a cell means: text, a number, a day; its column says which


@dataclass(frozen=True, slots=True)
class Bounds:
    """Numbers from 0 on, up to `highest` where there is one, and why a number outside is refused."""

    low: Refusal
    zero: Refusal | None = None  # why 0 itself is outside
    highest: int | None = None
    high: Refusal | None = None  # that of `low` where None
    below: bool = False  # `highest` itself is outside

    def refusal(self, value: Decimal) -> Refusal | None:
        """Why a number lies outside; None where it lies inside."""
        if value < 0:
            return self.low
        if value == 0:
            return self.zero
        outside = self.highest is not None and (value > self.highest or (self.below and value == self.highest))
        return (self.high or self.low) if outside else None


@dataclass(frozen=True, slots=True)
class ColumnSpec:
    """One column: how a cell is read, what to write instead of a refused one, what is allowed.

    Numbers and days may have several readings until the whole column is seen. The decimal sign that a column proves
    tells those that prove none and have `takes_sign` how they are meant, if it is a column that `gives_sign`; that of a
    column with "file" is the whole file's as well.
    """

    name: str
    read: Callable[[str], Any] = str
    cure: str = ""
    kind: Literal["word", "number", "day"] = "word"
    unit: Literal["", "money", "percent", "hours", "weeks"] = ""
    needed: bool = False
    unless: str = ""  # the column that may be filled in instead of a needed one
    bounds: Bounds | None = None
    firm: bool = False  # an amount that is open to offers is refused
    own_money: bool = False  # and so is one in another currency than the shop's
    gives_sign: Literal["", "columns", "file"] = ""
    takes_sign: bool = False
    by_shop: Callable[[Shop], Callable[[str], Any]] | None = None  # the reader where a shop's settings make it
    description: str = ""
    schema: Mapping[str, object] = field(default_factory=dict)  # what a Table Schema says beyond all this

    def reader(self, shop: Shop) -> Callable[[str], Any]:
        return self.by_shop(shop) if self.by_shop is not None else self.read

    def check(self, shop: Shop) -> Callable[[Amount], Refusal | None]:
        """What is allowed of the amounts that the column holds."""
        own = shop.shop.currency

        def refusal(amount: Amount) -> Refusal | None:
            if self.own_money and amount.currencies and own not in amount.currencies:
                return Refusal("currency", f"is not in {own}", f"write the amount in {own}")
            if self.firm and amount.negotiable:
                return Refusal("negotiable", "says negotiable")
            return self.bounds.refusal(amount.value) if self.bounds is not None else None

        return refusal


def wanted(columns: Sequence[ColumnSpec]) -> WantedColumns:
    """The columns that a file's header is looked through for."""
    return WantedColumns(
        tuple(one.name for one in columns if one.needed), tuple(one.name for one in columns if not one.needed)
    )


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

    def amounts(self, name: str) -> FloatArray:
        """(n,) the numbers of a column; NaN where its cell is blank or refused."""
        column: Column[Amount] = self.by_name[name]
        return column.values.floats(lambda amount: float(amount.value) if isinstance(amount, Amount) else np.nan)

    def problem(self, name: str, at: int, code: str, reason: str, cure: str | None = None) -> Problem:
        """The refusal of one cell."""
        return self.by_name[name].problem(at, Refusal(code, reason, cure))


def read_columns(
    table: TextTable, specs: Sequence[ColumnSpec], shop: Shop, counted: BoolArray | None = None
) -> Columns:
    """Every column by its own rules. Rows that are not `counted` (totals) prove nothing about a column."""

    def column(spec: ColumnSpec, sign: Sign | None) -> Column[Any]:
        if spec.kind == "number":
            return number_column(table, spec.name, spec.read, spec.check(shop), spec.cure, sign, counted)
        if spec.kind == "day":
            return date_column(table, spec.name, shop.files.day_first, counted)
        return word_column(table, spec.name, spec.reader(shop), spec.cure)

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
) -> FileReading[Record]:
    """Read a table by a shop's settings; a missing file is a problem like any other. `across` says what only several
    cells together show; `records` makes what the program works on of the rows that are not refused (their places).
    """
    try:
        table = read_table(path, wanted(specs), shop.files)
    except FileError as error:
        return FileReading((), error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    columns = read_columns(table, specs, shop)
    if columns.undecided:
        return FileReading((), (*table.problems, *columns.undecided), table.counts(0, columns.sign))
    told: list[Problem] = []
    for spec in specs:
        column = columns[spec.name]
        told += column.problems(column.refused() | column.blank() if spec.needed else column.refused())
    told += across(columns)
    refused = {problem.row for problem in told if problem.level is Level.REFUSED}
    rows = tuple(records(columns, [at for at in range(len(table)) if table.row(at) not in refused]))
    problems = sorted((*table.problems, *columns.warnings, *told), key=lambda problem: problem.row or 0)
    return FileReading(rows, tuple(problems), table.counts(len(rows), columns.sign))
