"""The price book by series: one strip a series, a dot a row, on a log axis of money."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Figure
from kitvalue.pages.palette import FADED, INK, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import bounds, clamped
from kitvalue.pages.pictures.strips import Ranges, draw_ranges, strip_canvas
from kitvalue.pages.words import amount, count, short

REACH = 1.3  # how far the axis goes past the outermost range
GOLDEN = 0.618034  # successive multiples fill an interval evenly: dots of one strip lie apart, the same on every run


@dataclass(frozen=True, slots=True)
class Sighting:
    """One row: its price as seen, and the same brought to the kit that the strips are drawn for."""

    row: int
    series: str
    pieces: float
    condition: float
    seen_on: date | None
    paid: float
    adjusted: float
    unusual: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """One series. The ranges are None where the prices follow a formula exactly."""

    series: str
    rows: int
    typical: float
    low: float | None
    high: float | None
    level_low: float | None
    level_high: float | None
    sightings: tuple[Sighting, ...]

    @property
    def core(self) -> tuple[float, float]:
        """What must be inside the axis."""
        return (self.low or self.typical, self.high or self.typical)


@dataclass(frozen=True, slots=True)
class MarketPicture:
    """The strips from the dearest down, and how many further series are left to the table."""

    currency: str
    strips: tuple[Strip, ...]
    series_left: int

    @property
    def limits(self) -> tuple[float, float]:
        """The axis: the ranges decide, not one far price."""
        return bounds([s.core for s in self.strips], REACH)


def market_figure(picture: MarketPicture, layout: Layout) -> Figure:
    """Draw the strips. The height follows from their number, which the caller bounds."""
    step = 52.0 if layout.narrow else 36.0
    low, high = picture.limits
    canvas = strip_canvas(len(picture.strips), step, (low, high), picture.currency, layout)
    ax = canvas.axes
    for place, strip in enumerate(picture.strips):
        if layout.narrow:
            _label_above(ax, strip, place * step, (low, high))
            _draw(ax, strip, place * step + 34, (low, high))
        else:
            _label_beside(ax, strip, (place + 0.5) * step, (low, high))
            _draw(ax, strip, (place + 0.5) * step, (low, high))
    return canvas.figure


def _label_beside(ax: Axes, strip: Strip, y: float, limits: tuple[float, float]) -> None:
    low, high = limits
    charts.write(ax, (low, y), short(strip.series, 20), shift=(-12, 6), anchor="right")
    charts.write(ax, (low, y), count(strip.rows, "row"), shift=(-12, -9), anchor="right", colour=FADED, size=11)
    charts.write(ax, (high, y), amount(strip.typical), shift=(12, 0), bold=True)


def _label_above(ax: Axes, strip: Strip, top: float, limits: tuple[float, float]) -> None:
    low, high = limits
    charts.write(ax, (low, top + 11), f"{short(strip.series, 22)}, {count(strip.rows, 'row')}")
    charts.write(ax, (high, top + 11), amount(strip.typical), anchor="right", bold=True)


def _draw(ax: Axes, strip: Strip, y: float, limits: tuple[float, float]) -> None:
    ranges = Ranges(strip.typical, strip.low, strip.high, strip.level_low, strip.level_high)
    draw_ranges(ax, ranges, y, 11, limits)
    _dots(ax, strip, y, limits)


def _dots(ax: Axes, strip: Strip, y: float, limits: tuple[float, float]) -> None:
    """A dot a row; one beyond the axis is an arrow at its edge, the furthest with its price."""
    low, high = limits
    heights = [y + 8 * (2 * ((k * GOLDEN) % 1.0) - 1) for k in range(len(strip.sightings))]
    placed = list(zip(strip.sightings, heights, strict=True))
    inside = [(s, at) for s, at in placed if low <= s.adjusted <= high]
    ax.plot([s.adjusted for s, _ in inside], [at for _, at in inside], "o", markersize=4.6, markerfacecolor="none",
            markeredgecolor=INK, markeredgewidth=0.8, alpha=0.75, gid="seen")  # fmt: skip
    ringed = [(clamped(s.adjusted, low, high), at) for s, at in inside if s.unusual]
    ax.plot([x for x, _ in ringed], [at for _, at in ringed], "o", markersize=11, markerfacecolor="none",
            markeredgecolor=VERMILLION, markeredgewidth=1.8, gid="unusual")  # fmt: skip
    for edge, marker, side in ((low, "<", "left"), (high, ">", "right")):
        beyond = [s for s in strip.sightings if (s.adjusted < low if side == "left" else s.adjusted > high)]
        if beyond:
            _at_edge(ax, beyond, y, edge, marker)


def _at_edge(ax: Axes, beyond: list[Sighting], y: float, edge: float, marker: str) -> None:
    ax.plot([edge], [y], marker, markersize=8, color=VERMILLION, clip_on=False, gid="beyond")
    furthest = beyond[0].adjusted
    for s in beyond:
        if (s.adjusted < furthest) if marker == "<" else (s.adjusted > furthest):
            furthest = s.adjusted
    others = f" and {count(len(beyond) - 1, 'more', 'more')}" if len(beyond) > 1 else ""
    left = marker == "<"
    charts.write(ax, (edge, y), f"{amount(furthest)}{others}", shift=(10 if left else -10, 0), size=11.5,
                 anchor="left" if left else "right")  # fmt: skip
