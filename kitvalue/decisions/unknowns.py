"""Which assumption flips the answer: each unknown alone, where it breaks even and how far it swings the profit.

`break_even` is where the build's landed cost equals the original at the door, `break_even_market` where the kit sold at
the market price leaves no profit. Nothing is rounded inside a solve.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from kitvalue.decisions.original import Situation, as_money
from kitvalue.decisions.solve import nearest_root, root_above
from kitvalue.workshop.build import Lever, least_donor_scale, net_unit
from kitvalue.workshop.money import HUNDRED, ZERO, cents, percent

MOST_RATE = Decimal(100)  # percent of VAT
WORST, BEST = Decimal(1), Decimal(5)  # bench grades
SHORT_OF = Decimal("0.999")  # of the VAT rate at which fee and VAT take the whole price


@dataclass(frozen=True, slots=True)
class Unknown:
    """One unknown. `planned`, `low` and `high` are in its `unit`; `high` is None where it has no end.

    `change` gives the situation with another value. `in_cost`: the build's cost or the original's depends on it.
    `absent` says why the plan has no such thing, else None.
    """

    name: str
    unit: str
    planned: Decimal
    change: Callable[[Decimal], Situation]
    low: Decimal = ZERO
    high: Decimal | None = None
    in_cost: bool = True
    absent: str | None = None


def unknowns_of(
    situation: Situation, condition: Decimal, original_typical: Callable[[float], float]
) -> tuple[Unknown, ...]:
    """Every unknown. `original_typical` gives the original's typical price, money, at another bench grade."""
    return (
        _donors(situation),
        _hours(situation),
        _hourly_rate(situation),
        _covering(situation),
        _share(situation),
        _tax_rate(situation),
        _freight(situation),
        _condition(situation, condition, original_typical),
    )


def _donors(situation: Situation) -> Unknown:
    planned = sum((c.amount or ZERO for c in situation.charges if c.lever is Lever.DONOR_PRICE), ZERO)
    low = least_donor_scale(situation.charges) * planned if situation.route == "margin" else ZERO
    absent = "no donor is paid for" if planned == 0 else None
    return Unknown("donor prices", "money", planned, _scaled(situation, "donors", planned), low, absent=absent)


def _hours(situation: Situation) -> Unknown:
    planned = sum((c.quantity for c in situation.charges if c.lever is Lever.LABOUR), ZERO)
    absent = "the plan has no hours" if planned == 0 else None
    return Unknown("hours", "hours", planned, _scaled(situation, "hours", planned), absent=absent)


def _hourly_rate(situation: Situation) -> Unknown:
    rates = [c.amount for c in situation.charges if c.lever is Lever.LABOUR and c.amount]
    planned = rates[0] if rates else ZERO
    absent = None if rates else "no hour of the plan is paid for"
    return Unknown("hourly rate", "money per hour", planned, _scaled(situation, "hourly_rate", planned), absent=absent)


def _covering(situation: Situation) -> Unknown:
    planned = ZERO
    for charge in situation.charges:
        unit = net_unit(charge, situation.terms, situation.route)
        if charge.lever is Lever.COVERING and unit is not None:
            planned += cents(unit * charge.quantity)
    absent = 'nothing is bought per = "sheet"' if planned == 0 else None
    return Unknown("covering cost", "money", planned, _scaled(situation, "covering", planned), absent=absent)


def _scaled(situation: Situation, which: str, planned: Decimal) -> Callable[[Decimal], Situation]:
    def change(value: Decimal) -> Situation:
        factor = value / planned
        return replace(situation, scales=replace(situation.scales, **{which: factor}))

    return change


def _share(situation: Situation) -> Unknown:
    def change(value: Decimal) -> Situation:
        return replace(situation, share=percent(value))

    return Unknown("share", "percent", situation.share * HUNDRED, change, in_cost=False)


def _tax_rate(situation: Situation) -> Unknown:
    fee = situation.terms.fee
    most = MOST_RATE if situation.route == "none" or fee == 0 else min(MOST_RATE, (1 / fee - 1) * HUNDRED * SHORT_OF)

    def change(value: Decimal) -> Situation:
        return replace(situation, terms=replace(situation.terms, rate=percent(value)))

    return Unknown("tax rate", "percent", situation.terms.rate * HUNDRED, change, high=most)


def _freight(situation: Situation) -> Unknown:
    def change(value: Decimal) -> Situation:
        return replace(situation, original=situation.original.model_copy(update={"freight": value}))

    return Unknown("freight of the original", "money", situation.original.freight, change)


def _condition(situation: Situation, planned: Decimal, typical: Callable[[float], float]) -> Unknown:
    def change(value: Decimal) -> Situation:
        # as planned the price is the outlook's own, whatever the curve says beside it
        price = situation.original_typical if value == planned else as_money(typical(float(value)))
        return replace(situation, original_typical=price)

    return Unknown("condition of the original", "grade", planned, change, WORST, BEST)


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
