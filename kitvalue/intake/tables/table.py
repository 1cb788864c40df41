"""A small trade table: from the bytes of a CSV file to text cells with the spreadsheet's row numbers.

Nothing is interpreted here but the shape: encoding, delimiter, header, quotes, and that every row has the header's
cells. What cannot be trusted as a whole raises FileError; a row that is wrong by itself is a problem in the table.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.settings.shop import FilesTable
from kitvalue.intake.tables.headers import (
    Damage,
    Header,
    PlainRows,
    RawRow,
    WantedColumns,
    column_name,
    declared_delimiter,
    find_header,
    is_figure,
    letter,
    split_blocks,
    split_lines,
    unclosed_quote,
)
from kitvalue.intake.text.decoding import DecodedText, decode, read_bytes, refused_file
from kitvalue.intake.text.problems import FileCounts, Level, Problem, shown
from kitvalue.intake.text.words import fold, rows_phrase, trimmed

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.integer[Any]]
BoolArray = NDArray[np.bool_]

_MOST_RAGGED: Final = 100_000  # more, and it is not the rows that are wrong
_FEWEST_FOR_SWALLOWED: Final = 2  # cells with digits and no letters that make a line look like a row


T = TypeVar("T", covariant=True)
U = TypeVar("U")


@dataclass(frozen=True, slots=True, eq=False)
class Coded(Generic[T]):
    """One column: what its cells hold, each different thing once (`each`), and which of them stands in which row.

    `codes` (n,) are places in `each`. What is worked out for a cell is worked out once for all that are alike.
    """

    each: Sequence[T]
    codes: IntArray

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, at: int) -> T:
        return self.each[int(self.codes[at])]

    def __iter__(self) -> Iterator[T]:
        return (self.each[code] for code in self.codes.tolist())

    def map(self, work: Callable[[T], U]) -> Coded[U]:
        return Coded([work(one) for one in self.each], self.codes)

    def where(self, test: Callable[[T], bool]) -> BoolArray:
        """(n,) the rows for which a test holds."""
        return np.array([test(one) for one in self.each], dtype=np.bool_)[self.codes]

    def floats(self, number: Callable[[T], float]) -> FloatArray:
        """(n,) a number for each row."""
        return np.array([number(one) for one in self.each], dtype=np.float64)[self.codes]

    def take(self, at: IntArray | BoolArray) -> Coded[T]:
        """Some of the rows."""
        return Coded(self.each, self.codes[at])

    def same(self) -> IntArray:
        """(n,) a number for each row, alike where what stands there is equal."""
        places: dict[object, int] = {}
        numbers = [places.setdefault(one, len(places)) for one in self.each]
        return np.array(numbers, dtype=np.int64)[self.codes]


@dataclass(frozen=True, slots=True, eq=False)
class TextTable:
    """A read table, its cells exactly as the file has them. Rows that are refused are among its problems alone."""

    file: str
    encoding: str
    delimiter: str
    header: Header
    rows: IntArray  # their numbers in the spreadsheet
    cells: tuple[Coded[str], ...]  # of each column, as the header has them
    read: int  # rows that hold anything at all, refused ones too
    problems: tuple[Problem, ...]

    def __len__(self) -> int:
        return len(self.rows)

    def row(self, at: int) -> int:
        """The spreadsheet's number of a row."""
        return int(self.rows[at])

    def row_cells(self, at: int) -> list[str]:
        return [column[at] for column in self.cells]

    def problem(self, at: int, column: str | None, text: str | None, code: str, message: str,
                level: Level = Level.REFUSED) -> Problem:  # fmt: skip
        """A problem of one row."""
        return Problem(self.file, self.row(at), column, text, code, level, message)

    def warning(self, column: str | None, text: str | None, code: str, message: str) -> Problem:
        """A warning about the file as a whole, or a column."""
        return Problem(self.file, None, column, text, code, Level.WARNING, message)

    def counts(self, used: int, decimal: str | None, set_aside: int = 0) -> FileCounts:
        refused = self.read - used - set_aside
        return FileCounts(self.file, self.read, used, refused, set_aside, self.encoding, self.delimiter, decimal)


def read_table(path: Path, wanted: WantedColumns, files: FilesTable, *, may_be_empty: bool = False) -> TextTable:
    """Read the file at `path`; errors as in `table_from_text`."""
    text = decode(read_bytes(path, path.name), path.name, files.encoding)
    return table_from_text(text, path.name, wanted, files.delimiter, may_be_empty=may_be_empty)


def table_from_text(
    text: DecodedText, file: str, wanted: WantedColumns, delimiter: str | None = None, *, may_be_empty: bool = False
) -> TextTable:
    """The table in a decoded text. Raises FileError, with one problem of level FILE, where nothing of it can be used,
    and where nothing stands under the header of one that may not be empty.
    """
    lines = split_lines(text.text)
    declared = declared_delimiter(lines)
    if declared is not None:
        lines = lines[1:]
    header = find_header(lines, wanted, file, delimiter or declared)
    body = _Body(file, header)
    for block in split_blocks(lines, header.delimiter, len(header.cells)):
        body.take(block)
    rows, cells = body.done()
    if not body.read and not may_be_empty:
        message = f"there are no data rows under the header in row {header.row}"
        raise refused_file(file, "no_rows", message, row=header.row)
    nameless = []  # columns without a name that hold something; empty ones make no noise
    for place in (place for place, name in enumerate(header.cells) if not trimmed(name)):
        at = np.flatnonzero(cells[place].where(lambda cell: bool(trimmed(cell))))
        if len(at):
            where, name = rows_phrase(rows[at].tolist()), letter(place)
            message = f"column {name} has no name, so its cells are not used ({where}); give it a header or delete it"
            cell = cells[place][int(at[0])]
            nameless.append(Problem(file, None, name, cell, "nameless_column", Level.WARNING, message))
    problems = (*text.problems, *header.problems, *nameless, *body.problems)
    return TextTable(file, text.encoding, header.delimiter, header, rows, cells, body.read, problems)


class _Body:
    """Collects the rows under one header."""

    def __init__(self, file: str, header: Header) -> None:
        self.file = file
        self.header = header
        self.width = len(header.cells)
        self.read = 0
        self.codes: list[defaultdict[str, int]] = [defaultdict() for _ in range(self.width)]  # by first appearance
        for codes in self.codes:
            codes.default_factory = codes.__len__
        self.parts: list[list[IntArray]] = [[] for _ in range(self.width)]
        self.numbers: list[IntArray] = []
        self.waiting: list[list[str]] = []  # sound rows not yet coded, with their numbers
        self.waiting_numbers: list[int] = []
        self.ragged: list[RawRow] = []
        self.problems: list[Problem] = []

    def _flush(self) -> None:
        if self.waiting:
            self._code(list(chain.from_iterable(self.waiting)), np.array(self.waiting_numbers, dtype=np.int64))
            self.waiting, self.waiting_numbers = [], []

    def _code(self, cells: list[str], numbers: IntArray) -> None:
        self.numbers.append(numbers)
        for place, (codes, parts) in enumerate(zip(self.codes, self.parts, strict=True)):
            parts.append(np.fromiter(map(codes.__getitem__, cells[place :: self.width]), np.int32, len(numbers)))

    def take(self, raw: RawRow | PlainRows) -> None:
        """Further rows; those down to the header are left out."""
        if isinstance(raw, PlainRows):
            self._flush()
            above = min(raw.count, max(0, self.header.row - raw.first + 1))
            if above < raw.count:
                self._code(raw.cells[above * self.width :], np.arange(raw.first + above, raw.first + raw.count))
            return
        blank = raw.damage is None and raw.cells and not any(map(trimmed, raw.cells))
        if blank or raw.row <= self.header.row:
            return
        if raw.damage is not None and raw.damage.spreads:
            raise unclosed_quote(self.file, raw, raw.damage, self.header)
        for place, cell in enumerate(raw.cells if raw.lines > 1 else ()):  # a quote that another row's has closed
            lines = cell.split("\n")
            if len(lines) > 1 and (raw.count != self.width or _swallows(lines, place, self.header)):
                raise unclosed_quote(self.file, raw, Damage(place, lines[0], spreads=True), self.header)
        if raw.damage is not None:
            self.read += 1
            column, text = column_name(self.header, raw.damage.column), raw.damage.text
            message = f"{shown(text)} begins with a quote that closes before the cell ends; "
            message += "write quotes inside a quoted cell twice, or delete them"
            self._refuse(raw.row, column, text, "stray_quote", message)
        elif raw.count != self.width and not self.header.named <= raw.count < self.width:
            self.read += 1
            self.ragged.append(raw)
            if len(self.ragged) > _MOST_RAGGED:
                message = f"more than {_MOST_RAGGED:,} rows have another number of cells than the header, which has "
                message += f"{self.width}; is the delimiter right?"
                raise refused_file(self.file, "ragged_file", message, row=self.ragged[0].row)
        else:
            self.waiting.append(raw.cells + [""] * (self.width - raw.count))
            self.waiting_numbers.append(raw.row)

    def _refuse(self, row: int, column: str | None, text: str | None, code: str, message: str) -> None:
        self.problems.append(Problem(self.file, row, column, text, code, Level.REFUSED, message))

    def done(self) -> tuple[IntArray, tuple[Coded[str], ...]]:
        """The sound rows: their numbers and their cells. `problems` and `read` are then complete."""
        self._flush()
        if (
            not self.numbers
            and self.ragged
            and all(raw.count == self.width + 1 and raw.cells and not trimmed(raw.cells[-1]) for raw in self.ragged)
        ):  # a delimiter behind every single row of the file shifts nothing: these rows are sound
            self.read -= len(self.ragged)
            sound = list(chain.from_iterable(raw.cells[:-1] for raw in self.ragged))
            self._code(sound, np.array([raw.row for raw in self.ragged]))
        else:
            for raw in self.ragged:
                text, cure = None, "add the missing cells"
                if raw.count > self.width:
                    text = self.header.delimiter.join(raw.cells[: self.width])
                    cure = "put straight quotes around a cell that holds the delimiter"
                message = f"the row has {raw.count} cells, the header has {self.width}; {cure}"
                self._refuse(raw.row, None, text, "ragged_row", message)
        numbers = np.concatenate([np.empty(0, np.int64), *self.numbers])
        cells = [
            Coded(list(codes), np.concatenate([np.empty(0, np.int32), *parts]))
            for codes, parts in zip(self.codes, self.parts, strict=True)
        ]
        blank, again = np.ones(len(numbers), dtype=bool), np.ones(len(numbers), dtype=bool)
        for column, name in zip(cells, map(fold, self.header.cells), strict=True):
            if not (blank.any() or again.any()):
                break
            blank &= column.where(lambda cell: not trimmed(cell))
            again &= np.array([fold(cell) == name for cell in column.each], dtype=bool)[column.codes]
        self.read += int((~blank).sum())
        for at in np.flatnonzero(again).tolist():
            message = "repeats the header; delete the row"
            self._refuse(int(numbers[at]), None, cells[0][at], "header_again", message)
        self.problems.sort(key=lambda problem: problem.row or 0)
        if not (blank | again).any():
            return numbers, tuple(cells)
        return numbers[~(blank | again)], tuple(column.take(~(blank | again)) for column in cells)


def _swallows(lines: list[str], place: int, header: Header) -> bool:
    """Does a whole row lie in a cell's lines, or the end of one in its first and the start of another in its last?"""
    sign, last = header.delimiter, len(header.cells) - 1

    def figures(line: str) -> int:
        return sum(map(is_figure, line.split(sign)))

    if any(line.count(sign) == last and figures(line) >= _FEWEST_FOR_SWALLOWED for line in lines[1:]):
        return True
    first, end = lines[0].count(sign), lines[-1].count(sign)
    return 0 < first == last - place and 0 < end == place and figures(lines[-1]) > 0
