"""Which offers, new shells and cut-downs give a plan's drums at least cost: a mixed-integer program.

Solved by branch and cut to proven optimality (HiGHS; Huangfu and Hall 2018, Mathematical Programming Computation
10:119-142), or told with the gap that is left when the time is up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array, vstack

from kitvalue.intake.book import FloatArray
from kitvalue.intake.sizes import Size

Status = Literal["optimal", "gap", "infeasible"]
MISSING: Final = 1e7  # the price of leaving a drum out: far above any kit, so that none is left out needlessly
TIME_LIMIT: Final = 60.0  # seconds


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
    cautions: tuple[str, ...]


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
