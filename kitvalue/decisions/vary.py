"""The unknowns of a build, each as planned and as a way to change it alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from kitvalue.decisions.original import as_money
from kitvalue.decisions.situation import Situation
from kitvalue.workshop.charges import Lever, least_donor_scale, net_unit
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
