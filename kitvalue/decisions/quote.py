"""The webshop price of a build: floor, cap, resale and what they come to."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from kitvalue.decisions.original import as_money, landed
from kitvalue.intake.plan import Plan
from kitvalue.intake.problems import FileError
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.asking import sale_at
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import PartlyKnown, cents, down_to_step, percent, up_to_step

Binding = Literal["cap", "resale", "floor"]


@dataclass(frozen=True, slots=True)
class Quote:
    """Gross money to the cent.

    `floor` leaves the shop's margin; `cap` leaves a customer indifferent to an original at the door; `resale` is what
    the market pays for such a kit; `market_price` the smaller of the two. `binding` says what sets `suggested`.
    """

    floor: Decimal
    cap: Decimal
    resale: Decimal
    market_price: Decimal
    profit_at_market: Decimal
    suggested: Decimal
    binding: Binding
    landed_at_price: Decimal
    original_landed: Decimal


def quote_of(plan: Plan, sheet: CostSheet, original: Outlook, finished: Outlook, repair: Decimal) -> Quote:
    """The quote for a costed build; `repair` is what the original of this size needs."""
    side, terms = sheet.chosen, sheet.terms
    if side.floor is None:
        raise FileError(f"route {side.route} is not open: {side.reason}")
    original_landed = cents(landed(plan.original, as_money(original.typical), repair))
    cap = original_landed - terms.freight
    resale = cents(as_money(finished.typical) * percent(plan.finished.share))
    market = min(cap, resale)
    suggested, binding = _suggest(side.floor, cap, resale, terms.step)
    return Quote(
        floor=side.floor,
        cap=cap,
        resale=resale,
        market_price=market,
        profit_at_market=sale_at(market, side.net_cost, side.purchase, terms, side.route).profit,
        suggested=suggested,
        binding=binding,
        landed_at_price=suggested + terms.freight,
        original_landed=original_landed,
    )


def asked(sheet: CostSheet, quote: Quote, figure: Decimal) -> PartlyKnown:
    """A figure that comes from the suggested price: it rests on the cost where the floor sets that price."""
    return sheet.resting(figure) if quote.binding == "floor" else PartlyKnown(figure)


def _suggest(floor: Decimal, cap: Decimal, resale: Decimal, step: Decimal) -> tuple[Decimal, Binding]:
    market = min(cap, resale)
    if market < floor:
        return cents(up_to_step(floor, step)), "floor"
    rounded = down_to_step(market, step)
    return cents(rounded if rounded >= floor else market), "cap" if cap <= resale else "resale"
