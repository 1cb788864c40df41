"""How a price comes about: from the donors to the net cost, from there to the webshop price, one bar a step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Box, Figure, Size
from kitvalue.pages.palette import BLUE, FADED, GREEN, INK, ORANGE, RULE, SKY, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import linear_ticks
from kitvalue.pages.words import number, short

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
