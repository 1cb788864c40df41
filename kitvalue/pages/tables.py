"""Tables as data: what the templates lay out, and what every chart's numbers are read from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kitvalue.pages.words import number

MOST_SLIM = 3
MOST_SHORT = 18
ColumnKind = Literal["n", "w", "s"]
RowKind = Literal["", "subtotal", "total", "marked"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, and whether it holds figures (set right, digits aligned), words or whole sentences."""

    head: str
    kind: ColumnKind


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

    @property
    def slim(self) -> bool:
        """Few columns read better close together than spread over the page."""
        return len(self.columns) <= MOST_SLIM

    @property
    def short(self) -> bool:
        """Few enough rows to stay together on one printed page."""
        return len(self.rows) <= MOST_SHORT


@dataclass(frozen=True, slots=True)
class Fact:
    """A figure that stands alone: what it is, the figure, and a line that explains it."""

    label: str
    value: str
    note: str = ""


def words(head: str) -> Column:
    """A column of words."""
    return Column(head, "w")


def sentences(head: str) -> Column:
    """A column that needs room for whole sentences."""
    return Column(head, "s")


def figures(head: str) -> Column:
    """A column of figures."""
    return Column(head, "n")


def and_more(left: int, more: str, where: str) -> tuple[str, ...]:
    """The note beneath a table cut short: `and 38 more rows: kitvalue check lists them all`."""
    return (f"and {number(left)} {more}: {where}",) if left > 0 else ()
