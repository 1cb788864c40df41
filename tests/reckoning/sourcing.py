"""Which donors and new shells a plan is made of, by trying every way to fill its drums."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from tests.reckoning.exact import RefusedError, Rounding, cents, inside
from tests.reckoning.floors import Selling, floor_price, net_cost
from tests.reckoning.purchases import Bought, Business, Terms, reckon
from tests.reckoning.schemes import PlanDonor, Tax, is_restored, of_item, of_plan
from tests.reckoning.shares import Piece, brings, split

ZERO = Fraction(0)


@dataclass(frozen=True)
class Drum:
    """A drum of a kit: role, diameter and depth in inches, and what parts.csv says it fetches (gross), and how
    surely.
    """

    role: str
    diameter: int
    depth: int
    value: Fraction | None = None
    chance: Fraction = Fraction(1)


@dataclass(frozen=True)
class Donor:
    """A kit on offer. `grade_work` is what each used drum costs for grades under what the plan expects."""

    name: str
    series: str
    price: Fraction
    drums: tuple[Drum, ...]
    terms: Terms = Terms()  # noqa: RUF009 - frozen
    grade_work: Fraction = ZERO
    condition: Fraction = Fraction(3)


@dataclass(frozen=True)
class Slot:
    """A drum of the plan. `new` is what a new shell costs with its own work and parts, None where none is to be had.

    `cut` is what it costs to cut a deeper shell down to this depth, None where the plan does not allow it.
    """

    role: str
    diameter: int
    depth: int
    new: Fraction | None = None
    cut: Fraction | None = None


@dataclass(frozen=True)
class Task:
    """A plan to be sourced. `other_costs`: everything that is the same whatever is bought. `route`: the plan's own
    word.
    """

    slots: tuple[Slot, ...]
    donors: tuple[Donor, ...]
    finished: str
    tax: Tax
    business: Business
    selling: Selling
    other_costs: Fraction = ZERO
    route: str = ""
    worst: Fraction = Fraction(2)


Filling = tuple[tuple[int, int] | None, ...]  # for each slot (donor, drum), None for a new shell


@dataclass(frozen=True)
class Answer:
    """One way to fill a plan. `cost` is what the choice costs net (without other_costs); `objective` what source
    minimises.
    """

    filling: Filling
    route: str
    cost: Fraction
    purchase_price: Fraction
    objective: Fraction
    floor: Fraction

    @property
    def donors(self) -> tuple[int, ...]:
        """Which donors are bought."""
        return tuple(sorted({place[0] for place in self.filling if place is not None}))


def cost_of_drum(slot: Slot, drum: Drum) -> Fraction | None:
    """What cutting costs (0 where the depth is right), None where the drum cannot become this one (never deeper)."""
    if (slot.role, slot.diameter) != (drum.role, drum.diameter) or drum.depth < slot.depth:
        return None
    return ZERO if drum.depth == slot.depth else slot.cut


def fillings(task: Task) -> Iterator[Filling]:
    """Every way to fill the slots: each drum once, a donor under `worst` not at all."""
    options: list[list[tuple[int, int] | None]] = []
    for slot in task.slots:
        found: list[tuple[int, int] | None] = [None] if slot.new is not None else []
        for at, donor in enumerate(task.donors):
            if donor.condition < task.worst:
                continue
            found += [(at, drum) for drum, own in enumerate(donor.drums) if cost_of_drum(slot, own) is not None]
        options.append(found)
    for filling in product(*options):
        taken = [place for place in filling if place is not None]
        if len(taken) == len(set(taken)):
            yield filling


def scheme_of(task: Task, filling: Filling, bought: Sequence[Bought]) -> str | None:
    """The scheme of this way by the rules of plans, None where it is refused.

    A plan that says margin never uses a closed donor; without a word of its own it is then under full VAT.
    """
    used = sorted({place[0] for place in filling if place is not None})
    donors = [PlanDonor(task.donors[at].series, bought[at].open) for at in used]
    try:
        return of_plan(task.tax, donors, task.finished, new_shells=filling.count(None), route=task.route).route
    except RefusedError:
        return None


def answer(
    task: Task,
    filling: Filling,
    route: str,
    rate: Fraction,
    *,
    weight: Fraction | None = None,
    rounding: Rounding = cents,
) -> Answer:
    """The figures of one way under one scheme.

    Σ kits (p + premium + import costs)(1 + i T/12) − [margin] (1 − m) k P + freight (1 + i T/12) + new shells,
    cutting, work − Σ leftovers (c − [margin] (1 − m) k a). A share never exceeds the price, so that each leftover's c
    is known beforehand and the sum is linear. `weight` takes the place of 1 − m: 1 where the market's price binds,
    for profit then gains k a euro of P.
    """
    selling, k = task.selling, inside(rate)
    weight = 1 - selling.margin if weight is None else weight
    used = sorted({place[0] for place in filling if place is not None})
    cost = purchase_price = linear = tied = ZERO
    for at in used:
        donor = task.donors[at]
        bought = reckon(donor.price, donor.terms, task.business, rounding)
        cost += bought.cost
        tied += bought.cost
        linear += bought.cost * (1 + selling.tied) - (weight * k * bought.purchase_price if route == "margin" else 0)
        purchase_price += bought.purchase_price
        pieces = [Piece(f"{number}", drum.value) for number, drum in enumerate(donor.drums)]
        shares = split(bought.purchase_price, pieces)
        own = of_item(task.tax, is_open=bought.open).route
        for number, drum in enumerate(donor.drums):
            if (at, number) in filling:
                cost += donor.grade_work
                linear += donor.grade_work
                continue
            credit = ZERO
            if drum.value is not None:
                credit = rounding(brings(drum.value, shares[number], rate, selling.fee, scheme=own, chance=drum.chance))
            cost -= credit
            purchase_price -= shares[number]
            linear -= credit - (weight * k * shares[number] if route == "margin" else 0)
    for slot, place in zip(task.slots, filling, strict=True):
        extra = slot.new if place is None else cost_of_drum(slot, task.donors[place[0]].drums[place[1]])
        if extra is None:
            raise RefusedError("drum_does_not_fit")
        cost += extra
        linear += extra
    whole = net_cost(task.other_costs + cost, tied, selling, rounding)
    floor = floor_price(route, rate, selling, whole, purchase_price)
    return Answer(filling, route, cost + rounding(selling.tied * tied), purchase_price, linear, floor)


def every_answer(task: Task, rate: Fraction, rounding: Rounding = cents) -> Iterator[Answer]:
    """Every way that is not refused, each under the scheme that the rules give it."""
    bought = [reckon(donor.price, donor.terms, task.business, rounding) for donor in task.donors]
    for filling in fillings(task):
        route = scheme_of(task, filling, bought)
        if route is not None:
            yield answer(task, filling, route, rate, rounding=rounding)


def best(task: Task, rate: Fraction, rounding: Rounding = cents) -> Answer:
    """The lowest floor of all; ties: the lower net cost, then the one found first."""
    answers = list(every_answer(task, rate, rounding))
    if not answers:
        raise RefusedError("cannot_be_filled")
    return min(answers, key=lambda one: (one.floor, one.cost))


def best_of_program(task: Task, rate: Fraction, *, restored: bool, route: str) -> Answer | None:
    """One program alone: the least objective over the ways that are a kit restored, or over all others, under one
    scheme.

    Closed donors are barred from a margin program; from the full one beside it nothing is barred. Ties: the lower net
    cost.
    """
    bought = [reckon(donor.price, donor.terms, task.business, cents) for donor in task.donors]
    found = []
    for filling in fillings(task):
        used = sorted({place[0] for place in filling if place is not None})
        donors = [PlanDonor(task.donors[at].series, bought[at].open) for at in used]
        if is_restored(donors, task.finished, filling.count(None)) != restored:
            continue
        if route == "margin" and not all(donor.open for donor in donors):
            continue
        found.append(answer(task, filling, route, rate))
    return min(found, key=lambda one: (one.objective, one.cost), default=None)


def best_by_programs(task: Task, rate: Fraction) -> Answer:
    """Both programs solved, the better floor wins.

    A kit restored follows sell_on, others rebuild; where that is margin, full stands beside it for the sets with a
    closed donor, unless the plan itself says margin. (A set that is open could not choose the other column by itself
    here: a full floor of an open set is weighed too only where full is what the rules give it.)
    """
    found = []
    for restored in (True, False):
        follows = task.route or (task.tax.sell_on if restored else task.tax.rebuild)
        if task.tax.kind == "sales" or not task.tax.registered:
            follows = "sales" if task.tax.kind == "sales" else "none"
        one = best_of_program(task, rate, restored=restored, route=follows)
        found += [] if one is None else [one]
        if follows == "margin" and not task.route:
            found += closed_under_full(task, rate, restored=restored)
    if not found:
        raise RefusedError("cannot_be_filled")
    return min(found, key=lambda one: (one.floor, one.cost))


def closed_under_full(task: Task, rate: Fraction, *, restored: bool) -> list[Answer]:
    """The least objective of the sets that a closed donor makes full."""
    bought = [reckon(donor.price, donor.terms, task.business, cents) for donor in task.donors]
    found = []
    for filling in fillings(task):
        used = sorted({place[0] for place in filling if place is not None})
        donors = [PlanDonor(task.donors[at].series, bought[at].open) for at in used]
        if is_restored(donors, task.finished, filling.count(None)) == restored and not all(one.open for one in donors):
            found.append(answer(task, filling, "full", rate))
    return [min(found, key=lambda one: (one.objective, one.cost))] if found else []


def best_at_market(task: Task, rate: Fraction, route: str) -> Answer:
    """The set that leaves the most at a given market price: 1 in the place of 1 − m, the others barred as before."""
    bought = [reckon(donor.price, donor.terms, task.business, cents) for donor in task.donors]
    ways = [way for way in fillings(task) if scheme_of(task, way, bought) == route]
    if not ways:
        raise RefusedError("cannot_be_filled")
    return min(
        (answer(task, way, route, rate, weight=Fraction(1)) for way in ways), key=lambda one: (one.objective, one.cost)
    )
