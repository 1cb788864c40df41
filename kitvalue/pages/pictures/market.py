"""Pictures of the market on a log axis: strips by series and by offer, and each row against what was expected of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

import numpy as np

from kitvalue.market.fitted import SeriesEffect
from kitvalue.market.outlook import Outlook
from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, FADED, INK, RULE, SKY, VERMILLION, Axes, Box, Figure
from kitvalue.pages.figures import amount, change, count, exact
from kitvalue.pages.pictures.frame import Key, Layout, log_ticks
from kitvalue.pages.words import short

FURTHEST = 2.5  # how far beyond the range of one sale a ceiling may stretch the axis
GOLDEN = 0.618034  # successive multiples fill an interval evenly: dots of one strip lie apart, the same on every run
RATIOS = (0.5, 2 / 3, 0.8, 1.0, 1.25, 1.5, 2.0)  # of seen to expected
LOWEST, HIGHEST = 0.42, 2.4
STEPS = 40  # points along the band's edges
RING: Final = Key("ring", "unusual row")
RANGES: Final = (Key("typical", "typical price"), Key("level", "market level, 80 %"), Key("range", "one sale, 80 %"))


@dataclass(frozen=True, slots=True)
class Sighting:
    """One row of the book in a picture. `ratio` is its price over what is expected of such a kit; `at` the money that
    it comes to for the kit of the strips, the years before the newest date (0 or less), or the money expected."""

    row: int
    series: str
    pieces: float
    condition: float
    seen_on: date | None
    paid: float  # with the premium of a hammer price
    at: float
    ratio: float
    unusual: bool


def thinned(rows: Sequence[Sighting], most: int) -> tuple[Sighting, ...]:
    """At most so many of the rows, in their own order: the unusual ones as far as they fit, then rows evenly spaced by
    where they stand, so that the spread of what is drawn is the spread of all."""
    if len(rows) <= most:
        return tuple(rows)
    kept = [i for i, row in enumerate(rows) if row.unusual][:most]
    usual = sorted((i for i, row in enumerate(rows) if not row.unusual), key=lambda i: rows[i].at)
    room = min(most - len(kept), len(usual))
    kept += [usual[(2 * k + 1) * len(usual) // (2 * room)] for k in range(room)]
    return tuple(rows[i] for i in sorted(kept))


@dataclass(frozen=True, slots=True, eq=False)
class SeriesStrip:
    """One series, what the kit of the strips sells for in it, and the rows drawn."""

    series: SeriesEffect
    outlook: Outlook
    sightings: tuple[Sighting, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class OfferStrip:
    """One offer: what is asked (None: no price yet), the buy-in value, and up to what price it pays in its best use,
    None where there is none or it was not asked for. Money; of a lot at an auction all of it less its premium."""

    offer: str
    series: str
    asked: float | None
    outlook: Outlook
    stop_at: float | None = None
    bid: Decimal | None = None  # the price to stop at as it is bid

    @property
    def stop_words(self) -> str:
        """The price to stop at, as it stands beside its strip."""
        if self.bid is None:
            return "" if self.stop_at is None else "pass"
        return exact(self.bid)

    @property
    def against(self) -> float | None:
        """Asked against the buy-in value, percent."""
        return None if self.asked is None else 100 * (self.asked / self.outlook.typical - 1)

    @property
    def against_words(self) -> str:
        return "no price" if self.against is None else change(self.against, 0)

    @property
    def core(self) -> tuple[float, float]:
        """What must be inside the axis, money: the range of one sale, and the price to stop at as far as it is near."""
        low, high = _one_sale(self.outlook)
        paid = [] if self.stop_at is None else [self.stop_at]
        return max(min([low, *paid]), low / FURTHEST), min(max([high, *paid]), high * FURTHEST)


def _one_sale(outlook: Outlook) -> tuple[float, float]:
    return outlook.low or outlook.typical, outlook.high or outlook.typical


def market_figure(strips: Sequence[SeriesStrip], currency: str, layout: Layout) -> Figure:
    """Draw the strips. The height follows from their number, which the caller bounds."""
    step = 52.0 if layout.narrow else 36.0
    figure, ax = _strip_canvas([_one_sale(strip.outlook) for strip in strips], 1.3, step, currency, layout)
    low, high = ax.get_xlim()
    for place, strip in enumerate(strips):
        rows, typical = count(strip.series.rows, "row"), amount(strip.outlook.typical)
        if layout.narrow:
            y = place * step + 34
            charts.write(ax, (low, y - 23), f"{short(strip.series.name, 22)}, {rows}")
            charts.write(ax, (high, y - 23), typical, anchor="right", bold=True)
        else:
            y = (place + 0.5) * step
            charts.write(ax, (low, y), short(strip.series.name, 20), shift=(-12, 6), anchor="right")
            charts.write(ax, (low, y), rows, shift=(-12, -9), anchor="right", colour=FADED, size=11)
            charts.write(ax, (high, y), typical, shift=(12, 0), bold=True)
        _ranges(ax, strip.outlook, y, 11)
        _strip_dots(ax, strip.sightings, y)
    return figure


def _strip_canvas(
    cores: Sequence[tuple[float, float]], reach: float, step: float, currency: str, layout: Layout
) -> tuple[Figure, Axes]:
    """Room for the strips, names to the left or above, a figure to the right, the scale below. The axis goes `reach`
    times past what must be inside (`cores`, money): the ranges decide, not one far price."""
    box = Box(left=6, top=8, right=14, bottom=48) if layout.narrow else Box(left=160, top=8, right=64, bottom=48)
    figure, ax = charts.canvas(layout.width, step * len(cores), box)
    lows, highs = zip(*cores, strict=True)
    limits = min(lows) / reach, max(highs) * reach
    charts.log_axis(ax, "x", *limits)
    ax.set_ylim(step * len(cores), 0)
    charts.ticks(ax, "x", log_ticks(*limits, 5 if layout.narrow else 9), amount)
    charts.write_below(ax, f"{currency}, log scale: equal steps are equal factors")
    return figure, ax


def _ranges(ax: Axes, outlook: Outlook, y: float, half: float) -> None:
    """One sale light, the market level dark, the typical price a bar across both."""
    ax.plot(ax.get_xlim(), [y, y], color=RULE, linewidth=0.7, zorder=0)
    for low, high, colour, alpha, gid in (
        (outlook.low, outlook.high, SKY, 0.3, "range"),
        (outlook.level_low, outlook.level_high, BLUE, 0.55, "level"),
    ):
        if low is not None and high is not None:
            ax.fill_between([low, high], y - half, y + half, color=colour, alpha=alpha, linewidth=0, gid=gid)
    ax.plot([outlook.typical] * 2, [y - half - 2, y + half + 2], color=INK, linewidth=2.2, gid="typical",
            solid_capstyle="butt")  # fmt: skip


def _strip_dots(ax: Axes, sightings: Sequence[Sighting], y: float) -> None:
    """A dot a row; one beyond the axis is an arrow at its edge, the furthest with its price."""
    low, high = ax.get_xlim()
    heights = [y + 8 * (2 * ((k * GOLDEN) % 1.0) - 1) for k in range(len(sightings))]
    inside = [(s, at) for s, at in zip(sightings, heights, strict=True) if low <= s.at <= high]
    ax.plot([s.at for s, _ in inside], [at for _, at in inside], "o", markersize=4.6, markerfacecolor="none",
            markeredgecolor=INK, markeredgewidth=0.8, alpha=0.75, gid="seen")  # fmt: skip
    ringed = [(s.at, at) for s, at in inside if s.unusual]
    ax.plot([x for x, _ in ringed], [at for _, at in ringed], "o", markersize=11, markerfacecolor="none",
            markeredgecolor=VERMILLION, markeredgewidth=1.8, gid="unusual")  # fmt: skip
    under, over = sorted(s.at for s in sightings if s.at < low), sorted(s.at for s in sightings if s.at > high)
    for edge, marker, beyond in ((low, "<", under), (high, ">", over[::-1])):
        if beyond:
            ax.plot([edge], [y], marker, markersize=8, color=VERMILLION, clip_on=False, gid="beyond")
            others = f" and {count(len(beyond) - 1, 'more', 'more')}" if len(beyond) > 1 else ""
            charts.write(ax, (edge, y), f"{amount(beyond[0])}{others}", shift=(10 if marker == "<" else -10, 0),
                         size=11.5, anchor="left" if marker == "<" else "right")  # fmt: skip


def offers_figure(strips: Sequence[OfferStrip], currency: str, layout: Layout) -> Figure:
    """Draw the strips. The height follows from their number, which the caller bounds."""
    step = 46.0 if layout.narrow else 30.0
    figure, ax = _strip_canvas([strip.core for strip in strips], 1.25, step, currency, layout)
    low, high = ax.get_xlim()
    for place, strip in enumerate(strips):
        y = place * step + (32 if layout.narrow else step / 2)
        name = f"{short(strip.offer, 9)}  {short(strip.series, 22 if layout.narrow else 13)}"
        if layout.narrow:
            charts.write(ax, (low, y - 21), name)
            charts.write(ax, (high, y - 21), strip.stop_words, anchor="right", bold=True)
        else:
            charts.write(ax, (low, y), name, shift=(-12, 0), anchor="right")
            charts.write(ax, (high, y), strip.stop_words, shift=(12, 0), bold=True)
        _ranges(ax, strip.outlook, y, 7)
        _offer_marks(ax, strip, y)
    return figure


def _offer_marks(ax: Axes, strip: OfferStrip, y: float) -> None:
    """The price to stop at a ring, what is asked a diamond; either an arrow where the axis does not reach."""
    low, high = ax.get_xlim()
    if strip.stop_at is not None:
        inside, under = low <= strip.stop_at <= high, strip.stop_at < low
        ax.plot([min(max(strip.stop_at, low), high)], [y], "o" if inside else "<" if under else ">",
                markersize=7.5 if inside else 9, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.5,
                clip_on=inside, gid="stop" if inside else "stop-beyond")  # fmt: skip
    if strip.asked is None:
        return
    if low <= strip.asked <= high:
        ax.plot([strip.asked], [y], "D", markersize=7.5, markerfacecolor=VERMILLION, markeredgecolor="white",
                markeredgewidth=1, gid="asked")  # fmt: skip
        return
    under = strip.asked < low
    edge = low if under else high
    ax.plot([edge], [y], "<" if under else ">", markersize=9, color=VERMILLION, clip_on=False, gid="beyond")
    charts.write(ax, (edge, y), amount(strip.asked), shift=(10 if under else -10, 0), size=11.5,
                 anchor="left" if under else "right", colour=FADED)  # fmt: skip


def trend_figure(rows: Sequence[Sighting], effect: float, reach: float, layout: Layout) -> Figure:
    """Draw a dot a row, and through today's level a year's effect on the log price, give or take its `reach`."""
    box = Box(left=58, top=30, right=18, bottom=46)
    figure, ax = charts.canvas(layout.width, 234 if layout.narrow else 254, box)
    first = min(s.at for s in rows)
    ax.set_xlim(first * 1.03, -first * 0.03)
    _ratio_axis(ax)
    years = range(int(first), 1)
    charts.ticks(ax, "x", years, lambda y: f"{-y:.0f} year{'s' if y < -1 else ''} before" if y else "newest")
    charts.write(ax, (ax.get_xlim()[0], HIGHEST), "price against today's level", shift=(-52, 14), colour=FADED)
    across = np.linspace(first, 0.0, STEPS)
    low, high = (np.exp(end * across) for end in (effect - reach, effect + reach))
    ax.fill_between(across, low, high, color=BLUE, alpha=0.3, linewidth=0, zorder=0.5, gid="band")
    ax.plot(across, np.exp(effect * across), color=BLUE, linewidth=2.2, gid="effect")
    _ratio_dots(ax, rows, alpha=0.8)
    return figure


def predicted_figure(
    rows: Sequence[Sighting], median_ape: float, limits: tuple[float, float], currency: str, layout: Layout
) -> Figure:
    """Draw a dot a row, the line of no error, and the band that holds every second kit; `limits` of the axis, money."""
    box = Box(left=58, top=30, right=14, bottom=50)
    figure, ax = charts.canvas(layout.width, 250 if layout.narrow else 270, box)
    low, high = limits
    charts.log_axis(ax, "x", low, high)
    _ratio_axis(ax)
    charts.ticks(ax, "x", log_ticks(low, high, 5 if layout.narrow else 9), amount)
    charts.write_below(ax, f"predicted price, {currency}, log scale")
    charts.write(ax, (low, HIGHEST), "price seen against the predicted one", shift=(-52, 14), colour=FADED)
    half = median_ape / 100
    if half < 1:
        ax.fill_between([low, high], 1 / (1 + half), 1 / (1 - half), color=SKY, alpha=0.3, linewidth=0, zorder=0.5,
                        gid="half")  # fmt: skip
    ax.plot([low, high], [1, 1], color=INK, linewidth=1, gid="even")
    _ratio_dots(ax, rows, named=True)
    return figure


def _ratio_axis(ax: Axes) -> None:
    charts.log_axis(ax, "y", LOWEST, HIGHEST)
    charts.ticks(ax, "y", RATIOS, lambda ratio: change(100 * (ratio - 1), 0))


def _ratio_dots(ax: Axes, sightings: Sequence[Sighting], alpha: float | None = None, named: bool = False) -> None:
    """A dot a row, the unusual ones large; arrows at the edge for those beyond, the furthest `named` by its row."""
    low, high = ax.get_xlim()
    inside = [s for s in sightings if LOWEST <= s.ratio <= HIGHEST]
    for rows, gid, colour, width, across in (
        ([s for s in inside if not s.unusual], "seen", INK, 0.8, 5.0),
        ([s for s in inside if s.unusual], "unusual", VERMILLION, 1.8, 9.0),
    ):
        ax.plot(np.clip([s.at for s in rows], low, high), [s.ratio for s in rows], "o", color=colour,
                markersize=across, markerfacecolor="none", markeredgewidth=width, alpha=alpha, gid=gid)  # fmt: skip
    under, over = [s for s in sightings if s.ratio < LOWEST], [s for s in sightings if s.ratio > HIGHEST]
    for edge, marker, beyond, lift in ((LOWEST, "v", under, 15), (HIGHEST, "^", over, -15)):
        if not beyond:
            continue
        ax.plot(np.clip([s.at for s in beyond], low, high), [edge] * len(beyond), marker, markersize=8,
                color=VERMILLION, clip_on=False, linestyle="none", gid="beyond")  # fmt: skip
        if named:
            furthest = max(beyond, key=lambda s: abs(s.ratio - 1))
            x = min(max(furthest.at, low), high)
            late = x > (low * high) ** 0.5
            others = f", {count(len(beyond) - 1, 'more', 'more')}" if len(beyond) > 1 else ""
            charts.write(ax, (x, edge), f"row {furthest.row}: seen {amount(furthest.paid)}{others}", size=11.5,
                         shift=(-9 if late else 9, lift), anchor="right" if late else "left")  # fmt: skip
        ax.plot((low, high), [edge, edge], color=RULE, linewidth=0.7, zorder=0)
