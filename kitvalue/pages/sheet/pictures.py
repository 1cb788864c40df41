"""The sheet's two pictures: our price among originals at the door, and both over the number of drums."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from kitvalue.decisions.breakeven import SizedBuild
from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, INK, ORANGE, RULE, VERMILLION, Box, Figure
from kitvalue.pages.figures import DASH
from kitvalue.pages.pictures.builds import pieces_below, ranges_of, size_lines, top_of
from kitvalue.pages.pictures.frame import Chart, Key, Layout, linear_ticks
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.tables import Row

DOT = 22.0  # a dot and the gap to the next, units
ROOM = 0.09  # of the axis, free at either end
MOST_TICKS = 8


def dots_chart(dots: Sequence[float], ours: float, price: str, below: int, t: Tongue) -> Chart:
    """Originals at the door, money in rising order, and our price among them, over so many of them."""
    rows = [Row((str(i), t.about(dot))) for i, dot in enumerate(dots, start=1)]
    return Chart(
        "dots",
        t.say("dots.title"),
        t.say("dots.description", ours=price, left=below),
        t.table("dots", "title", "number value", rows),
        partial(_dots_figure, dots, ours, price, t),
        (Key("less", t.say("dots.key_less")), Key("more", t.say("dots.key_more"))),
        t.say("dots.one_each"),
    )


def _span_of(dots: Sequence[float], ours: float) -> tuple[float, float]:
    """The axis: every dot and our price, with room at the ends."""
    low, high = min(*dots, ours), max(*dots, ours)
    room = ROOM * (high - low) or 0.1 * high or 1.0
    return max(low - room, 0.0), high + room


def stacked(dots: Sequence[float], ours: float, width: float) -> list[tuple[float, int]]:
    """The dots in columns of their own width, each its column's middle (money) and its place above the axis, 0 the
    lowest; a column never holds dots of both sides of our price."""
    low, high = _span_of(dots, ours)
    step = DOT * (high - low) / width
    heights: dict[int, int] = {}
    placed = []
    for dot in dots:
        column = math.floor((dot - ours) / step)
        heights[column] = heights.get(column, -1) + 1
        placed.append((ours + (column + 0.5) * step, heights[column]))
    return placed


def _dots_figure(dots: Sequence[float], ours: float, price: str, t: Tongue, layout: Layout) -> Figure:
    """A quantile dotplot, each dot as likely as the next: people count dots better than they read areas (Kay, Kola,
    Hullman and Munson 2016, CHI; from memory)."""
    box = Box(left=12, top=30, right=12, bottom=46)
    placed = stacked(dots, ours, layout.width - box.left - box.right)
    height = DOT * max(3, 1 + max(floor for _, floor in placed)) + 8
    figure, ax = charts.canvas(layout.width, height, box)
    low, high = _span_of(dots, ours)
    ax.set_xlim(low, high)
    ax.set_ylim(0, height)
    ax.plot([low, high], [0, 0], color=INK, linewidth=1, zorder=1)
    for value in linear_ticks(low, high, MOST_TICKS)[:: 2 if layout.narrow else 1]:
        ax.plot([value, value], [0, 5], color=RULE, linewidth=0.8, zorder=0)
        charts.write(ax, (value, 0), t.number(value, 2), shift=(0, -7), anchor="center", level="top")
    axis = t.say("dots.axis", currency=t.currency)
    charts.write(ax, ((low + high) / 2, 0), axis, shift=(0, -27), anchor="center", level="top")
    for dot, (middle, floor) in zip(dots, placed, strict=True):
        cheaper = dot < ours
        ax.plot([middle], [DOT * (floor + 0.5) + 3], "o", markersize=DOT - 5, markeredgewidth=1.6,
                markeredgecolor=VERMILLION if cheaper else BLUE, markerfacecolor=ORANGE if cheaper else charts.PAPER,
                gid="less" if cheaper else "more")  # fmt: skip
    ax.plot([ours] * 2, [0, height], color=INK, linewidth=2, gid="ours")
    late = ours > (low + high) / 2
    charts.write(ax, (ours, height), t.say("dots.ours", ours=price), shift=(-6 if late else 6, 10),
                 anchor="right" if late else "left", bold=True)  # fmt: skip
    return figure


def sizes_chart(sizes: Sequence[SizedBuild], t: Tongue) -> Chart:
    """Both over the number of drums, and in which sizes our kit is the cheaper one."""
    rows, cheaper = [], []
    for r in sizes:
        pieces, ours, original = str(r.sheet.pieces), r.quote.landed_at_price, r.quote.original_landed
        low, high = r.original_low, r.original_high
        within = DASH if low is None or high is None else f"{t.about(low)}{DASH}{t.about(high)}"
        rows.append(Row((pieces, t.about(ours), t.about(original), within)))
        cheaper += [pieces] if ours < original else []
    keys = [Key("cost", t.say("sizes.key_ours")), Key("original", t.say("sizes.key_original"))]
    keys += [Key("band", t.say("sizes.key_band"))] if ranges_of(sizes) else []
    which = "none" if not cheaper else "every" if len(cheaper) == len(sizes) else "some"
    ends = {"first": sizes[0].sheet.pieces, "last": sizes[-1].sheet.pieces}
    return Chart(
        "sizes",
        t.say("sizes.title"),
        t.say("sizes.description", **ends),
        t.table("sizes", "title", "pieces at_door original range", rows),
        partial(_sizes_figure, sizes, t),
        tuple(keys),
        words=t.say(f"sizes.{which}", sizes=t.listed(cheaper), **ends),
    )


def _sizes_figure(sizes: Sequence[SizedBuild], t: Tongue, layout: Layout) -> Figure:
    """Two lines over the original's range of one sale; each carries its name at its right end."""
    ks, ranged = [s.sheet.pieces for s in sizes], ranges_of(sizes)
    lines = {
        "original": [float(s.quote.original_landed) for s in sizes],
        "cost": [float(s.quote.landed_at_price) for s in sizes],
    }
    top = top_of(lines, ranged, 1.06, 1.5)
    tall, right = (142, 84) if layout.narrow else (178, 96)
    figure, ax = charts.canvas(layout.width, tall, Box(left=58, top=26, right=right, bottom=46))
    ax.set_xlim(ks[0] - 0.25, ks[-1] + 0.12)
    ax.set_ylim(0, top)
    charts.ticks(ax, "y", linear_ticks(0.0, top, 6), lambda value: t.number(value, 2))
    charts.write(ax, (ks[0] - 0.25, top), t.say("sizes.axis", currency=t.currency), shift=(-50, 14))
    pieces_below(ax, ks, 12, t.say("sizes.across"), 7)
    size_lines(ax, ks, lines, (t.say("sizes.typical"), t.say("sizes.ours")), ranged, 0.24, 12)
    return figure
