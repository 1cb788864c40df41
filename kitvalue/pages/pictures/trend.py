"""How prices have moved: every dated row against today's level, and the yearly effect through them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Box, Figure, Size
from kitvalue.pages.palette import BLUE, FADED, INK, RULE, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import clamped
from kitvalue.pages.words import change

RATIOS = (0.5, 2 / 3, 0.8, 1.0, 1.25, 1.5, 2.0)  # of seen to what such a kit fetches on the newest date
LOWEST, HIGHEST = 0.42, 2.4
STEPS = 40  # points along the band's edges


@dataclass(frozen=True, slots=True)
class Dated:
    """One row: its day, years before the newest (0 or less), and its price over today's level for such a kit."""

    row: int
    day: date
    years: float
    ratio: float
    unusual: bool


@dataclass(frozen=True, slots=True)
class TrendPicture:
    """The rows drawn and the effect of a year on the log price, with the ends of its 80 % range."""

    rows: tuple[Dated, ...]
    effect: float
    low: float
    high: float

    @property
    def first(self) -> float:
        """Years before the newest date at the left end."""
        return min(r.years for r in self.rows)


def trend_figure(picture: TrendPicture, layout: Layout) -> Figure:
    """Draw a dot a row, the yearly effect and its range, both through today's level."""
    size = Size(layout.width, 310 if layout.narrow else 330)
    box = Box(left=58, top=30, right=18, bottom=46)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    ax.set_xlim(picture.first * 1.03, -picture.first * 0.03)
    charts.log_upwards(ax, LOWEST, HIGHEST)
    charts.ticks_beside(ax, RATIOS, [change(100 * (r - 1), 0) for r in RATIOS])
    years = [-float(y) for y in range(int(-picture.first), -1, -1)]
    charts.ticks_below(ax, years, [_ago(y) for y in years])
    charts.write(ax, (ax.get_xlim()[0], HIGHEST), "price against today's level", shift=(-52, 14), colour=FADED)
    across = np.linspace(picture.first, 0.0, STEPS)
    ax.fill_between(across, np.exp(picture.low * across), np.exp(picture.high * across), color=BLUE, alpha=0.3,
                    linewidth=0, zorder=0.5, gid="band")  # fmt: skip
    ax.plot(across, np.exp(picture.effect * across), color=BLUE, linewidth=2.2, gid="effect")
    _dots(ax, picture)
    return figure


def _ago(years: float) -> str:
    if years == 0:
        return "newest"
    return f"{-years:.0f} year{'s' if years < -1 else ''} before"


def _dots(ax: Axes, picture: TrendPicture) -> None:
    inside = [r for r in picture.rows if LOWEST <= r.ratio <= HIGHEST]
    for rows, gid, colour, width, across in (
        ([r for r in inside if not r.unusual], "seen", INK, 0.8, 5.0),
        ([r for r in inside if r.unusual], "unusual", VERMILLION, 1.8, 9.0),
    ):
        ax.plot([r.years for r in rows], [r.ratio for r in rows], "o", color=colour, markersize=across,
                markerfacecolor="none", markeredgewidth=width, alpha=0.8, gid=gid)  # fmt: skip
    for edge, marker in ((LOWEST, "v"), (HIGHEST, "^")):
        beyond = [r for r in picture.rows if (r.ratio < LOWEST if marker == "v" else r.ratio > HIGHEST)]
        ax.plot([r.years for r in beyond], [clamped(r.ratio, LOWEST, HIGHEST) for r in beyond], marker, markersize=8,
                color=VERMILLION, clip_on=False, linestyle="none", gid="beyond")  # fmt: skip
        if beyond:
            ax.plot(ax.get_xlim(), [edge, edge], color=RULE, linewidth=0.7, zorder=0)
