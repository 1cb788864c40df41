"""What a tenth more or less of one thing does to the profit, the strongest first."""

from __future__ import annotations

from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Box, Figure, Size
from kitvalue.pages.palette import BLUE, FADED, INK, ORANGE
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import linear_ticks
from kitvalue.pages.words import number, short


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
