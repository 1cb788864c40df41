"""Which offers to buy together: the most expected profit whose chance of an overall loss stays within the limit.

The market's level moves all kits at once: each draw of the fitted coefficients is shared by every kit of that draw,
while each sale has its own scatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from kitvalue.intake.books.book import FloatArray

EXACT: Final = 15  # offers up to which every set is tried
AT_ONCE: Final = 512  # sets tried at a time


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
    gaining = [int(i) for i in np.argsort(-from_.expected, kind="stable") if from_.expected[i] > 0]
    within = _Limits(from_, budget, bench_hours, loss_chance)
    exact = len(gaining) <= EXACT
    chosen = _exact(within, gaining) if exact else _greedy(within, gaining)
    at = np.array(sorted(chosen), dtype=np.int64)
    total = from_.profits[at].sum(axis=0)
    return Portfolio(
        tuple(from_.names[i] for i in at), float(from_.expected[at].sum()),
        float((total < 0).mean()) if len(at) else 0.0, float(from_.spent[at].sum()), float(from_.hours[at].sum()),
        budget, bench_hours, exact,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Limits:
    given: Candidates
    budget: float | None
    bench_hours: float | None
    loss_chance: float

    def affordable(self, spent: float, hours: float) -> bool:
        return (self.budget is None or spent <= self.budget + 1e-9) and (
            self.bench_hours is None or hours <= self.bench_hours + 1e-9
        )

    def allow(self, chosen: Sequence[int]) -> bool:
        """Is this set within all limits?"""
        at = np.array(chosen, dtype=np.int64)
        g = self.given
        if not self.affordable(float(g.spent[at].sum()), float(g.hours[at].sum())):
            return False
        return not len(at) or float((g.profits[at].sum(axis=0) < 0).mean()) <= self.loss_chance + 1e-12


def _exact(within: _Limits, gaining: Sequence[int]) -> list[int]:
    """Every set, the most profitable first, until one is within the limits."""
    g, m = within.given, len(gaining)
    at = np.array(gaining, dtype=np.int64)
    sets = ((np.arange(2**m)[:, None] >> np.arange(m)) & 1).astype(np.float64)
    can = np.array(
        [within.affordable(s, h) for s, h in zip(sets @ g.spent[at], sets @ g.hours[at], strict=True)], dtype=bool
    )
    sets = sets[can]
    order = np.argsort(-(sets @ g.expected[at]), kind="stable")
    for start in range(0, len(order), AT_ONCE):
        some = sets[order[start : start + AT_ONCE]]
        lost = ((some @ g.profits[at]) < -1e-9).mean(axis=1)
        fine = np.flatnonzero((lost <= within.loss_chance + 1e-12) | (some.sum(axis=1) == 0))
        if len(fine):
            return [gaining[int(j)] for j in np.flatnonzero(some[fine[0]])]
    return []


def _greedy(within: _Limits, gaining: Sequence[int]) -> list[int]:
    """The most profitable that still fits, one by one; then swaps of one for one while they gain."""
    chosen: list[int] = []
    for i in gaining:
        if within.allow([*chosen, i]):
            chosen.append(i)
    expected = within.given.expected
    better = True
    while better:
        better = False
        for out in list(chosen):
            for i in gaining:
                if i in chosen or expected[i] <= expected[out]:
                    continue
                tried = [*(c for c in chosen if c != out), i]
                if within.allow(tried):
                    chosen, better = tried, True
                    break
            if better:
                break
        for i in gaining:
            if i not in chosen and within.allow([*chosen, i]):
                chosen.append(i)
                better = True
    return chosen
