"""The plan's drums as sourcing sees them, offers as supplies, and an answer as a plan: reckoned by hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from kitvalue.decisions.sourcing import cut_cost, plan_from, solve, supplies, wanted_drums
from kitvalue.intake.settings.shop import BuyingTable
from kitvalue.intake.text.problems import RefusedError
from kitvalue.workshop.costing import cost_sheet
from tests import worked
from tests.decisions.test_haggling import offer
from tests.decisions.test_uses import part, sizes

SEVEN = sizes("22x16 13x11 16x16 12x10 10x9 14x14 18x16")


def with_new_shell(**shell: Any) -> list[dict[str, Any]]:
    drums = worked.plan_tables()["drum"]
    return [*drums[:-1], drums[-1] | shell]


@pytest.mark.parametrize(
    ("route", "vat", "price", "net"),
    [
        ("full", "excluded", "165", 165.0),
        ("full", "included", "202.95", 165.0),  # 202.95 / 1.23
        ("margin", "included", "202.95", 165.0),
        ("none", "included", "202.95", 202.95),  # nothing is deducted
        ("none", "excluded", "165", 202.95),
    ],
)
def test_a_new_shell_costs_what_is_left_of_it_by_the_route(route: str, vat: str, price: str, net: float) -> None:
    plan = worked.plan(drum=with_new_shell(price=Decimal(price), vat=vat), route=route)
    wanted = wanted_drums(plan, worked.shop())
    assert [one.new_price for one in wanted] == [None] * 6 + [pytest.approx(net)]
    assert [one.new_extra for one in wanted] == [0.0] * 7


def test_what_a_new_shell_needs_beyond_a_donors_is_extra() -> None:
    drill = {"what": "Drill", "per": "shell", "only": ["new"], "hours": 1.5}
    plan = worked.plan(work=[*worked.plan_tables()["work"], drill])
    wanted = wanted_drums(plan, worked.shop())
    assert wanted[-1].new_extra == pytest.approx(1.5 * 42 * 1.1)  # with the contingency


def test_an_offer_as_a_supply() -> None:
    given = offer(price=Decimal("333.33"), haggle=Decimal(10), sizes=sizes("13x11 22x16"))
    parts = [part("13 inch", 60, "0.85", 13)]
    (one,) = supplies([given, offer(offer="D2")], parts, worked.plan(), worked.shop())
    assert (one.offer, one.price, one.freight) == ("D1", 300.00, 45.0)  # 299.997; one without sizes is none
    assert one.credits == (round(51 / 1.23 - 0.029 * 51, 2), 0.0)  # 51 expected, less VAT and fee
    (none,) = supplies([given], parts, worked.plan(route="none"), worked.shop())
    assert none.credits[0] == round(51 - 0.029 * 51, 2)


def test_cutting_one_shell_down() -> None:
    shop = worked.shop()
    assert cut_cost(shop) is None
    assert shop.work is not None
    hours = {**shop.work.hours, "cut_down": Decimal("0.75")}
    cutting = shop.model_copy(update={"work": shop.work.model_copy(update={"hours": hours})})
    assert cut_cost(cutting) == pytest.approx(0.75 * 42 * 1.1)


def test_a_kit_with_every_drum_makes_a_plan_of_one_donor() -> None:
    plan, shop = worked.plan(), worked.shop()
    offers = [offer(price=Decimal(500), freight=Decimal(30), pieces=8, sizes=(*SEVEN, *sizes("14x6.5")))]
    supply = supplies(offers, [part("14 inch", 60, "0.85", 14)], plan, shop)
    (answer,) = solve(wanted_drums(plan, shop), supply, None, BuyingTable())
    made = plan_from(answer, plan, shop, offers, "found")
    assert (made.name, made.surplus) == ("found", ())
    assert [(d.from_, d.price, d.vat) for d in made.drum] == [("D1", None, None)] * 7
    (donor,) = made.donor
    assert (donor.price, donor.freight, donor.pieces) == (500, 30, 8)
    credit = round(51 / 1.23 - 0.029 * 51, 2)
    assert donor.spare == Decimal(str(credit))
    # 340 + 45 and 280 with its freight, and the new shell go, what was sold off them stays away; the offer comes
    before = cost_sheet(plan, shop)
    alone = made.model_copy(update={"donor": (donor.model_copy(update={"spare": None}),)})
    donors = worked.plan_tables()["donor"]
    gone = sum(Decimal(str(d[key])) for d in donors for key in ("price", "freight")) + 165
    sold_off = [line.net for line in before.chosen.lines if line.net < 0]
    assert len(sold_off) == 2
    assert before.net_cost - cost_sheet(alone, shop).net_cost == gone + sum(sold_off) - 530


def test_the_price_expected_after_haggling_is_written_to_the_cent() -> None:
    plan, shop = worked.plan(), worked.shop()
    offers = [offer(price=Decimal("333.33"), haggle=Decimal(10), pieces=7, sizes=SEVEN)]
    (answer,) = solve(wanted_drums(plan, shop), supplies(offers, [], plan, shop), None, BuyingTable())
    (donor,) = plan_from(answer, plan, shop, offers, "found").donor
    assert str(donor.price) == "300.00"  # 299.997


def test_a_line_for_a_donor_that_goes_is_refused_by_its_name() -> None:
    line = {"what": "Strip the old wrap", "per": "shell", "only": ["B"], "hours": 1}
    plan, shop = worked.plan(work=[line]), worked.shop()
    offers = [offer(sizes=SEVEN)]
    (answer,) = solve(wanted_drums(plan, shop), supplies(offers, [], plan, shop), None, BuyingTable())
    with pytest.raises(RefusedError, match='"Strip the old wrap" chooses drums by donor B, which the new plan has not'):
        plan_from(answer, plan, shop, offers, "found")
