"""Rounding to the cent and to steps."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.workshop.money import (
    PartlyKnown,
    cents,
    cents_up,
    down_to_step,
    money_text,
    up_to_step,
)

amounts = st.decimals(min_value=-100_000, max_value=100_000, places=6)
steps = st.decimals(min_value="0.01", max_value=500, places=2)


@pytest.mark.parametrize(
    ("amount", "rounded"),
    [("0.005", "0.01"), ("-0.005", "-0.01"), ("2.675", "2.68"), ("365.125", "365.13"), ("2.6749999", "2.67")],
)
def test_half_a_cent_goes_away_from_zero(amount: str, rounded: str) -> None:
    assert cents(Decimal(amount)) == Decimal(rounded)


def test_no_negative_zero() -> None:
    assert str(cents(Decimal("-0.001"))) == "0.00"


@given(amounts)
def test_a_credit_rounds_as_its_charge(amount: Decimal) -> None:
    assert cents(-amount) == -cents(amount)
    assert abs(cents(amount) - amount) <= Decimal("0.005")


@given(amounts)
def test_up_to_the_cent_is_the_least_that_is_not_below(amount: Decimal) -> None:
    up = cents_up(amount)
    assert up >= amount > up - Decimal("0.01")


@given(amounts, steps)
def test_steps_hold_the_amount_between_them(amount: Decimal, step: Decimal) -> None:
    down, up = down_to_step(amount, step), up_to_step(amount, step)
    assert down <= amount <= up
    assert up - down in (0, step)
    assert down % step == 0


def test_an_unknown_is_counted_and_never_added() -> None:
    assert PartlyKnown(Decimal("1240"), ("Freight of donor A",)).text() == "1,240.00 + 1 unknown"
    assert PartlyKnown(Decimal("1240")).text() == "1,240.00"
    assert money_text(Decimal("-0.5")) == "-0.50"


@pytest.mark.parametrize("amount", ["-0.001", "-0.0099", "0", "-0"])
def test_what_rounds_to_nothing_has_no_sign(amount: str) -> None:
    assert str(cents_up(Decimal(amount))) == "0.00"
    assert str(cents(Decimal(amount) / 10)) == "0.00"
