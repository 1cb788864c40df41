"""The column `sold_for` of prices.csv: what a kit went for, in the row that tells what was asked for it.

A cell that holds an amount gives its row the price and the kind sold, whatever stands in `price`; a blank one, and one
that says unsold, leaves the row at the price asked.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from kitvalue.intake.numbers import Amount, Reading, read_amount
from kitvalue.intake.words import Refusal, fold, is_dash, says_not_known

SOLD_FOR_CURE: Final = "write the one amount that was paid, such as 480, or leave it blank if unsold or unknown"
FAR_APART: Final = 3  # times: haggling alone never takes two prices of one kit as far apart (from memory)
_LONGEST: Final = 40  # characters
_UNSOLD: Final = frozenset([  # folded; the words of a column that others use for yes or no (common practice, no source)
    "no", "nein", "unsold", "not sold", "unverkauft", "nicht verkauft", "noch da", "still there",
])  # fmt: skip


def read_sold_for(text: str) -> Reading | None:
    """The amount that a kit went for; None where the cell says that it is unsold, or that nothing is known of it."""
    if is_dash(text) or says_not_known(text) or _says_unsold(text):
        return None
    return read_amount(text)


def _says_unsold(text: str) -> bool:
    return len(text) < _LONGEST and " ".join(fold(text).split()) in _UNSOLD


def sold_for_check(amount: Amount) -> Refusal | None:
    """What was paid is above 0."""
    if amount.value > 0:
        return None
    reason = "is negative" if amount.value < 0 else "is no price"
    return Refusal("not_positive", reason, "a price must be above 0; leave the cell blank if the kit is unsold")


def far_apart(asked: Decimal, paid: Decimal) -> bool:
    """Is what was asked so much more or less than what was paid that one of them must be a slip?"""
    return asked > paid * FAR_APART or paid > asked * FAR_APART


def not_what_was_paid() -> Refusal:
    """The refusal of an amount that says negotiable."""
    return Refusal(
        "negotiable", "says negotiable, which is an asking price", "give the amount that was paid, or leave it blank"
    )


def beside_hammer(price: str) -> Refusal:
    """The refusal of an amount in a row whose price_kind says hammer; `price`: the header of the price column."""
    cure = f"a hammer price goes into {price}, with its premium: delete this amount, or the word for hammer"
    return Refusal("hammer_and_sold_for", "stands in the row of a hammer price", cure)


def either_of_two(sold_for: str) -> str:
    """What to do about a row with neither price; `sold_for`: the header of that column."""
    return f"write what was asked, or what it went for under {sold_for}"


def without_amount(rows: str, kind: str, price: str, sold_for: str) -> str:
    """The message about rows that say sold and hold no amount; `kind`, `price` and `sold_for` are the headers."""
    return (
        f"blank in {rows}, where {kind} says sold: what stands in {price} counts as asked, since in a file with this "
        f"column it does not tell what was paid; fill in {sold_for}"
    )
