"""What to buy together, by trying every set of uses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

ZERO = Fraction(0)


@dataclass(frozen=True)
class Choice:
    """One use of one kit, or one build of a plan with all that it needs.

    `kits` are the offers that it takes; `plan` the build that it makes, "" for none. `cash` is what goes out now for
    kits and new shells, VAT that is deducted later included. `profits` is one profit a draw (the same draws for all
    choices).
    """

    name: str
    kits: frozenset[str]
    cash: Fraction
    hours: Fraction
    profits: tuple[Fraction, ...]
    plan: str = ""

    @property
    def profit(self) -> Fraction:
        """Expected: the mean over the draws."""
        return sum(self.profits, ZERO) / len(self.profits)


@dataclass(frozen=True)
class Limits:
    """[buying] and the chance of a loss; None is no limit."""

    budget: Fraction | None = None
    hours: Fraction | None = None
    kits: int | None = None
    loss_chance: Fraction | None = None


def build(
    name: str,
    plan: str,
    filled: Sequence[Choice],
    *,
    new_shells_cash: Fraction,
    hours: Fraction,
    profits: Sequence[Fraction],
    in_hand: Sequence[Sequence[Fraction]] = (),
) -> Choice:
    """A build as one choice: all the donors that it still misses, its new shells, and its own profits.

    `filled` carry kits and cash of the missing donors. `profits` are the build's after everything that is still to be
    paid; what is in hand and done is spent, so that it is no cost here, but it counts at what it would bring
    otherwise (one sequence of profits a kit in hand): the build must beat that.
    """
    net = [profit - sum((other[at] for other in in_hand), ZERO) for at, profit in enumerate(profits)]
    kits = frozenset[str]().union(*(one.kits for one in filled))
    cash = sum((one.cash for one in filled), new_shells_cash)
    return Choice(name, kits, cash, hours, tuple(net), plan)


def fit_together(chosen: Sequence[Choice]) -> bool:
    """Is each kit used once, and each plan built once?"""
    kits = [kit for one in chosen for kit in one.kits]
    plans = [one.plan for one in chosen if one.plan]
    return len(kits) == len(set(kits)) and len(plans) == len(set(plans))


def loss_share(chosen: Sequence[Choice]) -> Fraction:
    """In how many of the draws the set as a whole loses."""
    if not chosen:
        return ZERO
    draws = len(chosen[0].profits)
    return Fraction(sum(sum((one.profits[at] for one in chosen), ZERO) < 0 for at in range(draws)), draws)


def allowed(chosen: Sequence[Choice], limits: Limits) -> bool:
    """Within cash, hours, number of kits and chance of a loss, and possible at all."""
    return (
        fit_together(chosen)
        and (limits.budget is None or sum((one.cash for one in chosen), ZERO) <= limits.budget)
        and (limits.hours is None or sum((one.hours for one in chosen), ZERO) <= limits.hours)
        and (limits.kits is None or sum(len(one.kits) for one in chosen) <= limits.kits)
        and (limits.loss_chance is None or loss_share(chosen) <= limits.loss_chance)
    )


def best(choices: Sequence[Choice], limits: Limits) -> tuple[Choice, ...]:
    """The set of the most expected profit, by trying every subset; buying nothing is one of them.

    Ties: the less cash, then the fewer choices, then those first listed.
    """
    sets = (
        found for size in range(len(choices) + 1) for found in combinations(choices, size) if allowed(found, limits)
    )
    return max(sets, key=lambda found: (expected(found), -sum((one.cash for one in found), ZERO)))


def expected(chosen: Sequence[Choice]) -> Fraction:
    """Expected profit of a set."""
    return sum((one.profit for one in chosen), ZERO)


def kit_by_kit(choices: Sequence[Choice], limits: Limits) -> Fraction:
    """The most expected profit by another search: the first kit still open gets one of its choices, or is left.

    The chance of a loss is looked at only when all is decided, for a loss of one may be borne by another.
    """

    def walk(open_choices: tuple[Choice, ...], taken: tuple[Choice, ...]) -> Iterator[Fraction]:
        if not open_choices:
            if allowed(taken, limits):
                yield expected(taken)
            return
        first = open_choices[0]
        same = tuple(one for one in open_choices if clash(one, first))
        apart = tuple(one for one in open_choices if one not in same)
        yield from walk(tuple(one for one in open_choices if one is not first), taken)  # without the first
        yield from walk(apart, (*taken, first))  # with it: whatever clashes is out

    return max(walk(tuple(choices), ()))


def clash(one: Choice, other: Choice) -> bool:
    """Do they need the same kit, or make the same plan?"""
    return bool(one.kits & other.kits) or bool(one.plan and one.plan == other.plan)


def bound(choices: Sequence[Choice], limits: Limits) -> Fraction:
    """No set earns more: the program without the limit on losses."""
    return expected(best(choices, Limits(limits.budget, limits.hours, limits.kits)))
