"""What every picture has: two widths, a spoken title, a key, and its numbers as a table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from markupsafe import Markup

from kitvalue.pages import charts
from kitvalue.pages.svg import Names, inline
from kitvalue.pages.tables import Table

Glyph = Literal[
    "dot", "ring", "range", "level", "typical", "cost", "price", "original", "band", "crossing", "asked", "larger",
    "smaller", "less", "more", "ceiling", "safe",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Layout:
    """A width in units to draw for. On a narrow one labels stand above what they name, not beside it."""

    name: Literal["wide", "narrow"]
    width: float

    @property
    def narrow(self) -> bool:
        """Is this the phone's?"""
        return self.name == "narrow"


WIDE: Final = Layout("wide", 780)
NARROW: Final = Layout("narrow", 344)


@dataclass(frozen=True, slots=True)
class Key:
    """One entry beneath a picture: a sign and what it stands for."""

    glyph: Glyph
    text: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture ready for the page: `wide` and `narrow` show the same, a style rule picks one."""

    id: str
    title: str
    wide: Markup
    narrow: Markup
    keys: tuple[Key, ...]
    note: str
    table: Table
    draw: Callable[[Layout], charts.Figure]  # the same once more, for a file of its own
    table_open: bool = False  # where the table is part of the reading, not only the numbers behind the picture


@dataclass(frozen=True, slots=True)
class Caption:
    """How a picture is introduced: `id` unique in the page, the description for those who listen."""

    id: str
    title: str
    description: str
    keys: tuple[Key, ...] = ()
    note: str = ""


def chart(caption: Caption, table: Table, draw: Callable[[Layout], charts.Figure]) -> Chart:
    """Draw a picture at both widths."""
    wide, narrow = (_drawn(caption, layout, draw) for layout in (WIDE, NARROW))
    return Chart(caption.id, caption.title, wide, narrow, caption.keys, caption.note, table, draw)


def _drawn(caption: Caption, layout: Layout, draw: Callable[[Layout], charts.Figure]) -> Markup:
    names = Names(f"{caption.id}-{layout.name}", layout.name, caption.title, caption.description)
    with charts.drawing():
        return inline(charts.svg_of(draw(layout)), names)
