"""What every picture has: two widths, a spoken title, a key, and its numbers as a table."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeVar

from markupsafe import Markup

from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, INK, RULE, SKY, Axes, Box, Figure, Size
from kitvalue.pages.svg import Names, inline
from kitvalue.pages.words import Table, amount

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


FEWEST = 3  # ticks that an axis needs to be read
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
LOG_SETS = ((1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0), (1.0, 2.0, 3.0, 5.0, 7.0), (1.0, 2.0, 5.0), (1.0, 3.0), (1.0,))


def linear_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """At most so many round values from low to high, low < high."""
    rough = (high - low) / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    for step in (s * power for s in (*STEPS, *(10 * s for s in STEPS))):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if step >= rough * (1 - 1e-9) and last - first + 1 <= most:
            return tuple(k * step for k in range(first, last + 1))
    return (low, high)


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


def bounds(cores: Sequence[tuple[float, float]], reach: float) -> tuple[float, float]:
    """Log-axis bounds around the (low, high) of every core, `reach` times further on either side."""
    return min(low for low, _ in cores) / reach, max(high for _, high in cores) * reach


def spread(wanted: Sequence[float], gap: float) -> tuple[float, ...]:
    """Heights near the wanted ones and at least `gap` apart, so that labels do not cover each other; order kept."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    clusters: list[list[int]] = []
    for i in order:
        clusters.append([i])
        while len(clusters) > 1 and _centre(clusters[-1], wanted) - _centre(clusters[-2], wanted) < (
            gap * (len(clusters[-1]) + len(clusters[-2])) / 2
        ):
            clusters[-2:] = [clusters[-2] + clusters[-1]]
    out = [0.0] * len(wanted)
    for cluster in clusters:
        start = _centre(cluster, wanted) - gap * (len(cluster) - 1) / 2
        for place, i in enumerate(cluster):
            out[i] = start + place * gap
    return tuple(out)


def _centre(cluster: Sequence[int], wanted: Sequence[float]) -> float:
    return sum(wanted[i] for i in cluster) / len(cluster)


def clamped(value: float, low: float, high: float) -> float:
    """The value, or the bound that it passes."""
    return min(max(value, low), high)


@dataclass(frozen=True, slots=True)
class Ranges:
    """A typical price with its two ranges, money; a range is None where it cannot be told."""

    typical: float
    low: float | None
    high: float | None
    level_low: float | None
    level_high: float | None


@dataclass(frozen=True, slots=True)
class Canvas:
    """An empty strip chart: one strip takes `step` points of height."""

    figure: Figure
    axes: Axes


def strip_canvas(count: int, step: float, limits: tuple[float, float], currency: str, layout: Layout) -> Canvas:
    """Room for `count` strips, names to the left or above, a figure to the right, the scale below."""
    box = Box(left=6, top=8, right=14, bottom=48) if layout.narrow else Box(left=160, top=8, right=64, bottom=48)
    size = Size(layout.width, box.top + step * count + box.bottom)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    low, high = limits
    charts.log_across(ax, low, high)
    ax.set_ylim(step * count, 0)
    ticks = log_ticks(low, high, 5 if layout.narrow else 9)
    charts.ticks_below(ax, ticks, [amount(t) for t in ticks])
    charts.write_below(ax, f"{currency}, log scale: equal steps are equal factors", 28)
    return Canvas(figure, ax)


def draw_ranges(ax: Axes, ranges: Ranges, y: float, half: float, limits: tuple[float, float]) -> None:
    """One sale light, the market level dark, the typical price a bar across both."""
    ax.plot(limits, [y, y], color=RULE, linewidth=0.7, zorder=0)
    if ranges.low is not None and ranges.high is not None:
        ax.fill_between([ranges.low, ranges.high], y - half, y + half, color=SKY, alpha=0.3, linewidth=0, gid="range")
    if ranges.level_low is not None and ranges.level_high is not None:
        ax.fill_between([ranges.level_low, ranges.level_high], y - half, y + half, color=BLUE, alpha=0.55, linewidth=0,
                        gid="level")  # fmt: skip
    ax.plot([ranges.typical] * 2, [y - half - 2, y + half + 2], color=INK, linewidth=2.2, gid="typical",
            solid_capstyle="butt")  # fmt: skip


Drawn = TypeVar("Drawn")


def thinned(
    rows: Sequence[Drawn], most: int, unusual: Callable[[Drawn], bool], size: Callable[[Drawn], float]
) -> tuple[Drawn, ...]:
    """At most so many of the rows, in their own order: the unusual ones as far as they fit, then rows evenly spaced by
    size, so that the spread of what is drawn is the spread of all."""
    if len(rows) <= most:
        return tuple(rows)
    numbered = list(enumerate(rows))
    kept = [i for i, row in numbered if unusual(row)][:most]
    usual = [i for i, row in sorted(numbered, key=lambda pair: (size(pair[1]), pair[0])) if not unusual(row)]
    room = min(most - len(kept), len(usual))
    kept += [usual[(2 * k + 1) * len(usual) // (2 * room)] for k in range(room)]
    return tuple(rows[i] for i in sorted(kept))
