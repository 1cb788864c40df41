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

from kitvalue.decisions.ceiling import Paid, own_route, paid_for
from kitvalue.decisions.shortlist import drum_value
from kitvalue.decisions.solving import least
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Offer, Part
from kitvalue.intake.settings.plan import NEW, DonorTable, DrumTable, Plan, WorkLine
from kitvalue.intake.settings.shop import BuyingTable, Route, Shop
from kitvalue.intake.text.problems import Caution, FileError, RefusedError
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.workshop.build import STATED, Charge, Group, net_unit
from kitvalue.workshop.costing import contingency_of, cost_sheet, settings_of
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
    """A kit on offer: `price` expected, with its premium, and `freight`, and for each of its drums what it brings, net,
    if left over."""

    offer: str
    price: float
    freight: float
    sizes: tuple[Size, ...]
    credits: tuple[float, ...]


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
    cost: float | None = None
    gap: float | None = None
    spent: float = 0.0
    credit: float = 0.0
    buy: tuple[str, ...] = ()
    drums: tuple[Sourced, ...] = ()
    leftovers: tuple[Sourced, ...] = ()
    reasons: tuple[str, ...] = ()


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
    costs: FloatArray
    spends: FloatArray


def solve(
    wanted: Sequence[WantedDrum], kits: Sequence[Supply], cut_cost: float | None, limits: BuyingTable, best: int = 1,
    seconds: float = TIME_LIMIT,
) -> tuple[Answer, ...]:  # fmt: skip
    """The cheapest answer, then up to `best` in all that buy other sets of kits, each proven or told with its gap.

    `cut_cost` is what cutting a shell down costs; None where it is not known, and then none is cut. A shell is cut to
    a smaller depth of the same diameter, never grown; each drum on offer is used once, and every kit that is bought
    gives one at least. One answer of status infeasible, with its reasons, where the drums cannot be had.
    """
    model = _model(wanted, kits, cut_cost)
    answers: list[Answer] = []
    for _ in range(best):
        answer = _answer(model, _optimise(model, limits, [set(a.buy) for a in answers], seconds))
        if answer.status == "infeasible":
            break
        answers.append(answer)
    if answers:
        return tuple(answers)
    free = _answer(model, _optimise(model, BuyingTable(), [], seconds))
    reasons = [*free.reasons]  # the drums themselves, or else the budget or the number of kits
    if limits.budget is not None and not reasons:
        reasons.append(f"the budget is {limits.budget:,.2f}, and the cheapest set of kits takes {free.spent:,.2f}")
    if limits.kits is not None and not free.reasons:
        reasons.append(f"at most {limits.kits} kits may be bought, and the cheapest set has {len(free.buy)}")
    return (Answer("infeasible", reasons=tuple(reasons)),)


def _model(wanted: Sequence[WantedDrum], kits: Sequence[Supply], cut_cost: float | None) -> _Model:
    spends = [kit.price + kit.freight for kit in kits]
    costs = [spent - sum(kit.credits) for spent, kit in zip(spends, kits, strict=True)]
    ways = []
    for drum in wanted:
        for kit in kits:
            for place, size in enumerate(kit.sizes):
                cut = size.depth > drum.size.depth
                if size.diameter != drum.size.diameter or size.depth < drum.size.depth or (cut and cut_cost is None):
                    continue
                ways.append(Sourced(drum.name, kit.offer, place, size, cut))
                costs.append(kit.credits[place] + (cut_cost or 0.0 if cut else 0.0))
                spends.append(0.0)
        if drum.new_price is not None:
            ways.append(Sourced(drum.name, None, None, drum.size, False))
            costs.append(drum.new_price + drum.new_extra)
            spends.append(drum.new_price)
    left_out = [0.0] * len(wanted)
    return _Model(
        tuple(wanted), tuple(kits), tuple(ways), np.array(costs + [MISSING] * len(wanted)), np.array(spends + left_out)
    )


def _optimise(model: _Model, limits: BuyingTable, barred: Sequence[set[str]], seconds: float) -> OptimizeResult:
    """Each drum got once or left out; a shell used once, and only of a kit that is bought; a kit bought only where it
    gives a drum; the limits; at least one kit more or fewer than each set in `barred`."""
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array

    k, w, n = len(model.kits), len(model.ways), len(model.costs)
    drums = {drum.name: {k + w + d: 1.0} for d, drum in enumerate(model.wanted)}
    shells = {(i, p): {i: -1.0} for i, kit in enumerate(model.kits) for p in range(len(kit.sizes))}
    givers = [{i: -1.0} for i in range(k)]
    at = {kit.offer: i for i, kit in enumerate(model.kits)}
    for j, way in enumerate(model.ways, start=k):
        drums[way.drum][j] = 1.0
        if way.offer is not None and way.place is not None:
            shells[at[way.offer], way.place][j] = 1.0
            givers[at[way.offer]][j] = 1.0
    rules = [(row, 1.0, 1.0) for row in drums.values()]
    rules += [(row, -np.inf, 0.0) for row in shells.values() if len(row) > 1]
    rules += [(row, 0.0, np.inf) for row in givers]
    if limits.budget is not None:
        rules.append(({j: s for j, s in enumerate(model.spends.tolist()) if s}, -np.inf, float(limits.budget)))
    if limits.kits is not None:
        rules.append((dict.fromkeys(range(k), 1.0), -np.inf, float(limits.kits)))
    for bought in barred:
        signs = {i: 1.0 if kit.offer in bought else -1.0 for i, kit in enumerate(model.kits)}
        rules.append((signs, -np.inf, len(bought) - 1.0))
    rows = [dict(sorted(row.items())) for row, _, _ in rules]
    starts = np.cumsum([0, *map(len, rows)])
    values, columns = [v for row in rows for v in row.values()], [c for row in rows for c in row]
    matrix = csr_array((np.array(values), np.array(columns), starts), shape=(len(rows), n))
    bounds = [low for _, low, _ in rules], [high for _, _, high in rules]
    return least(model.costs, LinearConstraint(matrix, *bounds), seconds)


def _answer(model: _Model, result: OptimizeResult) -> Answer:
    if result.x is None:
        stopped = "the time was up before any answer was found" if result.status == 1 else "no set of kits is left"
        return Answer("infeasible", reasons=(stopped,))
    k, w, taken = len(model.kits), len(model.ways), result.x > 0.5
    bought = [kit for kit, is_in in zip(model.kits, taken[:k], strict=True) if is_in]
    picked = [way for way, is_in in zip(model.ways, taken[k : k + w], strict=True) if is_in]
    missing = [drum for drum, is_in in zip(model.wanted, taken[k + w :], strict=True) if is_in]
    used = {(way.offer, way.place) for way in picked}
    leftovers = [
        Sourced("", kit.offer, place, size, False, kit.credits[place])
        for kit in bought
        for place, size in enumerate(kit.sizes)
        if (kit.offer, place) not in used
    ]
    cost, proven = float(model.costs @ np.round(result.x)), result.status == 0
    gap = 0.0 if proven or result.mip_dual_bound is None else max(0.0, cost - float(result.mip_dual_bound))
    return Answer(
        status="infeasible" if missing else "optimal" if proven else "gap",
        cost=None if missing else round(cost, 2),
        gap=None if missing else round(gap, 2),
        spent=float(model.spends @ np.round(result.x)),
        credit=float(sum(drum.credit for drum in leftovers)),
        buy=tuple(kit.offer for kit in bought),
        drums=tuple(picked),
        leftovers=tuple(leftovers),
        reasons=tuple(_lacking(model, drum) for drum in missing),
    )


def _lacking(model: _Model, drum: WantedDrum) -> str:
    depths = [s.depth for kit in model.kits for s in kit.sizes if s.diameter == drum.size.diameter]
    wide = f"{drum.size.diameter.normalize():f}-inch"
    no_new = "and no new shell price given"
    if not depths:
        return f"{drum.name}: no {wide} drum on offer, {no_new}"
    if max(depths) < drum.size.depth:
        return f"{drum.name}: every {wide} drum on offer is shallower, {no_new}"
    if drum.size.depth not in depths and not any(way.drum == drum.name for way in model.ways):
        return f"{drum.name}: only deeper ones on offer; set cut_down under [work.hours] to have one cut down"
    return f"{drum.name}: too few {wide} drums on offer for all that the plan wants, {no_new}"


ASKED = Paid(1.0, "the asked price")
CUT_DOWN = "cut_down"  # the operation of [work.hours]


def drum_names(drums: Sequence[DrumTable]) -> tuple[str, ...]:
    """A name for each drum: its id, else size and role, with a number where two would be called alike."""
    names = [drum.id or drum.name for drum in drums]
    before = [names[:at].count(name) for at, name in enumerate(names)]
    return tuple(f"{name} ({same + 1})" if same else name for name, same in zip(names, before, strict=True))


def wanted_drums(plan: Plan, shop: Shop) -> tuple[WantedDrum, ...]:
    """The plan's drums. Raises FileError where all of them are new shells, and where the plan cannot be costed."""
    if all(drum.from_ == NEW for drum in plan.drum):
        raise FileError(f"{plan_file(plan.name)}: every drum is new, so there is nothing to look for among the offers")
    terms = terms_of(*settings_of(shop))
    route: Route = "none" if own_route(shop, plan) == "none" else "full"
    plain = plan.model_copy(update={"surplus": (), "route": route})
    free = DonorTable(id="donor", series="-", pieces=1, condition=Decimal(3), price=ZERO, freight=ZERO)

    def alone(table: DrumTable, source: str) -> Decimal:
        """Work and parts of a build of this one drum, its shell for nothing."""
        new = source == NEW
        drum = table.model_copy(update={"from_": source, "price": ZERO if new else None, "vat": None})
        return cost_sheet(plain.model_copy(update={"drum": (drum,), "donor": () if new else (free,)}), shop).net_cost

    wanted = []
    for drum, name in zip(plan.drum, drum_names(plan.drum), strict=True):
        price, extra = None, 0.0
        if drum.from_ == NEW:
            shell = Charge(name, Group.PARTS, Decimal(1), "shell", drum.price, STATED[drum.vat or "excluded"])
            unit = net_unit(shell, terms, route)
            if unit is not None:
                price, extra = float(unit), float(alone(drum, NEW) - alone(drum, free.id))
        wanted.append(WantedDrum(name, drum.size, price, extra))
    return tuple(wanted)


def supplies(offers: Sequence[Offer], parts: Sequence[Part], plan: Plan, shop: Shop) -> tuple[Supply, ...]:
    """The offers whose price and sizes are known, at what `_cost` says; freight that is not known is 0.

    A drum left over is credited at its expected part value, less VAT and fee.
    """
    terms = terms_of(*settings_of(shop))
    up = 1 + terms.rate if own_route(shop, plan) == "full" else Decimal(1)
    keep = float(1 / up - terms.fee)
    return tuple(
        Supply(
            offer.offer, round(cost, 2), float(offer.freight or 0), offer.sizes,
            tuple(round(max(0.0, keep * drum_value(size, parts)), 2) for size in offer.sizes),
        )
        for offer in offers
        if offer.sizes and (cost := _cost(offer)) is not None
    )  # fmt: skip


def _cost(offer: Offer) -> float | None:
    """The asked price less an offer's own haggle, the hammer price with its premium; None where there is no price."""
    paid = paid_for(offer, ASKED)
    return None if paid is None else paid.price * float(offer.with_premium)


def cut_cost(shop: Shop) -> float | None:
    """What cutting one shell down costs, contingency with it; None where the shop has no hours for it."""
    if shop.work is None or CUT_DOWN not in shop.work.hours:
        return None
    return float(shop.work.hours[CUT_DOWN] * shop.work.rate * (1 + contingency_of(shop)))


def plan_from(answer: Answer, plan: Plan, shop: Shop, offers: Sequence[Offer], name: str) -> Plan:
    """The plan with the answer's donors and drums. Cut-downs become work; what the old donors' surplus brought goes.

    Raises RefusedError where a line of the plan chooses drums by a donor that is no longer there.
    """
    bought = [offer for offer in offers if offer.offer in answer.buy]
    lost = {donor.id for donor in plan.donor} - {offer.offer for offer in bought}
    for line in (*plan.work, *plan.part):
        for gone in sorted(lost & {*line.only, *line.except_}):
            raise RefusedError(
                f'{plan_file(plan.name)}: "{line.what}" chooses drums by donor {gone}, which the new plan has not; '
                "choose them by role or by a drum's id, then write again"
            )
    sourced = {drum.drum: drum for drum in answer.drums}
    drums, cuts = [], []
    for at, (table, drum_name) in enumerate(zip(plan.drum, drum_names(plan.drum), strict=True), start=1):
        source = sourced[drum_name]
        if source.offer is None:
            drums.append(table)
            continue
        known = table.id or (f"drum{at}" if source.cut_down else None)
        drums.append(table.model_copy(update={"from_": source.offer, "price": None, "vat": None, "id": known}))
        if source.cut_down:
            old = f"{source.size.depth.normalize():f} inches deep"
            what = f"Cut the {size_text(table.size, shop.shop.size_order)} {table.role} down from {old}"
            cut = {"what": what, "operation": CUT_DOWN, "per": "shell", "only": (known,)}
            cuts.append(WorkLine.model_validate(cut))
    donors = []
    for offer in bought:
        left = [drum.credit for drum in answer.leftovers if drum.offer == offer.offer]
        donor = DonorTable(
            id=offer.offer, series=offer.series, pieces=offer.pieces, condition=offer.condition,
            price=cents(Decimal(repr(_cost(offer) or 0.0))), freight=offer.freight,
            spare=cents(Decimal(str(round(sum(left) / len(left), 4)))) if left else None, bought_from=offer.bought_from,
        )  # fmt: skip
        donors.append(donor)
    changes = {"name": name, "donor": tuple(donors), "drum": tuple(drums), "work": (*plan.work, *cuts), "surplus": ()}
    return plan.model_copy(update=changes)
