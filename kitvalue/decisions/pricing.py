"""What to ask for a finished kit: the floor its cost sets, the price the market gives, and which of them binds."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.cautions import PRICED_TO_TIE, market_cautions
from kitvalue.decisions.destinations import PlacePrice, place_prices
from kitvalue.decisions.original import repair_of
from kitvalue.decisions.quote import Quote, quote_of
from kitvalue.decisions.situation import situation_of
from kitvalue.decisions.ways_out import WayOut, ways_out
from kitvalue.intake.plan import Plan
from kitvalue.intake.shop import Route, Shop
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.asking import Sale, sale_at
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import HUNDRED, cents, money_text


@dataclass(frozen=True, slots=True)
class PriceSheet:
    """The answer of `price`. `sale` is at the price asked about: the suggested one unless another was given."""

    route: Route
    quote: Quote
    sale: Sale
    headline: str
    ways_out: tuple[WayOut, ...]
    destinations: tuple[PlacePrice, ...]
    business_buyer: str
    cautions: tuple[str, ...]


def price(
    plan: Plan, shop: Shop, sheet: CostSheet, original: Outlook, finished: Outlook, at: Decimal | None = None
) -> PriceSheet:
    """What to ask for the plan's kit, at home and abroad; with `at` (gross) what that price would leave.

    `original` is the outlook of the original at the plan's pieces, its own condition, sold, its own channel;
    `finished` that of the finished kit: its series, the plan's pieces, its condition, sold, dealer.
    Raises FileError where the plan lacks the original's repair.
    """
    repair = repair_of(plan)
    quote = quote_of(plan, sheet, original, finished, repair)
    side = sheet.chosen
    gross = cents(at) if at is not None else quote.suggested
    sale = sale_at(gross, side.net_cost, side.purchase, sheet.terms, side.route)
    places = place_prices(sale, sheet.terms.freight, side.route, shop.tax.destinations if shop.tax else {})
    out: tuple[WayOut, ...] = ()
    if quote.binding == "floor":
        out = ways_out(situation_of(plan, sheet, original, finished, repair), sheet, quote)
    tie = (PRICED_TO_TIE,) if quote.binding == "cap" else ()
    said = dict.fromkeys((*sheet.cautions, *market_cautions(plan), *tie, *original.cautions, *finished.cautions))
    return PriceSheet(
        side.route, quote, sale, _headline(quote, sheet), out, places, _business(sale, side.route), tuple(said)
    )


def _business(sale: Sale, route: Route) -> str:
    """What a buyer who may deduct VAT compares."""
    if route == "full":
        return f"A business buyer compares {money_text(sale.net)} net: it deducts the VAT of {money_text(sale.vat)}."
    return f"A business buyer compares {money_text(sale.gross)}: no VAT is shown, so none is deducted."


def _headline(quote: Quote, sheet: CostSheet) -> str:
    """The answer in one sentence; where the floor binds it leads with what the market gives."""
    market, profit = money_text(quote.market_price), quote.profit_at_market
    floor = sheet.resting(quote.floor).text()
    if quote.binding != "floor":
        bound = "an original at the door" if quote.binding == "cap" else "what the market pays for such a kit"
        return f"Ask {money_text(quote.suggested)}: set by {bound}, at or above the floor of {floor}."
    if profit < 0:
        left = f"there you lose {sheet.resting(-profit).text()}"
    else:
        margin = f"{(sheet.terms.margin * HUNDRED).normalize():f} %"
        left = f"there you keep {sheet.resting(profit).text_of_profit()}, less than the margin of {margin}"
    return f"The market gives {market}; {left}. Your margin needs {floor}."
