"""What to ask for a finished kit: the floor its cost sets, the price the market gives, and which of them binds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

from kitvalue.decisions.doubt import fetched
from kitvalue.decisions.original import (
    Quote,
    Situation,
    finished_kit,
    original_kit,
    quote_cautions,
    quote_of,
    share_dearer,
)
from kitvalue.decisions.unknowns import Unknown, donor_prices, own_hours
from kitvalue.decisions.verdict import ForThatMoney, Verdict, build_verdict, for_that_money, price_verdict
from kitvalue.intake.books.offers import Part
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Route, Shop, TaxTable
from kitvalue.intake.text.problems import Caution
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook, outlook
from kitvalue.workshop.costing import CostSheet, cost_sheet
from kitvalue.workshop.money import CENT, HUNDRED, ZERO, cents, money_text, percent
from kitvalue.workshop.tax import Sale, at_door, price_for_margin, sale_at, vat_on_net


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
    door: Door | None
    reason: str | None = None

    @property
    def buyer_pays(self) -> Decimal | None:
        return None if self.door is None else self.door.total


def place_prices(sale: Sale, freight: Decimal, route: Route, tax: TaxTable) -> tuple[PlacePrice, ...]:
    """Home first, then the shop's destinations in their order. `freight` is what a buyer at home is charged.

    Under full VAT a sale into the union bears the rate of the destination, or the home rate where `union_sales` says
    so (art. 59c); else the gross price is asked there, with no VAT shown (margin scheme: art. 325). An export comes to
    (net + freight)(1 + duty)(1 + VAT) + clearance, rounded once; the parts add up to it. Sales tax is on top of goods
    and freight, at the rate of the place.
    """
    goods, vat = (sale.net, sale.vat) if route == "full" else (sale.gross, ZERO)
    on_top = route == "sales"
    if on_top:
        vat = cents((goods + freight) * percent(tax.rate))
    prices = [PlacePrice("home", "home", sale.net, Door(goods, freight, ZERO, vat, ZERO))]
    for name, place in tax.destinations.items():
        door, reason = None, None
        if place.freight is None:
            reason = f"freight to {name} is not known; add freight under [tax.destinations.{name}] in shop.toml"
        elif place.kind == "export":
            worth = sale.net + place.freight
            after_duty = worth * (1 + percent(place.duty))
            duty = cents(after_duty - worth)
            import_vat = cents(after_duty * (1 + percent(place.vat))) - worth - duty
            door = Door(sale.net, place.freight, duty, import_vat, place.clearance)
        else:
            there = vat if tax.union_sales == "home" else vat_on_net(sale.net, percent(place.vat))
            if route != "full":
                there = cents((goods + place.freight) * percent(place.vat)) if on_top else ZERO
            door = Door(goods, place.freight, ZERO, there, ZERO)
        prices.append(PlacePrice(name, place.kind, sale.net, door, reason))
    return tuple(prices)


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way out. `value` is money for all donors together, hours, or percent of the finished series' price.

    Donors and hours are at most, share is at least; None where this alone is no way out, and the text says why.
    """

    name: Literal["donors", "hours", "share"]
    value: Decimal | None
    text: str


def ways_out(situation: Situation, quote: Quote) -> tuple[WayOut, ...]:
    """Donors at most, hours at most, share at least, each rounded to the side that still leaves the margin."""
    ways = [
        _at_most("donors", donor_prices(situation), quote, "donor price", "cheaper"),
        _at_most("hours", own_hours(situation), quote, "number of hours", "saved"),
    ]
    value = None
    if quote.cap < quote.floor:
        text = f"no share is high enough by itself: an original at the door leaves {money_text(quote.cap)}"
    elif situation.finished_typical <= 0:
        text = "the finished kit has no price in the market"
    else:
        value = (quote.floor / situation.finished_typical * HUNDRED).quantize(CENT, rounding=ROUND_CEILING)
        text = f"share at least {value} % (planned {cents(situation.share * HUNDRED).normalize():f} %)"
    return (*ways, WayOut("share", value, text))


def _at_most(name: Literal["donors", "hours"], unknown: Unknown, quote: Quote, what: str, saved: str) -> WayOut:
    if unknown.absent is not None:
        return WayOut(name, None, f"{unknown.absent}, so none can be {saved}")
    root = unknown.root(lambda here: here.price(here.terms) - quote.market_price)
    if root is None:
        return WayOut(name, None, f"no {what} is low enough by itself")
    value, planned = round(root, 9).quantize(CENT, rounding=ROUND_FLOOR), unknown.planned  # 9: what a bisection leaves
    told = f"{value} (planned {cents(planned).normalize():f})"
    if name == "donors":
        told = f"{money_text(value)} together (planned {money_text(planned)})"
    return WayOut(name, value, f"{name} at most {told}")


@dataclass(frozen=True, slots=True)
class PriceSheet:
    """The answer of `price`. `sale` is at the price asked about: the plan's own `ask`, or the suggested one,
    unless another was given.

    `originals_dearer` is the share of originals that cost more at the door than the kit at that price, as `compare`
    has it; `chance_of_loss` how often such a kit, sold for what the market pays, does not bring its cost back, as
    `shortlist` has it: the plan's share with its doubt; None where some of the cost is not known."""

    sheet: CostSheet
    quote: Quote
    sale: Sale
    originals_dearer: float
    chance_of_loss: float | None
    verdict: Verdict  # on the price
    build: Verdict
    for_that_money: ForThatMoney | None  # at the price asked about
    ways_out: tuple[WayOut, ...]
    destinations: tuple[PlacePrice, ...]
    business_buyer: str
    cautions: tuple[Caution, ...]

    @property
    def profit_an_hour(self) -> Decimal | None:
        """At the price asked about, for each of the shop's own hours; None where it has none."""
        return cents(self.sale.profit / self.sheet.hours) if self.sheet.hours else None


def priced(
    plan: Plan, shop: Shop, fit: Fit, at: Decimal | None = None, parts: Sequence[Part] = ()
) -> PriceSheet:  # fmt: skip
    """Cost and price of one plan under a fit; `parts` say what drums left over bring."""
    original, finished = outlook(fit, original_kit(plan)), outlook(fit, finished_kit(plan, fit))
    made = price(plan, shop, cost_sheet(plan, shop, parts=parts), original, finished, at)
    there = cents(at_door(made.sale.gross, made.sheet.terms, made.sheet.route))
    return made if made.sheet.is_service else replace(made, for_that_money=for_that_money(plan, fit, there))


def price(
    plan: Plan, shop: Shop, sheet: CostSheet, original: Outlook, finished: Outlook, at: Decimal | None = None
) -> PriceSheet:
    """What to ask for the plan's kit, at home and abroad; with `at` (gross) what that price would leave.

    `original` is the outlook of the original at the plan's pieces, its own condition, sold, its own channel;
    `finished` that of the finished kit: its series, the plan's pieces, its condition, sold, dealer.
    Raises FileError where the plan lacks the original's repair.
    """
    repair = plan.original.repair or ZERO
    quote = quote_of(plan, sheet, original, finished, repair)
    situation = Situation.planned(plan, sheet, original, finished, repair)
    side = sheet.chosen
    gross = cents(at) if at is not None else quote.asked
    sale = sale_at(gross, side.net_cost, side.purchase, sheet.terms, side.route)
    own = (
        None if plan.price.ask is None else sale_at(quote.asked, side.net_cost, side.purchase, sheet.terms, side.route)
    )
    compares = f"{money_text(sale.gross)}: no VAT is shown, so none is deducted"
    if side.route == "full":
        compares = f"{money_text(sale.net)} net: it deducts the VAT of {money_text(sale.vat)}"
    return PriceSheet(
        sheet=sheet,
        quote=quote,
        sale=sale,
        originals_dearer=share_dearer(plan.original, original.sample, repair, at_door(gross, sheet.terms, side.route)),
        chance_of_loss=_chance_of_loss(plan, sheet, finished),
        verdict=price_verdict(quote, sheet, sale),
        build=build_verdict(sheet, quote, situation, own),
        for_that_money=None,
        ways_out=ways_out(situation, quote) if quote.binding == "floor" and not sheet.is_service else (),
        destinations=place_prices(sale, sheet.terms.freight, side.route, shop.tax or TaxTable()),
        business_buyer=f"A business buyer compares {compares}.",
        cautions=quote_cautions(plan, sheet, quote, original, finished),
    )


def _chance_of_loss(plan: Plan, sheet: CostSheet, finished: Outlook) -> float | None:
    if sheet.incomplete or sheet.is_service:
        return None
    side, terms = sheet.chosen, replace(sheet.terms, margin=ZERO)
    even = float(price_for_margin(side.net_cost, side.purchase, terms, side.route))
    return float((fetched(finished.sample, plan.finished.share) < even - 1e-6).mean())
