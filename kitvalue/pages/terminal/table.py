"""Plain tables and running text for a terminal of 80 columns, wherever they are read.

Words stand left and figures right, wide characters count as two. Nothing is cut: what is too wide is folded.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

WIDTH = 80
GAP = "  "
LEAST = 12  # columns that a column of words keeps however wide the others are
WORD = re.compile(r" *[^ ]+(?: %[^ ]*)?")  # with the spaces before it; a number keeps its sign of percent
ARGUMENT = re.compile(r"""(?:[^\s"']|"[^"]*"|'[^']*')+""")  # of a command line, quotes and what is in them whole
DEEPEST = 8  # columns by which a text under a row is indented at most


@dataclass(frozen=True, slots=True)
class Column:
    """A heading; `figures` are set flush right, words longer than `most` are folded."""

    title: str
    figures: bool = True
    most: int = 60


@dataclass(frozen=True, slots=True)
class _Way:
    """A way to make a table fit: lines of a heading, whether words are folded, what stands between two columns."""

    heading: int
    words: bool
    gap: str = GAP


@dataclass(frozen=True, slots=True)
class _Layout:
    """The columns' widths and what stands between two of them."""

    widths: tuple[int, ...]
    gap: str


FOLDING = (_Way(1, False), _Way(2, False), _Way(3, False), _Way(2, True), _Way(9, True), _Way(9, True, " "))


def table(
    columns: Sequence[Column], rows: Sequence[Sequence[str]], indent: str = "  ", under: Sequence[str] = ()
) -> str:
    """A table with a ruled heading; a row takes as many lines as its longest folded cell, and under it stands its text
    of `under`, if any. A column with nothing in it is left out.

    Where the table would be too wide its headings are folded, then its words; if that is not enough, it is told row by
    row.
    """
    shown = [j for j, c in enumerate(columns) if c.title or any(row[j] for row in rows)] or [0]
    columns, rows = [columns[j] for j in shown], [[row[j] for j in shown] for row in rows]
    layout = _layout(columns, rows, WIDTH - len(indent))
    if layout is None:
        return _blocks(columns, rows, indent, under)
    head = [fold(c.title, w) for c, w in zip(columns, layout.widths, strict=True)]
    deep = max(len(cell) for cell in head)
    lines = [*_lines([[""] * (deep - len(cell)) + cell for cell in head], columns, layout, indent)]
    lines.append(indent + layout.gap.join("-" * w for w in layout.widths))
    beneath = " " * min(len(indent) + layout.widths[0] + len(layout.gap), DEEPEST)
    for i, row in enumerate(rows):
        cells = [[cell] if c.figures else fold(cell, w) for cell, c, w in zip(row, columns, layout.widths, strict=True)]
        lines += _lines(cells, columns, layout, indent)
        if under and under[i]:
            lines.append(wrapped(under[i], beneath))
    return "\n".join(lines)


def _layout(columns: Sequence[Column], rows: Sequence[Sequence[str]], room: int) -> _Layout | None:
    """The first of the ways to fold that fits into `room` columns; None where none does."""
    cells = [max((width(row[j]) for row in rows), default=0) for j in range(len(columns))]
    cells = [cell if c.figures else min(cell, c.most) for c, cell in zip(columns, cells, strict=True)]
    for way in FOLDING:
        least = [_narrowest(c.title, way.heading) for c in columns]
        widths = [max(head, cell) for head, cell in zip(least, cells, strict=True)]
        over = sum(widths) + len(way.gap) * (len(widths) - 1) - room
        if over > 0 and way.words:
            over = _narrow(columns, widths, least, over)
        if over <= 0:
            return _Layout(tuple(widths), way.gap)
    return None


def _narrowest(heading: str, lines: int) -> int:
    """The fewest columns in which a heading takes so many lines at most; a word of it stays whole."""
    longest = max(map(width, heading.split(" ")))
    return next(w for w in range(longest, width(heading) + 1) if len(fold(heading, w)) <= lines)


def _narrow(columns: Sequence[Column], widths: list[int], least: Sequence[int], over: int) -> int:
    """Take so many columns off the columns of words, always the widest; what is left to take."""
    while over > 0:
        free = [j for j, c in enumerate(columns) if not c.figures and widths[j] > max(least[j], LEAST)]
        if not free:
            break
        widths[max(free, key=lambda j: widths[j])] -= 1
        over -= 1
    return over


def _lines(cells: Sequence[Sequence[str]], columns: Sequence[Column], layout: _Layout, indent: str) -> Iterator[str]:
    """The lines of a row whose cells are folded."""
    for i in range(max(len(cell) for cell in cells)):
        padded = [
            _padded(cell[i] if i < len(cell) else "", c, w)
            for cell, c, w in zip(cells, columns, layout.widths, strict=True)
        ]
        yield (indent + layout.gap.join(padded)).rstrip()


def _padded(text: str, column: Column, columns: int) -> str:
    space = " " * (columns - width(text))
    return space + text if column.figures else text + space


def _blocks(columns: Sequence[Column], rows: Sequence[Sequence[str]], indent: str, under: Sequence[str]) -> str:
    """Every row as a list of its cells, each behind its heading."""
    found = []
    for i, row in enumerate(rows):
        pairs = [(c.title, cell) for c, cell in zip(columns, row, strict=True) if cell]
        text = [wrapped(under[i], indent)] if under and under[i] else []
        found.append("\n".join([facts(pairs, indent), *text]))
    return "\n\n".join(found)


def width(text: str) -> int:
    """Columns that a text takes in a terminal."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def fold(text: str, columns: int, cut: bool = True) -> list[str]:
    """A text in lines of so many columns, broken between words; with `cut` also within a word that is too long."""
    if width(text) <= columns:
        return [text]
    lines, line = [], ""
    for word in WORD.findall(text.replace("\n", " ")):
        if width(line + word) <= columns:
            line += word
            continue
        if line:
            lines.append(line)
        *whole, line = _cut(word.lstrip(" "), columns) if cut else [word.lstrip(" ")]
        lines += whole
    return [*lines, line]


def _cut(word: str, columns: int) -> list[str]:
    """A word in pieces of so many columns."""
    pieces, used = [""], 0
    for char in word:
        if pieces[-1] and used + width(char) > columns:
            pieces.append("")
            used = 0
        pieces[-1] += char
        used += width(char)
    return pieces


def facts(pairs: Sequence[tuple[str, str]], indent: str = "  ") -> str:
    """Names and what they are, the second column aligned."""
    first = max(width(name) for name, _ in pairs)
    start = indent + " " * first + GAP
    lines = []
    for name, text in pairs:
        told = wrapped(text, start)
        lines.append(f"{indent}{name}{' ' * (first - width(name))}{GAP}{told[len(start) :]}")
    return "\n".join(lines)


def wrapped(text: str, indent: str = "  ", bullet: str = "") -> str:
    """Running text in lines of bounded width; a word that is longer, such as a path, stays whole."""
    start = indent + bullet
    first, *rest = fold(text, WIDTH - len(start), cut=False)
    return "\n".join([start + first, *(" " * len(start) + line for line in rest)])


def command(text: str, indent: str) -> str:
    """A command line to be copied: where it is too long, each line but the last ends in the shell's backslash."""
    lines, line = [], indent
    for argument in ARGUMENT.findall(text):
        longer = f"{line} {argument}" if line.strip() else line + argument
        if width(longer) > WIDTH - 2 and line.strip():
            lines.append(f"{line} \\")
            longer = f"{indent}  {argument}"
        line = longer
    return "\n".join([*lines, line])


def bullets(heading: str, texts: Sequence[str]) -> str:
    """A heading and its list; empty where there is nothing to say."""
    return "\n".join([heading, *(wrapped(t, bullet="- ") for t in texts)]) + "\n" if texts else ""


def money(value: Decimal | float | None, cents: bool = False) -> str:
    """Money with thousands separators; `?` where it is not known."""
    if value is None:
        return "?"
    return f"{value:,.2f}" if cents else f"{value:,.0f}"


def span(low: Decimal | float | None, high: Decimal | float | None) -> str:
    """A range; a dash alone where there is none."""
    return "-" if low is None or high is None else f"{money(low)} to {money(high)}"


def percent(value: Decimal | float | None, digits: int = 0, sign: bool = False) -> str:
    """A percentage."""
    if value is None:
        return "?"
    shown = round(float(value), digits) + 0.0  # no minus before a zero
    return f"{shown:{'+' if sign else ''}.{digits}f} %"


def figure(value: Decimal | float) -> str:
    """A quantity without needless zeros."""
    return f"{float(value):.3f}".rstrip("0").rstrip(".")
