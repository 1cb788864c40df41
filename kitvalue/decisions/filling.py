"""How a plan's drums are filled at least weight from kits on offer, new shells and cut-downs: a mixed-integer program.

Solved by branch and cut to proven optimality (HiGHS; Huangfu and Hall 2018, Mathematical Programming Computation
10:119-142), or told with the gap that is left when the time is up. What a kit or a drum weighs is `sourcing.py`'s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from kitvalue.decisions.solving import least
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.plan import NEW
from kitvalue.intake.settings.shop import BuyingTable
from kitvalue.intake.text.sizes import Size

Status = Literal["optimal", "gap", "infeasible"]
MISSING: Final = 1e7  # the weight of leaving a drum out: far above any kit, so that none is left out needlessly
TIME_LIMIT: Final = 60.0  # seconds

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult


@dataclass(frozen=True, slots=True)
class WantedDrum:
    """A drum of the plan, whose work expects a shell of `grade`. `new` is the net price of a new shell, None where none
    is known, and `new_cash` what is paid for it; `extra` what the drum costs more in work and parts from a source that
    the plan's lines name, a kit or "new", than from any other (below 0 where less)."""

    name: str
    size: Size
    new: float | None = None
    new_cash: float = 0.0
    grade: Decimal = Decimal(1)
    extra: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Supply:
    """A kit on offer: what buying it weighs, the cash that it takes, and for each of its drums what it takes off again
    if it is left over."""

    offer: str
    weight: float
    cash: float
    sizes: tuple[Size, ...]
    credits: tuple[float, ...]
    condition: Decimal = Decimal(5)


@dataclass(frozen=True, slots=True)
class Bench:
    """What cutting one shell down costs, None where it is not known and none is cut; and making up for one grade of one
    drum under what the plan expects."""

    cut: float | None = None
    grade: float = 0.0


@dataclass(frozen=True, slots=True)
class Rules:
    """What a set of kits must be beside filling every drum. `some`: a kit at least is bought; `one_of`: a kit is bought
    only beside one of these (None: freely); `no_lone`: none of these is bought alone without a new shell; `others`:
    sets of kits that are answers already."""

    limits: BuyingTable
    some: bool = False
    one_of: frozenset[str] | None = None
    no_lone: frozenset[str] = frozenset()
    others: tuple[frozenset[str], ...] = ()


@dataclass(frozen=True, slots=True)
class Sourced:
    """Where one drum comes from: an offer's drum (`place` in its sizes), or a new shell where `offer` is None. `short`
    is by how many grades it lies under what the plan expects."""

    drum: str
    offer: str | None
    place: int | None
    size: Size
    cut_down: bool = False
    short: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Filling:
    """One way to fill the drums. `bound` is a weight that none of the rules' other ways can be under."""

    status: Status
    weight: float = 0.0
    bound: float = 0.0
    cash: float = 0.0
    buy: tuple[str, ...] = ()
    drums: tuple[Sourced, ...] = ()
    leftovers: tuple[Sourced, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    """Columns: one for buying each kit, then the ways to get a drum, new shells among them, then leaving it out."""

    wanted: tuple[WantedDrum, ...]
    kits: tuple[Supply, ...]
    ways: tuple[Sourced, ...]
    weights: FloatArray
    cash: FloatArray


def fillings(
    wanted: Sequence[WantedDrum], kits: Sequence[Supply], bench: Bench, rules: Rules, best: int = 1,
    seconds: float = TIME_LIMIT,
) -> tuple[Filling, ...]:  # fmt: skip
    """The lightest filling, then up to `best` in all that buy other sets of kits, each proven or told with its bound;
    none where there is none. A shell is cut to a smaller depth of the same diameter, never grown; each drum on offer is
    used once, and every kit that is bought gives one at least."""
    model, found = _model(wanted, kits, bench), list[Filling]()
    while len(found) < best:
        barred = replace(rules, others=(*rules.others, *(frozenset(one.buy) for one in found)))
        one = _filling(model, _optimise(model, barred, seconds))
        if one.status == "infeasible":
            break
        found.append(one)
    return tuple(found)


def why_none(
    wanted: Sequence[WantedDrum], kits: Sequence[Supply], bench: Bench, limits: BuyingTable
) -> tuple[str, ...]:
    """Why these kits cannot fill the drums: the drums themselves, or else the budget or the number of kits."""
    model = _model(wanted, kits, bench)
    free = _filling(model, _optimise(model, Rules(BuyingTable()), TIME_LIMIT))
    reasons = [*free.reasons]
    if limits.budget is not None and not reasons:
        reasons.append(f"the budget is {limits.budget:,.2f}, and the cheapest set of kits takes {free.cash:,.2f}")
    if limits.kits is not None and not free.reasons:
        reasons.append(f"at most {limits.kits} kits may be bought, and the cheapest set has {len(free.buy)}")
    return tuple(reasons) or ("no set of kits is left that the plan's VAT route is open to",)


def _model(wanted: Sequence[WantedDrum], kits: Sequence[Supply], bench: Bench) -> _Model:
    weights, cash = [kit.weight - sum(kit.credits) for kit in kits], [kit.cash for kit in kits]
    ways = []
    for drum in wanted:
        for kit in kits:
            short = max(Decimal(0), drum.grade - kit.condition)
            for place, size in enumerate(kit.sizes):
                cut = size.depth > drum.size.depth
                if size.diameter != drum.size.diameter or size.depth < drum.size.depth or (cut and bench.cut is None):
                    continue
                ways.append(Sourced(drum.name, kit.offer, place, size, cut, short))
                work = (bench.cut or 0.0 if cut else 0.0) + float(short) * bench.grade
                weights.append(kit.credits[place] + work + drum.extra.get(kit.offer, 0.0))
                cash.append(0.0)
        if drum.new is not None:
            ways.append(Sourced(drum.name, None, None, drum.size))
            weights.append(drum.new + drum.extra.get(NEW, 0.0))
            cash.append(drum.new_cash)
    left_out = [0.0] * len(wanted)
    return _Model(
        tuple(wanted), tuple(kits), tuple(ways), np.array(weights + [MISSING] * len(wanted)), np.array(cash + left_out)
    )


def _optimise(model: _Model, rules: Rules, seconds: float) -> OptimizeResult:
    """Each drum got once or left out; a shell used once, and only of a kit that is bought; a kit bought only where it
    gives a drum; the limits and rules; at least one kit more or fewer than each of the other sets."""
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array

    k, w, n = len(model.kits), len(model.ways), len(model.weights)
    drums = {drum.name: {k + w + d: 1.0} for d, drum in enumerate(model.wanted)}
    shells = {(i, p): {i: -1.0} for i, kit in enumerate(model.kits) for p in range(len(kit.sizes))}
    givers = [{i: -1.0} for i in range(k)]
    at = {kit.offer: i for i, kit in enumerate(model.kits)}
    for j, way in enumerate(model.ways, start=k):
        drums[way.drum][j] = 1.0
        if way.offer is not None and way.place is not None:
            shells[at[way.offer], way.place][j] = 1.0
            givers[at[way.offer]][j] = 1.0
    lines = [(row, 1.0, 1.0) for row in drums.values()]
    lines += [(row, -np.inf, 0.0) for row in shells.values() if len(row) > 1]
    lines += [(row, 0.0, np.inf) for row in givers]
    lines += _ruled(model, rules)
    rows = [dict(sorted(row.items())) for row, _, _ in lines]
    starts = np.cumsum([0, *map(len, rows)])
    values, columns = [v for row in rows for v in row.values()], [c for row in rows for c in row]
    matrix = csr_array((np.array(values), np.array(columns), starts), shape=(len(rows), n))
    bounds = [low for _, low, _ in lines], [high for _, _, high in lines]
    return least(model.weights, LinearConstraint(matrix, *bounds), seconds)


def _ruled(model: _Model, rules: Rules) -> list[tuple[dict[int, float], float, float]]:
    """The rules as rows of the program: coefficients, the least and the most of their sum."""
    k, limits = len(model.kits), rules.limits
    lines: list[tuple[dict[int, float], float, float]] = []
    if limits.budget is not None:
        lines.append(({j: s for j, s in enumerate(model.cash.tolist()) if s}, -np.inf, float(limits.budget)))
    if limits.kits is not None:
        lines.append((dict.fromkeys(range(k), 1.0), -np.inf, float(limits.kits)))
    if rules.some:
        lines.append((dict.fromkeys(range(k), 1.0), 1.0, np.inf))
    if rules.one_of is not None:
        those = {i: 1.0 for i, kit in enumerate(model.kits) if kit.offer in rules.one_of}
        lines += [({**those, i: -1.0}, 0.0, np.inf) for i in range(k) if i not in those]
    new = {j: 1.0 for j, way in enumerate(model.ways, start=k) if way.offer is None}
    for i, kit in enumerate(model.kits):
        if kit.offer in rules.no_lone:
            lines.append(({**dict.fromkeys(range(k), 1.0), **new, i: -1.0}, 0.0, np.inf))
    for bought in rules.others:
        signs = {i: 1.0 if kit.offer in bought else -1.0 for i, kit in enumerate(model.kits)}
        lines.append((signs, -np.inf, len(bought) - 1.0))
    return [(row, low, high) for row, low, high in lines if row or low > 0 or high < 0]


def _filling(model: _Model, result: OptimizeResult) -> Filling:
    if result.x is None:
        stopped = "the time was up before any answer was found" if result.status == 1 else "no set of kits is left"
        return Filling("infeasible", reasons=(stopped,))
    k, w, taken = len(model.kits), len(model.ways), result.x > 0.5
    bought = [kit for kit, is_in in zip(model.kits, taken[:k], strict=True) if is_in]
    picked = [way for way, is_in in zip(model.ways, taken[k : k + w], strict=True) if is_in]
    missing = [drum for drum, is_in in zip(model.wanted, taken[k + w :], strict=True) if is_in]
    weight, proven = float(model.weights @ np.round(result.x)), result.status == 0
    drums = _first_listed(picked, {kit.offer: kit for kit in bought})
    used = {(way.offer, way.place) for way in drums}
    return Filling(
        status="infeasible" if missing else "optimal" if proven else "gap",
        weight=weight,
        bound=weight if proven or result.mip_dual_bound is None else min(weight, float(result.mip_dual_bound)),
        cash=float(model.cash @ np.round(result.x)),
        buy=tuple(kit.offer for kit in bought),
        drums=drums,
        leftovers=tuple(
            Sourced("", kit.offer, place, size)
            for kit in bought
            for place, size in enumerate(kit.sizes)
            if (kit.offer, place) not in used
        ),
        reasons=tuple(_lacking(model, drum) for drum in missing),
    )


def _first_listed(picked: Sequence[Sourced], bought: Mapping[str, Supply]) -> tuple[Sourced, ...]:
    """Of the drums of one size in a kit those listed first, so that a plan need not say which it takes."""
    drums, taken = [], dict[tuple[str, Size], int]()
    for way in picked:
        if way.offer is not None:
            alike = [place for place, size in enumerate(bought[way.offer].sizes) if size == way.size]
            nth = taken.get((way.offer, way.size), 0)
            taken[way.offer, way.size] = nth + 1
            way = replace(way, place=alike[nth])
        drums.append(way)
    return tuple(drums)


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
