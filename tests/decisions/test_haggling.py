"""What an offer is expected to be bought for."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from kitvalue.decisions.ceiling import Paid, opening, paid_for, step_of
from kitvalue.intake.books.offers import Offer
from kitvalue.market.fit import fit_book
from tests.market.books import invented_book

BOOK = Paid(0.9, "the book")


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
    assert opening(400, 360, 320) == 320
    assert opening(400, 360, 300) == 270  # a tenth under the price to stop at, as 360 is under 400
    assert opening(400, 400, 300) == 300  # a fixed price leaves no room
    assert opening(333.33, 299.997, 500) == 266.66  # 266.664, to the cent


def test_the_books_step_is_its_sold_effect() -> None:
    fit = fit_book(invented_book(n=200, seed=5), None)
    sold = next(t.percent for t in fit.terms if t.name == "sold")  # percent of the price, as `fit` prints it
    assert sold is not None
    assert sold < 0
    step = step_of(fit)
    assert step.price == pytest.approx(1 + sold / 100, rel=1e-12)
    assert f"asked to sold in the book, {sold:.1f} %" in step.rests_on
    assert paid_for(offer(), step).price == pytest.approx(400 + 4 * sold)


def test_where_sold_rows_lie_higher_or_none_are_sold() -> None:
    book = invented_book(n=200, seed=5)
    for more in (0.5, 0.2):  # sold rows about half as much again above asked ones, and about a tenth
        dearer = fit_book(replace(book, price=book.price * np.exp(more * book.price_kind)), None)
        assert next(term.coefficient for term in dearer.terms if term.name == "sold") > 0
        assert step_of(dearer).price == 1.0
    asked = replace(book, price_kind=np.zeros(200, dtype=np.int64))
    assert step_of(fit_book(asked, 10.0)).price == pytest.approx(0.9)
    assert step_of(fit_book(asked, None)).price == 1.0
