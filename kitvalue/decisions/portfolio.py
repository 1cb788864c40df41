"""Which offers to buy together: the most expected profit whose chance of an overall loss stays within the limit.

The market's level moves all kits at once: each draw of the fitted coefficients is shared by every kit of that draw,
while each sale has its own scatter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.book import FloatArray, IntArray

EXACT: Final = 15  # uses up to which every set is tried
AT_ONCE: Final = 512  # sets tried at a time

BoolArray: TypeAlias = NDArray[np.bool_]
Within: TypeAlias = Callable[[FloatArray], BoolArray]
Limit: TypeAlias = tuple[FloatArray, float | None]  # what each use takes, and how much of it there is


@dataclass(frozen=True, slots=True)
class Bought:
    """An offer for one use; `plan` is the title of the plan that it builds, None for no build."""

    offer: str
    use: str
    plan: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Uses of offers that compete; (m,) and, for draws of profit, (m, draws). Money and hours.

    An offer is used once, and a plan is built once.
    """

    uses: tuple[Bought, ...]
    expected: FloatArray
    profits: FloatArray
    spent: FloatArray  # what is paid, freight with it
    hours: FloatArray


@dataclass(frozen=True, slots=True)
class Portfolio:
    """What to buy together. `exact` says that every set was tried; None limits are none. No set within the limits earns
    more than `bound`, money; `gap` is what the set found falls short of it."""

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
    """The best set within the limits; the empty one where no other is. Exact to 15 uses that gain, else greedy with
    swaps, and a bound: the program without the limit on losses. A use that loses on average is never in it."""
    order = np.lexsort((from_.spent, -from_.expected))
    gaining = order[from_.expected[order] > 0]
    limits = [(from_.spent[gaining], budget), (from_.hours[gaining], bench_hours), *_once(from_, gaining)]

    def within(sets: FloatArray) -> BoolArray:
        """(s,) which of the sets (s, gaining), 1 where an offer is in, are within all limits."""
        fits = np.ones(len(sets), dtype=np.bool_)
        for used, most in limits:
            if most is not None:
                fits &= sets @ used <= most + 1e-9
        lost = (sets[fits] @ from_.profits[gaining] < -1e-9).mean(axis=1)
        fits[fits] = (lost <= loss_chance + 1e-12) | ~sets[fits].any(axis=1)
        return fits

    exact = len(gaining) <= EXACT
    at = np.sort(gaining[(_exact if exact else _greedy)(from_.expected[gaining], within)])
    total, earned = from_.profits[at].sum(axis=0), float(from_.expected[at].sum())
    bound = earned if exact else max(earned, _bound(from_.expected[gaining], limits))
    return Portfolio(
        tuple(from_.uses[i] for i in at), earned,
        float((total < 0).mean()) if len(at) else 0.0, float(from_.spent[at].sum()), float(from_.hours[at].sum()),
        budget, bench_hours, exact, bound, bound - earned,
    )  # fmt: skip


def _once(from_: Candidates, gaining: IntArray) -> list[Limit]:
    """No offer is used twice, and no plan is built twice: at most one of each such group."""
    groups: dict[tuple[str, str], list[int]] = {}
    for at, i in enumerate(gaining):
        groups.setdefault(("offer", from_.uses[i].offer), []).append(at)
        if (plan := from_.uses[i].plan) is not None:
            groups.setdefault(("plan", plan), []).append(at)
    every = np.arange(len(gaining))
    return [(np.isin(every, group).astype(np.float64), 1.0) for group in groups.values() if len(group) > 1]


def _bound(expected: FloatArray, limits: Sequence[Limit]) -> float:
    """What no set within the limits can exceed, its chance of a loss left aside."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    rows = [LinearConstraint(used[None, :], -np.inf, most) for used, most in limits if most is not None]
    found = milp(-expected, integrality=np.ones(len(expected), dtype=np.int64), bounds=Bounds(0, 1), constraints=rows,
                 options={"time_limit": 10.0})  # fmt: skip
    dual = getattr(found, "mip_dual_bound", None)
    return float(expected.sum()) if dual is None else -float(dual)


def _exact(expected: FloatArray, within: Within) -> IntArray:
    """Every set, the most profitable first, until one is within the limits."""
    m = len(expected)
    sets = ((np.arange(2**m)[:, None] >> np.arange(m)) & 1).astype(np.float64)
    sets = sets[np.argsort(-(sets @ expected), kind="stable")]
    starts = range(0, len(sets), AT_ONCE)
    allowed = (start + at for start in starts for at in np.flatnonzero(within(sets[start : start + AT_ONCE])))
    return np.flatnonzero(sets[next(allowed, -1)])


def _greedy(expected: FloatArray, within: Within) -> IntArray:
    """The most profitable that still fits, one by one; then swaps of one for one while they gain."""
    every = range(len(expected))

    def allowed(chosen: Sequence[int]) -> bool:
        return bool(within(np.isin(every, chosen)[None, :].astype(np.float64))[0])

    def filled(chosen: list[int]) -> list[int]:
        for i in every:
            if i not in chosen and allowed([*chosen, i]):
                chosen = [*chosen, i]
        return chosen

    chosen, before = filled([]), None
    while chosen != before:
        swaps = (
            [*(c for c in chosen if c != out), i]
            for out in chosen
            for i in every
            if i not in chosen and expected[i] > expected[out]
        )
        before, chosen = chosen, filled(next(filter(allowed, swaps), chosen))
    return np.array(chosen, dtype=np.int64)
