"""The closed forms of the asking price against a numeric solver, and what a price leaves."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kitvalue.intake.settings.shop import Route
from kitvalue.intake.text.problems import RefusedError
from kitvalue.workshop.money import cents_up
from kitvalue.workshop.tax import (
    Terms,
    exact_profit,
    kit_vat,
    price_for_margin,
    sale_at,
)

TINY = Decimal("1e-12")
ROUTES: tuple[Route, ...] = ("full", "margin", "none")

money = st.decimals(min_value=0, max_value=20_000, places=2)
fractions = st.decimals(min_value=0, max_value="0.30", places=3)
terms = st.builds(
    Terms, rate=fractions, fee=fractions.map(lambda f: f / 2), margin=fractions,
    freight=st.decimals(min_value=0, max_value=200, places=2), step=st.just(Decimal(10)),
    reserve=st.sampled_from([Decimal(0), Decimal("0.02"), Decimal("0.05")]),
)  # fmt: skip
routes = st.sampled_from(ROUTES)


def left_over(gross: Decimal, cost: Decimal, purchase: Decimal, t: Terms, route: Route) -> Decimal:
    """Profit less the margin of net revenue, from the definitions and not from the closed form."""
    net = gross - kit_vat(gross, purchase, t, route)
    return exact_profit(gross, cost, purchase, t, route) - t.margin * net


def solved(cost: Decimal, purchase: Decimal, t: Terms, route: Route) -> Decimal:
    low, high = Decimal(0), Decimal(1)
    while left_over(high, cost, purchase, t, route) < 0:
        high *= 2
    for _ in range(110):
        middle = (low + high) / 2
        low, high = (middle, high) if left_over(middle, cost, purchase, t, route) < 0 else (low, middle)
    return high


@given(money, st.decimals(min_value=0, max_value=1, places=3), terms, routes)
def test_the_closed_form_is_what_a_solver_finds(cost: Decimal, part: Decimal, t: Terms, route: Route) -> None:
    assume(cost > 1)
    purchase = cost * part  # P is never above the net cost: it is one part of it
    assert abs(price_for_margin(cost, purchase, t, route) - solved(cost, purchase, t, route)) < Decimal("1e-9")


@given(money, st.decimals(min_value=0, max_value=1, places=3), terms, routes)
def test_the_floor_is_the_first_cent_that_leaves_the_margin(
    cost: Decimal, part: Decimal, t: Terms, route: Route
) -> None:
    assume(cost > 1)
    purchase = cost * part
    floor = cents_up(price_for_margin(cost, purchase, t, route))
    assert left_over(floor, cost, purchase, t, route) >= -TINY
    assert left_over(floor - Decimal("0.01"), cost, purchase, t, route) < TINY


@given(money, money, money, terms, routes)
def test_a_sale_adds_up(gross: Decimal, cost: Decimal, purchase: Decimal, t: Terms, route: Route) -> None:
    sale = sale_at(gross, cost, purchase, t, route)
    assert sale.net + sale.vat == gross
    assert sale.net - sale.fee - sale.reserve - cost == sale.profit
    assert abs(sale.profit - exact_profit(gross, cost, purchase, t, route)) <= Decimal("0.015")


@given(money, money, terms)
def test_no_vat_is_due_where_the_purchase_exceeds_all_the_buyer_pays(gross: Decimal, more: Decimal, t: Terms) -> None:
    purchase = gross + t.freight + more
    freight_vat = t.freight * t.rate / (1 + t.rate)
    assert abs(kit_vat(gross, purchase, t, "margin") + freight_vat) < TINY


@pytest.mark.parametrize("route", ["full", "margin"])
def test_fee_and_margin_past_what_a_price_can_meet(route: Route) -> None:
    t = Terms(Decimal("0.23"), Decimal("0.10"), Decimal("0.90"), Decimal(60), Decimal(10))
    with pytest.raises(RefusedError, match=r"fee 10 % and margin 90 %.*selling\.margin"):
        price_for_margin(Decimal(1000), Decimal(100), t, route)


@given(fractions, st.decimals(min_value="0.01", max_value="0.99", places=2), st.decimals("0.30", "0.99", places=2))
def test_the_refusal_names_a_margin_and_a_fee_that_a_price_can_meet(rate: Decimal, fee: Decimal, m: Decimal) -> None:
    t = Terms(rate, fee, m, Decimal(60), Decimal(10))
    assume((1 - m) / (1 + rate) - fee <= 0)
    with pytest.raises(RefusedError) as caught:
        price_for_margin(Decimal(1000), Decimal(100), t, "full")
    named = dict(re.findall(r"selling\.(\w+) below ([\d.]+)", caught.value.message))
    assert "fee" in named
    just = Decimal("0.0001")
    for key, bound in named.items():
        lower = Decimal(bound) / 100 - just
        assert price_for_margin(Decimal(1000), Decimal(100), replace(t, **{key: lower}), "full") > 0
        with pytest.raises(RefusedError):  # rounded down to a hundredth of a percent, and no more
            price_for_margin(Decimal(1000), Decimal(100), replace(t, **{key: lower + 2 * just}), "full")


def test_margin_is_on_net_and_markup_on_cost() -> None:
    t = Terms(Decimal(0), Decimal(0), Decimal(0), Decimal(0), Decimal(10))
    sale = sale_at(Decimal(125), Decimal(100), Decimal(0), t, "none")
    assert (sale.margin, sale.markup) == (Decimal("20.00"), Decimal("25.00"))
    gone = sale_at(Decimal(0), Decimal(0), Decimal(0), t, "none")
    assert (gone.margin, gone.markup) == (None, None)
