"""Pictures of a build: its cost bar by bar, what moves its profit, and how it stands against originals at the door."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

import numpy as np

from kitvalue.decisions.breakeven import Comparison, Crossing, SizedBuild
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, FADED, GREEN, INK, ORANGE, PURPLE, RULE, SKY, VERMILLION, Axes, Box, Figure
from kitvalue.pages.figures import DASH, amount, number
from kitvalue.pages.pictures.frame import Layout, linear_ticks, spread
from kitvalue.pages.words import capital, short
from kitvalue.workshop.costing import CostSheet

# Lines over the number of pieces, by the name under which they are drawn.
LINES: dict[str, dict[str, Any]] = {
    "original": {"color": VERMILLION, "linewidth": 2, "linestyle": (0, (6, 3)), "marker": "D", "markersize": 6},
    "price": {"color": charts.BLACK, "linewidth": 1.6, "linestyle": (0, (1.5, 2)), "marker": "s", "markersize": 5.5},
    "cost": {"color": BLUE, "linewidth": 2.4, "marker": "o", "markersize": 6.5},
}


def breakeven_figure(comparison: Comparison, layout: Layout) -> Figure:
    """Draw the build at cost and at its price, the original with its range of one sale, and the crossings."""
    rows, currency = comparison.by_pieces, comparison.sheet.currency
    ks = [r.sheet.pieces for r in rows]
    lines = {
        "original": [float(r.quote.original_landed) for r in rows],
        "price": [float(r.quote.landed_at_price) for r in rows],
        "cost": [float(r.quote.landed_at_cost) for r in rows],
    }
    ranged = ranges_of(rows)
    top = top_of(lines, ranged, 1.1, 1.7)
    lowest = min(*(min(values) for values in lines.values()), *(low for _, low, _ in ranged))
    step = linear_ticks(0, top, 7)[1]
    base = max(0.0, math.floor(0.9 * lowest / step) * step)  # a little under the lowest line, at a round value
    tall, box = 352, Box(left=62, top=26, right=166, bottom=52)
    names = ("typical original", "build at webshop price", "build at cost")
    if layout.narrow:
        tall, box = 302, Box(left=52, top=26, right=92, bottom=52)
        names = ("typical\noriginal", "build, at\nits price", "build, at\nits cost")
    figure, ax = charts.canvas(layout.width, tall, box)
    ax.set_xlim(ks[0] - 0.3, ks[-1] + 0.15)
    ax.set_ylim(base, top)
    charts.ticks(ax, "y", linear_ticks(base, top, 7), number)
    charts.write(ax, (ks[0] - 0.3, top), f"{currency} at the buyer's door", shift=(-44, 14))
    pieces_below(ax, ks, 8 if layout.narrow else 14, "pieces in the kit", 8)
    highest = max((high for _, _, high in ranged), default=top)
    if highest > top:
        charts.write(ax, (ranged[-1][0], top), f"one sale up to {amount(highest)} ↑", shift=(0, -9), anchor="right")
    size_lines(ax, ks, lines, names, ranged, 0.22, 13)
    for crossing in comparison.crossings.crossings:
        _crossing(ax, crossing, float(np.interp(crossing.pieces, ks, lines["cost"])))
    return figure


def ranges_of(rows: Sequence[SizedBuild]) -> list[tuple[int, float, float]]:
    """Pieces, low and high of one sale of an original at the door, where there is such a range."""
    return [
        (r.sheet.pieces, float(r.original_low), float(r.original_high))
        for r in rows
        if r.original_low is not None and r.original_high is not None
    ]


def top_of(
    lines: Mapping[str, Sequence[float]], ranged: Sequence[tuple[int, float, float]], headroom: float, stretch: float
) -> float:
    """Where an axis of money ends: above the lines, and above the ranges' high ends as far as these do not stretch it
    out of all measure."""
    line = max(max(values) for values in lines.values())
    return headroom * max(line, min(max((high for _, _, high in ranged), default=line), stretch * line))


def pieces_below(ax: Axes, ks: Sequence[int], most: int, name: str, under: float) -> None:
    """At most so many numbers of pieces along the bottom, and beneath them what they are."""
    bottom = ax.get_ylim()[0]
    for k in ks[:: -(-len(ks) // most)]:
        charts.write(ax, (k, bottom), str(k), shift=(0, -under), anchor="center", level="top")
    middle = (ks[0] + ks[-1]) / 2
    charts.write(ax, (middle, bottom), name, shift=(0, -under - 20), anchor="center", level="top")


def size_lines(
    ax: Axes, ks: Sequence[int], lines: Mapping[str, Sequence[float]], names: Sequence[str],
    ranged: Sequence[tuple[int, float, float]], alpha: float, right: float,
) -> None:  # fmt: skip
    """The lines over the original's range of one sale, (pieces, low, high) where there is one; their names so far
    right of their ends, in one row or two, moved apart where they would touch."""
    if len(ranged) == 1:
        k, *pair = ranged[0]
        ax.plot([k, k], pair, color=ORANGE, alpha=0.4, linewidth=14, solid_capstyle="butt", gid="range")
    elif ranged:
        sizes, lows, highs = zip(*ranged, strict=True)
        ax.fill_between(sizes, lows, highs, color=ORANGE, alpha=alpha, linewidth=0, gid="range")
    bottom, top = ax.get_ylim()
    units = ax.bbox.height / (top - bottom)
    places = spread([values[-1] * units for values in lines.values()], 30.0 if "\n" in names[0] else 17.0)
    for (kind, values), name, place in zip(lines.items(), names, places, strict=True):
        ax.plot(ks, values, gid=kind, **LINES[kind])
        texts = name.split("\n")
        lift = place - values[-1] * units + 7 * (len(texts) - 1)
        for row, text in enumerate(texts):
            charts.write(ax, (ks[-1], values[-1]), text, shift=(right, lift - 14 * row),
                         colour=INK if kind == "original" else LINES[kind]["color"])  # fmt: skip


def _crossing(ax: Axes, crossing: Crossing, cost: float) -> None:
    """A ring where the lines meet, and on the axis the range in pieces."""
    (base, top), (left, right), x = ax.get_ylim(), ax.get_xlim(), crossing.pieces
    ax.plot([x], [cost], "o", markersize=15, markerfacecolor="none", markeredgecolor=PURPLE,
            markeredgewidth=2.2, zorder=5, gid="crossing")  # fmt: skip
    ax.plot([x, x], [base, cost], color=PURPLE, linewidth=1, linestyle=(0, (2, 2)), zorder=1)
    text = f"even at {number(x, 1)}"
    if crossing.low is not None and crossing.high is not None:
        height = base + 0.018 * (top - base)
        ax.plot([crossing.low, crossing.high], [height] * 2, color=PURPLE, linewidth=7, solid_capstyle="butt", zorder=4,
                gid="crossing-range")  # fmt: skip
        text = f"{text} ({number(crossing.low, 1)}{DASH}{number(crossing.high, 1)})"
    late = x > (left + right) / 2
    charts.write(ax, (x, base), text, shift=(-7 if late else 7, 22), anchor="right" if late else "left")


FILLS = {"cost": SKY, "sum": INK, "due": ORANGE, "profit": GREEN}


@dataclass(frozen=True, slots=True)
class Step:
    """One bar, money: from `start` to `start + amount`, leftwards where something comes off. A sum starts at 0."""

    label: str
    start: float
    amount: float
    kind: Literal["cost", "sum", "due", "profit"]

    @property
    def end(self) -> float:
        """Where the next bar begins."""
        return self.start + self.amount


def cost_steps(sheet: CostSheet, pricing: PriceSheet | None) -> list[Step]:
    """Group by group to the net cost; where there is a price, on to it through fee, VAT and profit."""
    steps: list[Step] = []
    at = Decimal(0)
    for sub in sheet.subtotals():
        steps.append(Step(group_words(sub.group), float(at), float(sub.net), "cost"))
        at += sub.net
    steps.append(Step("Net cost", 0.0, float(sheet.net_cost), "sum"))
    if pricing is None:
        return steps
    sale = pricing.sale
    for label, due in (("Channel's fee", sale.fee), ("Reserve", sale.reserve), ("VAT", sale.vat)):
        if not due and label == "Reserve":
            continue
        steps.append(Step(label, float(at), float(due), "due"))
        at += due
    steps.append(Step("Profit" if sale.profit >= 0 else "Loss", float(at), float(sale.profit), "profit"))
    return [*steps, Step("Webshop price", 0.0, float(sale.gross), "sum")]


def group_words(group: str) -> str:
    """The group's name for people."""
    return "Surplus sold off" if group == "surplus" else str(group).capitalize()


def costs_figure(sheet: CostSheet, pricing: PriceSheet | None, layout: Layout) -> Figure:
    """Draw the bars; their number is bounded by what a cost sheet has groups."""
    steps, price = cost_steps(sheet, pricing), None if pricing is None else float(pricing.quote.market_price)
    ends = [0.0, price or 0.0, *(x for s in steps for x in (s.start, s.end))]
    low, high = min(ends) * 1.05, max(ends) * 1.05 or 1.0  # from 0, or from the deepest loss
    box = Box(left=6, top=30, right=54, bottom=48) if layout.narrow else Box(left=160, top=30, right=72, bottom=48)
    step = 40.0 if layout.narrow else 28.0
    depth = step * len(steps)
    figure, ax = charts.canvas(layout.width, depth, box)
    ax.set_xlim(low, high)
    ax.set_ylim(depth, 0)
    charts.ticks(ax, "x", linear_ticks(low, high, 5 if layout.narrow else 8), number)
    charts.write_below(ax, sheet.currency)
    for place, bar in enumerate(steps):
        y, bold = place * step + (28 if layout.narrow else step / 2), bar.kind == "sum"
        if layout.narrow:
            charts.write(ax, (low, y - 17), short(bar.label, 30), bold=bold)
        else:
            charts.write(ax, (low, y), short(bar.label, 22), shift=(-12, 0), anchor="right", bold=bold)
        right = 52 if layout.narrow else 70
        charts.write(ax, (high, y), number(bar.amount), shift=(right, 0), anchor="right", bold=bold)
        takes = bar.amount < 0  # what adds is filled; what comes off is an outline
        colour = VERMILLION if takes and bar.kind == "profit" else BLUE if takes else FILLS[bar.kind]
        ax.barh([y], [bar.amount], left=[bar.start], height=12 if layout.narrow else 16, edgecolor=colour,
                facecolor="white" if takes else colour, linewidth=1.4 if takes else 0, zorder=2, gid="bar")  # fmt: skip
        if place + 1 < len(steps):
            ax.plot([bar.end] * 2, [y, y + step], color=FADED, linewidth=0.7, zorder=1)
    if price is not None:
        late = price > (low + high) / 2
        ax.plot([price] * 2, [0, depth], color=VERMILLION, linewidth=1.4, linestyle=(0, (5, 3)), zorder=2.5,
                gid="market")  # fmt: skip
        charts.write(ax, (price, 0), f"the market gives {number(price)}", shift=(4 if late else -4, 6),
                     anchor="right" if late else "left", level="baseline")  # fmt: skip
        ax.plot([low, low], [0, depth], color=RULE, linewidth=0.7, zorder=0)
    return figure


def swings_figure(comparison: Comparison, layout: Layout) -> Figure:
    """Draw two bars an unknown, larger filled and smaller outlined; a comparison bounds their number."""
    unknowns = comparison.unknowns
    sizes = [abs(float(x)) for u in unknowns for x in (u.swing_down, u.swing_up) if x is not None]
    reach = 1.08 * max(sizes, default=1.0) or 1.0  # half the axis, the same to both sides
    step = 48.0 if layout.narrow else 32.0
    box = Box(left=14, top=8, right=14, bottom=48) if layout.narrow else Box(left=190, top=8, right=30, bottom=48)
    figure, ax = charts.canvas(layout.width, step * len(unknowns), box)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(step * len(unknowns), 0)
    ticks = linear_ticks(-reach, reach, 5 if layout.narrow else 9)
    charts.ticks(ax, "x", ticks, lambda tick: f"+{number(tick)}" if tick > 0 else number(tick))
    charts.write_below(ax, f"change of profit at the market price, {comparison.sheet.currency}")
    ax.plot([0, 0], [0, step * len(unknowns)], color=INK, linewidth=1, zorder=1)
    for place, unknown in enumerate(unknowns):
        y, name = place * step + (32 if layout.narrow else step / 2), capital(unknown.name)
        if layout.narrow:
            charts.write(ax, (-reach, y - 20), short(name, 34))
        else:
            charts.write(ax, (-reach, y), short(name, 27), shift=(-12, 0), anchor="right")
        for swing, lift, fill, edge, width, gid in (
            (unknown.swing_up, -4.5, BLUE, BLUE, 1.0, "larger"),
            (unknown.swing_down, 5.5, "white", ORANGE, 1.6, "smaller"),
        ):
            if swing is not None:
                ax.barh([y + lift], [float(swing)], height=8, facecolor=fill, edgecolor=edge, linewidth=width, zorder=2,
                        gid=gid)  # fmt: skip
        if unknown.swing_up is None and unknown.swing_down is None:
            charts.write(ax, (0, y), "no tenth of it can be tried", shift=(8, 0), colour=FADED, size=11)
    return figure
