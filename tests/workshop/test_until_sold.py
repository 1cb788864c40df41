"""What a kit costs until it is sold, and the floor with it, against the second route (tests/reckoning/floors.py)."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.problems import FileError, RefusedError
from kitvalue.workshop.build import Group, exact_cost
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.money import cents_up
from kitvalue.workshop.tax import Terms, price_for_margin, sale_at, terms_of
from tests import worked
from tests.reckoning import exact, floors
from tests.workshop.test_outcome import PLANNED, outcomes
from tests.workshop.test_outcome import build as finished

ROUTES = st.sampled_from(["full", "margin", "none"])
money = st.decimals(min_value=0, max_value=3000, places=2)
tenths = st.decimals(min_value=0, max_value=20, places=1)
KEYS = st.fixed_dictionaries({
    "holding": st.decimals(min_value=0, max_value=20, places=2),
    "months_to_sell": st.decimals(min_value=0, max_value=12, places=1),
    "capital": tenths, "reserve": tenths.map(lambda x: x / 2), "fee_fixed": st.decimals(0, 20, places=2),
})  # fmt: skip


def shop_of(keys: dict[str, Decimal]) -> Shop:
    shop = worked.shop()
    assert shop.selling is not None
    return shop.model_copy(update={"selling": shop.selling.model_copy(update=keys)})


def selling_of(shop: Shop) -> floors.Selling:
    """The same settings as the second route has them."""
    s = shop.selling
    assert s is not None
    margin, fee, reserve, capital = (Fraction(x) / 100 for x in (s.margin, s.fee, s.reserve, s.capital))
    return floors.Selling(
        margin, fee, reserve, Fraction(s.freight), Fraction(s.fee_fixed), Fraction(s.holding or 0), capital,
        Fraction(s.months_to_sell or 0),
    )  # fmt: skip


@given(money, money, KEYS, ROUTES)
def test_the_floor_is_that_of_the_second_route(
    cost: Decimal, purchase: Decimal, keys: dict[str, Decimal], route: Route
) -> None:
    shop = shop_of(keys)
    assert shop.tax is not None
    assert shop.selling is not None
    terms, rate = terms_of(shop.tax, shop.selling), Fraction(shop.tax.rate) / 100
    rate = Fraction(0) if route == "none" else rate
    try:
        ours = cents_up(price_for_margin(cost, purchase, terms, route))
    except RefusedError:
        with pytest.raises(exact.RefusedError):
            floors.floor_price(route, rate, selling_of(shop), Fraction(cost), Fraction(purchase))
        return
    theirs = floors.floor_price(route, rate, selling_of(shop), Fraction(cost), Fraction(purchase))
    assert max(ours, Decimal(0)) == theirs
    assert theirs == floors.floor_by_bisection(route, rate, selling_of(shop), Fraction(cost), Fraction(purchase))


@settings(max_examples=60)
@given(KEYS, ROUTES)
def test_each_cost_is_a_line_and_the_net_cost_is_that_of_the_second_route(keys: dict[str, Decimal], route: str) -> None:
    plan, shop = worked.plan(route=route), shop_of(keys)
    before, sheet = cost_sheet(plan, worked.shop()), cost_sheet(plan, shop)
    donors = next(sub.net for sub in before.subtotals() if sub.group is Group.DONORS)
    assert sheet.net_cost == floors.net_cost(Fraction(before.net_cost), Fraction(donors), selling_of(shop))
    said = {line.what: line.net for line in sheet.chosen.lines if line.group is Group.UNTIL_SOLD}
    assert set(said) <= {"Holding", "Fixed fee", "Capital"}
    assert sum(said.values(), Decimal(0)) == sheet.net_cost - before.net_cost
    unrounded = exact_cost(sheet.charges, sheet.terms, sheet.route, sheet.contingency, {})
    assert abs(unrounded - sheet.net_cost) <= Decimal("0.006") * len(sheet.chosen.lines)


def test_a_worked_example() -> None:
    """Four months at 8 a month, 0.35 a sale, 6 % a year on donors of 600 with their freight: 32 + 0.35 + 12; of a price
    of 3,000 two percent are set aside. By hand, no source."""
    keys = {"holding": 8, "months_to_sell": 4, "capital": 6, "fee_fixed": Decimal("0.35"), "reserve": 2}
    plan, shop = worked.plan(), shop_of({key: Decimal(value) for key, value in keys.items()})
    sheet = cost_sheet(plan, shop)
    donors = next(sub.net for sub in sheet.subtotals() if sub.group is Group.DONORS)
    said = {line.what: line.net for line in sheet.chosen.lines if line.group is Group.UNTIL_SOLD}
    assert said == {
        "Holding": 32,
        "Fixed fee": Decimal("0.35"),
        "Capital": (donors * 2 / 100).quantize(Decimal("0.01")),
    }
    sale = sale_at(Decimal(3000), sheet.net_cost, sheet.chosen.purchase, sheet.terms, sheet.route)
    assert sale.reserve == 60
    assert sale.profit == sale.net - sale.fee - 60 - sheet.net_cost


def test_holding_is_once_a_build_whatever_its_size() -> None:
    shop = shop_of({"holding": Decimal(8), "months_to_sell": Decimal(3)})
    for pieces in (3, 5, 7):
        lines = cost_sheet(worked.plan(), shop, pieces).chosen.lines
        assert [line.net for line in lines if line.what == "Holding"] == [24]


def test_a_finished_build_bears_what_its_plan_has_until_it_is_sold() -> None:
    shop = shop_of({"holding": Decimal(8), "months_to_sell": Decimal(3), "fee_fixed": Decimal(1)})
    built = finished(2, PLANNED, cost=Decimal(1000), sold_for=Decimal(2460))
    (plain,), (kept,) = outcomes(built), outcomes(built, shop=shop)
    assert plain.net_cost.actual is not None
    assert kept.net_cost.actual == plain.net_cost.actual + 25
    assert plain.net_cost.planned is not None
    assert kept.net_cost.planned == plain.net_cost.planned + 25
    assert kept.paid == plain.paid
    assert plain.sale is not None
    assert kept.sale is not None
    assert kept.sale.profit == plain.sale.profit - 25


@pytest.mark.parametrize("key", ["holding", "capital"])
def test_what_goes_by_months_needs_them(key: str) -> None:
    with pytest.raises(FileError, match=rf"selling.months_to_sell: {key} is set and months_to_sell is not"):
        cost_sheet(worked.plan(), shop_of({key: Decimal(8)}))


def test_a_reserve_that_takes_what_fee_and_margin_leave_is_refused() -> None:
    rates = {"rate": Decimal("0.23"), "fee": Decimal("0.1"), "margin": Decimal("0.5"), "reserve": Decimal("0.4")}
    terms = Terms(**rates, freight=Decimal(0), step=Decimal(1))
    with pytest.raises(RefusedError, match=r"reserve 40 %, fee 10 % and margin 50 %.*selling.reserve below 30.65"):
        price_for_margin(Decimal(100), Decimal(0), terms, "full")
