"""Foretold prices held against real ones: how far each kit lies from what the other rows say of it."""

from __future__ import annotations

from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Box, Figure, Size
from kitvalue.pages.palette import FADED, INK, RULE, SKY, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import clamped, log_ticks
from kitvalue.pages.words import amount, change, count

REACH = 1.12
RATIOS = (0.5, 2 / 3, 0.8, 1.0, 1.25, 1.5, 2.0)  # of seen to foretold
LOWEST, HIGHEST = 0.42, 2.4


@dataclass(frozen=True, slots=True)
class Foretold:
    """One row: its price as the other rows tell it, and the price seen. Money."""

    row: int
    series: str
    foretold: float
    seen: float
    unusual: bool

    @property
    def ratio(self) -> float:
        """Seen over foretold."""
        return self.seen / self.foretold


@dataclass(frozen=True, slots=True)
class ForetoldPicture:
    """The rows drawn. `half` is the median error, percent; `span` holds nearly all foretold prices, money."""

    currency: str
    rows: tuple[Foretold, ...]
    half: float
    span: tuple[float, float]

    @property
    def limits(self) -> tuple[float, float]:
        """The axis of foretold prices."""
        return self.span[0] / REACH, self.span[1] * REACH


def foretold_figure(picture: ForetoldPicture, layout: Layout) -> Figure:
    """Draw a dot a row, the line of no error, and the band that holds every second kit."""
    size = Size(layout.width, 330 if layout.narrow else 350)
    box = Box(left=58, top=30, right=14, bottom=50)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    low, high = picture.limits
    charts.log_across(ax, low, high)
    charts.log_upwards(ax, LOWEST, HIGHEST)
    charts.ticks_beside(ax, RATIOS, [change(100 * (r - 1), 0) for r in RATIOS])
    ticks = log_ticks(low, high, 5 if layout.narrow else 9)
    charts.ticks_below(ax, ticks, [amount(t) for t in ticks])
    charts.write_below(ax, f"foretold price, {picture.currency}, log scale", 28)
    charts.write(ax, (low, HIGHEST), "price seen against the foretold one", shift=(-52, 14), colour=FADED)
    half = picture.half / 100
    if half < 1:
        ax.fill_between([low, high], 1 / (1 + half), 1 / (1 - half), color=SKY, alpha=0.3, linewidth=0, zorder=0.5,
                        gid="half")  # fmt: skip
    ax.plot([low, high], [1, 1], color=INK, linewidth=1, gid="even")
    _dots(ax, picture)
    return figure


def _dots(ax: Axes, picture: ForetoldPicture) -> None:
    low, high = picture.limits
    inside = [r for r in picture.rows if LOWEST <= r.ratio <= HIGHEST]
    for rows, gid, colour, width, across in (
        ([r for r in inside if not r.unusual], "seen", INK, 0.8, 5.0),
        ([r for r in inside if r.unusual], "unusual", VERMILLION, 1.8, 9.0),
    ):
        ax.plot([clamped(r.foretold, low, high) for r in rows], [r.ratio for r in rows], "o", color=colour,
                markersize=across, markerfacecolor="none", markeredgewidth=width, gid=gid)  # fmt: skip
    for edge, marker in ((LOWEST, "v"), (HIGHEST, "^")):
        beyond = [r for r in picture.rows if (r.ratio < LOWEST if marker == "v" else r.ratio > HIGHEST)]
        if beyond:
            _at_edge(ax, beyond, edge, marker, (low, high))


def _at_edge(ax: Axes, beyond: list[Foretold], edge: float, marker: str, limits: tuple[float, float]) -> None:
    """Arrows at the edge; the furthest says how far."""
    ax.plot([clamped(r.foretold, *limits) for r in beyond], [edge] * len(beyond), marker, markersize=8,
            color=VERMILLION, clip_on=False, linestyle="none", gid="beyond")  # fmt: skip
    furthest = max(beyond, key=lambda r: abs(r.ratio - 1)) if marker == "^" else min(beyond, key=lambda r: r.ratio)
    x = clamped(furthest.foretold, *limits)
    late = x > (limits[0] * limits[1]) ** 0.5
    others = f", {count(len(beyond) - 1, 'more', 'more')}" if len(beyond) > 1 else ""
    text = f"row {furthest.row}: seen {amount(furthest.seen)}{others}"
    shift = (-9 if late else 9, 15 if marker == "v" else -15)
    charts.write(ax, (x, edge), text, shift=shift, size=11.5, anchor="right" if late else "left")
    ax.plot(limits, [edge, edge], color=RULE, linewidth=0.7, zorder=0)
