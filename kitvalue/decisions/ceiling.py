"""Up to what price a purchase pays: ceilings counted from the market's own sample, for many purchases at once.

Profit falls steadily in the price paid, so that every outcome has one price at which it breaks even and the mean has
one price at which it leaves the margin. Both are closed forms; only a mean whose outcomes lie on both sides of the
margin scheme's "no VAT on a loss" is solved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import BoughtFrom, Offer
from kitvalue.intake.settings.plan import DonorTable, Plan
from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.sizes import Size
from kitvalue.market.encoding import by_pairs
from kitvalue.market.fitted import Fit
from kitvalue.workshop.costing import CostSheet, contingency_of, cost_sheet
from kitvalue.workshop.drums import Drum, drums_of
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.tax import why_no_margin_scheme

BoolArray = NDArray[np.bool_]

CENT_SLACK = 1e-6  # of a cent: what rounding errors may take from a price that is whole cents
NO_LOSS = 1e-6  # money: a profit above minus this is no loss
MOST_STEPS = 100
STEP_END = 1e-9  # money


@dataclass(frozen=True, slots=True, eq=False)
class Deals:
    """m purchases of one use by one VAT route, n equally likely outcomes of each. Money; fractions.

    `outcomes` are gross selling prices, `clipped` those from which means are taken. `cost` is all net cost but the
    price. Under the margin scheme P = `others` + max(0, price - `credit`), and `least` is the lowest price that the
    scheme allows; the VAT of an outcome is k * `part` * max(0, `taxed` - P) - k * freight, where a kit has part 1 and
    taxed = outcome + freight, and a kit sold in parts the sold part of its value and that value.
    """

    outcomes: FloatArray  # (m, n)
    clipped: FloatArray  # (m, n)
    cost: FloatArray  # (m,)
    rate: float
    fee: float
    margin: float
    freight: float
    on_margin: bool  # the VAT route is the margin scheme; else `rate` is on the whole price
    others: FloatArray  # (m,)
    credit: FloatArray  # (m,)
    least: FloatArray  # (m,)
    values: FloatArray | None = None  # (m,) what all parts of a kit sold in parts fetch together; None for whole kits

    @property
    def k(self) -> float:
        """The VAT inside a gross price."""
        return self.rate / (1.0 + self.rate)

    def part(self, outcomes: FloatArray) -> FloatArray:
        """(m, n) the share of the purchase that an outcome sells; (1, 1) where each sells all of it."""
        if self.values is None:
            return np.ones((1, 1))
        return np.divide(outcomes, self.values[:, None], where=self.values[:, None] > 0, out=np.zeros_like(outcomes))

    def taxed(self, outcomes: FloatArray) -> FloatArray:
        """(m, n) the selling price that the purchase price is held against under the margin scheme."""
        if self.values is None:
            return outcomes + self.freight
        return np.broadcast_to(self.values[:, None], outcomes.shape)

    def purchase(self, price: FloatArray) -> FloatArray:
        """(m, 1) P at a price (m,) paid."""
        paid: FloatArray = (self.others + np.maximum(0.0, price - self.credit))[:, None]
        return paid

    def revenue(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) net revenue: outcomes less their VAT."""
        if not self.on_margin:
            return outcomes * (1.0 - self.k)
        due = self.part(outcomes) * np.maximum(0.0, self.taxed(outcomes) - self.purchase(price))
        return outcomes - self.k * (due - self.freight)

    def profit(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) profit of each outcome where `price` (m,) is paid."""
        spent = (self.cost + price)[:, None] + self.fee * (outcomes + self.freight)
        return self.revenue(outcomes, price) - spent


@dataclass(frozen=True, slots=True, eq=False)
class Ceilings:
    """(m,) each; a price is below 0 where there is none. Chances are shares of the sample. `leaves` is the price that
    leaves the margin as it comes out, before it is rounded and whatever its sign."""

    ceiling: FloatArray
    safe: FloatArray
    chance_at_ceiling: FloatArray
    leaves: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MakeUp:
    """What the mean selling price goes into at one price paid for the kit, each (m,), money.

    sells_for - vat - fee - costs - profit = the price paid. `costs` is work, parts, freight and holding.
    """

    sells_for: FloatArray
    vat: FloatArray
    fee: FloatArray
    costs: FloatArray
    profit: FloatArray


def make_up(deals: Deals, price: FloatArray) -> MakeUp:
    """Where the money goes at prices paid (m,)."""
    sells_for, net = deals.clipped.mean(axis=1), deals.revenue(deals.clipped, price).mean(axis=1)
    fee = deals.fee * (sells_for + deals.freight)
    return MakeUp(sells_for, sells_for - net, fee, deals.cost, net - fee - deals.cost - price)


def mean_profit(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) expected profit at prices paid."""
    mean: FloatArray = deals.profit(deals.clipped, price).mean(axis=1)
    return mean


def chance_of_loss(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) share of the sample that loses money at prices paid."""
    share: FloatArray = (deals.profit(deals.outcomes, price) < -NO_LOSS).mean(axis=1)
    return share


def surplus_over_margin(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) mean profit less the margin on mean net revenue: 0 at the ceiling, above it below."""
    over: FloatArray = mean_profit(deals, price) - deals.margin * deals.revenue(deals.clipped, price).mean(axis=1)
    return over


def ceilings(deals: Deals, loss_chance: float) -> Ceilings:
    """The highest price that leaves the margin on average, and the highest at or below it that loses no oftener than
    `loss_chance` (a fraction). Both rounded down to the cent."""
    leaves = _margin_price(deals)
    top = down_to_cent(leaves)
    top = np.where(top >= np.maximum(0.0, deals.least), top, -1.0)
    even = break_even_prices(deals)
    allowed = min(int(np.floor(loss_chance * even.shape[1] + 1e-9)), even.shape[1] - 1)
    limit = down_to_cent(np.partition(even, allowed, axis=1)[:, allowed])
    safe = np.minimum(top, limit)
    safe = np.where((safe >= np.maximum(0.0, deals.least)) & (top >= 0), safe, -1.0)
    return Ceilings(top, safe, chance_of_loss(deals, np.maximum(top, 0.0)), leaves)


def break_even_prices(deals: Deals) -> FloatArray:
    """(m, n) the price at which each outcome leaves nothing; below 0 where it loses even as a gift."""
    if not deals.on_margin:
        return deals.profit(deals.outcomes, np.zeros(len(deals.cost)))
    start = deals.credit[:, None]
    at_start = deals.profit(deals.outcomes, deals.credit)
    slope = 1.0 - deals.k * deals.part(deals.outcomes)
    room = np.maximum(0.0, deals.taxed(deals.outcomes) - deals.others[:, None])  # until no VAT is due any more
    taxed = np.minimum(at_start / slope, room)
    untaxed = at_start - slope * taxed
    return np.where(at_start < 0, start + at_start, start + taxed + untaxed)


def _margin_price(deals: Deals) -> FloatArray:
    """(m,) the price at which the mean profit is the margin of the mean net revenue."""
    zero = np.zeros(len(deals.cost))
    if not deals.on_margin:
        return surplus_over_margin(deals, zero)  # one more paid is one less kept
    at_start = surplus_over_margin(deals, deals.credit)
    slope = 1.0 - deals.k * (1.0 - deals.margin) * deals.part(deals.clipped).mean(axis=1)
    straight = deals.credit + np.where(at_start < 0, at_start, at_start / slope)
    bent = (deals.taxed(deals.clipped).min(axis=1) < deals.purchase(straight)[:, 0]) & (at_start > 0)
    if bent.any():
        straight[bent] = _solved(_some(deals, bent), straight[bent])
    return straight


def _some(deals: Deals, rows: BoolArray) -> Deals:
    """Some of the purchases."""
    arrays = ("outcomes", "clipped", "cost", "others", "credit", "least")
    values = None if deals.values is None else deals.values[rows]
    return replace(deals, values=values, **{name: getattr(deals, name)[rows] for name in arrays})


def _solved(deals: Deals, price: FloatArray) -> FloatArray:
    """The same by Newton's steps from above: the surplus is concave and straight between the outcomes' own prices, so
    that each step stays at or above the root and the last one meets it."""
    for _ in range(MOST_STEPS):
        bought = deals.part(deals.clipped) * (deals.taxed(deals.clipped) > deals.purchase(price))
        slope = 1.0 - deals.k * (1.0 - deals.margin) * bought.mean(axis=1)
        step = surplus_over_margin(deals, price) / slope
        price = price + step
        if np.abs(step).max() < STEP_END:
            break
    return price


def down_to_cent(price: FloatArray) -> FloatArray:
    """The prices rounded down to whole cents."""
    whole: FloatArray = np.floor(price * 100 + CENT_SLACK) / 100
    return whole


Use = Literal["sell on", "rebuild", "parts"]
SELL_ON: Final[Use] = "sell on"
REBUILD: Final[Use] = "rebuild"
PARTS: Final[Use] = "parts"
NO_SIZES: Final = "offers.csv does not give its sizes (diameter and depth of each drum)"
PLACEHOLDER: Final = Decimal(1_000_000)  # a price above every surplus; taken out again


@dataclass(frozen=True, slots=True)
class Base:
    """A use by one route before the kit and its freight are paid. Money, net; `hours` are the shop's own.

    `others`, `credit` and `least` are those of `ceiling.Deals`. `reason` says why the use or its route is not open.
    """

    use: Use
    route: Route
    cost: float
    others: float
    credit: float
    least: float
    hours: float
    labour: float
    reason: str | None


def routes_of(shop: Shop) -> tuple[Route, ...]:
    """The VAT routes that the business may choose from for each sale."""
    return ("none",) if shop.tax is not None and shop.tax.route == "none" else ("full", "margin")


def own_route(shop: Shop, plan: Plan | None, use: Use) -> Route:
    """The route that the plan, or else the shop, sets."""
    planned = plan.route if plan is not None and use == REBUILD else None
    return planned or (shop.tax.route if shop.tax is not None else "full")


def plain_bases(shop: Shop, use: Use, hours: Decimal | None, bought_from: BoughtFrom, key: str) -> tuple[Base, ...]:
    """Selling a kit whole, or in parts: its hours, with contingency. `hours` are the shop's (`key` of [work]) where the
    offer has none of its own; None where both lack."""
    lacks = None
    if shop.work is None and hours is not None:
        lacks = "shop.toml does not say what an hour costs: add rate under [work]"
    elif hours is None:
        lacks = f"shop.toml does not say how many hours that takes: add {key} under [work]"
    rate = shop.work.rate if shop.work is not None else ZERO
    labour = (hours or ZERO) * rate
    cost = float(labour * (1 + contingency_of(shop)))
    return tuple(
        Base(use, route, cost, 0.0, 0.0, 0.0, float(hours or 0), float(labour), lacks or _closed(route, bought_from))
        for route in routes_of(shop)
    )


def _closed(route: Route, bought_from: BoughtFrom) -> str | None:
    if route != "margin":
        return None
    kit = DonorTable(id="on offer", series="-", pieces=1, condition=Decimal(3), price=ZERO, bought_from=bought_from)
    return why_no_margin_scheme([kit])


def rebuild_bases(plan: Plan, shop: Shop, at: int, pieces: int, bought_from: BoughtFrom) -> tuple[Base, ...]:
    """The plan's build with a bought kit in the place of its donor number `at`, price and freight left out.

    What the plan sells off of that donor counts for the kit that takes its place.
    """
    changed = {"price": PLACEHOLDER, "freight": ZERO, "pieces": pieces, "bought_from": bought_from, "vat": None}
    donors = tuple(d.model_copy(update=changed) if i == at else d for i, d in enumerate(plan.donor))
    routes = routes_of(shop)
    built = plan.model_copy(update={"donor": donors, "route": routes[0]})
    sheet = cost_sheet(built, shop)
    labour = float(sheet.hours * (shop.work.rate if shop.work is not None else ZERO))
    return tuple(_rebuilt(sheet, route, plan.donor[at].id, labour) for route in routes)


def _rebuilt(sheet: CostSheet, route: Route, donor: str, labour: float) -> Base:
    side = next(r for r in sheet.routes if r.route == route)
    one = next(a for a in sheet.apportioned if a.donor == donor)
    lacks = f"the plan's cost is not known: {'; '.join(sheet.incomplete)}" if sheet.incomplete else None
    return Base(
        use=REBUILD,
        route=route,
        cost=float(side.net_cost - PLACEHOLDER),
        others=float(side.purchase - one.kit),
        credit=float(one.sold_off + one.kept),
        least=float(one.sold_off) if route == "margin" else 0.0,
        hours=float(sheet.hours),
        labour=labour,
        reason=lacks or side.reason,
    )


@dataclass(frozen=True, slots=True)
class DonorNeed:
    """What a plan takes from one of its donors: its place among them and the shells."""

    at: int
    id: str
    sizes: tuple[Size, ...]


def donor_needs(plan: Plan, shop: Shop) -> tuple[DonorNeed, ...]:
    """The donors of a plan that give it drums, in its order."""
    drums = drums_of(plan)
    needs = (DonorNeed(i, d.id, _taken(drums, d.id)) for i, d in enumerate(plan.donor))
    return tuple(need for need in needs if need.sizes)


def _taken(drums: Sequence[Drum], donor: str) -> tuple[Size, ...]:
    return tuple(d.size for d in drums if d.source == donor)


def takes_place_of(offer: Offer, needs: Sequence[DonorNeed]) -> DonorNeed | None:
    """The first donor whose drums the offer has, each in the plan's own size; None where there is none."""
    return next((need for need in needs if _has(offer.sizes, need.sizes)), None)


def _has(sizes: Sequence[Size], wanted: Sequence[Size]) -> bool:
    left = list(sizes)
    for size in wanted:
        if size not in left:
            return False
        left.remove(size)
    return True


def why_no_place(offer: Offer, needs: Sequence[DonorNeed]) -> str:
    """Why an offer takes no donor's place."""
    if not needs:
        return "the plan takes no drum from a donor"
    if not offer.sizes:
        return NO_SIZES
    return "it has not all the drums of any one donor of the plan (kitvalue source joins several)"


@dataclass(frozen=True, slots=True)
class Step:
    """The book's own step from asked to sold: a factor on the asked price, and what it rests on in words."""

    factor: float
    rests_on: str


@dataclass(frozen=True, slots=True)
class Paid:
    """What an offer is expected to be bought for, and why."""

    price: float
    rests_on: str


def step_of(fit: Fit) -> Step:
    """The step of the rows that tell both prices of one kit, else the one between sold rows and asked ones, else the
    haggle of shop.toml, else none. Never above 1: nobody pays more than is asked because sold rows lie higher. Asked
    rows that found no buyer lie too high, so pairs come first."""
    recipe = fit.recipe
    if recipe.pair_step is not None:
        return Step(float(np.exp(recipe.pair_step)), by_pairs(recipe.pairs, recipe.pair_step))
    sold = next((t.coefficient for t in fit.terms if t.name == "sold"), None)
    if sold is not None:
        factor = float(np.exp(sold))
        if factor >= 1:
            return Step(1.0, "the asked price: sold rows of the book lie no lower than asked ones")
        return Step(factor, f"asked to sold in the book, {100 * (factor - 1):.1f} % ({recipe.sold_basis})")
    if recipe.sold_offset:
        return Step(float(np.exp(recipe.sold_offset)), recipe.sold_basis)
    return Step(1.0, "the asked price: the book does not tell how far sold lies under asked")


def paid_for(offer: Offer, step: Step) -> Paid:
    """The expected price: by the offer's own haggle where it has one, else by the book's step; never both."""
    asked = float(offer.price)
    if offer.haggle == "fixed":
        return Paid(asked, "the asked price: it is fixed")
    if offer.haggle is not None:
        return Paid(
            asked * (1 - float(offer.haggle) / 100), f"the offer's own haggle of {offer.haggle.normalize():f} %"
        )
    return Paid(asked * step.factor, step.rests_on)


def opening(asked: float, paid: float, stop: float) -> float:
    """The price to open with: as far under the expected price as that lies under the asked one, so that meeting half
    way ends there (common practice, no source). Where that is above the price to stop at, as far under the latter, in
    proportion, as the expected price lies under the asked one, so that there is room to come up to it."""
    first = 2 * paid - asked
    return round(first if first <= stop else stop * paid / asked, 2)
