"""What to ask for a finished kit: the floor its cost sets, the price the market gives, and which of them binds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

from kitvalue.decisions.original import (
    PRICED_TO_TIE,
    Quote,
    Situation,
    market_cautions,
    quote_of,
    repair_of,
    situation_of,
)
from kitvalue.decisions.solve import root_above
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Destination, Route, Shop
from kitvalue.intake.text.problems import Caution
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.build import Lever, least_donor_scale
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import CENT, HUNDRED, ZERO, cents, money_text, percent
from kitvalue.workshop.tax import Sale, sale_at, vat_on_net


@dataclass(frozen=True, slots=True)
class Door:
    """What a buyer pays, part by part. `vat` is the destination's or the import VAT, 0 where the price holds it unseen.

    At home under full VAT `goods` is the net price; the freight holds its own VAT.
    """

    goods: Decimal
    freight: Decimal
    duty: Decimal
    vat: Decimal
    clearance: Decimal

    @property
    def total(self) -> Decimal:
        return self.goods + self.freight + self.duty + self.vat + self.clearance


@dataclass(frozen=True, slots=True)
class PlacePrice:
    """One place. `seller_gets` is the kit's net price, `buyer_pays` all at the door; None where `reason` says why."""

    place: str
    kind: Literal["home", "union", "export"]
    seller_gets: Decimal
    buyer_pays: Decimal | None
    reason: str | None
    door: Door | None = None


def place_prices(
    sale: Sale, freight: Decimal, route: Route, destinations: Mapping[str, Destination]
) -> tuple[PlacePrice, ...]:
    """Home first, then the shop's destinations in their order. `freight` is what a buyer at home is charged."""
    home = _place("home", "home", sale, _home(sale, freight, route))
    return (home, *(_abroad(name, place, sale, route) for name, place in destinations.items()))


def _place(name: str, kind: Literal["home", "union", "export"], sale: Sale, door: Door) -> PlacePrice:
    return PlacePrice(name, kind, sale.net, door.total, None, door)


def _home(sale: Sale, freight: Decimal, route: Route) -> Door:
    """The gross price; under the margin scheme its VAT is not shown (art. 325)."""
    goods, vat = (sale.net, sale.vat) if route == "full" else (sale.gross, ZERO)
    return Door(goods, freight, ZERO, vat, ZERO)


def _abroad(name: str, place: Destination, sale: Sale, route: Route) -> PlacePrice:
    if place.freight is None:
        reason = f"freight to {name} is not known; add freight under [tax.destinations.{name}] in shop.toml"
        return PlacePrice(name, place.kind, sale.net, None, reason)
    if place.kind == "export":
        return _place(name, "export", sale, _export(place, sale, place.freight))
    door = _home(sale, place.freight, route)
    if route == "full":
        door = replace(door, vat=vat_on_net(sale.net, percent(place.vat)))
    return _place(name, "union", sale, door)


def _export(place: Destination, sale: Sale, freight: Decimal) -> Door:
    """(net + freight)(1 + duty)(1 + VAT) + clearance, rounded once; the parts add up to it."""
    worth = sale.net + freight
    after_duty = worth * (1 + percent(place.duty))
    duty = cents(after_duty - worth)
    vat = cents(after_duty * (1 + percent(place.vat))) - worth - duty
    return Door(sale.net, freight, duty, vat, place.clearance)


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
    cautions: tuple[Caution, ...]


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
