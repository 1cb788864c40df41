"""Which offers to buy together: the most expected profit whose chance of an overall loss stays within the limit.

The market's level moves all kits at once: each draw of the fitted coefficients is shared by every kit of that draw,
while each sale has its own scatter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from kitvalue.decisions.ceiling import Use
from kitvalue.decisions.solving import least
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.shop import Route

EXACT: Final = 15  # uses up to which every set is tried
AT_ONCE: Final = 512  # sets tried at a time
MOVED: Final = 3  # uses that one step of the search beyond that takes in or out
SECONDS: Final = 10.0  # for the bound; what is proven by then is one
NOTHING: Final = 1e-9  # money and hours that floats may take

BoolArray: TypeAlias = NDArray[np.bool_]
Losses: TypeAlias = Callable[[FloatArray], FloatArray]
Within: TypeAlias = Callable[[FloatArray], BoolArray]
Limit: TypeAlias = tuple[FloatArray, float | None]  # what each use takes, and how much of it there is


@dataclass(frozen=True, slots=True)
class Bought:
    """An offer for one use by one VAT route; `plan` is the name of the plan that it builds in the place of its `donor`,
    None for no build."""

    offer: str
    use: Use
    plan: str | None = None
    route: Route | None = None
    donor: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Uses that compete: each one offer, or all offers that go into one build. Money and hours, (m,).

    An offer is used once, and a plan is built once. `profits` has draws (n, draws) for the first n; the others count in
    the bound alone.
    """

    uses: tuple[tuple[Bought, ...], ...]
    expected: FloatArray
    profits: FloatArray
    spent: FloatArray  # cash: all that goes out for kits and new shells, VAT that is deducted later with it
    hours: FloatArray


@dataclass(frozen=True, slots=True)
class Portfolio:
    """What to buy together. `exact` says that no set within the limits earns more: every one was tried, or the bound is
    met; None limits are none. No such set earns more than `bound`, money; `gap` is what the one found falls short."""

    buy: tuple[Bought, ...]
    expected_profit: float
    chance_of_loss: float
    spent: float
    hours: float
    budget: float | None
    bench_hours: float | None
    exact: bool
    bound: float
    gap: float


def best_set(from_: Candidates, budget: float | None, bench_hours: float | None, loss_chance: float) -> Portfolio:
    """The best set within the limits; the empty one where no other is. Up to 15 uses every set is tried, those that
    lose on average and hedge others with them; beyond, a search by steps and a bound."""
    m, n = len(from_.uses), len(from_.profits)
    limits = [(from_.spent, budget), (from_.hours, bench_hours), *_once(from_.uses)]

    def losses(sets: FloatArray) -> FloatArray:
        """(s,) in how many draws each of the sets (s, n), 1 where a use is in, loses; infinite beyond the limits."""
        fits = np.ones(len(sets), dtype=np.bool_)
        for used, most in limits:
            if most is not None:
                fits &= sets @ used[:n] <= most + NOTHING
        lost = np.full(len(sets), np.inf)
        lost[fits] = (sets[fits] @ from_.profits < -NOTHING).mean(axis=1)
        return lost

    def within(sets: FloatArray) -> BoolArray:
        return losses(sets) <= loss_chance + 1e-12

    expected, spent = from_.expected[:n], from_.spent[:n]
    if m <= EXACT:
        every = ((np.arange(2**m)[:, None] >> np.arange(m)) & 1).astype(np.float64)
        found = _first(every, expected, spent, within)
        at = np.flatnonzero(np.zeros(n) if found is None else found)
        bound = float(from_.expected[at].sum())
    else:
        bound, unbound = _bound(from_.expected, limits)
        best = unbound[:n]
        if unbound[n:].any() or not within(best[None, :])[0]:
            starts = (np.zeros(n), _surer(best, losses))
            ends = [_climbed(start, expected, spent, within) for start in starts if within(start[None, :])[0]]
            best = max(ends, key=lambda end: float(end @ expected))
        at = np.flatnonzero(best)
        bound = max(float(from_.expected[at].sum()), bound)
    total, earned = from_.profits[at].sum(axis=0), float(from_.expected[at].sum())
    exact = bound - earned < 0.005
    return Portfolio(
        tuple(one for i in at for one in from_.uses[i]), earned,
        float((total < -NOTHING).mean()) if len(at) else 0.0, float(from_.spent[at].sum()),
        float(from_.hours[at].sum()), budget, bench_hours, exact, bound, 0.0 if exact else bound - earned,
    )  # fmt: skip


def _once(uses: Sequence[Sequence[Bought]]) -> list[Limit]:
    """No offer is used twice, and no plan is built twice: at most one of each such group."""
    groups: dict[tuple[str, str], set[int]] = {}
    for at, use in enumerate(uses):
        for one in use:
            groups.setdefault(("offer", one.offer), set()).add(at)
            if one.plan is not None:
                groups.setdefault(("plan", one.plan), set()).add(at)
    every = np.arange(len(uses))
    return [(np.isin(every, list(group)).astype(np.float64), 1.0) for group in groups.values() if len(group) > 1]


def _bound(expected: FloatArray, limits: Sequence[Limit]) -> tuple[float, FloatArray]:
    """What no set within the limits can exceed, its chance of a loss left aside, and such a set."""
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array

    told = [(used, most) for used, most in limits if most is not None]
    rows = csr_array(np.array([used for used, _ in told]).reshape(len(told), len(expected)))
    found = least(-expected, LinearConstraint(rows, -np.inf, np.array([most for _, most in told])), SECONDS)
    dual = getattr(found, "mip_dual_bound", None)
    chosen = np.zeros(len(expected)) if found.x is None else np.round(found.x)
    return float(np.maximum(0.0, expected).sum()) if dual is None else -float(dual), chosen


def _first(sets: FloatArray, expected: FloatArray, spent: FloatArray, within: Within) -> FloatArray | None:
    """The first of the sets, the most profitable first and the cheaper of equals, that is within the limits."""
    sets = sets[np.lexsort((sets @ spent, -np.round(sets @ expected, 6)))]
    for start in range(0, len(sets), AT_ONCE):
        for at in np.flatnonzero(within(sets[start : start + AT_ONCE])):
            return np.asarray(sets[start + at])
    return None


def _moves(n: int, most: int) -> FloatArray:
    """(s, n) every choice of one to `most` uses."""
    steps = [step for k in range(1, most + 1) for step in combinations(range(n), k)]
    moves = np.zeros((len(steps), n))
    for row, step in enumerate(steps):
        moves[row, list(step)] = 1.0
    return moves


def _climbed(start: FloatArray, expected: FloatArray, spent: FloatArray, within: Within) -> FloatArray:
    """From a set to the best of those that differ from it in up to three uses, and on until none is better."""
    moves, chosen = _moves(len(start), MOVED), start
    better: FloatArray | None = start
    while better is not None:
        chosen = better
        sets = np.abs(chosen - moves)
        better = _first(sets[sets @ expected > chosen @ expected + 1e-6], expected, spent, within)
    return chosen


def _surer(start: FloatArray, losses: Losses) -> FloatArray:
    """From a set to the surest of those that differ from it in one or two uses, and on until none is surer."""
    moves, chosen, lost = _moves(len(start), MOVED - 1), start, float(losses(start[None, :])[0])
    while lost > 0:
        sets = np.abs(chosen - moves)
        found = losses(sets)
        surest = int(np.argmin(found))
        if found[surest] >= lost:
            break
        chosen, lost = sets[surest], float(found[surest])
    return chosen
