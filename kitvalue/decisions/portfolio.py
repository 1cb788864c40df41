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

EXACT: Final = 15  # offers up to which every set is tried
AT_ONCE: Final = 512  # sets tried at a time

BoolArray: TypeAlias = NDArray[np.bool_]
Within: TypeAlias = Callable[[FloatArray], BoolArray]


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Offers that may be bought, each for its best use; (m,) and, for draws of profit, (m, draws). Money and hours."""

    names: tuple[str, ...]
    expected: FloatArray
    profits: FloatArray
    spent: FloatArray  # what is paid, freight with it
    hours: FloatArray


@dataclass(frozen=True, slots=True)
class Portfolio:
    """What to buy together. `exact` says that every set was tried; None limits are none."""

    buy: tuple[str, ...]
    expected_profit: float
    chance_of_loss: float
    spent: float
    hours: float
    budget: float | None
    bench_hours: float | None
    exact: bool


def best_set(from_: Candidates, budget: float | None, bench_hours: float | None, loss_chance: float) -> Portfolio:
    """The best set within the limits; the empty one where no other is. Exact to 15 offers that gain, else greedy with
    swaps. An offer that loses on average is never in it."""
    order = np.argsort(-from_.expected, kind="stable")
    gaining = order[from_.expected[order] > 0]
    limits = [(from_.spent[gaining], budget), (from_.hours[gaining], bench_hours)]

    def within(sets: FloatArray) -> BoolArray:
        """(s,) which of the sets (s, gaining), 1 where an offer is in, are within all limits."""
        fits = np.ones(len(sets), dtype=np.bool_)
        for used, most in limits:
            fits &= most is None or sets @ used <= most + 1e-9
        lost = (sets[fits] @ from_.profits[gaining] < -1e-9).mean(axis=1)
        fits[fits] = (lost <= loss_chance + 1e-12) | ~sets[fits].any(axis=1)
        return fits

    exact = len(gaining) <= EXACT
    at = np.sort(gaining[(_exact if exact else _greedy)(from_.expected[gaining], within)])
    total = from_.profits[at].sum(axis=0)
    return Portfolio(
        tuple(from_.names[i] for i in at), float(from_.expected[at].sum()),
        float((total < 0).mean()) if len(at) else 0.0, float(from_.spent[at].sum()), float(from_.hours[at].sum()),
        budget, bench_hours, exact,
    )  # fmt: skip


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
