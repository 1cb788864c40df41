"""Originals at the door as dots, each as likely as the next, and our own price among them.

A quantile dotplot: people count dots better than they read areas (Kay, Kola, Hullman and Munson 2016, CHI; from
memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import Box, Figure, Size
from kitvalue.pages.palette import BLUE, INK, ORANGE, PAPER, RULE, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import linear_ticks

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
