"""What would have to change, one thing at a time, for the market price to leave the shop's margin."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

from kitvalue.decisions.quote import Quote
from kitvalue.decisions.situation import Situation
from kitvalue.decisions.solve import root_above
from kitvalue.workshop.charges import Lever, least_donor_scale
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import CENT, HUNDRED, ZERO, money_text


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way out. `value` is money for all donors together, hours, or percent of the finished series' price.

    Donors and hours are at most, share is at least; None where this alone is no way out, and the text says why.
    """

    name: Literal["donors", "hours", "share"]
    value: Decimal | None
    text: str


def ways_out(situation: Situation, sheet: CostSheet, quote: Quote) -> tuple[WayOut, ...]:
    """Donors at most, hours at most, share at least, each rounded to the side that still leaves the margin."""
    market = quote.market_price
    return (_donors(situation, market), _hours(situation, sheet.hours, market), _share(situation, quote))


def _donors(situation: Situation, market: Decimal) -> WayOut:
    planned = sum((c.amount or ZERO for c in situation.charges if c.lever is Lever.DONOR_PRICE), ZERO)
    if planned == 0:
        return WayOut("donors", None, "no donor is paid for, so none can be cheaper")

    def missing(scale: Decimal) -> Decimal:
        scaled = replace(situation, scales=replace(situation.scales, donors=scale))
        return scaled.price(situation.terms) - market

    least = least_donor_scale(situation.charges) if situation.route == "margin" else ZERO
    scale = root_above(missing, least, least + 1)
    if scale is None:
        return WayOut("donors", None, "no donor price is low enough by itself")
    value = (scale * planned).quantize(CENT, rounding=ROUND_FLOOR)
    return WayOut("donors", value, f"donors at most {money_text(value)} together (planned {money_text(planned)})")


def _hours(situation: Situation, planned: Decimal, market: Decimal) -> WayOut:
    if planned == 0:
        return WayOut("hours", None, "the plan has no hours, so none can be saved")

    def missing(scale: Decimal) -> Decimal:
        scaled = replace(situation, scales=replace(situation.scales, hours=scale))
        return scaled.price(situation.terms) - market

    scale = root_above(missing, ZERO, Decimal(1))
    if scale is None:
        return WayOut("hours", None, "no number of hours is low enough by itself")
    value = (scale * planned).quantize(CENT, rounding=ROUND_FLOOR)
    return WayOut("hours", value, f"hours at most {value} (planned {planned.normalize():f})")


def _share(situation: Situation, quote: Quote) -> WayOut:
    if quote.cap < quote.floor:
        cap = money_text(quote.cap)
        return WayOut("share", None, f"no share is high enough by itself: an original at the door leaves {cap}")
    if situation.finished_typical <= 0:
        return WayOut("share", None, "the finished kit has no price in the market")
    value = (quote.floor / situation.finished_typical * HUNDRED).quantize(CENT, rounding=ROUND_CEILING)
    planned = f"{(situation.share * HUNDRED).normalize():f}"
    return WayOut("share", value, f"share at least {value} % (planned {planned} %)")
