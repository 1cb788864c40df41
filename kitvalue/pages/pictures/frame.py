"""What every picture has: two widths, a spoken title, a key, and its numbers as a table."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from markupsafe import Markup

from kitvalue.pages import charts
from kitvalue.pages.charts import Figure
from kitvalue.pages.tables import Fact, Table

DOTS_A_UNIT = 2.5  # of a file of its own
FONTS = "font-family=\"'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif\""
Glyph = Literal[
    "dot", "ring", "range", "level", "typical", "cost", "price", "original", "band", "crossing", "asked", "larger",
    "smaller", "less", "more", "stop",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Layout:
    """A width in units to draw for. On a narrow one labels stand above what they name, not beside it."""

    name: Literal["wide", "narrow"]
    width: float

    @property
    def narrow(self) -> bool:
        return self.name == "narrow"


WIDE: Final = Layout("wide", 780)
NARROW: Final = Layout("narrow", 344)


@dataclass(frozen=True, slots=True)
class Key:
    """One entry beneath a picture: a sign and what it stands for."""

    glyph: Glyph
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A picture, drawn when it is asked for, with its numbers; `id` is unique in the page, the description for those
    who listen, `words` are a sentence beneath it."""

    id: str
    title: str
    description: str
    table: Table
    draw: Callable[[Layout], Figure]
    keys: Sequence[Key] = ()
    note: str = ""
    words: str = ""

    def svg(self, layout: Layout) -> Markup:
        """As one element of a page."""
        with charts.drawing():
            raw = charts.svg_of(self.draw(layout))
        return charts.inline(raw, f"{self.id}-{layout.name}", layout.name, self.title, self.description)

    def files(self) -> dict[str, bytes]:
        """By name: the page's own drawing as an SVG document, with name space, fonts to choose from and white behind
        it; and the same as PNG."""
        head, _, rest = str(self.svg(WIDE)).partition(">")
        head = head.replace("<svg", f'<svg xmlns="http://www.w3.org/2000/svg" {FONTS}', 1)
        svg = f'{head}><rect width="100%" height="100%" fill="#FFFFFF" />{rest}'
        document = f'<?xml version="1.0" encoding="utf-8"?>\n{svg}\n'.encode()
        with charts.drawing():
            return {f"{self.id}.svg": document, f"{self.id}.png": charts.png_of(self.draw(WIDE), DOTS_A_UNIT)}

    @property
    def drawn(self) -> Markup:
        """At both widths, of which a style rule of the page picks one."""
        return Markup("\n").join(self.svg(layout) for layout in (WIDE, NARROW))


@dataclass(frozen=True, slots=True)
class Section:
    """One section of the page. `pairs` are what this book cannot tell apart, `reasons` why a figure is missing."""

    lead: str
    picture: Chart | None = None
    tables: tuple[Table, ...] = ()
    pairs: tuple[Fact, ...] = ()
    reasons: tuple[str, ...] = ()


FEWEST = 3  # ticks that an axis needs to be read
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
LOG_SETS = ((1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0), (1.0, 2.0, 3.0, 5.0, 7.0), (1.0, 2.0, 5.0), (1.0, 3.0), (1.0,))


def linear_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """At most so many round values from low to high, low < high."""
    rough = (high - low) / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    for step in (s * power for s in (*STEPS, *(10 * s for s in STEPS))):  # the last one always fits
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if step >= rough * (1 - 1e-9) and last - first + 1 <= most:
            break
    return tuple(k * step for k in range(first, last + 1))


def log_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """At most so many round values of a log axis, 0 < low < high: the finest set of digits that fits.

    Between two neighbouring digits of a short axis the values are evenly spaced instead.
    """
    powers = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
    for digits in LOG_SETS:
        inside = [d * 10.0**p for p in powers for d in digits if low <= d * 10.0**p <= high]
        if len(inside) <= most:
            return tuple(inside) if len(inside) >= FEWEST else linear_ticks(low, high, most)
    step = math.ceil(len(powers) / most)
    return tuple(10.0**p for p in powers if p % step == 0 and low <= 10.0**p <= high)


def spread(wanted: Sequence[float], gap: float) -> tuple[float, ...]:
    """Heights near the wanted ones and at least `gap` apart, so that labels do not cover each other; order kept."""
    clusters: list[list[int]] = []

    def centre(cluster: Sequence[int]) -> float:
        return sum(wanted[i] for i in cluster) / len(cluster)

    for i in sorted(range(len(wanted)), key=lambda i: wanted[i]):
        clusters.append([i])
        while len(clusters) > 1 and centre(clusters[-1]) - centre(clusters[-2]) < (
            gap * (len(clusters[-1]) + len(clusters[-2])) / 2
        ):
            clusters[-2:] = [clusters[-2] + clusters[-1]]
    places = {
        i: centre(cluster) - gap * (len(cluster) - 1) / 2 + place * gap
        for cluster in clusters
        for place, i in enumerate(cluster)
    }
    return tuple(places[i] for i in range(len(wanted)))
