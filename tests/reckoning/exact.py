"""Exact numbers: fractions, and the three ways to come to the cent."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor

Number = int | str | Decimal | Fraction
Rounding = Callable[[Fraction], Fraction]


class RefusedError(Exception):
    """A question that has no answer; `code` says why."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


def exact(amount: Number) -> Fraction:
    """The number without any rounding; floats are not taken."""
    return Fraction(amount)


def percent(number: Number) -> Fraction:
    """23 becomes 23/100."""
    return Fraction(number) / 100


def unrounded(amount: Fraction) -> Fraction:
    """The rounding that does nothing: for closed forms and for what they are checked by."""
    return amount


def cents(amount: Fraction) -> Fraction:
    """Half up to the cent, halves away from zero (EN 16931 example 2: 365.125 is 365.13)."""
    size = Fraction(floor(abs(amount) * 100 + Fraction(1, 2)), 100)
    return size if amount >= 0 else -size


def up(amount: Fraction) -> Fraction:
    """The next cent at or above: a floor may not leave less than the margin."""
    return Fraction(ceil(amount * 100), 100)


def down(amount: Fraction) -> Fraction:
    """The next cent at or below: a ceiling may not cost more than what is left."""
    return Fraction(floor(amount * 100), 100)


def inside(rate: Fraction) -> Fraction:
    """k = v/(1 + v): the VAT inside an amount that bears the rate v (articles 78(a) and 315)."""
    return rate / (1 + rate)


def lowest(enough: Callable[[Fraction], bool]) -> Fraction:
    """The lowest amount of whole cents, 0 at the least, at which `enough` holds; found by bisection."""
    high = 1
    while not enough(Fraction(high, 100)):
        high *= 2
        if high > 10**15:
            raise RefusedError("no_price")
    low = -1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(Fraction(middle, 100)) else (middle, high)
    return Fraction(high, 100)


def highest(fits: Callable[[Fraction], bool]) -> Fraction | None:
    """The highest amount of whole cents at which `fits` holds, by bisection; None where 0 already does not fit."""
    if not fits(Fraction(0)):
        return None
    low, high = 0, 1
    while fits(Fraction(high, 100)):
        low, high = high, high * 2
        if high > 10**15:
            raise RefusedError("no_limit")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(Fraction(middle, 100)) else (low, middle)
    return Fraction(low, 100)
