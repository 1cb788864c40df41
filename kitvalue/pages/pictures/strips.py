"""Strips on one log scale of money: what the market picture and the offers picture share."""

from __future__ import annotations

from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Box, Figure, Size
from kitvalue.pages.palette import BLUE, INK, RULE, SKY
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import log_ticks
from kitvalue.pages.words import amount


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
