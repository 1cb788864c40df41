"""The build against an original of the same size, at the buyer's door, over the number of pieces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from kitvalue.pages import charts
from kitvalue.pages.charts import (
    BLACK,
    BLUE,
    FADED,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    RULE,
    SKY,
    VERMILLION,
    Axes,
    Box,
    Figure,
    Size,
)
from kitvalue.pages.pictures.frame import Layout, linear_ticks, spread
from kitvalue.pages.words import DASH, amount, number, short

HEADROOM = 1.1
MOST_STRETCH = 1.7  # a range may reach this far above the highest line; beyond it is cut and its end is written
MOST_TICKS = 14


@dataclass(frozen=True, slots=True)
class SizePoint:
    """One size; money at the buyer's door. `low` and `high` hold one sale of the original."""

    pieces: int
    at_cost: float
    at_price: float
    original: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class CrossingMark:
    """Where build at cost and typical original meet, in pieces, with the range that the market level gives it."""

    pieces: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class BreakEvenPicture:
    """The sizes in order, and every crossing."""

    currency: str
    points: tuple[SizePoint, ...]
    crossings: tuple[CrossingMark, ...]

    @property
    def top(self) -> float:
        """The axis ends here; the lines decide, a range only so far."""
        line = max(max(p.at_cost, p.at_price, p.original) for p in self.points)
        furthest = max((p.high for p in self.points if p.high is not None), default=line)
        return HEADROOM * max(line, min(furthest, MOST_STRETCH * line))

    @property
    def base(self) -> float:
        """The axis starts here: a little under the lowest line, at a round value."""
        lowest = min(min(p.at_cost, p.at_price, p.original, p.low or p.original) for p in self.points)
        step = linear_ticks(0, self.top, 7)[1]
        return max(0.0, math.floor(0.9 * lowest / step) * step)

    @property
    def cut(self) -> float | None:
        """The furthest end of a range that the axis cuts off."""
        furthest = max((p.high for p in self.points if p.high is not None), default=0.0)
        return furthest if furthest > self.top else None


def breakeven_figure(picture: BreakEvenPicture, layout: Layout) -> Figure:
    """Draw the three lines, the original's range of one sale and the crossings."""
    if layout.narrow:
        size, box = Size(layout.width, 380), Box(left=52, top=26, right=92, bottom=52)
    else:
        size, box = Size(layout.width, 430), Box(left=62, top=26, right=166, bottom=52)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    first, last = picture.points[0].pieces, picture.points[-1].pieces
    ax.set_xlim(first - 0.3, last + 0.15)
    ax.set_ylim(picture.base, picture.top)
    _ticks(ax, picture, layout)
    _range(ax, picture)
    _lines(ax, picture)
    _names(ax, picture, layout, size.height - box.top - box.bottom)
    for crossing in picture.crossings:
        _crossing(ax, picture, crossing)
    return figure


def _ticks(ax: Axes, picture: BreakEvenPicture, layout: Layout) -> None:
    values = linear_ticks(picture.base, picture.top, 7)
    charts.ticks_beside(ax, values, [number(v) for v in values])
    left, _ = ax.get_xlim()
    charts.write(ax, (left, picture.top), f"{picture.currency} at the buyer's door", shift=(-44, 14),
                 colour=INK)  # fmt: skip
    ks = [p.pieces for p in picture.points]
    every = -(-len(ks) // (8 if layout.narrow else MOST_TICKS))
    for k in ks[::every]:
        charts.write(ax, (k, picture.base), str(k), shift=(0, -8), anchor="center", level="top")
    middle = (ks[0] + ks[-1]) / 2
    charts.write(ax, (middle, picture.base), "pieces in the kit", shift=(0, -28), anchor="center", level="top")


def _range(ax: Axes, picture: BreakEvenPicture) -> None:
    ranged = [p for p in picture.points if p.low is not None and p.high is not None]
    ks, lows, highs = [p.pieces for p in ranged], [p.low or 0.0 for p in ranged], [p.high or 0.0 for p in ranged]
    if len(ranged) == 1:
        ax.plot(ks * 2, [lows[0], highs[0]], color=ORANGE, alpha=0.4, linewidth=14, solid_capstyle="butt", gid="range")
    elif ranged:
        ax.fill_between(ks, lows, highs, color=ORANGE, alpha=0.22, linewidth=0, gid="range")
    if picture.cut is not None:
        at = ranged[-1].pieces
        charts.write(ax, (at, picture.top), f"one sale up to {amount(picture.cut)} ↑", shift=(0, -9), anchor="right")


def _lines(ax: Axes, picture: BreakEvenPicture) -> None:
    ks = [p.pieces for p in picture.points]
    ax.plot(ks, [p.original for p in picture.points], color=VERMILLION, linewidth=2, linestyle=(0, (6, 3)), marker="D",
            markersize=6, gid="original")  # fmt: skip
    ax.plot(ks, [p.at_price for p in picture.points], color=BLACK, linewidth=1.6, linestyle=(0, (1.5, 2)), marker="s",
            markersize=5.5, gid="price")  # fmt: skip
    ax.plot(ks, [p.at_cost for p in picture.points], color=BLUE, linewidth=2.4, marker="o", markersize=6.5, gid="cost")


def _names(ax: Axes, picture: BreakEvenPicture, layout: Layout, height: float) -> None:
    """The lines' names at their right ends, moved apart where they would touch."""
    end = picture.points[-1]
    ends = (end.original, end.at_price, end.at_cost)
    names = ("typical original", "build at webshop price", "build at cost")
    if layout.narrow:
        names = ("typical", "build, at", "build, at")
    second = ("original", "its price", "its cost")
    units = height / (picture.top - picture.base)
    gap = 30.0 if layout.narrow else 17.0
    places = spread([e * units for e in ends], gap)
    for name, more, value, place, colour in zip(names, second, ends, places, (VERMILLION, BLACK, BLUE), strict=True):
        lift = place - value * units
        text_colour = INK if colour == VERMILLION else colour
        charts.write(ax, (end.pieces, value), name, shift=(13, lift + (7 if layout.narrow else 0)), colour=text_colour)
        if layout.narrow:
            charts.write(ax, (end.pieces, value), more, shift=(13, lift - 7), colour=text_colour)


def _crossing(ax: Axes, picture: BreakEvenPicture, crossing: CrossingMark) -> None:
    """A ring where the lines meet, and on the axis the range in pieces."""
    y = _cost_at(picture, crossing.pieces)
    ax.plot([crossing.pieces], [y], "o", markersize=15, markerfacecolor="none", markeredgecolor=PURPLE,
            markeredgewidth=2.2, zorder=5, gid="crossing")  # fmt: skip
    ax.plot([crossing.pieces] * 2, [picture.base, y], color=PURPLE, linewidth=1, linestyle=(0, (2, 2)), zorder=1)
    text = number(crossing.pieces, 1)
    if crossing.low is not None and crossing.high is not None:
        height = picture.base + 0.018 * (picture.top - picture.base)
        ax.plot([crossing.low, crossing.high], [height] * 2, color=PURPLE, linewidth=7, solid_capstyle="butt", zorder=4,
                gid="crossing-range")  # fmt: skip
        text = f"{text} ({number(crossing.low, 1)}{DASH}{number(crossing.high, 1)})"
    left, right = ax.get_xlim()
    late = crossing.pieces > (left + right) / 2
    charts.write(ax, (crossing.pieces, picture.base), f"even at {text}", shift=(-7 if late else 7, 22),
                 anchor="right" if late else "left")  # fmt: skip


def _cost_at(picture: BreakEvenPicture, pieces: float) -> float:
    """The build's cost between two sizes, straight."""
    for a, b in zip(picture.points, picture.points[1:], strict=False):
        if a.pieces <= pieces <= b.pieces:
            return a.at_cost + (b.at_cost - a.at_cost) * (pieces - a.pieces) / (b.pieces - a.pieces)
    return picture.points[-1].at_cost


Kind = Literal["cost", "sum", "due", "profit"]
FILLS: dict[Kind, str] = {"cost": SKY, "sum": INK, "due": ORANGE, "profit": GREEN}


@dataclass(frozen=True, slots=True)
class Step:
    """One bar, money: from `start` to `start + amount`, leftwards where something comes off. A sum starts at 0."""

    label: str
    start: float
    amount: float
    kind: Kind

    @property
    def end(self) -> float:
        """Where the next bar begins."""
        return self.start + self.amount


@dataclass(frozen=True, slots=True)
class CostPicture:
    """The bars in order, and the price the market gives (None where it is not known)."""

    currency: str
    steps: tuple[Step, ...]
    market_price: float | None

    @property
    def limits(self) -> tuple[float, float]:
        """The axis: from 0, or from the deepest loss, to the furthest end."""
        ends = [x for s in self.steps for x in (s.start, s.end)] + [self.market_price or 0.0]
        low, high = min(0.0, *ends), max(ends)
        return low * 1.05, high * 1.05 if high > 0 else 1.0


def costs_figure(picture: CostPicture, layout: Layout) -> Figure:
    """Draw the bars; their number is bounded by what a cost sheet has groups."""
    step = 40.0 if layout.narrow else 28.0
    box = Box(left=6, top=30, right=54, bottom=48) if layout.narrow else Box(left=160, top=30, right=72, bottom=48)
    size = Size(layout.width, box.top + step * len(picture.steps) + box.bottom)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    low, high = picture.limits
    ax.set_xlim(low, high)
    ax.set_ylim(step * len(picture.steps), 0)
    ticks = linear_ticks(low, high, 5 if layout.narrow else 8)
    charts.ticks_below(ax, ticks, [number(t) for t in ticks])
    charts.write_below(ax, picture.currency, 28)
    for place, bar in enumerate(picture.steps):
        y = place * step + (28 if layout.narrow else step / 2)
        _label(ax, bar, y, layout)
        _bar(ax, bar, y, 6 if layout.narrow else 8)
        if place + 1 < len(picture.steps):
            ax.plot([bar.end] * 2, [y, y + step], color=FADED, linewidth=0.7, zorder=1)
    if picture.market_price is not None:
        _market(ax, picture.market_price, step * len(picture.steps))
    return figure


def _label(ax: Axes, bar: Step, y: float, layout: Layout) -> None:
    low, high = ax.get_xlim()
    bold = bar.kind == "sum"
    if layout.narrow:
        charts.write(ax, (low, y - 17), short(bar.label, 30), bold=bold)
        charts.write(ax, (high, y), number(bar.amount), shift=(52, 0), anchor="right", bold=bold)
    else:
        charts.write(ax, (low, y), short(bar.label, 22), shift=(-12, 0), anchor="right", bold=bold)
        charts.write(ax, (high, y), number(bar.amount), shift=(70, 0), anchor="right", bold=bold)


def _bar(ax: Axes, bar: Step, y: float, half: float) -> None:
    """What adds is filled; what comes off is an outline."""
    takes = bar.amount < 0
    colour = VERMILLION if takes and bar.kind == "profit" else BLUE if takes else FILLS[bar.kind]
    ax.barh([y], [bar.amount], left=[bar.start], height=2 * half, facecolor="white" if takes else colour,
            edgecolor=colour, linewidth=1.4 if takes else 0, zorder=2, gid="bar")  # fmt: skip


def _market(ax: Axes, price: float, depth: float) -> None:
    low, high = ax.get_xlim()
    ax.plot([price] * 2, [0, depth], color=VERMILLION, linewidth=1.4, linestyle=(0, (5, 3)), zorder=2.5, gid="market")
    right = price > (low + high) / 2
    charts.write(ax, (price, 0), f"the market gives {number(price)}", shift=(4 if right else -4, 6), colour=INK,
                 anchor="right" if right else "left", level="baseline")  # fmt: skip
    ax.plot([low, low], [0, depth], color=RULE, linewidth=0.7, zorder=0)


@dataclass(frozen=True, slots=True)
class Swing:
    """One thing: the change of profit, money, when it is smaller and when it is larger; None where it cannot be."""

    name: str
    smaller: float | None
    larger: float | None


@dataclass(frozen=True, slots=True)
class SwingsPicture:
    """The swings, the strongest first."""

    currency: str
    swings: tuple[Swing, ...]

    @property
    def reach(self) -> float:
        """Half the axis, the same to both sides."""
        sizes = [abs(x) for s in self.swings for x in (s.smaller, s.larger) if x is not None]
        return 1.08 * max(sizes, default=1.0) or 1.0


def swings_figure(picture: SwingsPicture, layout: Layout) -> Figure:
    """Draw two bars a thing; their number is bounded by the unknowns that a comparison has."""
    step = 48.0 if layout.narrow else 32.0
    box = Box(left=14, top=8, right=14, bottom=48) if layout.narrow else Box(left=190, top=8, right=30, bottom=48)
    size = Size(layout.width, box.top + step * len(picture.swings) + box.bottom)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    ax.set_xlim(-picture.reach, picture.reach)
    ax.set_ylim(step * len(picture.swings), 0)
    ticks = linear_ticks(-picture.reach, picture.reach, 5 if layout.narrow else 9)
    charts.ticks_below(ax, ticks, [f"+{number(t)}" if t > 0 else number(t) for t in ticks])
    charts.write_below(ax, f"change of profit at the market price, {picture.currency}", 28)
    ax.plot([0, 0], [0, step * len(picture.swings)], color=INK, linewidth=1, zorder=1)
    for place, swing in enumerate(picture.swings):
        y = place * step + (32 if layout.narrow else step / 2)
        if layout.narrow:
            charts.write(ax, (-picture.reach, y - 20), short(swing.name, 34))
        else:
            charts.write(ax, (-picture.reach, y), short(swing.name, 27), shift=(-12, 0), anchor="right")
        _bars(ax, swing, y)
    return figure


def _bars(ax: Axes, swing: Swing, y: float) -> None:
    """Larger filled, smaller outlined."""
    if swing.larger is not None:
        ax.barh([y - 4.5], [swing.larger], height=8, facecolor=BLUE, edgecolor=BLUE, linewidth=1, zorder=2,
                gid="larger")  # fmt: skip
    if swing.smaller is not None:
        ax.barh([y + 5.5], [swing.smaller], height=8, facecolor="white", edgecolor=ORANGE, linewidth=1.6, zorder=2,
                gid="smaller")  # fmt: skip
    if swing.larger is None and swing.smaller is None:
        charts.write(ax, (0, y), "no tenth of it can be tried", shift=(8, 0), colour=FADED, size=11)
