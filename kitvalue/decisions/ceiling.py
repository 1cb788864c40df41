"""Up to what price a purchase pays: ceilings counted from the market's own sample, for many purchases at once.

Profit falls steadily in the price paid, so that every outcome has one price at which it breaks even, a closed form, and
the mean has one price at which it leaves the margin: a closed form too, but for the margin scheme's "no VAT on a loss".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.plan import DonorTable, Plan, WorkLine
from kitvalue.intake.settings.purchase import BuyingTerms
from kitvalue.intake.settings.shop import Route, Shop, TaxTable
from kitvalue.intake.settings.words import grade_name
from kitvalue.intake.text.sizes import Size
from kitvalue.market.encoding import by_pairs
from kitvalue.market.fitted import Fit
from kitvalue.workshop.costing import contingency_of, cost_sheet, settings_of
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.purchases import purchase_at
from kitvalue.workshop.tax import closed_by, scheme_of, scheme_of_item

CENT_SLACK = 1e-6  # of a cent: what rounding errors may take from a price that is whole cents
NO_LOSS = 1e-6  # money: a profit above minus this is no loss
MOST_STEPS = 100
STEP_END = 1e-9  # money


class Landed(NamedTuple):
    """What a kit costs in the terms of its offer, as lines in the price that is bid (of a lot the hammer price): at a
    price of 0, and for each unit more."""

    start: float  # net, landed: freight, clearance and what they bear
    slope: float
    purchase: float  # P
    into: float
    back: float  # of `slope`: the VAT in each unit bid that is deducted
    cash: float  # all that goes out, VAT that is deducted later with it
    cash_slope: float


def landed(terms: BuyingTerms, tax: TaxTable) -> Landed:
    """The lines of an offer, of a purchase at a price of 0 and at one of 1."""
    free, one = (purchase_at(price, terms, tax, lambda money: money) for price in (ZERO, Decimal(1)))
    start, at_one = (sum((a.counted(tax) for a in bought.amounts), ZERO) for bought in (free, one))
    cash, cash_at_one = (sum((a.paid(tax) for a in bought.amounts), ZERO) for bought in (free, one))
    back = max(ZERO, 1 - one.amounts[0].counted(tax))
    into = one.purchase_price - free.purchase_price
    return Landed(*map(float, (start, at_one - start, free.purchase_price, into, back, cash, cash_at_one - cash)))


@dataclass(frozen=True, slots=True, eq=False)
class Deals:
    """m purchases of one use by one VAT route, n outcomes of each, equally likely but for `chances`. Money; fractions.

    `outcomes` are gross selling prices, `clipped` those from which means are taken. Prices are as they are bid: each
    unit costs `slope`, net, with VAT of `back` deducted in it, and `cost` is all net cost at a price of 0. Under the
    margin scheme P = `others` + `into` * max(0, price - `credit`), and `least` is the lowest price that the scheme
    allows; the VAT of an outcome is k * `part` * max(0, `taxed` - P) - k * freight, where a kit has part 1 and taxed =
    outcome + freight, and a kit sold in parts the sold part of its value and that value. `tied` is what each unit of
    net cost that is paid for a kit costs until the sale.
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
    slope: FloatArray | float = 1.0  # (m,), as the next two
    into: FloatArray | float = 1.0
    back: FloatArray | float = 0.0
    reserve: float = 0.0
    tied: FloatArray | float = 0.0  # (m,)
    chances: FloatArray | None = None  # (m, n) that add up to 1; None: each outcome is as likely as any other

    @property
    def k(self) -> float:
        """The VAT inside a gross price."""
        return self.rate / (1.0 + self.rate)

    @property
    def each(self) -> FloatArray:
        """(m,) what is no longer kept of each unit more that is bid, but for the VAT of the sale."""
        return self.slope * (1.0 + self.tied) * np.ones(len(self.cost))

    def mean(self, figures: FloatArray | NDArray[np.bool_]) -> FloatArray:
        """(m,) the mean of figures (m, n) over the outcomes."""
        return np.asarray(figures.mean(axis=1) if self.chances is None else (figures * self.chances).sum(axis=1))

    def part(self, outcomes: FloatArray) -> FloatArray:
        """(m, n) the share of the purchase that an outcome sells; (1, 1) where each sells all of it."""
        if self.values is None:
            return np.ones((1, 1))
        return np.divide(outcomes, self.values[:, None], where=self.values[:, None] > 0, out=np.zeros_like(outcomes))

    def taxable(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) how far the selling price lies above P at a `price` (m,) bid; below 0 where no VAT is due."""
        selling = outcomes + self.freight if self.values is None else self.values[:, None]
        return selling - (self.others + self.into * np.maximum(0.0, price - self.credit))[:, None]

    def revenue(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) net revenue: outcomes less their VAT."""
        if not self.on_margin:
            return outcomes * (1.0 - self.k)
        due = self.part(outcomes) * np.maximum(0.0, self.taxable(outcomes, price))
        return outcomes - self.k * (due - self.freight)

    def profit(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) profit of each outcome where `price` (m,) is bid."""
        spent = (self.cost + price * self.each)[:, None] + self.fee * (outcomes + self.freight)
        return self.revenue(outcomes, price) - spent - self.reserve * outcomes


@dataclass(frozen=True, slots=True)
class MadeUp:
    """How a ceiling comes about, means in money: sells_for - vat - fee - reserve - costs - margin + deducted = leaves,
    what is left to bid for the kit, `deducted` being the VAT in that; below 0 even a gift does not leave the margin."""

    sells_for: float
    vat: float
    fee: float
    reserve: float
    costs: float  # net: work with its contingency, parts, other donors, freight, premium, import, holding, capital
    margin: float
    leaves: float
    deducted: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Ceilings:
    """(m,) each; a price is below 0 where there is none. Chances are shares of the sample. `made_up` is at the price
    that leaves the margin as it comes out, before it is rounded and whatever its sign. Prices are as they are bid."""

    ceiling: FloatArray
    safe: FloatArray
    chance_at_ceiling: FloatArray
    made_up: list[MadeUp]


def _made_up(deals: Deals, price: FloatArray) -> list[MadeUp]:
    """Where the money goes at prices bid (m,); what is left over them is the margin."""
    sells_for, net = deals.mean(deals.clipped), deals.mean(deals.revenue(deals.clipped, price))
    fee = deals.fee * (sells_for + deals.freight)
    reserve, bid = deals.reserve * sells_for, np.maximum(0.0, price)
    deducted, leaves = deals.back * bid, np.where(price > 0, price, price * deals.slope)
    costs = deals.cost + deals.each * price - leaves + deducted
    margin = net - fee - reserve - costs - leaves + deducted
    columns = (sells_for, sells_for - net, fee, reserve, costs, margin, leaves, deducted)
    return [MadeUp(*row) for row in np.column_stack(columns).tolist()]


def mean_profit(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) expected profit at prices bid."""
    return deals.mean(deals.profit(deals.clipped, price))


def chance_of_loss(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) share of the sample that loses money at prices bid."""
    return deals.mean(deals.profit(deals.outcomes, price) < -NO_LOSS)


def surplus_over_margin(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) mean profit less the margin on mean net revenue: 0 at the ceiling, above it below."""
    return mean_profit(deals, price) - deals.margin * deals.mean(deals.revenue(deals.clipped, price))


def ceilings(deals: Deals, loss_chance: float) -> Ceilings:
    """The highest price that leaves the margin on average, and the highest at or below it that loses no oftener than
    `loss_chance` (a fraction). Both rounded down to the cent."""
    leaves, least = _margin_price(deals), np.maximum(0.0, deals.least)
    top = down_to_cent(leaves)
    top = np.where(top >= least, top, -1.0)
    safe = np.minimum(top, down_to_cent(_loses_at_most(deals, loss_chance)))
    safe = np.where((safe >= least) & (top >= 0), safe, -1.0)
    return Ceilings(top, safe, chance_of_loss(deals, np.maximum(top, 0.0)), _made_up(deals, leaves))


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
    into = (deals.into * np.ones(len(deals.cost)))[:, None]
    slope = each - deals.k * into * deals.part(deals.outcomes)
    while_taxed = np.minimum(at_credit / slope, np.maximum(0.0, deals.taxable(deals.outcomes, deals.credit)) / into)
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
        due = deals.mean(part * (deals.taxable(deals.clipped, price) > 0))
        saved = deals.k * (1.0 - deals.margin) * deals.into * due
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

    Of P, `others` is what other donors make up, `part` what of the kit's own is in the build beyond `credit`; `credit`
    and `least` are those of `Deals` before the kit's own terms. `own`: it is the route that plan and shop set. `reason`
    says why the use or its route is not open.
    """

    use: Use
    route: Route
    cost: float
    others: float
    credit: float
    least: float
    hours: float
    labour: float
    own: bool
    reason: str | None
    part: float = 1.0


def routes_of(shop: Shop) -> tuple[Route, ...]:
    """The VAT routes that the business may choose from for each sale."""
    tax, _ = settings_of(shop)
    if not tax.registered:
        return ("none",)
    return ("full", "margin") if tax.kind == "vat" else ("sales",)


def own_route(shop: Shop, plan: Plan) -> Route:
    """The route that the plan, or else the shop, sets for a rebuild whatever its donors."""
    return scheme_of(plan, (), shop, settings_of(shop)[0])


def plain_bases(shop: Shop, use: Use, hours: Decimal | None, kit: BuyingTerms, key: str) -> tuple[Base, ...]:
    """Selling a kit whole, or in parts: its hours, with contingency. `hours` are the shop's (`key` of [work]) where the
    offer has none of its own; None where both lack."""
    lacks, tax = None, settings_of(shop)[0]
    if hours is None:
        lacks = f"shop.toml does not say how many hours that takes: add {key} under [work]"
    elif shop.work is None:
        lacks = "shop.toml does not say what an hour costs: add rate under [work]"
    labour = (hours or ZERO) * (shop.work.rate if shop.work is not None else ZERO)
    cost, closed, own = float(labour * (1 + contingency_of(shop))), closed_by(kit, tax), scheme_of_item(kit, tax)
    reasons = {"margin": None if closed is None else f"it {closed}"}
    return tuple(
        Base(use, route, cost, 0.0, 0.0, 0.0, float(hours or 0), float(labour), route == own,
             lacks or reasons.get(route))
        for route in routes_of(shop)
    )  # fmt: skip


def rebuild_bases(plan: Plan, shop: Shop, at: int, kit: Offer | DonorTable, short: Decimal = ZERO) -> tuple[Base, ...]:
    """The plan's build with a kit in the place of its donor number `at`, what that kit costs left out. `short` is by
    how many grades the kit lies under that donor.

    What the plan sells off of that donor counts for the kit that takes its place.
    """
    tax, routes, own = settings_of(shop)[0], routes_of(shop), plan.donor[at].id
    terms = {"pieces": kit.pieces, "series": kit.series, "bought_from": kit.bought_from, "vat": kit.vat}
    free = dict.fromkeys(("freight", "premium", "duty", "import_vat", "clearance"), ZERO)
    changed = {**terms, **free, "premium_vat": None, "price": PLACEHOLDER, "sizes": ()}
    donors = tuple(d.model_copy(update=changed) if i == at else d for i, d in enumerate(plan.donor))
    told = plan.model_copy(update={"donor": donors})
    scheme, closed = scheme_of(told, donors, shop, tax), closed_by(kit, tax)
    work = (*plan.work, *made_up_for(short, own, (own,), shop))
    sheet = cost_sheet(told.model_copy(update={"route": routes[0], "work": work}), shop)
    taken_out = purchase_at(PLACEHOLDER, donors[at], tax).cost(tax) * (1 + sheet.terms.tied)
    labour = sheet.hours * (shop.work.rate if shop.work is not None else ZERO)
    lacks = f"the plan's cost is not known: {'; '.join(sheet.incomplete)}" if sheet.incomplete else None
    donor = next(a for a in sheet.apportioned if a.donor == own)
    sides = {side.route: side for side in sheet.routes}
    reasons = {"margin": None if closed is None else f"it {closed}"}
    return tuple(
        Base(
            use=REBUILD,
            route=route,
            cost=float(sides[route].net_cost - taken_out),
            others=float(sides[route].purchase - donor.kit),
            credit=float(donor.stated),
            least=float(donor.stated) if route == "margin" else 0.0,
            part=float(donor.part),
            hours=float(sheet.hours),
            labour=float(labour),
            own=route == scheme,
            reason=lacks or reasons.get(route) or sides[route].reason,
        )
        for route in routes
    )


def made_up_for(short: Decimal, donor: str, only: Sequence[str], shop: Shop) -> tuple[WorkLine, ...]:
    """The work, if any, that drums of a donor take which lies `short` grades under what a plan's own lines expect."""
    what, hours = f"Make up for donor {donor}, {short.normalize():f} under the plan's grade", grade_hours(short, shop)
    return (WorkLine.model_validate({"what": what, "per": "drum", "only": [*only], "hours": hours}),) if hours else ()


def grade_hours(short: Decimal, shop: Shop) -> Decimal:
    """The hours that a drum takes more of a kit which lies `short` grades under what a plan expects."""
    return short * sum(shop.work.grade.values(), ZERO) if shop.work is not None else ZERO


def under_grade(short: Decimal, shop: Shop) -> str:
    """What is said of a kit that lies `short` grades under the donor whose place it takes."""
    hours = grade_hours(short, shop)
    told = (
        f"{hours.normalize():f} h a drum are added"
        if hours
        else "no hours are added, for shop.toml has no [work.grade]"
    )
    return f"{short.normalize():f} under the grade that the plan expects of its donor: {told}"


@dataclass(frozen=True, slots=True)
class DonorNeed:
    """What a plan takes from one of its donors: its place among them, the shells, the grade that its work expects."""

    at: int
    id: str
    sizes: tuple[Size, ...]
    condition: Decimal

    def short(self, offer: Offer) -> Decimal:
        """By how many grades an offer lies under it."""
        return max(ZERO, self.condition - offer.condition)


def donor_needs(plan: Plan) -> tuple[DonorNeed, ...]:
    """The donors of a plan that give it drums, in its order."""
    taken = [
        tuple(drum.shell for drum in plan.drum if drum.from_ == donor.id and donor.owner == "shop")
        for donor in plan.donor
    ]
    donors = enumerate(zip(plan.donor, taken, strict=True))
    return tuple(DonorNeed(at, donor.id, sizes, donor.condition) for at, (donor, sizes) in donors if sizes)


def place_of(offer: Offer, needs: Sequence[DonorNeed], worst: Decimal) -> DonorNeed | str:
    """The first donor whose drums the offer has, each in the plan's own size, or why it takes no donor's place."""
    if needs and offer.condition < worst:
        return f"{grade_name(offer.condition)} is worse than what is taken as a donor (worst under [buying])"
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
