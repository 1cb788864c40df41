"""Which assumption flips the answer: each unknown alone, where it breaks even and how far it swings the profit.

`break_even` is where the build's landed cost equals the original at the door, `break_even_market` where the kit sold at
the market price leaves no profit. Roots are found by bisection on decimals, to far below a cent; nothing is rounded
inside a solve.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

from kitvalue.decisions.original import Situation, as_money
from kitvalue.workshop.build import Lever, net_unit
from kitvalue.workshop.money import HUNDRED, ZERO, cents, percent

DOUBLINGS = 40  # of the planned value, before a root above it counts as none
HALVINGS = 90  # leaves 1e-27 of the interval, the precision of the decimals


def nearest_root(function: Callable[[Decimal], Decimal], edges: Sequence[Decimal], near: Decimal) -> Decimal | None:
    """Of the roots of a continuous function the one nearest to `near`; None where it keeps its sign at the `edges`.

    For functions that may turn: two roots between neighbouring edges are not seen.
    """
    values = [function(edge) for edge in edges]
    roots = [edge for edge, value in zip(edges, values, strict=True) if value == 0]
    for (low, at_low), (high, at_high) in pairwise(zip(edges, values, strict=True)):
        if at_low * at_high < 0:
            for _ in range(HALVINGS):
                middle = (low + high) / 2
                value = function(middle)
                if value == 0 or middle in (low, high):
                    break
                low, high = (low, middle) if (value > 0) == (at_high > 0) else (middle, high)
            roots.append(middle)
    return min(roots, key=lambda root: abs(root - near), default=None)


MOST_RATE = Decimal(100)  # percent of VAT
WORST, BEST = Decimal(1), Decimal(5)  # bench grades
SHORT_OF = Decimal("0.999")  # of the VAT rate at which fee and VAT take the whole price
DOWN, UP = Decimal("0.9"), Decimal("1.1")
HALF_GRADE = Decimal("0.5")
CELLS = 80  # of a bounded range: a twentieth of a grade


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

    def root(self, goal: Callable[[Situation], Decimal]) -> Decimal | None:
        """The value nearest to the plan at which the goal is 0; else None."""
        if self.high is not None:
            edges = [*(self.low + (self.high - self.low) / CELLS * i for i in range(CELLS)), self.high]
        else:
            first = self.planned - self.low if self.planned > self.low else Decimal(1)
            edges = [self.low, *(self.low + first * 2**n for n in range(DOUBLINGS))]
        return nearest_root(lambda value: goal(self.change(value)), edges, self.planned)


def _scaled(situation: Situation, lever: Lever, planned: Decimal) -> Callable[[Decimal], Situation]:
    return lambda value: replace(situation, factors={lever: value / planned})


def donor_prices(situation: Situation) -> Unknown:
    """What all donors cost together, without freight, premium and what an import costs more."""
    sheet, low = situation.sheet, ZERO
    planned = sum((c.amount or ZERO for c in sheet.charges if c.lever is Lever.DONOR_PRICE), ZERO)
    on_margin = sheet.route == "margin" or any(c.resale and c.resale.scheme == "margin" for c in sheet.charges)
    if on_margin:  # lower, what is sold off a donor would exceed its price
        lows = [1 - (one.price - one.stated) / one.moves for one in sheet.apportioned if one.moves and one.stated]
        low = max((ZERO, *lows)) * planned
    absent = "no donor is paid for" if planned == 0 else None
    return Unknown("donor prices", "money", planned, _scaled(situation, Lever.DONOR_PRICE, planned), low, absent=absent)


def own_hours(situation: Situation) -> Unknown:
    planned = sum((c.quantity for c in situation.sheet.charges if c.lever is Lever.LABOUR), ZERO)
    absent = "the plan has no hours" if planned == 0 else None
    return Unknown("hours", "hours", planned, _scaled(situation, Lever.LABOUR, planned), absent=absent)


def unknowns_of(here: Situation, condition: Decimal, original_typical: Callable[[float], float]) -> tuple[Unknown, ...]:
    """Every unknown. `original_typical` gives the original's typical price, money, at another bench grade."""
    terms = here.terms
    rate = next((c.amount for c in here.sheet.charges if c.lever is Lever.LABOUR and c.amount), ZERO)
    covering = ZERO
    for charge in here.sheet.charges:
        unit = net_unit(charge, terms, here.sheet.route)
        if charge.lever is Lever.COVERING and unit is not None:
            covering += cents(unit * charge.quantity)
    taken = terms.fee + terms.reserve
    bound = here.sheet.route != "none" and taken != 0  # with tax they can take the whole price
    most_rate = min(MOST_RATE, (1 / taken - 1) * HUNDRED * SHORT_OF) if bound else MOST_RATE

    def at_grade(value: Decimal) -> Situation:
        # as planned the price is the outlook's own, whatever the curve says beside it
        price = here.original_typical if value == condition else as_money(original_typical(float(value)))
        return replace(here, original_typical=price)

    return (
        donor_prices(here),
        own_hours(here),
        Unknown("hourly rate", "money per hour", rate, _scaled(here, Lever.LABOUR, rate),
                absent=None if rate else "no hour of the plan is paid for"),
        Unknown("covering cost", "money", covering, _scaled(here, Lever.COVERING, covering),
                absent=None if covering else 'nothing is bought per = "sheet"'),
        Unknown("share", "percent", here.share * HUNDRED, lambda x: replace(here, share=percent(x)), in_cost=False),
        Unknown("tax rate", "percent", terms.rate * HUNDRED,
                lambda x: replace(here, terms=replace(terms, rate=percent(x))), high=most_rate),
        Unknown("freight of the original", "money", here.original.freight,
                lambda x: replace(here, original=here.original.model_copy(update={"freight": x}))),
        Unknown("condition of the original", "grade", condition, at_grade, WORST, BEST),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class NoBreakEven:
    """Why there is none: `text`, and of the values tried the range `tried`, "" where there are none to try."""

    text: str
    tried: str = ""


@dataclass(frozen=True, slots=True)
class Solved:
    """One unknown. `planned` and the break-evens are in its `unit`, the latter exact and None where `why` says why.

    `swing_down` and `swing_up` are how much the profit at the market price changes, money, when it is a tenth smaller
    or larger (the condition half a grade); None where such a value is out of its range.
    """

    name: str
    unit: str
    planned: Decimal
    break_even: Decimal | None
    break_even_market: Decimal | None
    why: tuple[NoBreakEven, ...]
    swing_down: Decimal | None
    swing_up: Decimal | None

    @property
    def reason(self) -> str | None:
        """Why a break-even is None, in one line."""
        return "; ".join(w.text + (f" at every value {w.tried}" if w.tried else "") for w in self.why) or None

    @property
    def width(self) -> Decimal:
        """The wider swing, whichever way it goes."""
        return max(abs(self.swing_down or ZERO), abs(self.swing_up or ZERO))


def solve_all(unknowns: Iterable[Unknown]) -> tuple[Solved, ...]:
    """Each unknown solved by itself, the widest swing first."""
    return tuple(sorted(map(solve, unknowns), key=lambda solved: solved.width, reverse=True))


def solve(unknown: Unknown) -> Solved:
    """One unknown: both break-evens and both swings."""
    name, unit, planned = unknown.name, unknown.unit, unknown.planned
    if unknown.absent is not None:
        return Solved(name, unit, planned, None, None, (NoBreakEven(unknown.absent),), None, None)
    here = unknown.change(planned)
    at_cost = unknown.root(Situation.gap) if unknown.in_cost else None
    market = unknown.root(Situation.profit_at_market)
    tried = f"from {_plain(unknown.low)} " + ("up" if unknown.high is None else f"to {_plain(unknown.high)}")
    why = []
    if not unknown.in_cost:
        why.append(NoBreakEven("at cost: it does not enter the landed cost"))
    elif at_cost is None:
        side = "above" if here.gap() > 0 else "below"
        why.append(NoBreakEven(f"at cost: the build lands {side} the original", tried))
    if market is None:
        left = "profit" if here.profit_at_market() > 0 else "loss"
        why.append(NoBreakEven(f"at the market price: that price leaves a {left}", tried))

    def swing(value: Decimal) -> Decimal | None:
        if value < unknown.low or (unknown.high is not None and value > unknown.high):
            return None
        return cents(unknown.change(value).profit_at_market() - here.profit_at_market())

    down, up = planned * DOWN, planned * UP
    if unit == "grade":
        down, up = planned - HALF_GRADE, planned + HALF_GRADE
    return Solved(name, unit, planned, at_cost, market, tuple(why), swing(down), swing(up))


def _plain(value: Decimal) -> str:
    return f"{cents(value).normalize():f}"
