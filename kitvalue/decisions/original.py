"""The original that the customer could buy instead: what it costs at the door, and back from there to a price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.plan import OriginalTable, Plan
from kitvalue.intake.text.problems import Caution, FileError
from kitvalue.intake.text.vocabulary import GRADES
from kitvalue.market.encoding import Kit
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import ESTIMATES, Outlook, outlook, resale_kit
from kitvalue.workshop.build import Lever, exact_cost
from kitvalue.workshop.costing import BENCH, CostSheet
from kitvalue.workshop.money import ZERO, PartlyKnown, cents, down_to_step, money_text, percent, up_to_step
from kitvalue.workshop.shares import purchase_price
from kitvalue.workshop.tax import Terms, at_door, exact_profit, price_at_door, price_for_margin, sale_at


def as_money(price: float) -> Decimal:
    """An estimate as a decimal, by its shortest text: 2600.1 is 2600.1. Not rounded."""
    return Decimal(repr(float(price)))


def original_kit(plan: Plan, pieces: int | None = None) -> Kit:
    """What the customer could buy instead: sold, in the state and the channel that the plan says."""
    original = plan.original
    return Kit(original.series, pieces or len(plan.drum), float(original.condition), "sold", original.channel)


def finished_kit(plan: Plan, fit: Fit, pieces: int | None = None) -> Kit:
    """What is sold, as the market would see it: the share that a rebuild fetches is no part of it."""
    finished = plan.finished
    return resale_kit(fit, Kit(finished.series, pieces or len(plan.drum), float(finished.condition)))


def on_top(original: OriginalTable) -> Decimal:
    """The factor of duty and import VAT on price and freight."""
    return (1 + percent(original.duty)) * (1 + percent(original.import_vat))


def landed(original: OriginalTable, price: Decimal, repair: Decimal) -> Decimal:
    """An original at the buyer's door, fit to play: (price + freight)(1 + duty)(1 + import VAT) + repair. Exact."""
    return (price + original.freight) * on_top(original) + repair


def landed_sample(original: OriginalTable, prices: FloatArray, repair: Decimal) -> FloatArray:
    """`landed` for an array of prices of any shape."""
    return np.asarray((prices + float(original.freight)) * float(on_top(original)) + float(repair))


def share_dearer(original: OriginalTable, prices: FloatArray, repair: Decimal, build_landed: Decimal) -> float:
    """The share of a sample of originals that cost more at the door than a build that lands at so much."""
    return float(np.mean(landed_sample(original, prices, repair) > float(build_landed)))


# What a buyer may claim where consumer law follows the union's directives; the shop's own country may give more.
SHOP_GUARANTEE = "the shop's legal guarantee (used goods: at least one year where a term under two was agreed)"
SHOP_RETURN = "14 days to withdraw from a purchase online, unless made to the buyer's own specification"
RIGHTS = {  # guarantee and return, by whom the original is bought from
    "private": ("none from a private seller", "none from a private seller"),
    "dealer": ("the dealer's legal guarantee", "14 days where bought online from a dealer"),
    "auction": ("as a rule none; see the auction's terms", "as a rule none; see the auction's terms"),
}


@dataclass(frozen=True, slots=True)
class Point:
    """One point of comparison."""

    what: str
    build: str
    original: str


def like_for_like(
    plan: Plan, currency: str, build_door: PartlyKnown, original_door: Decimal, repair: Decimal
) -> tuple[Point, ...]:
    """Pieces, condition, what is still needed, guarantee, return right and the total at the door (gross money)."""
    size = f"{len(plan.drum)} drums"
    needs = f"{money_text(repair)} {currency} of work to play and look alike" if repair > 0 else "nothing"
    channel = plan.original.channel
    guarantee, returns = RIGHTS[channel]
    return (
        Point("Kit", plan.title, f"{plan.original.series}, as found ({channel})"),
        Point("Pieces", size, size),
        Point("Condition", _grade(plan.finished.condition), _grade(plan.original.condition)),
        Point("Still needs", "nothing", needs),
        Point("Guarantee", SHOP_GUARANTEE, guarantee),
        Point("Return right", SHOP_RETURN, returns),
        Point("Total at the door", f"{build_door.text()} {currency}", f"{money_text(original_door)} {currency}"),
    )


def _grade(grade: Decimal) -> str:
    word = next((f" ({word})" for word, value in GRADES.items() if value == grade), "")
    return f"{grade.normalize():f} of 5{word}"


Binding = Literal["cap", "resale", "floor"]


@dataclass(frozen=True, slots=True)
class Quote:
    """Gross money to the cent.

    `landed_at_cost` is the build with no profit at the door; `floor` leaves the shop's margin; `cap` leaves a customer
    indifferent to an original at the door; `resale` is what the market pays for such a kit; `market_price` the smaller
    of the two. `binding` says what sets `suggested`. `asked` is the owner's own price for the whole kit where the plan
    has one, else the suggested; `landed_at_price` is at it.
    """

    landed_at_cost: Decimal
    floor: Decimal
    cap: Decimal
    resale: Decimal
    market_price: Decimal
    profit_at_market: Decimal
    suggested: Decimal
    asked: Decimal
    binding: Binding
    landed_at_price: Decimal
    original_landed: Decimal


def quote_of(plan: Plan, sheet: CostSheet, original: Outlook, finished: Outlook, repair: Decimal) -> Quote:
    """The quote for a costed build; `repair` is what the original of this size needs."""
    side, terms = sheet.chosen, sheet.terms
    if side.floor is None or side.landed_at_cost is None:
        raise FileError(f"route {side.route} is not open: {side.reason}")
    original_landed = cents(landed(plan.original, as_money(original.typical), repair))
    cap = cents(price_at_door(original_landed, terms, side.route))
    resale = cents(as_money(finished.typical) * percent(plan.finished.share.middle))
    market = min(cap, resale)
    binding: Binding = "floor" if market < side.floor else "cap" if cap <= resale else "resale"
    suggested = up_to_step(side.floor, terms.step) if binding == "floor" else down_to_step(market, terms.step)
    if suggested < side.floor:
        suggested = market
    if sheet.is_service:  # nothing is resold: the market has no say
        binding, suggested = "floor", up_to_step(side.floor, terms.step)
    if plan.price.ending is not None:  # nothing is given away
        suggested = down_to_step(suggested, plan.price.ending) or suggested
    whole = sheet.pieces == len(plan.drum)
    asked = plan.price.ask if whole and plan.price.ask is not None else suggested
    return Quote(
        landed_at_cost=side.landed_at_cost,
        floor=side.floor,
        cap=cap,
        resale=resale,
        market_price=market,
        profit_at_market=sale_at(market, side.net_cost, side.purchase, terms, side.route).profit,
        suggested=cents(suggested),
        binding=binding,
        asked=cents(asked),
        landed_at_price=cents(at_door(cents(asked), terms, side.route)),
        original_landed=original_landed,
    )


def of_suggested(sheet: CostSheet, quote: Quote, figure: Decimal) -> PartlyKnown:
    """A figure that comes from the suggested price: it rests on the cost where the floor sets that price."""
    return sheet.resting(figure) if quote.binding == "floor" else PartlyKnown(figure)


def of_asked(sheet: CostSheet, quote: Quote, figure: Decimal) -> PartlyKnown:
    """A figure that comes from the price asked, which may be the owner's own and then rests on nothing."""
    return of_suggested(sheet, quote, figure) if quote.asked == quote.suggested else PartlyKnown(figure)


@dataclass(frozen=True, slots=True)
class Situation:
    """Everything that profit depends on. Fractions and money, all exact; `terms` stand instead of the sheet's own, and
    `factors` scale the planned charges of a lever."""

    sheet: CostSheet
    terms: Terms
    factors: Mapping[Lever, Decimal]
    original: OriginalTable
    original_typical: Decimal
    repair: Decimal
    finished_typical: Decimal
    share: Decimal

    @classmethod
    def planned(cls, plan: Plan, sheet: CostSheet, original: Outlook, finished: Outlook, repair: Decimal) -> Situation:
        typical, resale = as_money(original.typical), as_money(finished.typical)
        return cls(sheet, sheet.terms, {}, plan.original, typical, repair, resale, percent(plan.finished.share.middle))

    def cost(self) -> Decimal:
        return exact_cost(self.sheet.charges, self.terms, self.sheet.route, self.sheet.contingency, self.factors)

    def purchase(self) -> Decimal:
        """The purchase price of the margin scheme."""
        return purchase_price(self.sheet.apportioned, self.factors.get(Lever.DONOR_PRICE, Decimal(1)))

    def price(self, terms: Terms) -> Decimal:
        """The gross price that leaves the margin of `terms`."""
        return price_for_margin(self.cost(), self.purchase(), terms, self.sheet.route)

    def original_landed(self) -> Decimal:
        return landed(self.original, self.original_typical, self.repair)

    def gap(self) -> Decimal:
        """How much more than the original the build costs landed at the price of zero profit."""
        price = self.price(replace(self.terms, margin=ZERO))
        return at_door(price, self.terms, self.sheet.route) - self.original_landed()

    def market_price(self) -> Decimal:
        """The smaller of cap (an original at the door less freight) and resale."""
        cap = price_at_door(self.original_landed(), self.terms, self.sheet.route)
        return min(cap, self.finished_typical * self.share)

    def profit_at_market(self) -> Decimal:
        return exact_profit(self.market_price(), self.cost(), self.purchase(), self.terms, self.sheet.route)


NOT_A_REBUILD = "The share of {share} % is a guess: an original's price does not predict a rebuild's."
PRICED_TO_TIE = Caution("priced_to_tie", "An original at the door sets the price: priced to tie, customers are split.")


def quote_cautions(
    plan: Plan, sheet: CostSheet, quote: Quote, original: Outlook, finished: Outlook
) -> tuple[Caution, ...]:
    """What is to be said of a cost sheet that is held against the market, each once.

    The finished kit is a rebuild valued by prices of something else, unless it takes the full price of a series of its
    own, or of the series that all its donors are.
    """
    series, share = plan.finished.series, plan.finished.share
    mixed = series == plan.original.series and any(donor.series != series for donor in plan.donor)
    guess = [Caution("own_share", NOT_A_REBUILD.format(share=share))] if share.middle != 100 or mixed else []
    tied = (
        [PRICED_TO_TIE] if quote.binding == "cap" and quote.asked == quote.suggested else []
    )  # an original at the door sets the price
    beside = [one for one in sheet.cautions if one.code not in BENCH]
    said = (*beside, ESTIMATES, *guess, *tied, *original.cautions, *finished.cautions)
    return tuple(dict.fromkeys(said))


def above_original(plan: Plan, fit: Fit, freight: Decimal) -> list[Caution]:
    """What to say of rebuilds that are counted at more than an original costs a customer; `freight` is outward."""
    if plan.original.series not in fit.recipe.series:
        return []
    original, finished = (outlook(fit, kit).typical for kit in (original_kit(plan), finished_kit(plan, fit)))
    cap = cents(landed(plan.original, as_money(original), plan.original.repair or ZERO)) - freight
    resale = cents(as_money(finished) * percent(plan.finished.share.middle))
    counted = (
        f"a rebuild is counted at what the market pays for such a kit, typically {money_text(resale)}, but for no more "
        f"than {money_text(cap)} is it as cheap at the door as an original: kitvalue price {plan.name}"
    )
    return [Caution("above_original", counted)] if cap < resale else []
