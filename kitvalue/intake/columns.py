"""Whole columns of text cells as values: each cell by itself first, then what only the column can decide."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Generic, TypeVar

from kitvalue.intake.decoding import file_problem
from kitvalue.intake.numbers import (
    Amount,
    ColumnStyle,
    Reading,
    Sign,
    TwoReadings,
    both_readings,
    column_style,
    plain,
)
from kitvalue.intake.problems import Level, Problem, shown
from kitvalue.intake.tables import TextTable
from kitvalue.intake.words import Refusal, rows_phrase, trimmed

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
