"""Plain tables for a terminal: words left, figures right, wide characters counted as two."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

WIDTH = 100
GAP = "  "


@dataclass(frozen=True, slots=True)
class Column:
    """A heading; `figures` are set flush right, words longer than `most` are folded."""

    title: str
    figures: bool = True
    most: int = 60


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], indent: str = "  ") -> str:
    """A table with a ruled heading; a row takes as many lines as its longest folded cell."""
    head = [c.title for c in columns]
    folded = [[_folded(cell, c) for cell, c in zip(row, columns, strict=True)] for row in rows]
    widths = [
        max(width(c.title), *(width(line) for row in folded for line in row[j]), 0) for j, c in enumerate(columns)
    ]
    lines = [_line(head, columns, widths, indent), indent + GAP.join("-" * w for w in widths)]
    for row in folded:
        for i in range(max(len(cell) for cell in row)):
            cells = [cell[i] if i < len(cell) else "" for cell in row]
            lines.append(_line(cells, columns, widths, indent))
    return "\n".join(lines)


def _folded(cell: str, column: Column) -> list[str]:
    if column.figures or width(cell) <= column.most:
        return [cell]
    return textwrap.wrap(cell, column.most) or [""]


def _line(cells: Sequence[str], columns: Sequence[Column], widths: Sequence[int], indent: str) -> str:
    padded = [
        " " * (w - width(cell)) + cell if column.figures else cell + " " * (w - width(cell))
        for cell, column, w in zip(cells, columns, widths, strict=True)
    ]
    return (indent + GAP.join(padded)).rstrip()


def width(text: str) -> int:
    """Columns that a text takes in a terminal."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def facts(pairs: Sequence[tuple[str, str]], indent: str = "  ") -> str:
    """Names and what they are, the second column aligned."""
    first = max(width(name) for name, _ in pairs)
    return "\n".join(f"{indent}{name}{' ' * (first - width(name))}{GAP}{text}" for name, text in pairs)


def wrapped(text: str, indent: str = "  ", bullet: str = "") -> str:
    """Running text in lines of bounded width."""
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=indent + bullet,
        subsequent_indent=indent + " " * len(bullet),
        break_on_hyphens=False,
    )


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
