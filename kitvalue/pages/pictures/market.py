"""The price book by series: one strip a series, a dot a row, on a log axis of money."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, FADED, INK, RULE, SKY, VERMILLION, Axes, Box, Figure, Size
from kitvalue.pages.pictures.frame import Layout, Ranges, bounds, clamped, draw_ranges, log_ticks, strip_canvas
from kitvalue.pages.words import amount, change, count, short

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
    _dots_trend(ax, picture)
    return figure


def _ago(years: float) -> str:
    if years == 0:
        return "newest"
    return f"{-years:.0f} year{'s' if years < -1 else ''} before"


def _dots_trend(ax: Axes, picture: TrendPicture) -> None:
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


REACH_FORETOLD = 1.12
RATIOS_FORETOLD = (0.5, 2 / 3, 0.8, 1.0, 1.25, 1.5, 2.0)  # of seen to foretold
LOWEST_FORETOLD, HIGHEST_FORETOLD = 0.42, 2.4


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
        return self.span[0] / REACH_FORETOLD, self.span[1] * REACH_FORETOLD


def foretold_figure(picture: ForetoldPicture, layout: Layout) -> Figure:
    """Draw a dot a row, the line of no error, and the band that holds every second kit."""
    size = Size(layout.width, 330 if layout.narrow else 350)
    box = Box(left=58, top=30, right=14, bottom=50)
    figure = charts.new_figure(size)
    ax = charts.axes_in(figure, size, box)
    low, high = picture.limits
    charts.log_across(ax, low, high)
    charts.log_upwards(ax, LOWEST_FORETOLD, HIGHEST_FORETOLD)
    charts.ticks_beside(ax, RATIOS_FORETOLD, [change(100 * (r - 1), 0) for r in RATIOS_FORETOLD])
    ticks = log_ticks(low, high, 5 if layout.narrow else 9)
    charts.ticks_below(ax, ticks, [amount(t) for t in ticks])
    charts.write_below(ax, f"foretold price, {picture.currency}, log scale", 28)
    charts.write(ax, (low, HIGHEST_FORETOLD), "price seen against the foretold one", shift=(-52, 14), colour=FADED)
    half = picture.half / 100
    if half < 1:
        ax.fill_between([low, high], 1 / (1 + half), 1 / (1 - half), color=SKY, alpha=0.3, linewidth=0, zorder=0.5,
                        gid="half")  # fmt: skip
    ax.plot([low, high], [1, 1], color=INK, linewidth=1, gid="even")
    _dots_foretold(ax, picture)
    return figure


def _dots_foretold(ax: Axes, picture: ForetoldPicture) -> None:
    low, high = picture.limits
    inside = [r for r in picture.rows if LOWEST_FORETOLD <= r.ratio <= HIGHEST_FORETOLD]
    for rows, gid, colour, width, across in (
        ([r for r in inside if not r.unusual], "seen", INK, 0.8, 5.0),
        ([r for r in inside if r.unusual], "unusual", VERMILLION, 1.8, 9.0),
    ):
        ax.plot([clamped(r.foretold, low, high) for r in rows], [r.ratio for r in rows], "o", color=colour,
                markersize=across, markerfacecolor="none", markeredgewidth=width, gid=gid)  # fmt: skip
    for edge, marker in ((LOWEST_FORETOLD, "v"), (HIGHEST_FORETOLD, "^")):
        below = marker == "v"
        beyond = [r for r in picture.rows if (r.ratio < LOWEST_FORETOLD if below else r.ratio > HIGHEST_FORETOLD)]
        if beyond:
            _at_edge_foretold(ax, beyond, edge, marker, (low, high))


def _at_edge_foretold(ax: Axes, beyond: list[Foretold], edge: float, marker: str, limits: tuple[float, float]) -> None:
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
