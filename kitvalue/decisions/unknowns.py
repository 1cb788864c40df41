"""Which assumption flips the answer: each unknown alone, where it breaks even and how far it swings the profit.

`break_even` is where the build's landed cost equals the original at the door, `break_even_market` where the kit sold at
the market price leaves no profit. Nothing is rounded inside a solve.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.situation import Situation
from kitvalue.decisions.solve import nearest_root, root_above
from kitvalue.decisions.vary import Unknown
from kitvalue.workshop.money import ZERO, cents

DOWN, UP = Decimal("0.9"), Decimal("1.1")
HALF_GRADE = Decimal("0.5")
CELLS = 80  # of a bounded range: a twentieth of a grade
ABOVE, BELOW = "the build lands above the original", "the build lands below the original"
PROFIT, LOSS = "that price leaves a profit", "that price leaves a loss"


@dataclass(frozen=True, slots=True)
class Solved:
    """One unknown. `planned` and the break-evens are in its `unit`, the latter exact and None where `reason` says why.

    `swing_down` and `swing_up` are how much the profit at the market price changes, money, when it is a tenth smaller
    or larger (the condition half a grade); None where such a value is out of its range.
    """

    name: str
    unit: str
    planned: Decimal
    break_even: Decimal | None
    break_even_market: Decimal | None
    reason: str | None
    swing_down: Decimal | None
    swing_up: Decimal | None


@dataclass(frozen=True, slots=True)
class _Root:
    """A break-even, or why there is none."""

    value: Decimal | None
    reason: str | None


def solve_all(unknowns: Iterable[Unknown]) -> tuple[Solved, ...]:
    """Each unknown solved by itself, the widest swing first."""
    return tuple(sorted((solve(unknown) for unknown in unknowns), key=_width, reverse=True))


def solve(unknown: Unknown) -> Solved:
    """One unknown: both break-evens and both swings."""
    if unknown.absent is not None:
        return Solved(unknown.name, unknown.unit, unknown.planned, None, None, unknown.absent, None, None)
    at_cost = _Root(None, "it does not enter the landed cost")
    if unknown.in_cost:
        at_cost = _break_even(unknown, Situation.gap, ABOVE, BELOW)
    market = _break_even(unknown, Situation.profit_at_market, PROFIT, LOSS)
    reasons = [
        f"{goal}: {root.reason}"
        for goal, root in (("at cost", at_cost), ("at the market price", market))
        if root.reason is not None
    ]
    down, up = _neighbours(unknown)
    return Solved(
        unknown.name, unknown.unit, unknown.planned, at_cost.value, market.value, "; ".join(reasons) or None,
        _swing(unknown, down), _swing(unknown, up),
    )  # fmt: skip


def _break_even(unknown: Unknown, goal: Callable[[Situation], Decimal], positive: str, negative: str) -> _Root:
    def value_at(x: Decimal) -> Decimal:
        return goal(unknown.change(x))

    if unknown.high is not None:
        found = nearest_root(value_at, unknown.low, unknown.high, unknown.planned, CELLS)
        span = f"from {_plain(unknown.low)} to {_plain(unknown.high)}"
    else:
        guess = unknown.planned if unknown.planned > unknown.low else unknown.low + 1
        found = root_above(value_at, unknown.low, guess)
        span = f"from {_plain(unknown.low)} up"
    if found is not None:
        return _Root(found, None)
    sign = positive if value_at(unknown.planned) > 0 else negative
    return _Root(None, f"{sign} at every value {span}")


def _width(solved: Solved) -> Decimal:
    return max(abs(solved.swing_down or ZERO), abs(solved.swing_up or ZERO))


def _neighbours(unknown: Unknown) -> tuple[Decimal, Decimal]:
    if unknown.unit == "grade":
        return unknown.planned - HALF_GRADE, unknown.planned + HALF_GRADE
    return unknown.planned * DOWN, unknown.planned * UP


def _swing(unknown: Unknown, value: Decimal) -> Decimal | None:
    if value < unknown.low or (unknown.high is not None and value > unknown.high):
        return None
    planned = unknown.change(unknown.planned).profit_at_market()
    return cents(unknown.change(value).profit_at_market() - planned)


def _plain(value: Decimal) -> str:
    return f"{cents(value).normalize():f}"
