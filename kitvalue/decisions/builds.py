"""The builds that plans make of the offers: each needs all its donors and new shells, whoever sells them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import product
from math import prod

import numpy as np

from kitvalue.decisions.ceiling import Deals, DonorNeed, donor_needs, made_up_for, mean_profit, place_of
from kitvalue.decisions.offered import Grounds, Lot, rebuilds
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.plan import NEW, DonorTable, Plan
from kitvalue.intake.settings.shop import Route, TaxTable
from kitvalue.intake.text.problems import Caution, FileError, KitvalueError
from kitvalue.intake.text.words import fold
from kitvalue.workshop.build import STATED, Group
from kitvalue.workshop.costing import CAPITAL, CostSheet, cost_sheet, settings_of
from kitvalue.workshop.money import ZERO, cents
from kitvalue.workshop.purchases import Amount, purchase_at
from kitvalue.workshop.tax import Terms, scheme_of, why_no_margin_scheme

MOST_BUILDS = 2000  # of one plan; of more, each donor's cheapest offers are joined
AT_ONCE = 100  # builds whose sales are worked out at a time
OF_OFFERS = (
    "series", "pieces", "condition", "bought_from", "vat", "premium", "premium_vat", "freight_by", "duty", "import_vat",
    "clearance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Filled:
    """One of a plan's donors as it would be bought: an offer, or as the plan says. Money.

    `rest` is the net cost, by route, of the whole build but its donors where this one is as here and the others are as
    the plan says; `cost` and `cash` are the donor's own: nothing where the shop has it in hand.
    """

    lot: Lot | None
    donor: DonorTable
    rest: Mapping[Route, Decimal]
    cost: Decimal
    cash: Decimal
    purchase: Decimal  # its part in P
    hours: Decimal  # of the whole build where this donor is as here


@dataclass(frozen=True, slots=True)
class BuildChoice:
    """A plan built with offers. `cost` is all that is still to be counted for it, `purchase` P of the margin scheme."""

    plan: Plan
    filled: tuple[tuple[str, Lot], ...]  # the plan's donor, the offer
    route: Route
    cost: float
    purchase: float
    cash: float
    hours: float


def builds_of(plan: Plan, grounds: Grounds, lots: Sequence[Lot]) -> tuple[BuildChoice, ...]:
    """Every way to build a plan with at least one of the offers. What is done of it and in hand is spent.

    Raises FileError or RefusedError where the plan cannot be costed.
    """
    tax, undone, worst = settings_of(grounds.shop)[0], _undone(plan), grounds.shop.buying.worst
    if any(donor.owner == "customer" for donor in plan.donor):
        return ()
    first = undone.model_copy(update={"donor": tuple(_known(donor) for donor in undone.donor)})
    base = cost_sheet(first.model_copy(update={"route": _any_route(tax)}), grounds.shop)
    if base.incomplete:
        return ()
    before, needs = _rest(base), {need.id: need for need in donor_needs(plan)}
    options = [
        list(_filled(first, at, _lots_for(donor, needs.get(donor.id), lots, worst), grounds, tax))
        for at, donor in enumerate(plan.donor)
    ]
    new = [drum for drum in plan.drum if drum.from_ == NEW]
    shells = [Amount("new shell", drum.price or ZERO, STATED[drum.vat or "excluded"]).paid(tax) for drum in new]
    return tuple(
        made
        for ways in product(*_few(options, base.route, grounds.terms))
        if (made := _joined(plan, ways, before, sum(map(cents, shells), ZERO), base.hours, grounds, tax)) is not None
    )


def left_out(plan: str, why: KitvalueError) -> Caution:
    """What is said of a plan that cannot compete."""
    return Caution("plan_left_out", f"{plan} is left out of what to buy together: {why.message}")


def _undone(plan: Plan) -> Plan:
    """The plan with the work and the parts that are left to do and to buy."""
    work, part = (tuple(line for line in lines if not line.done) for lines in (plan.work, plan.part))
    return plan.model_copy(update={"work": work, "part": part})


def _any_route(tax: TaxTable) -> Route | None:
    """One that no donor closes, to see all sides of a cost sheet."""
    return "full" if tax.registered else None


def _known(donor: DonorTable) -> DonorTable:
    return donor.model_copy(update={"freight": donor.freight or ZERO})


def _lots_for(donor: DonorTable, need: DonorNeed | None, lots: Sequence[Lot], worst: Decimal) -> Iterator[Lot | None]:
    """The offers that may be bought as a donor; None where it is bought as the plan says, or was. A donor with the name
    of an offer that is such a kit, as source writes it, is that offer."""
    if donor.in_hand:
        yield None
        return
    named = [lot for lot in lots if lot.paid is not None and _is_the_same(lot.offer, donor)]
    needed = [] if need is None else [need]
    fitting = [lot for lot in lots if lot.paid is not None and place_of(lot.offer, needed, worst) is need]
    yield from fitting
    if named:
        yield from (lot for lot in named if lot not in fitting)
    elif donor.freight is not None:
        yield None


def _is_the_same(offer: Offer, donor: DonorTable) -> bool:
    return [fold(offer.offer), fold(offer.series), offer.pieces] == [fold(donor.id), fold(donor.series), donor.pieces]


def _filled(
    first: Plan, at: int, lots: Iterable[Lot | None], grounds: Grounds, tax: TaxTable
) -> Iterator[Filled]:  # fmt: skip
    """A donor bought in each way; an offer that costs less than what the plan sells off of it is none."""
    for lot in lots:
        try:
            yield _one_way(first, at, lot, grounds, tax)
        except FileError:
            if lot is None:
                raise


def _one_way(first: Plan, at: int, lot: Lot | None, grounds: Grounds, tax: TaxTable) -> Filled:
    donor = first.donor[at] if lot is None else bought_as(first.donor[at], lot)
    donors = tuple(donor if i == at else other for i, other in enumerate(first.donor))
    short = max(ZERO, first.donor[at].condition - donor.condition)
    work = (*first.work, *made_up_for(short, donor.id, (donor.id,), grounds.shop))
    sheet = cost_sheet(first.model_copy(update={"donor": donors, "work": work, "route": _any_route(tax)}), grounds.shop)
    bought = purchase_at(donor.price, donor, tax)
    own = next(one for one in sheet.apportioned if one.donor == donor.id)
    spent = donor.in_hand
    return Filled(
        lot, donor, _rest(sheet), ZERO if spent else bought.cost(tax), ZERO if spent else bought.paid(tax),
        max(ZERO, own.kit), sheet.hours,
    )  # fmt: skip


def bought_as(donor: DonorTable, lot: Lot) -> DonorTable:
    """A plan's donor where an offer is bought in its place, at the price that it will probably be had for."""
    offer, paid = lot.offer, 0.0 if lot.paid is None else lot.paid.price
    told = {name: getattr(offer, name) for name in OF_OFFERS}
    told |= {"price": cents(Decimal(repr(paid))), "freight": offer.freight or ZERO, "sizes": ()}
    return donor.model_copy(update=told)


def _rest(sheet: CostSheet) -> dict[Route, Decimal]:
    """What a build costs by each route but for its donors and what is tied up in them."""
    return {
        side.route: sum(
            (line.net or ZERO for line in side.lines if line.group is not Group.DONORS and line.what != CAPITAL), ZERO
        )
        for side in sheet.routes
    }


def _few(options: Sequence[Sequence[Filled]], route: Route, terms: Terms) -> list[list[Filled]]:
    """Not more of each donor's options than can be joined, the cheapest first."""
    some = [sorted(of, key=lambda one: one.cost * (1 + terms.tied) + one.rest[route]) for of in options]
    while prod(map(len, some)) > MOST_BUILDS:
        longest = max(some, key=len)
        del longest[-1]
    return some


def _joined(
    plan: Plan, ways: Sequence[Filled], before: Mapping[Route, Decimal], shells: Decimal, hours: Decimal,
    grounds: Grounds, tax: TaxTable,
) -> BuildChoice | None:  # fmt: skip
    """The build of donors bought so; None where no offer is among them, one stands twice, or its route is closed."""
    filled = tuple((way.donor.id, way.lot) for way in ways if way.lot is not None)
    if not filled or len({lot.place for _, lot in filled}) < len(filled):
        return None
    donors = tuple(way.donor for way in ways)
    route = scheme_of(plan.model_copy(update={"donor": donors}), donors, grounds.shop, tax)
    closed = route == "margin" and why_no_margin_scheme(donors, tax) is not None
    if closed and plan.route == "margin":
        return None
    route = "full" if closed else route
    kits = sum((way.cost for way in ways), ZERO)
    rest = before[route] + sum((way.rest[route] - before[route] for way in ways), ZERO)
    return BuildChoice(
        plan, filled, route, float(rest + kits + cents(kits * grounds.terms.tied)),
        float(sum((way.purchase for way in ways), ZERO)), float(shells + sum((way.cash for way in ways), ZERO)),
        float(hours + sum((way.hours - hours for way in ways), ZERO)),
    )  # fmt: skip


def sales_of(builds: Sequence[BuildChoice], outcomes: FloatArray, terms: Terms) -> Deals:
    """Builds of one plan and one route sold at `outcomes` (n,) as purchases for which nothing more is paid."""
    m, none = len(builds), np.zeros(len(builds))
    route, untaxed = builds[0].route, builds[0].route in ("none", "sales")
    shown = np.broadcast_to(outcomes, (m, len(outcomes)))
    return Deals(
        outcomes=shown, clipped=shown, cost=np.array([one.cost for one in builds]),
        rate=0.0 if untaxed else float(terms.rate),
        fee=float(terms.fee * (1 + terms.rate) if route == "sales" else terms.fee), margin=float(terms.margin),
        freight=float(terms.freight), on_margin=route == "margin",
        others=np.array([one.purchase for one in builds]), credit=none, least=none, reserve=float(terms.reserve),
    )  # fmt: skip


def expected_profits(builds: Sequence[BuildChoice], grounds: Grounds) -> FloatArray:
    """(m,) what each build of one plan is expected to leave over what it still costs."""
    expected = np.zeros(len(builds))
    if not builds:
        return expected
    clipped = rebuilds(builds[0].plan, grounds.fit).clipped[0]
    for route in {one.route for one in builds}:
        own = np.array([at for at, one in enumerate(builds) if one.route == route])
        for start in range(0, len(own), AT_ONCE):
            some = own[start : start + AT_ONCE]
            deals = sales_of([builds[at] for at in some], clipped, grounds.terms)
            expected[some] = mean_profit(deals, np.zeros(len(some)))
    return expected
