"""Offers: what is asked against what such a kit sells for, one line an offer, on a log axis of money."""

from __future__ import annotations

from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.charts import Axes, Figure
from kitvalue.pages.palette import FADED, INK, VERMILLION
from kitvalue.pages.pictures.frame import Layout
from kitvalue.pages.pictures.scales import bounds
from kitvalue.pages.pictures.strips import Ranges, draw_ranges, strip_canvas
from kitvalue.pages.words import amount, change, short

REACH = 1.25
FURTHEST = 2.5  # how far beyond the range of one sale a ceiling may stretch the axis


@dataclass(frozen=True, slots=True)
class OfferStrip:
    """One offer: asked, the buy-in value and its two ranges (None where prices follow a formula), and up to what price
    it pays. Money."""

    offer: str
    series: str
    asked: float
    typical: float
    low: float | None
    high: float | None
    level_low: float | None
    level_high: float | None
    ceiling: float | None = None  # of the best use; None where there is none or it was not asked for
    safe: float | None = None

    @property
    def against(self) -> float:
        """Asked against the buy-in value, percent."""
        return 100 * (self.asked / self.typical - 1)

    @property
    def core(self) -> tuple[float, float]:
        """What must be inside the axis."""
        low, high = self.low or self.typical, self.high or self.typical
        paid = [price for price in (self.ceiling, self.safe) if price is not None]
        return (max(min([low, *paid]), low / FURTHEST), min(max([high, *paid]), high * FURTHEST))


@dataclass(frozen=True, slots=True)
class OffersPicture:
    """The strips, cheapest against their value first."""

    currency: str
    strips: tuple[OfferStrip, ...]

    @property
    def limits(self) -> tuple[float, float]:
        """The axis: the ranges decide, not one absurd asking price."""
        return bounds([s.core for s in self.strips], REACH)


def offers_figure(picture: OffersPicture, layout: Layout) -> Figure:
    """Draw the strips. The height follows from their number, which the caller bounds."""
    step = 46.0 if layout.narrow else 30.0
    low, high = picture.limits
    canvas = strip_canvas(len(picture.strips), step, (low, high), picture.currency, layout)
    ax = canvas.axes
    for place, strip in enumerate(picture.strips):
        y = place * step + (32 if layout.narrow else step / 2)
        name = f"{short(strip.offer, 9)}  {short(strip.series, 13 if not layout.narrow else 22)}"
        if layout.narrow:
            charts.write(ax, (low, y - 21), name)
            charts.write(ax, (high, y - 21), change(strip.against, 0), anchor="right", bold=True)
        else:
            charts.write(ax, (low, y), name, shift=(-12, 0), anchor="right")
            charts.write(ax, (high, y), change(strip.against, 0), shift=(12, 0), bold=True)
        _draw(ax, strip, y, (low, high))
    return canvas.figure


def _draw(ax: Axes, strip: OfferStrip, y: float, limits: tuple[float, float]) -> None:
    ranges = Ranges(strip.typical, strip.low, strip.high, strip.level_low, strip.level_high)
    draw_ranges(ax, ranges, y, 7, limits)
    _draw_ceilings(ax, strip, y, limits)
    low, high = limits
    if low <= strip.asked <= high:
        ax.plot([strip.asked], [y], "D", markersize=7.5, markerfacecolor=VERMILLION, markeredgecolor="white",
                markeredgewidth=1, gid="asked")  # fmt: skip
        return
    under = strip.asked < low
    ax.plot([low if under else high], [y], "<" if under else ">", markersize=9, color=VERMILLION, clip_on=False,
            gid="beyond")  # fmt: skip
    charts.write(ax, (low if under else high, y), amount(strip.asked), shift=(10 if under else -10, 0), size=11.5,
                 anchor="left" if under else "right", colour=FADED)  # fmt: skip


def _draw_ceilings(ax: Axes, strip: OfferStrip, y: float, limits: tuple[float, float]) -> None:
    """The ceiling a square, the safe one a ring; what lies beyond the axis is in the table."""
    for price, marker, gid, size in ((strip.ceiling, "s", "ceiling", 6.5), (strip.safe, "o", "safe", 7.5)):
        if price is not None and limits[0] <= price <= limits[1]:
            ax.plot([price], [y], marker, markersize=size, markerfacecolor="white", markeredgecolor=INK,
                    markeredgewidth=1.5, gid=gid)  # fmt: skip
