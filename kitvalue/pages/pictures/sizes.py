"""Our kit and a typical original at the door, over the number of drums: what a customer is shown."""

from __future__ import annotations

from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Box, Figure, Size
from kitvalue.pages.palette import BLUE, INK, ORANGE, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import linear_ticks, spread

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


def tick_values(sizes: tuple[SizeSeen, ...]) -> tuple[float, ...]:
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
