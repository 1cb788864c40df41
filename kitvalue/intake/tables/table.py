"""A small trade table: from the bytes of a CSV file to text cells with the spreadsheet's row numbers.

Nothing is interpreted here but the shape: encoding, delimiter, header, quotes, and that every row has the header's
cells. What cannot be trusted as a whole raises FileError; a row that is wrong by itself is a problem in the table.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kitvalue.intake.settings.shop import FilesTable
from kitvalue.intake.tables.headers import (
    Damage,
    Header,
    RawRow,
    WantedColumns,
    column_name,
    declared_delimiter,
    find_header,
    letter,
    split_lines,
    split_rows,
    unclosed_quote,
)
from kitvalue.intake.text.decoding import DecodedText, decode, read_bytes, refused_file
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.words import fold, rows_phrase, trimmed

_MOST_RAGGED: Final = 100_000  # more, and it is not the rows that are wrong
_FEWEST_FOR_SWALLOWED: Final = 2  # cells with digits and no letters that make a line look like a row


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of data: its number in the spreadsheet and its cells exactly as the file has them."""

    row: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class TextTable:
    """A read table. `read` rows hold anything at all; `refused` of them are not in `rows` (see `problems`)."""

    file: str
    encoding: str
    delimiter: str
    header: Header
    rows: tuple[TableRow, ...]
    read: int
    refused: int
    problems: tuple[Problem, ...]

    def column(self, name: str) -> list[str] | None:
        """Every cell of one column (our name), in row order; None where the file has no such column."""
        place = self.header.places.get(name)
        return None if place is None else [row.cells[place] for row in self.rows]


def read_table(path: Path, wanted: WantedColumns, files: FilesTable) -> TextTable:
    """Read the file at `path`; nothing under its header makes a table without rows. Raises FileError, with one problem
    of level FILE, where nothing of it can be used.
    """
    file = path.name
    return _table(decode(read_bytes(path, file), file, files.encoding), file, wanted, files.delimiter)


def table_from_text(text: DecodedText, file: str, wanted: WantedColumns, delimiter: str | None = None) -> TextTable:
    """The table in a decoded text, with rows; errors as in `read_table`, and where nothing stands under the header."""
    return with_rows(_table(text, file, wanted, delimiter))


def with_rows(table: TextTable) -> TextTable:
    """The table itself. Raises FileError where it holds nothing under its header."""
    if table.read:
        return table
    row = table.header.row
    raise refused_file(table.file, "no_rows", f"there are no data rows under the header in row {row}", row=row)


def _table(text: DecodedText, file: str, wanted: WantedColumns, delimiter: str | None) -> TextTable:
    lines = split_lines(text.text)
    declared = declared_delimiter(lines)
    if declared is not None:
        lines = lines[1:]
    header = find_header(lines, wanted, file, delimiter or declared)
    body = Body(file, header)
    for raw in split_rows(lines, header.delimiter):
        if raw.row > header.row:
            body.take(raw)
    rows, problems = body.done()
    problems = [*text.problems, *header.problems, *problems]
    return TextTable(file, text.encoding, header.delimiter, header, rows, body.read, body.refused, tuple(problems))


class Body:
    """Collects the rows under one header."""

    def __init__(self, file: str, header: Header) -> None:
        self.file = file
        self.header = header
        self.names = [fold(cell) for cell in header.cells]
        self.read = 0
        self.rows: list[TableRow] = []
        self.ragged: list[RawRow] = []
        self.problems: list[Problem] = []

    @property
    def refused(self) -> int:
        return self.read - len(self.rows)

    def take(self, raw: RawRow) -> None:
        if raw.damage is None and raw.cells and not any(map(trimmed, raw.cells)):
            return
        width = len(self.header.cells)
        if raw.damage is not None and raw.damage.spreads:
            raise unclosed_quote(self.file, raw, raw.damage, self.header)
        if raw.lines > 1:
            self._refuse_swallowed(raw)
        self.read += 1
        if raw.damage is not None:
            self._refuse_damage(raw, raw.damage)
        elif raw.count != width and not self.header.named <= raw.count < width:
            self.ragged.append(raw)
            if len(self.ragged) > _MOST_RAGGED:
                message = (
                    f"more than {_MOST_RAGGED:,} rows have another number of cells than the header, which has {width}; "
                    "is the delimiter right?"
                )
                raise refused_file(self.file, "ragged_file", message, row=self.ragged[0].row)
        elif [fold(cell) for cell in raw.cells[:3]] == self.names[:3] and [fold(c) for c in raw.cells] == self.names:
            self._refuse(raw.row, None, raw.cells[0], "header_again", "repeats the header; delete the row")
        else:
            self.rows.append(TableRow(raw.row, raw.cells + [""] * (width - raw.count)))

    def _refuse(self, row: int, column: str | None, text: str | None, code: str, message: str) -> None:
        self.problems.append(Problem(self.file, row, column, text, code, Level.REFUSED, message))

    def _refuse_damage(self, raw: RawRow, damage: Damage) -> None:
        column = column_name(self.header, damage.column)
        message = (
            f"{shown(damage.text)} begins with a quote that closes before the cell ends; "
            "write quotes inside a quoted cell twice, or delete them"
        )
        self._refuse(raw.row, column, damage.text, "stray_quote", message)

    def _refuse_swallowed(self, raw: RawRow) -> None:
        """A quoted cell with line breaks in which a whole row lies: its quote was closed by another row's."""
        width = len(self.header.cells)
        for place, cell in enumerate(raw.cells):
            lines = cell.split("\n") if "\n" in cell else []
            if lines and (raw.count != width or _swallows(lines, place, self.header)):
                damage = Damage(place, cell.split("\n", 1)[0], spreads=True)
                raise unclosed_quote(self.file, raw, damage, self.header)

    def done(self) -> tuple[tuple[TableRow, ...], list[Problem]]:
        if not self._one_too_many():
            self.refuse_ragged()
        self.problems.sort(key=lambda problem: problem.row or 0)
        return tuple(self.rows), [*nameless(self.file, self.header, self.rows), *self.problems]

    def _one_too_many(self) -> bool:
        """A delimiter behind every single row of the file shifts nothing: these rows are then sound."""
        width = len(self.header.cells)
        found = (
            not self.rows
            and bool(self.ragged)
            and all(r.count == width + 1 and r.cells and not trimmed(r.cells[-1]) for r in self.ragged)
        )
        if found:
            self.rows = [TableRow(raw.row, raw.cells[:-1]) for raw in self.ragged]
        return found

    def refuse_ragged(self) -> None:
        """Rows with too few or too many cells are refused."""
        width = len(self.header.cells)
        for raw in self.ragged:
            message = f"the row has {raw.count} cells, the header has {width}; "
            if raw.count > width:
                message += "put straight quotes around a cell that holds the delimiter"
            else:
                message += "add the missing cells"
            text = self.header.delimiter.join(raw.cells[:width]) if raw.count > width else None
            self._refuse(raw.row, None, text, "ragged_row", message)


def _swallows(lines: list[str], place: int, header: Header) -> bool:
    """Does a whole row lie in a cell's lines, or the end of one in its first and the start of another in its last?"""
    sign, last = header.delimiter, len(header.cells) - 1
    if any(line.count(sign) == last and _numeric_cells(line, sign) >= _FEWEST_FOR_SWALLOWED for line in lines[1:]):
        return True
    first, end = lines[0].count(sign), lines[-1].count(sign)
    return 0 < first == last - place and 0 < end == place and _numeric_cells(lines[-1], sign) > 0


def _numeric_cells(line: str, sign: str) -> int:
    """Cells with digits and no letters."""
    return sum(any(map(str.isdigit, c)) and not any(map(str.isalpha, c)) for c in line.split(sign))


def nameless(file: str, header: Header, rows: Iterable[TableRow]) -> list[Problem]:
    """One warning for each column without a name that holds something; empty ones make no noise."""
    places = [place for place, cell in enumerate(header.cells) if not trimmed(cell)]
    found = []
    for place in places:
        filled = [row for row in rows if trimmed(row.cells[place])]
        if filled:
            message = (
                f"column {letter(place)} has no name, so its cells are not used "
                f"({rows_phrase([row.row for row in filled])}); give it a header or delete it"
            )
            found.append(
                Problem(file, None, letter(place), filled[0].cells[place], "nameless_column", Level.WARNING, message)
            )
    return found
