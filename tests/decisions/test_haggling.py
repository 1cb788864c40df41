"""What an offer is expected to be bought for."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from kitvalue.decisions.haggling import Step, opening, paid_for
from kitvalue.intake.offers import Offer

BOOK = Step(0.9, "the book")


def offer(**changes: Any) -> Offer:
    plain = {
        "row": 2, "offer": "D1", "series": "Burren", "pieces": 4, "condition": Decimal(3), "price": Decimal(400),
        "freight": Decimal(45), "sizes": (), "bought_from": "private", "haggle": None, "note": None,
    }  # fmt: skip
    return Offer(**(plain | changes))


@pytest.mark.parametrize(
    ("haggle", "price", "words"),
    [
        (None, 360, "the book"),
        ("fixed", 400, "it is fixed"),
        (Decimal(5), 380, "own haggle of 5 %"),
        (Decimal(0), 400, "0 %"),
    ],
)
def test_an_offers_own_haggle_or_the_books_step_never_both(haggle: Any, price: float, words: str) -> None:
    paid = paid_for(offer(haggle=haggle), BOOK)
    assert paid.price == pytest.approx(price)
    assert words in paid.rests_on


def test_meeting_half_way_from_the_opening_ends_at_the_expected_price() -> None:
    assert opening(400, 360, 500) == 320
    assert (opening(400, 360, 500) + 400) / 2 == 360
    assert opening(400, 360, 300) == 300  # never above the price to stop at
