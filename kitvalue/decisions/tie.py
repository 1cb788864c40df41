"""The price of an original at which it costs as much at the door as the build, and how many sell below it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from kitvalue.decisions.original import price_landing_at
from kitvalue.intake.book import FloatArray
from kitvalue.intake.plan import OriginalTable
from kitvalue.workshop.money import cents, money_text, percent

COUNTS = ("three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
NEAR = 0.005  # how near a share must be to be told as one in so many


@dataclass(frozen=True, slots=True)
class Tie:
    """A tie price, money. `hammer` is the bid that comes to it with the premium, None where none is paid.

    `share_below` is the share of the original's signed sample strictly below `price`.
    """

    price: Decimal
    hammer: Decimal | None
    share_below: float
    text: str


def tie_price(original: OriginalTable, build_landed: Decimal, repair: Decimal, sample: FloatArray) -> Tie:
    """The tie of a build that is `build_landed` at the door. `sample` (n,) are prices of originals, n above 0."""
    price = cents(price_landing_at(original, build_landed, repair))
    hammer = cents(price / (1 + percent(original.premium))) if original.premium > 0 else None
    below = float(np.mean(np.asarray(sample) < float(price)))
    return Tie(price, hammer, below, f"tie at {money_text(price)}: {below_text(below)}")


def below_text(share: float) -> str:
    """A share of originals in words: `one original in eight this size sells under it`."""
    if share == 0:
        return "no original this size sells under it"
    if share == 1:
        return "every original this size sells under it"
    near = Fraction(share).limit_denominator(len(COUNTS) + 2)
    if near.numerator == 1 and near.denominator > 2 and abs(share - float(near)) < NEAR:
        return f"one original in {COUNTS[near.denominator - 3]} this size sells under it"
    return f"{share * 100:.0f} % of originals this size sell under it"
