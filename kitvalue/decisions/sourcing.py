"""Which offers, new shells and cut-downs give a plan's drums at least cost: a mixed-integer program.

Solved by branch and cut to proven optimality (HiGHS; Huangfu and Hall 2018, Mathematical Programming Computation
10:119-142), or told with the gap that is left when the time is up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from kitvalue.decisions.ceiling import Step, paid_for
from kitvalue.decisions.shortlist import drum_value
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.books.parts import Part
from kitvalue.intake.settings.plan import DonorTable, DrumTable, Plan, WorkLine
from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.problems import Caution, FileError, RefusedError
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.workshop.build import Charge, Group, Stated, net_unit
from kitvalue.workshop.costing import contingency_of, cost_sheet, settings_of
from kitvalue.workshop.drums import NEW, Drum, drums_of
from kitvalue.workshop.money import ZERO, cents, plan_file
from kitvalue.workshop.tax import terms_of

Status = Literal["optimal", "gap", "infeasible"]
MISSING: Final = 1e7  # the price of leaving a drum out: far above any kit, so that none is left out needlessly
TIME_LIMIT: Final = 60.0  # seconds

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult


@dataclass(frozen=True, slots=True)
class WantedDrum:
    """A drum of the plan. `new_price` (net) is that of a new shell, None where none is known; `new_extra` what a new
    shell costs more in work and parts than a donor's (below 0 where it costs less)."""

    name: str
    size: Size
    new_price: float | None
    new_extra: float


@dataclass(frozen=True, slots=True)
class Supply:
    """A kit on offer: `price` expected and `freight`, and for each of its drums what it brings, net, if left over."""

    offer: str
    price: float
    freight: float
    sizes: tuple[Size, ...]
    credits: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """At most `budget` for kits with freight and new shells, and at most so many `kits`; None where there is none."""

    budget: float | None = None
    kits: int | None = None


@dataclass(frozen=True, slots=True)
class Sourced:
    """Where one drum comes from: an offer's drum (`place` in its sizes), or a new shell where `offer` is None."""

    drum: str
    offer: str | None
    place: int | None
    size: Size
    cut_down: bool
    credit: float = 0.0  # net, what a drum left over brings


@dataclass(frozen=True, slots=True)
class Answer:
    """One way to source the plan. Money, net: `cost` is kits with freight, new shells and what they cost more, and
    cutting down, less `credit`, what the leftovers bring. `gap` is what a cheaper answer could still save at most."""

    status: Status
    cost: float | None
    gap: float | None
    spent: float
    credit: float
    buy: tuple[str, ...]
    drums: tuple[Sourced, ...]
    leftovers: tuple[Sourced, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sourcing:
    """The answer of `source` for a plan: the cheapest first; `seconds` is the time that each had."""

    currency: str
    plan: str
    title: str
    answers: tuple[Answer, ...]
    seconds: float
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    """Columns: one for buying each kit, then the ways to get a drum, new shells among them, then leaving it out."""

    wanted: tuple[WantedDrum, ...]
    kits: tuple[Supply, ...]
    ways: tuple[Sourced, ...]
    way_drum: tuple[int, ...]
    way_kit: tuple[int, ...]  # -1 for a new shell
    costs: FloatArray
    spends: FloatArray


def solve(
    wanted: Sequence[WantedDrum], kits: Sequence[Supply], cut_cost: float | None, limits: Limits, best: int = 1,
    seconds: float = TIME_LIMIT,
) -> tuple[Answer, ...]:  # fmt: skip
    """The cheapest answer, then up to `best` in all that buy other sets of kits, each proven or told with its gap.

    `cut_cost` is what cutting a shell down costs; None where it is not known, and then none is cut. A shell is cut to
    a smaller depth of the same diameter, never grown; each drum on offer is used once, and every kit that is bought
    gives one at least. One answer of status infeasible, with its reasons, where the drums cannot be had.
    """
    model = _model(wanted, kits, cut_cost)
    found: list[Answer] = []
    barred: list[frozenset[int]] = []
    for _ in range(best):
        result = _optimise(model, limits, barred, seconds)
        answer = _answer(model, result)
        if answer.status == "infeasible":
            return tuple(found) if found else (_explained(model, answer, limits, seconds),)
        found.append(answer)
        barred.append(frozenset(i for i in range(len(model.kits)) if result.x[i] > 0.5))
    return tuple(found)


def _model(wanted: Sequence[WantedDrum], kits: Sequence[Supply], cut_cost: float | None) -> _Model:
    ways, way_drum, way_kit, costs, spends = [], [], [], [], []
    for kit in kits:
        costs.append(kit.price + kit.freight - sum(kit.credits))
        spends.append(kit.price + kit.freight)
    for d, drum in enumerate(wanted):
        for i, kit in enumerate(kits):
            for place, size in enumerate(kit.sizes):
                cut = size.depth > drum.size.depth
                if size.diameter == drum.size.diameter and (
                    size.depth == drum.size.depth or (cut and cut_cost is not None)
                ):
                    ways.append(Sourced(drum.name, kit.offer, place, size, cut))
                    way_drum.append(d)
                    way_kit.append(i)
                    costs.append(kit.credits[place] + (cut_cost or 0.0 if cut else 0.0))
                    spends.append(0.0)
        if drum.new_price is not None:
            ways.append(Sourced(drum.name, None, None, drum.size, False))
            way_drum.append(d)
            way_kit.append(-1)
            costs.append(drum.new_price + drum.new_extra)
            spends.append(drum.new_price)
    costs += [MISSING] * len(wanted)
    spends += [0.0] * len(wanted)
    return _Model(
        tuple(wanted), tuple(kits), tuple(ways), tuple(way_drum), tuple(way_kit), np.array(costs), np.array(spends)
    )


def _optimise(model: _Model, limits: Limits, barred: Sequence[frozenset[int]], seconds: float) -> OptimizeResult:
    k, w, n = len(model.kits), len(model.ways), len(model.costs)
    drum = np.array(model.way_drum, dtype=np.int64)
    columns, d = k + np.arange(w), len(model.wanted)
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, vstack

    each = csr_array(
        (np.ones(w + d), (np.concatenate([drum, np.arange(d)]), np.concatenate([columns, k + w + np.arange(d)]))),
        (d, n),
    )
    rules = [LinearConstraint(each, 1, 1)]
    shells = sorted({(i, way.place) for i, way in zip(model.way_kit, model.ways, strict=True) if i >= 0})
    row = {shell: r for r, shell in enumerate(shells)}
    used = [
        (row[i, way.place], k + j) for j, (i, way) in enumerate(zip(model.way_kit, model.ways, strict=True)) if i >= 0
    ]
    if used:
        at = [r for r, _ in used] + list(range(len(shells)))
        to = [c for _, c in used] + [i for i, _ in shells]
        once = csr_array((np.array([1.0] * len(used) + [-1.0] * len(shells)), (at, to)), (len(shells), n))
        rules.append(LinearConstraint(once, -np.inf, 0))  # a shell is used once, and only of a kit that is bought
    if k:
        given = [(i, k + j) for j, i in enumerate(model.way_kit) if i >= 0] + [(i, i) for i in range(k)]
        signs = np.array([1.0] * len(used) + [-1.0] * k)
        needed = csr_array((signs, ([r for r, _ in given], [c for _, c in given])), (k, n))
        rules.append(LinearConstraint(needed, 0, np.inf))  # a kit is bought only where it gives a drum
    extra, most = _limits(model, limits, barred)
    if extra:
        rules.append(LinearConstraint(vstack([csr_array(line[None, :]) for line in extra]), -np.inf, np.array(most)))
    return milp(
        model.costs, integrality=np.ones(n, dtype=np.int64), bounds=Bounds(0, 1), constraints=rules,
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )  # fmt: skip


def _limits(model: _Model, limits: Limits, barred: Sequence[frozenset[int]]) -> tuple[list[FloatArray], list[float]]:
    k, n = len(model.kits), len(model.costs)
    lines: list[FloatArray] = []
    most: list[float] = []
    if limits.budget is not None:
        lines.append(model.spends)
        most.append(limits.budget)
    if limits.kits is not None:
        lines.append(np.concatenate([np.ones(k), np.zeros(n - k)]))
        most.append(float(limits.kits))
    for bought in barred:  # at least one kit more or fewer than that set
        signs = np.array([1.0 if i in bought else -1.0 for i in range(k)])
        lines.append(np.concatenate([signs, np.zeros(n - k)]))
        most.append(len(bought) - 1.0)
    return lines, most


def _answer(model: _Model, result: OptimizeResult) -> Answer:
    if result.x is None:
        stopped = "the time was up before any answer was found" if result.status == 1 else "no set of kits is left"
        return Answer("infeasible", None, None, 0.0, 0.0, (), (), (), (stopped,))
    k, w = len(model.kits), len(model.ways)
    chosen = [i for i in range(k) if result.x[i] > 0.5]
    picked = [j for j in range(w) if result.x[k + j] > 0.5]
    missing = [drum for d, drum in enumerate(model.wanted) if result.x[k + w + d] > 0.5]
    used = {(model.way_kit[j], model.ways[j].place) for j in picked}
    left = [(i, place) for i in chosen for place in range(len(model.kits[i].sizes)) if (i, place) not in used]
    cost = float(model.costs @ np.round(result.x))
    gap = max(0.0, cost - float(result.mip_dual_bound)) if result.mip_dual_bound is not None else 0.0
    proven = result.status == 0
    return Answer(
        status="infeasible" if missing else "optimal" if proven else "gap",
        cost=None if missing else round(cost, 2),
        gap=None if missing else 0.0 if proven else round(gap, 2),
        spent=float(model.spends @ np.round(result.x)),
        credit=float(sum(model.kits[i].credits[place] for i, place in left)),
        buy=tuple(model.kits[i].offer for i in chosen),
        drums=tuple(model.ways[j] for j in picked),
        leftovers=tuple(
            Sourced("", model.kits[i].offer, place, model.kits[i].sizes[place], False, model.kits[i].credits[place])
            for i, place in left
        ),
        reasons=tuple(_lacking(model, drum) for drum in missing),
    )


def _lacking(model: _Model, drum: WantedDrum) -> str:
    same = [s for kit in model.kits for s in kit.sizes if s.diameter == drum.size.diameter]
    wide = f"{drum.size.diameter.normalize():f}-inch"
    if not same:
        return f"{drum.name}: no {wide} drum on offer, and no new shell price given"
    if all(s.depth < drum.size.depth for s in same):
        return f"{drum.name}: every {wide} drum on offer is shallower, and no new shell price given"
    if not any(s.depth == drum.size.depth for s in same) and not any(w.drum == drum.name for w in model.ways):
        return f"{drum.name}: only deeper ones on offer; set cut_down under [work.hours] to have one cut down"
    return f"{drum.name}: too few {wide} drums on offer for all that the plan wants, and no new shell price given"


def _explained(model: _Model, answer: Answer, limits: Limits, seconds: float) -> Answer:
    """The same with its reason where only budget or number of kits stand in the way."""
    free = _answer(model, _optimise(model, Limits(), [], seconds))
    if free.status == "infeasible":
        return Answer("infeasible", None, None, 0.0, 0.0, (), (), (), free.reasons)
    reasons = []
    if limits.budget is not None:
        reasons.append(f"the budget is {limits.budget:,.2f}, and the cheapest set of kits takes {free.spent:,.2f}")
    if limits.kits is not None:
        reasons.append(f"at most {limits.kits} kits may be bought, and the cheapest set has {len(free.buy)}")
    return Answer("infeasible", None, None, 0.0, 0.0, (), (), (), tuple(reasons))


ASKED = Step(1.0, "the asked price")
CUT_DOWN = "cut_down"  # the operation of [work.hours]


def route_of(plan: Plan, shop: Shop) -> Route:
    """The VAT route of a plan's sale."""
    tax, _ = settings_of(shop)
    return plan.route or tax.route


def drum_names(drums: Sequence[Drum]) -> tuple[str, ...]:
    """A name for each drum: its id, else size and role, with a number where two would be called alike."""
    names: list[str] = []
    for drum in drums:
        name = drum.id or drum.name
        same = sum(1 for other in drums[: len(names)] if (other.id or other.name) == name)
        names.append(f"{name} ({same + 1})" if same else name)
    return tuple(names)


def wanted_drums(plan: Plan, shop: Shop) -> tuple[WantedDrum, ...]:
    """The plan's drums. Raises FileError where all of them are new shells, and where the plan cannot be costed."""
    drums = drums_of(plan)
    if all(drum.source == NEW for drum in drums):
        raise FileError(f"{plan_file(plan.name)}: every drum is new, so there is nothing to look for among the offers")
    tax, selling = settings_of(shop)
    route: Route = "none" if route_of(plan, shop) == "none" else "full"
    terms = terms_of(tax, selling)
    wanted = []
    for table, drum, name in zip(plan.drum, drums, drum_names(drums), strict=True):
        price = None
        if drum.source == NEW and drum.price is not None:
            stated = Stated.GROSS if drum.vat == "included" else Stated.NET
            unit = net_unit(Charge(name, Group.PARTS, Decimal(1), "shell", drum.price, stated), terms, route)
            price = None if unit is None else float(unit)
        extra = 0.0 if price is None else float(_alone(plan, shop, table, NEW) - _alone(plan, shop, table, "donor"))
        wanted.append(WantedDrum(name, drum.size, price, extra))
    return tuple(wanted)


def _alone(plan: Plan, shop: Shop, table: DrumTable, source: str) -> Decimal:
    """Work and parts of a build of this one drum, its shell for nothing."""
    new = source == NEW
    drum = table.model_copy(update={"from_": source, "price": ZERO if new else None, "vat": None})
    donor = DonorTable(id="donor", series="-", pieces=1, condition=Decimal(3), price=ZERO, freight=ZERO)
    changes = {
        "drum": (drum,), "donor": () if new else (donor,), "surplus": (),
        "route": "none" if route_of(plan, shop) == "none" else "full",
    }  # fmt: skip
    return cost_sheet(plan.model_copy(update=changes), shop).net_cost


def supplies(offers: Sequence[Offer], parts: Sequence[Part], plan: Plan, shop: Shop) -> tuple[Supply, ...]:
    """The offers whose sizes are known, at the asked price less their own haggle; freight that is not known is 0.

    A drum left over is credited at its expected part value, less VAT and fee.
    """
    tax, selling = settings_of(shop)
    terms = terms_of(tax, selling)
    up = 1 + terms.rate if route_of(plan, shop) == "full" else Decimal(1)
    keep = float(1 / up - terms.fee)
    return tuple(
        Supply(
            offer.offer, round(paid_for(offer, ASKED).price, 2), float(offer.freight or 0), offer.sizes,
            tuple(round(max(0.0, keep * drum_value(size, parts)), 2) for size in offer.sizes),
        )
        for offer in offers
        if offer.sizes
    )  # fmt: skip


def cut_cost(shop: Shop) -> float | None:
    """What cutting one shell down costs, contingency with it; None where the shop has no hours for it."""
    hours = None if shop.work is None else shop.work.hours.get(CUT_DOWN)
    if shop.work is None or hours is None:
        return None
    return float(hours * shop.work.rate * (1 + contingency_of(shop)))


@dataclass(frozen=True, slots=True)
class NewPlan:
    """An answer as a plan, and the donors of which the seller's VAT has still to be asked."""

    plan: Plan
    ask_vat: tuple[str, ...]


def plan_from(answer: Answer, plan: Plan, shop: Shop, offers: Sequence[Offer], name: str) -> NewPlan:
    """The plan with the answer's donors and drums. Cut-downs become work; what the old donors' surplus brought goes.

    Raises RefusedError where a line of the plan chooses drums by a donor that is no longer there.
    """
    bought = [offer for offer in offers if offer.offer in answer.buy]
    ids = {offer.offer for offer in bought}
    _refuse_lost(plan, ids)
    names, order = drum_names(drums_of(plan)), shop.shop.size_order
    sourced = {one.drum: one for one in answer.drums}
    drums = [_drum(table, sourced[name], at) for at, (table, name) in enumerate(zip(plan.drum, names, strict=True), 1)]
    cuts = tuple(
        WorkLine.model_validate(
            {
                "what": f"Cut the {size_text(table.size, order)} {table.role} down from "
                f"{_plain(sourced[name].size.depth)} inches deep",
                "operation": CUT_DOWN, "per": "shell", "only": (drum.id,),
            }
        )
        for table, name, drum in zip(plan.drum, names, drums, strict=True)
        if sourced[name].cut_down
    )  # fmt: skip
    donors = tuple(_donor(offer, answer) for offer in bought)
    changes = {
        "name": name, "donor": donors, "drum": tuple(drums), "work": (*plan.work, *cuts), "surplus": (),
    }  # fmt: skip
    return NewPlan(plan.model_copy(update=changes), tuple(o.offer for o in bought if o.bought_from == "trade"))


def _refuse_lost(plan: Plan, ids: set[str]) -> None:
    lost = {donor.id for donor in plan.donor} - ids
    for line in (*plan.work, *plan.part):
        named = lost & {*line.only, *line.except_}
        if named:
            one = sorted(named)[0]
            raise RefusedError(
                f'{plan_file(plan.name)}: "{line.what}" chooses drums by donor {one}, which the new plan has not; '
                "choose them by role or by a drum's id, then write again"
            )


def _drum(table: DrumTable, one: Sourced, at: int) -> DrumTable:
    if one.offer is None:
        return table
    known = table.id or (f"drum{at}" if one.cut_down else None)
    return table.model_copy(update={"from_": one.offer, "price": None, "vat": None, "id": known})


def _donor(offer: Offer, answer: Answer) -> DonorTable:
    left = [one for one in answer.leftovers if one.offer == offer.offer]
    spare = cents(Decimal(str(round(sum(one.credit for one in left) / len(left), 4)))) if left else None
    return DonorTable(
        id=offer.offer, series=offer.series, pieces=offer.pieces, condition=offer.condition,
        price=cents(Decimal(repr(paid_for(offer, ASKED).price))), freight=offer.freight, spare=spare,
        bought_from=offer.bought_from,
    )  # fmt: skip


def _plain(inches: Decimal) -> str:
    return f"{inches.normalize():f}"
