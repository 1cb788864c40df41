"""The cells of a tall table as places in its bytes: no text is made of a cell before somebody asks for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.tables.headers import MOST_CELLS, RawRow

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint64]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]

PADDING: Final = 32  # bytes behind the last one, so that eight can be taken at any place
_NEWLINE, _QUOTE = 10, 34
_BLOCK: Final = 1 << 12
_MASKS: Final = np.array([(1 << (8 * n)) - 1 for n in range(8)] + [2**64 - 1], dtype=np.uint64)
ERRORS: Final = "surrogatepass"


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """One column: where each row's cell begins in the bytes, and how many bytes it has. Both (n,)."""

    start: Places
    length: Places


@dataclass(frozen=True, slots=True, eq=False)
class Fields:
    """The rows that have the header's number of cells.

    `data`: the bytes as UTF-8, padded. `ends` (width, n): the place behind each cell. `begins` (n,): where each row
    begins. `rows` (n,): its number in the spreadsheet. `odd`: every other row that is not empty, split as it is.
    """

    data: Bytes
    ends: NDArray[np.int32]
    begins: NDArray[np.int32]
    rows: Places
    odd: tuple[RawRow, ...]
    quoted: bool

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def width(self) -> int:
        return len(self.ends)

    def cells(self, place: int, at: Places | None = None) -> Cells:
        """One column, whole or at some rows, without the quotes around quoted cells."""
        chosen = slice(None) if at is None else at
        end = self.ends[place][chosen]
        before = self.begins[chosen] if place == 0 else self.ends[place - 1][chosen] + np.int32(1)
        length = (end - before).astype(np.int64)
        start = before.astype(np.int64)
        if self.quoted:
            inside = (self.data[start] == _QUOTE) & (length > 0)
            start = start + inside
            length = length - 2 * inside
        return Cells(start, length)

    def text(self, start: int, length: int) -> str:
        """The text of one cell."""
        return self.data[start : start + length].tobytes().decode("utf-8", ERRORS)

    def texts(self, cells: Cells) -> list[str]:
        """The texts of some cells."""
        return [self.text(s, n) for s, n in zip(cells.start.tolist(), cells.length.tolist(), strict=True)]

    def row_texts(self, at: int) -> list[str]:
        """Every cell of one row."""
        one = np.array([at], dtype=np.int64)
        return [self.texts(self.cells(place, one))[0] for place in range(self.width)]

    def word(self, cells: Cells, number: int) -> Words:
        """Eight bytes of each cell as one number, from byte 8 * `number` on; zeros behind the cell's end."""
        left = np.minimum(cells.length, 8) if number == 0 else np.clip(cells.length - 8 * number, 0, 8)
        start = cells.start if number == 0 else np.minimum(cells.start + 8 * number, len(self.data) - PADDING)
        everywhere: Words = np.ndarray((len(self.data) - 8,), dtype="<u8", buffer=self.data.data, strides=(1,))
        found: Words = everywhere[start] & _MASKS[left]
        return found


def split_fields(text: str, delimiter: str, header_row: int, width: int) -> Fields | None:
    """The rows under the header. None where the table's shape needs the careful reader: quotes within a cell, quotes
    that do not close in their cell, or line breaks within quotes.
    """
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    raw = (text + "\n" * (PADDING if text.endswith("\n") else PADDING + 1)).encode("utf-8", ERRORS)
    data = np.frombuffer(raw, dtype=np.uint8)
    body = data[: len(raw) - PADDING]
    line_ends = body == _NEWLINE
    separates = body == ord(delimiter)
    separates |= line_ends
    quoted = '"' in text
    if quoted:
        quotes = body == _QUOTE
        within = np.bitwise_xor.accumulate(quotes.view(np.uint8)).astype(bool)
        if bool((within & line_ends).any()):
            return None
        separates &= ~within
        if not _cleanly_quoted(body, quotes, separates):
            return None
    if len(raw) >= 2**31:
        return None
    lines = np.count_nonzero(line_ends)
    del line_ends  # as large as the file
    places = np.flatnonzero(separates)
    del separates
    if header_row == 1 and lines * width == len(places) > width and not quoted:
        ends = _by_column(places[width:].reshape(-1, width))
        begins = np.concatenate(([places[width - 1]], ends[-1][:-1])) + 1
        if bool((data[ends[-1]] == _NEWLINE).all()) and bool((ends[-1] - begins > width - 1).all()):
            return Fields(data, ends, begins.astype(np.int32), np.arange(2, len(begins) + 2), (), quoted)
    return _rows(data, places, delimiter, header_row, width, quoted)


def _cleanly_quoted(body: Bytes, quotes: Mask, separates: Mask) -> bool:
    """Does every opening quote stand at the start of its cell, and every closing one at its end?"""
    at = np.flatnonzero(quotes)
    opening, closing = at[0::2], at[1::2]
    if len(opening) != len(closing):
        return False
    starts = (opening == 0) | separates[np.maximum(opening - 1, 0)]
    ends = separates[np.minimum(closing + 1, len(body) - 1)]
    return bool(starts.all() and ends.all())


def _rows(data: Bytes, places: Places, delimiter: str, header_row: int, width: int, quoted: bool) -> Fields | None:
    last = np.flatnonzero(data[places] == _NEWLINE)  # which of the places end a line
    counts = np.diff(last, prepend=-1)
    line_ends = places[last]
    line_begins = np.concatenate(([0], line_ends[:-1] + 1))
    lines = np.arange(1, len(last) + 1)
    under = lines > header_row
    content = line_ends - line_begins - (counts - 1)
    regular = under & (counts == width) & (content > 0)
    if not regular.any():
        return None
    if bool((counts[under] == width).all()):
        ends = places[last[under][0] - width + 1 :].reshape(-1, width)[content[under] > 0]
    else:
        ends = places[last[regular][:, None] - np.arange(width - 1, -1, -1)]
    others = np.flatnonzero(under & (counts != width) & (line_ends > line_begins))
    odd = tuple(_raw_rows(data, others, line_begins, line_ends, delimiter, counts))
    return Fields(
        data=data,
        ends=_by_column(ends),
        begins=line_begins[regular].astype(np.int32),
        rows=lines[regular].astype(np.int64),
        odd=odd,
        quoted=quoted,
    )


def _by_column(ends: Places) -> NDArray[np.int32]:
    """(n, width) -> (width, n): each column's places side by side."""
    found = np.empty((ends.shape[1], len(ends)), dtype=np.int32)
    for at in range(0, len(ends), _BLOCK):  # in pieces that stay in the processor's cache
        found[:, at : at + _BLOCK] = ends[at : at + _BLOCK].T
    return found


def _raw_rows(
    data: Bytes, others: Places, begins: Places, ends: Places, delimiter: str, counts: Places
) -> list[RawRow]:
    """Lines with another number of cells, as the careful reader splits them."""
    found = []
    for at in others.tolist():
        line = data[begins[at] : ends[at]].tobytes().decode("utf-8", ERRORS)
        if line.isspace():
            continue
        count = int(counts[at])
        cells = _split(line, delimiter) if count <= MOST_CELLS else []
        found.append(RawRow(at + 1, cells, count))
    return found


def _split(line: str, delimiter: str) -> list[str]:
    if '"' not in line:
        return line.split(delimiter)
    cells, rest = [], line
    while True:
        if rest.startswith('"'):
            end = rest.index('"', 1)
            cells.append(rest[1:end])
            rest = rest[end + 1 :]
        else:
            end = rest.find(delimiter)
            cells.append(rest if end < 0 else rest[:end])
            rest = "" if end < 0 else rest[end:]
        if not rest:
            return cells
        rest = rest[1:]
