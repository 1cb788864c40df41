"""Up to what price a purchase pays: ceilings counted from the market's own sample, for many purchases at once.

Profit falls steadily in the price paid, so that every outcome has one price at which it breaks even, a closed form, and
the mean has one price at which it leaves the margin: a closed form too, but for the margin scheme's "no VAT on a loss".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.plan import DonorTable, Plan
from kitvalue.intake.settings.purchase import BoughtFrom
from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.sizes import Size
from kitvalue.market.encoding import by_pairs
from kitvalue.market.fitted import Fit
from kitvalue.workshop.costing import contingency_of, cost_sheet, settings_of
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.tax import scheme_of, why_no_margin_scheme

CENT_SLACK = 1e-6  # of a cent: what rounding errors may take from a price that is whole cents
NO_LOSS = 1e-6  # money: a profit above minus this is no loss
MOST_STEPS = 100
STEP_END = 1e-9  # money


@dataclass(frozen=True, slots=True, eq=False)
class Deals:
    """m purchases of one use by one VAT route, n outcomes of each, equally likely but for `chances`. Money; fractions.

    `outcomes` are gross selling prices, `clipped` those from which means are taken. `cost` is all net cost but the
    price. Under the margin scheme P = `others` + max(0, price - `credit`), and `least` is the lowest price that the
    scheme allows; the VAT of an outcome is k * `part` * max(0, `taxed` - P) - k * freight, where a kit has part 1 and
    taxed = outcome + freight, and a kit sold in parts the sold part of its value and that value. `up` is what is paid
    for each unit of a price that is bid, with an auction's premium; `tied` what each unit paid costs until the sale.
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
    up: FloatArray | float = 1.0  # (m,)
    reserve: float = 0.0
    tied: FloatArray | float = 0.0  # (m,)
    chances: FloatArray | None = None  # (m, n) that add up to 1; None: each outcome is as likely as any other

    @property
    def k(self) -> float:
        """The VAT inside a gross price."""
        return self.rate / (1.0 + self.rate)

    @property
    def each(self) -> FloatArray:
        """(m,) what is no longer kept of each unit more that is paid, but for its VAT."""
        return 1.0 + self.tied * np.ones(len(self.cost))

    def mean(self, figures: FloatArray | NDArray[np.bool_]) -> FloatArray:
        """(m,) the mean of figures (m, n) over the outcomes."""
        return np.asarray(figures.mean(axis=1) if self.chances is None else (figures * self.chances).sum(axis=1))

    def part(self, outcomes: FloatArray) -> FloatArray:
        """(m, n) the share of the purchase that an outcome sells; (1, 1) where each sells all of it."""
        if self.values is None:
            return np.ones((1, 1))
        return np.divide(outcomes, self.values[:, None], where=self.values[:, None] > 0, out=np.zeros_like(outcomes))

    def taxable(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) how far the selling price lies above P at a `price` (m,) paid; below 0 where no VAT is due."""
        selling = outcomes + self.freight if self.values is None else self.values[:, None]
        return selling - (self.others + np.maximum(0.0, price - self.credit))[:, None]

    def revenue(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) net revenue: outcomes less their VAT."""
        if not self.on_margin:
            return outcomes * (1.0 - self.k)
        due = self.part(outcomes) * np.maximum(0.0, self.taxable(outcomes, price))
        return outcomes - self.k * (due - self.freight)

    def profit(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) profit of each outcome where `price` (m,) is paid."""
        spent = (self.cost + price * (1.0 + self.tied))[:, None] + self.fee * (outcomes + self.freight)
        return self.revenue(outcomes, price) - spent - self.reserve * outcomes


@dataclass(frozen=True, slots=True)
class MadeUp:
    """How a ceiling comes about, means in money: sells_for - vat - fee - reserve - costs - margin = leaves, what is
    left to pay for the kit; below 0 even a gift does not leave the margin. For a lot at an auction that is the hammer
    price."""

    sells_for: float
    vat: float
    fee: float
    reserve: float
    costs: float  # work with its contingency, parts, other donors, freight, holding, capital, an auction's premium
    margin: float
    leaves: float


@dataclass(frozen=True, slots=True, eq=False)
class Ceilings:
    """(m,) each; a price is below 0 where there is none. Chances are shares of the sample. `made_up` is at the price
    that leaves the margin as it comes out, before it is rounded and whatever its sign. Prices are as they are bid."""

    ceiling: FloatArray
    safe: FloatArray
    chance_at_ceiling: FloatArray
    made_up: list[MadeUp]


def _made_up(deals: Deals, price: FloatArray) -> list[MadeUp]:
    """Where the money goes at prices paid (m,); what is left over them is the margin."""
    sells_for, net = deals.mean(deals.clipped), deals.mean(deals.revenue(deals.clipped, price))
    fee = deals.fee * (sells_for + deals.freight)
    reserve, premium = deals.reserve * sells_for, np.maximum(0.0, price - price / deals.up)
    costs = deals.cost + premium + deals.tied * price
    leaves = price - premium
    margin = net - fee - reserve - costs - leaves
    columns = (sells_for, sells_for - net, fee, reserve, costs, margin, leaves)
    return [MadeUp(*row) for row in np.column_stack(columns).tolist()]


def mean_profit(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) expected profit at prices paid."""
    return deals.mean(deals.profit(deals.clipped, price))


def chance_of_loss(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) share of the sample that loses money at prices paid."""
    return deals.mean(deals.profit(deals.outcomes, price) < -NO_LOSS)


def surplus_over_margin(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) mean profit less the margin on mean net revenue: 0 at the ceiling, above it below."""
    return mean_profit(deals, price) - deals.margin * deals.mean(deals.revenue(deals.clipped, price))


def ceilings(deals: Deals, loss_chance: float) -> Ceilings:
    """The highest price that leaves the margin on average, and the highest at or below it that loses no oftener than
    `loss_chance` (a fraction). Both rounded down to the cent."""
    leaves, least = _margin_price(deals), np.maximum(0.0, deals.least)
    top = down_to_cent(leaves / deals.up)
    top = np.where(top * deals.up >= least, top, -1.0)
    safe = np.minimum(top, down_to_cent(_loses_at_most(deals, loss_chance) / deals.up))
    safe = np.where((safe * deals.up >= least) & (top >= 0), safe, -1.0)
    return Ceilings(top, safe, chance_of_loss(deals, np.maximum(top, 0.0) * deals.up), _made_up(deals, leaves))


def _loses_at_most(deals: Deals, loss_chance: float) -> FloatArray:
    """(m,) the highest price at which outcomes of no more than `loss_chance` together lose."""
    even = break_even_prices(deals)
    if deals.chances is None:
        allowed = min(int(np.floor(loss_chance * even.shape[1] + 1e-9)), even.shape[1] - 1)
        return np.partition(even, allowed, axis=1)[:, allowed]
    order = np.argsort(even, axis=1)
    losing = np.take_along_axis(deals.chances, order, axis=1).cumsum(axis=1)
    first = np.minimum((losing <= loss_chance + 1e-9).sum(axis=1), even.shape[1] - 1)[:, None]
    return np.take_along_axis(np.take_along_axis(even, order, axis=1), first, axis=1)[:, 0]


def break_even_prices(deals: Deals) -> FloatArray:
    """(m, n) the price at which each outcome leaves nothing; below 0 where it loses even as a gift."""
    each = deals.each[:, None]
    if not deals.on_margin:
        return deals.profit(deals.outcomes, np.zeros(len(deals.cost))) / each
    at_credit = deals.profit(deals.outcomes, deals.credit)
    slope = each - deals.k * deals.part(deals.outcomes)
    while_taxed = np.minimum(at_credit / slope, np.maximum(0.0, deals.taxable(deals.outcomes, deals.credit)))
    above = np.where(at_credit < 0, at_credit / each, while_taxed + (at_credit - slope * while_taxed) / each)
    return deals.credit[:, None] + above


def _margin_price(deals: Deals) -> FloatArray:
    """(m,) the price at which the mean profit is the margin of the mean net revenue.

    Under the margin scheme by Newton's steps: below the credit the surplus falls as the price rises; above it is
    concave and straight between the outcomes' own prices, so that each step but the first stays at or above the root
    and the last one meets it.
    """
    if not deals.on_margin:
        return surplus_over_margin(deals, np.zeros(len(deals.cost))) / deals.each
    price, part = deals.credit, deals.part(deals.clipped)
    for _ in range(MOST_STEPS):
        surplus = surplus_over_margin(deals, price)
        saved = deals.k * (1.0 - deals.margin) * deals.mean(part * (deals.taxable(deals.clipped, price) > 0))
        step = surplus / (deals.each - np.where((price > deals.credit) | (surplus > 0), saved, 0.0))
        price = price + step
        if np.abs(step).max(initial=0.0) < STEP_END:
            break
    return price


def down_to_cent(price: FloatArray) -> FloatArray:
    return np.asarray(np.floor(price * 100 + CENT_SLACK) / 100)


Use = Literal["sell on", "rebuild", "parts"]
SELL_ON: Final[Use] = "sell on"
REBUILD: Final[Use] = "rebuild"
PARTS: Final[Use] = "parts"
NO_SIZES: Final = "offers.csv does not give its sizes (diameter and depth of each drum)"
PLACEHOLDER: Final = Decimal(1_000_000)  # a price above every surplus; taken out again


@dataclass(frozen=True, slots=True)
class Base:
    """A use by one route before the kit and its freight are paid. Money, net; `hours` are the shop's own.

    `others`, `credit` and `least` are those of `Deals`. `reason` says why the use or its route is not open.
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
    return ("full", "margin") if settings_of(shop)[0].registered else ("none",)


def own_route(shop: Shop, plan: Plan | None, use: Use) -> Route:
    """The route that the plan, or else the shop, sets."""
    tax = settings_of(shop)[0]
    if plan is not None and use == REBUILD:
        return scheme_of(plan, (), shop, tax)
    return tax.sell_on if tax.registered else "none"


def plain_bases(shop: Shop, use: Use, hours: Decimal | None, bought_from: BoughtFrom, key: str) -> tuple[Base, ...]:
    """Selling a kit whole, or in parts: its hours, with contingency. `hours` are the shop's (`key` of [work]) where the
    offer has none of its own; None where both lack."""
    lacks = None
    if hours is None:
        lacks = f"shop.toml does not say how many hours that takes: add {key} under [work]"
    elif shop.work is None:
        lacks = "shop.toml does not say what an hour costs: add rate under [work]"
    labour = (hours or ZERO) * (shop.work.rate if shop.work is not None else ZERO)
    cost = float(labour * (1 + contingency_of(shop)))
    kit = DonorTable(id="on offer", series="-", pieces=1, condition=Decimal(3), price=ZERO, bought_from=bought_from)
    closed = {"margin": why_no_margin_scheme([kit], settings_of(shop)[0])}
    return tuple(
        Base(use, route, cost, 0.0, 0.0, 0.0, float(hours or 0), float(labour), lacks or closed.get(route))
        for route in routes_of(shop)
    )


def rebuild_bases(
    plan: Plan, shop: Shop, at: int, pieces: int, bought_from: BoughtFrom, vat: str | None = None
) -> tuple[Base, ...]:
    """The plan's build with a bought kit in the place of its donor number `at`, price and freight left out. `vat` is
    what a dealer's invoice says where it has none to deduct: margin or exempt.

    What the plan sells off of that donor counts for the kit that takes its place.
    """
    changed = {"price": PLACEHOLDER, "freight": ZERO, "pieces": pieces, "bought_from": bought_from, "vat": vat}
    changed |= {"premium": ZERO, "premium_vat": None, "duty": ZERO, "import_vat": ZERO, "clearance": ZERO, "sizes": ()}
    donors = tuple(d.model_copy(update=changed) if i == at else d for i, d in enumerate(plan.donor))
    routes = routes_of(shop)
    sheet = cost_sheet(plan.model_copy(update={"donor": donors, "route": routes[0]}), shop)
    labour = sheet.hours * (shop.work.rate if shop.work is not None else ZERO)
    lacks = f"the plan's cost is not known: {'; '.join(sheet.incomplete)}" if sheet.incomplete else None
    donor = next(a for a in sheet.apportioned if a.donor == plan.donor[at].id)
    sides = {side.route: side for side in sheet.routes}
    return tuple(
        Base(
            use=REBUILD,
            route=route,
            cost=float(sides[route].net_cost - PLACEHOLDER * (1 + sheet.terms.tied)),
            others=float(sides[route].purchase - donor.kit),
            credit=float(donor.stated),
            least=float(donor.stated) if route == "margin" else 0.0,
            hours=float(sheet.hours),
            labour=float(labour),
            reason=lacks or sides[route].reason,
        )
        for route in routes
    )


@dataclass(frozen=True, slots=True)
class DonorNeed:
    """What a plan takes from one of its donors: its place among them and the shells."""

    at: int
    id: str
    sizes: tuple[Size, ...]


def donor_needs(plan: Plan) -> tuple[DonorNeed, ...]:
    """The donors of a plan that give it drums, in its order."""
    taken = [
        tuple(drum.size for drum in plan.drum if drum.from_ == donor.id and donor.owner == "shop")
        for donor in plan.donor
    ]
    return tuple(DonorNeed(at, plan.donor[at].id, sizes) for at, sizes in enumerate(taken) if sizes)


def place_of(offer: Offer, needs: Sequence[DonorNeed]) -> DonorNeed | str:
    """The first donor whose drums the offer has, each in the plan's own size, or why it takes no donor's place."""
    for need in needs:
        if Counter(need.sizes) <= Counter(offer.sizes):
            return need
    if needs and not offer.sizes:
        return NO_SIZES
    lacks = "it has not all the drums of any one donor of the plan (kitvalue source joins several)"
    return lacks if needs else "the plan takes no drum from a donor"


@dataclass(frozen=True, slots=True)
class Paid:
    """What an offer is expected to be bought for, a lot's premium left out, and why. The book's own step from asked to
    sold is that of an asked price of 1."""

    price: float
    rests_on: str
    of_values: bool = False  # the values of kits rest on the same


def step_of(fit: Fit) -> Paid:
    """The step of the rows that tell both prices of one kit, else the one between sold rows and asked ones, else the
    haggle of shop.toml, else none. Never above 1: nobody pays more than is asked because sold rows lie higher. Asked
    rows that found no buyer lie too high, so pairs come first."""
    recipe = fit.recipe
    if recipe.pair_step is not None:
        return Paid(float(np.exp(recipe.pair_step)), by_pairs(recipe.pairs, recipe.pair_step), bool(recipe.sold_offset))
    for term in fit.terms:
        if term.name == "sold":
            factor = float(np.exp(term.coefficient))
            if factor >= 1:
                return Paid(1.0, "the asked price: sold rows of the book lie no lower than asked ones")
            return Paid(factor, f"asked to sold in the book, {100 * (factor - 1):.1f} % ({recipe.sold_basis})")
    if recipe.sold_offset:
        return Paid(float(np.exp(recipe.sold_offset)), recipe.sold_basis, of_values=True)
    return Paid(1.0, "the asked price: the book does not tell how far sold lies under asked")


def paid_for(offer: Offer, step: Paid) -> Paid | None:
    """The expected price: by the offer's own haggle where it has one, else by the book's step; never both. Nothing
    comes off a hammer price. None where there is no price."""
    if offer.price is None:
        return None
    asked = float(offer.price)
    if offer.price_kind == "hammer":
        return Paid(asked, "the hammer price")
    if offer.haggle == "fixed":
        return Paid(asked, "the asked price: it is fixed")
    if offer.haggle is not None:
        own = f"the offer's own haggle of {offer.haggle.normalize():f} %"
        return Paid(asked * (1 - float(offer.haggle) / 100), own)
    return replace(step, price=asked * step.price)


def opening(asked: float, paid: float, stop: float) -> float:
    """The price to open with: as far under the expected price as that lies under the asked one, so that meeting half
    way ends there (common practice, no source). Where that is above the price to stop at, as far under the latter, in
    proportion, as the expected price lies under the asked one, so that there is room to come up to it."""
    first = 2 * paid - asked
    return round(first if first <= stop else stop * paid / asked, 2)
