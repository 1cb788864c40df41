"""Strict CSV: from text to rows of cells, numbered as a spreadsheet numbers them (RFC 4180, any one delimiter).

A quote opens a quoted cell only as the first character of the cell; inside it two quotes stand for one. A quote
elsewhere (`22"/16"`) is text. Each row of the table counts once, however many lines its cells take.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

MOST_CELLS: Final = 1000


@dataclass(frozen=True, slots=True)
class Damage:
    """A quote that does not do its work. `spreads`: it reaches beyond its row, so no later row can be trusted."""

    column: int
    text: str
    spreads: bool


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row: its number, its cells (empty where there are more than `MOST_CELLS`), how many, and any damage."""

    row: int
    cells: list[str]
    count: int
    damage: Damage | None = None
    lines: int = 1


def split_lines(text: str) -> list[str]:
    """Lines at CR LF, CR and LF, and at nothing else. A line break inside a quoted cell becomes LF on the way."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    return lines


def split_rows(lines: list[str], delimiter: str) -> Iterator[RawRow]:
    """Every row that is not blank. Stops after a row whose damage spreads."""
    row, at, end = 0, 0, len(lines)
    while at < end:
        row += 1
        line = lines[at]
        if '"' not in line:
            at += 1
            if not line or line.isspace():
                continue
            count = line.count(delimiter) + 1
            yield RawRow(row, line.split(delimiter) if count <= MOST_CELLS else [], count)
            continue
        found = _quoted_row(lines, at, row, delimiter)
        at += found.lines
        yield found
        if found.damage is not None and found.damage.spreads:
            return


def _quoted_row(lines: list[str], start: int, row: int, delimiter: str) -> RawRow:
    cells: list[str] = []
    at, pos, count = start, 0, 0
    damage: Damage | None = None
    while True:
        line = lines[at]
        if line.startswith('"', pos):
            cell = _quoted_cell(lines, at, pos, delimiter)
            at, pos = cell.line, cell.end
            line = lines[at]
            text = cell.text
            if not cell.closed:
                found = Damage(count, _first_line(text), cell.spreads)
                damage = damage or found
                if cell.spreads:
                    return RawRow(row, cells, count + 1, found, at - start + 1)
        else:
            stop = line.find(delimiter, pos)
            text = line[pos:] if stop < 0 else line[pos:stop]
            pos = len(line) if stop < 0 else stop
        count += 1
        if count <= MOST_CELLS:
            cells.append(text)
        if pos >= len(line):
            return RawRow(row, cells if count <= MOST_CELLS else [], count, damage, at - start + 1)
        pos += 1


@dataclass(frozen=True, slots=True)
class _Cell:
    """A quoted cell: its text, the line and place behind it, and how it ended."""

    text: str
    line: int
    end: int
    closed: bool = True
    spreads: bool = False


def _quoted_cell(lines: list[str], start: int, opened: int, delimiter: str) -> _Cell:
    """Read from the opening quote on. Unsound ends: text right behind the closing quote, or no closing quote at all."""
    parts: list[str] = []
    at, pos = start, opened + 1
    while True:
        line = lines[at]
        stop = line.find('"', pos)
        if stop < 0:
            parts.append(line[pos:])
            at, pos = at + 1, 0
            if at == len(lines):
                return _Cell("".join(parts), at - 1, len(lines[-1]), closed=False, spreads=True)
            parts.append("\n")
        elif line.startswith('"', stop + 1):
            parts.append(line[pos : stop + 1])
            pos = stop + 2
        else:
            parts.append(line[pos:stop])
            behind = stop + 1
            if behind == len(line) or line.startswith(delimiter, behind):
                return _Cell("".join(parts), at, behind)
            if at > start:
                return _Cell("".join(parts), at, len(line), closed=False, spreads=True)
            end = line.find(delimiter, behind)
            end = len(line) if end < 0 else end
            return _Cell(line[opened:end], at, end, closed=False)


def _first_line(text: str) -> str:
    return text.split("\n", 1)[0]
