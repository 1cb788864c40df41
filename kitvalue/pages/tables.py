"""Tables and facts of ready text, as a page lays them out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from kitvalue.pages.figures import number

ColumnKind = Literal["n", "w", "s"]
RowKind = Literal["", "subtotal", "total", "marked"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, and whether it holds figures (set right, digits aligned), words or whole sentences."""

    head: str
    kind: ColumnKind = "n"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of ready text, the first cell being its name."""

    cells: tuple[str, ...]
    kind: RowKind = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table. `notes` stand beneath it, a line each: what was left away, what a column means."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fact:
    """A figure that stands alone: what it is, the figure, a line that explains it, the part of the page to read on."""

    label: str
    value: str
    note: str = ""
    link: str = ""


def columns_of(heads: str) -> tuple[Column, ...]:
    """`Series< | Rows | Perhaps<<`: a column each; `<` is for words, `<<` for whole sentences, else figures."""
    kinds: dict[str, ColumnKind] = {"": "n", "<": "w", "<<": "s"}
    parts = [head.strip().partition("<") for head in heads.split("|")]
    return tuple(Column(head, kinds[sign + more]) for head, sign, more in parts)


def table(caption: str, heads: str | Sequence[Column], rows: Iterable[Row | tuple[str, ...]], *notes: str) -> Table:
    """A table of `columns_of` the heads; a note that is blank is left out."""
    columns = columns_of(heads) if isinstance(heads, str) else tuple(heads)
    told = tuple(row if isinstance(row, Row) else Row(row) for row in rows)
    return Table(caption, columns, told, tuple(note for note in notes if note))


def and_more(left: int, more: str, where: str) -> str:
    """The note beneath a table cut short: `and 38 more rows: kitvalue check lists them all`, else blank."""
    return f"and {number(left)} {more}: {where}" if left > 0 else ""
