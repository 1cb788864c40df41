"""What an amount of an advert is, and why (common practice, no source; invented adverts)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.words import INVISIBLE
from tests.intake.adverts.test_adverts import understood


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("€380, a deposit of €60 keeps it", "380"), ("450 €, Ständer nochmal 80 €", "450"),
        ("€290, cases not included", "290"), ("in 1984 for 300 from a friend. I'd take 640", "640"),
        ("Rechnung über 980 € liegt bei, 600", "600"), ("4 x €120 instalments", None),
        ("bought it for 700, will take 380", "380"), ("hammer price 610 EUR, estimate 400-600 EUR", "610"),
        ("estimate €300 - 400", None), ("bids from €150", None), ("€1,200 new, yours for €420", "420"),
        ("my dad paid €300", None), ("0171 1234567 450 VB", "450"), ("call 087 555 0142 €450", "450"),
        ("Tel. 087 5550142 450 EUR", "450"), ("tel 087 555 0142, asking 450", "450"),
        ("€150 deposit, €300 on collection", None), ("€100 now and €300 on collection", None),
        ("450 EUR or 400 EUR", None), ("450 EUR with stands, 400 EUR without", None),
    ],
)  # fmt: skip
def test_the_price_is_told_from_what_stands_beside_it(text: str, price: str | None) -> None:
    assert understood(f"Burren 22x16 16x16 13x9 12x8. {text}").value("price") == price


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("a deposit of €60 keeps it", "deposit"), ("Ständer 80 €", "other thing"),
        ("4 x €120 instalments", "instalment"), ("was €600", "earlier"), ("paid €700 for it", "paid"),
        ("worth €1,200", "worth"), ("the receipt over €980", "invoice"), ("valued at €850", "estimate"),
        ("starting bid €300", "opening bid"), ("postage €30", "freight"), ("€25 each", "each"),
        ("on top €90 more", "extra"),
    ],
)  # fmt: skip
def test_every_amount_says_what_it_is_and_by_which_words(text: str, role: str) -> None:
    found = understood(f"Burren 22x16 16x16 13x9 12x8, now €480. {text}")
    other = next(one for one in found.amounts if one.value != "480")
    assert other.role == role
    assert any(reason.role == role and reason.words in text for reason in other.reasons)
    assert found.value("price") == "480"


@given(st.integers(100, 9999), st.sampled_from(INVISIBLE), st.integers(0, 3))
def test_a_sign_that_shows_nothing_splits_no_number(price: int, sign: str, at: int) -> None:
    digits = str(price)
    split = f"{digits[:at]}{sign}{digits[at:]}"
    assert understood(f"Burren 22x16 16x16 13x9 12x8, {split} EUR").value("price") == digits


EXTRA = st.sampled_from(
    [
        "a deposit of {} EUR keeps it", "cases are {} EUR extra", "paid {} EUR for it years ago", "worth {} EUR",
        "invoice over {} EUR", "shipping {} EUR", "Anzahlung {} EUR", "Neupreis {} EUR", "Taschen {} EUR extra",
    ]
)  # fmt: skip


@given(st.integers(150, 2000), st.integers(10, 3000), st.lists(EXTRA, max_size=3, unique=True), st.booleans())
def test_what_stands_beside_never_becomes_the_price(price: int, other: int, beside: list[str], first: bool) -> None:
    told = [one.format(other) for one in beside]
    parts = [*told, f"{price} EUR"] if first else [f"{price} EUR", *told]
    assert understood(f"Burren 22x16 16x16 13x9 12x8. {'. '.join(parts)}.").value("price") in (str(price), None)
