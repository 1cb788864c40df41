"""Originals at the door as dots, each as likely as the next, and our own price among them.

A quantile dotplot: people count dots better than they read areas (Kay, Kola, Hullman and Munson 2016, CHI; from
memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, FADED, INK, ORANGE, PAPER, RULE, VERMILLION, Axes, Box, Figure, Size
from kitvalue.pages.pictures.frame import Layout, Ranges, bounds, draw_ranges, linear_ticks, spread, strip_canvas
from kitvalue.pages.words import amount, change, short

DOT = 22.0  # a dot and the gap to the next, units
ROOM = 0.09  # of the axis, free at either end


@dataclass(frozen=True, slots=True)
class OriginalsPicture:
    """Prices at the door, money, in rising order; `ours` is the kit's own, `axis` and `label` are ready texts."""

    dots: tuple[float, ...]
    ours: float
    axis: str
    label: str
    ticks: tuple[tuple[float, str], ...]

    @property
    def left(self) -> int:
        """How many dots lie below our price."""
        return sum(dot < self.ours for dot in self.dots)


@dataclass(frozen=True, slots=True)
class Placed:
    """One dot: its column's middle, money, and its place above the axis, 0 the lowest."""

    value: float
    floor: int


def span_of(dots: tuple[float, ...], ours: float) -> tuple[float, float]:
    """The axis: every dot and our price, with room at the ends."""
    low, high = min(*dots, ours), max(*dots, ours)
    room = ROOM * (high - low) or 0.1 * high or 1.0
    return max(low - room, 0.0), high + room


def tick_values(dots: tuple[float, ...], ours: float, most: int) -> tuple[float, ...]:
    """Round values along the axis."""
    return linear_ticks(*span_of(dots, ours), most)


def stacked(picture: OriginalsPicture, width: float) -> tuple[Placed, ...]:
    """The dots in columns of their own width; a column never holds dots of both sides of our price."""
    low, high = span_of(picture.dots, picture.ours)
    step = DOT * (high - low) / width
    heights: dict[int, int] = {}
    placed = []
    for dot in picture.dots:
        column = math.floor((dot - picture.ours) / step)
        floor = heights.get(column, 0)
        heights[column] = floor + 1
        placed.append(Placed(picture.ours + (column + 0.5) * step, floor))
    return tuple(placed)


def originals_figure(picture: OriginalsPicture, layout: Layout) -> Figure:
    """Draw the dots, and a line at our price."""
    box = Box(left=12, top=30, right=12, bottom=46)
    width = layout.width - box.left - box.right
    placed = stacked(picture, width)
    tall = 1 + max(p.floor for p in placed)
    size = Size(layout.width, box.top + box.bottom + max(DOT * tall, 3 * DOT) + 8)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    low, high = span_of(picture.dots, picture.ours)
    height = size.height - box.top - box.bottom
    ax.set_xlim(low, high)
    ax.set_ylim(0, height)
    ax.plot([low, high], [0, 0], color=INK, linewidth=1, zorder=1)
    for value, text in picture.ticks[:: 2 if layout.narrow else 1]:
        ax.plot([value, value], [0, 5], color=RULE, linewidth=0.8, zorder=0)
        charts.write(ax, (value, 0), text, shift=(0, -7), anchor="center", level="top")
    charts.write(ax, ((low + high) / 2, 0), picture.axis, shift=(0, -27), anchor="center", level="top")
    for dot, place in zip(picture.dots, placed, strict=True):
        cheaper = dot < picture.ours
        ax.plot([place.value], [DOT * (place.floor + 0.5) + 3], "o", markersize=DOT - 5, markeredgewidth=1.6,
                markeredgecolor=VERMILLION if cheaper else BLUE, markerfacecolor=ORANGE if cheaper else PAPER,
                gid="less" if cheaper else "more")  # fmt: skip
    ax.plot([picture.ours] * 2, [0, height], color=INK, linewidth=2, gid="ours")
    late = picture.ours > (low + high) / 2
    charts.write(ax, (picture.ours, height), picture.label, shift=(-6 if late else 6, 10),
                 anchor="right" if late else "left", bold=True)  # fmt: skip
    return figure


MOST_STRETCH = 1.5  # a range may reach this far above the higher line
MOST_TICKS = 12


@dataclass(frozen=True, slots=True)
class SizeSeen:
    """One size; money at the buyer's door. `low` and `high` hold four in five originals, None without a range."""

    pieces: int
    ours: float
    original: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class SizesPicture:
    """The sizes in rising order and the ready texts."""

    sizes: tuple[SizeSeen, ...]
    axis: str
    across: str
    ours: str
    original: str
    ticks: tuple[tuple[float, str], ...]


def top_of(sizes: tuple[SizeSeen, ...]) -> float:
    """Where the axis ends: above the lines, and above the range as far as that is not out of all measure."""
    line = max(max(s.ours, s.original) for s in sizes)
    furthest = max((s.high for s in sizes if s.high is not None), default=line)
    return 1.06 * max(line, min(furthest, MOST_STRETCH * line))


def tick_values_sizes(sizes: tuple[SizeSeen, ...]) -> tuple[float, ...]:
    """Round values up the axis, from 0."""
    return linear_ticks(0.0, top_of(sizes), 6)


def sizes_figure(picture: SizesPicture, layout: Layout) -> Figure:
    """Draw both lines and the range; each line carries its name at its right end."""
    right = 84 if layout.narrow else 96
    size, box = Size(layout.width, 214 if layout.narrow else 250), Box(left=58, top=26, right=right, bottom=46)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    first, last = picture.sizes[0].pieces, picture.sizes[-1].pieces
    ax.set_xlim(first - 0.25, last + 0.12)
    ax.set_ylim(0, top_of(picture.sizes))
    charts.ticks_beside(ax, [v for v, _ in picture.ticks], [text for _, text in picture.ticks])
    charts.write(ax, (first - 0.25, top_of(picture.sizes)), picture.axis, shift=(-50, 14))
    ks = [s.pieces for s in picture.sizes]
    for k in ks[:: -(-len(ks) // MOST_TICKS)]:
        charts.write(ax, (k, 0), str(k), shift=(0, -7), anchor="center", level="top")
    charts.write(ax, ((first + last) / 2, 0), picture.across, shift=(0, -27), anchor="center", level="top")
    _lines(ax, picture)
    _names(ax, picture, (size.height - box.top - box.bottom) / top_of(picture.sizes))
    return figure


def _lines(ax: Axes, picture: SizesPicture) -> None:
    ks = [s.pieces for s in picture.sizes]
    ranged = [s for s in picture.sizes if s.low is not None and s.high is not None]
    if ranged:
        ax.fill_between([s.pieces for s in ranged], [s.low or 0.0 for s in ranged], [s.high or 0.0 for s in ranged],
                        color=ORANGE, alpha=0.24, linewidth=0, gid="range")  # fmt: skip
    ax.plot(ks, [s.original for s in picture.sizes], color=VERMILLION, linewidth=2, linestyle=(0, (6, 3)), marker="D",
            markersize=6, gid="original")  # fmt: skip
    ax.plot(ks, [s.ours for s in picture.sizes], color=BLUE, linewidth=2.4, marker="o", markersize=6.5, gid="ours")


def _names(ax: Axes, picture: SizesPicture, units: float) -> None:
    end = picture.sizes[-1]
    values = (end.original, end.ours)
    places = spread([v * units for v in values], 17.0)
    for name, value, place, colour in zip((picture.original, picture.ours), values, places, (INK, BLUE), strict=True):
        charts.write(ax, (end.pieces, value), name, shift=(12, place - value * units), colour=colour)


REACH = 1.25
FURTHEST = 2.5  # how far beyond the range of one sale a ceiling may stretch the axis


@dataclass(frozen=True, slots=True)
class OfferStrip:
    """One offer: asked, the buy-in value and its two ranges (None where prices follow a formula), and up to what price
    it pays. Money."""

    offer: str
    series: str
    asked: float
    typical: float
    low: float | None
    high: float | None
    level_low: float | None
    level_high: float | None
    ceiling: float | None = None  # of the best use; None where there is none or it was not asked for
    safe: float | None = None

    @property
    def against(self) -> float:
        """Asked against the buy-in value, percent."""
        return 100 * (self.asked / self.typical - 1)

    @property
    def core(self) -> tuple[float, float]:
        """What must be inside the axis."""
        low, high = self.low or self.typical, self.high or self.typical
        paid = [price for price in (self.ceiling, self.safe) if price is not None]
        return (max(min([low, *paid]), low / FURTHEST), min(max([high, *paid]), high * FURTHEST))


@dataclass(frozen=True, slots=True)
class OffersPicture:
    """The strips, cheapest against their value first."""

    currency: str
    strips: tuple[OfferStrip, ...]

    @property
    def limits(self) -> tuple[float, float]:
        """The axis: the ranges decide, not one absurd asking price."""
        return bounds([s.core for s in self.strips], REACH)


def offers_figure(picture: OffersPicture, layout: Layout) -> Figure:
    """Draw the strips. The height follows from their number, which the caller bounds."""
    step = 46.0 if layout.narrow else 30.0
    low, high = picture.limits
    canvas = strip_canvas(len(picture.strips), step, (low, high), picture.currency, layout)
    ax = canvas.axes
    for place, strip in enumerate(picture.strips):
        y = place * step + (32 if layout.narrow else step / 2)
        name = f"{short(strip.offer, 9)}  {short(strip.series, 13 if not layout.narrow else 22)}"
        if layout.narrow:
            charts.write(ax, (low, y - 21), name)
            charts.write(ax, (high, y - 21), change(strip.against, 0), anchor="right", bold=True)
        else:
            charts.write(ax, (low, y), name, shift=(-12, 0), anchor="right")
            charts.write(ax, (high, y), change(strip.against, 0), shift=(12, 0), bold=True)
        _draw(ax, strip, y, (low, high))
    return canvas.figure


def _draw(ax: Axes, strip: OfferStrip, y: float, limits: tuple[float, float]) -> None:
    ranges = Ranges(strip.typical, strip.low, strip.high, strip.level_low, strip.level_high)
    draw_ranges(ax, ranges, y, 7, limits)
    _draw_ceilings(ax, strip, y, limits)
    low, high = limits
    if low <= strip.asked <= high:
        ax.plot([strip.asked], [y], "D", markersize=7.5, markerfacecolor=VERMILLION, markeredgecolor="white",
                markeredgewidth=1, gid="asked")  # fmt: skip
        return
    under = strip.asked < low
    ax.plot([low if under else high], [y], "<" if under else ">", markersize=9, color=VERMILLION, clip_on=False,
            gid="beyond")  # fmt: skip
    charts.write(ax, (low if under else high, y), amount(strip.asked), shift=(10 if under else -10, 0), size=11.5,
                 anchor="left" if under else "right", colour=FADED)  # fmt: skip


def _draw_ceilings(ax: Axes, strip: OfferStrip, y: float, limits: tuple[float, float]) -> None:
    """The ceiling a square, the safe one a ring; what lies beyond the axis is in the table."""
    for price, marker, gid, size in ((strip.ceiling, "s", "ceiling", 6.5), (strip.safe, "o", "safe", 7.5)):
        if price is not None and limits[0] <= price <= limits[1]:
            ax.plot([price], [y], marker, markersize=size, markerfacecolor="white", markeredgecolor=INK,
                    markeredgewidth=1.5, gid=gid)  # fmt: skip
