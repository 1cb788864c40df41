"""The plan's drums as sourcing sees them, offers as supplies, and an answer as a plan: reckoned by hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from kitvalue.decisions.sourcing import (
    answers,
    cut_cost,
    grade_cautions,
    ground_of,
    plan_from,
    refuse_lost_donors,
    wanted_drums,
)
from kitvalue.intake.settings.shop import Shop
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
    plan = worked.plan(drum=with_new_shell(price=Decimal(price), vat=vat))
    wanted = wanted_drums(plan, worked.shop(route=route))
    assert [one.new for one in wanted] == [None] * 6 + [pytest.approx(net)]
    assert [one.extra for one in wanted] == [{}] * 6 + [{"new": 0.0}]


def test_what_a_new_shell_needs_beyond_a_donors_is_extra() -> None:
    drill = {"what": "Drill", "per": "shell", "only": ["new"], "hours": 1.5}
    plan = worked.plan(work=[*worked.plan_tables()["work"], drill])
    wanted = wanted_drums(plan, worked.shop())
    assert wanted[-1].extra["new"] == pytest.approx(1.5 * 42 * 1.1)  # with the contingency


def test_an_offer_as_a_donor() -> None:
    """Freight that the carrier charges is no part of P; a drum's share is by parts.csv's value, and what it brings is
    under its own donor's scheme: 60 less 23/123 of what is above its share of 300, less the fee, in 85 of 100 cases."""
    given = offer(price=Decimal("333.33"), haggle=Decimal(10), sizes=sizes("13x11 22x16"))
    parts = [part("13 inch", 60, "0.85", 13), part("22 inch", 180, "1", 22)]
    (one,) = ground_of(worked.plan(), worked.shop(route="margin"), [given, offer(offer="D2")], parts).lots
    assert (one.donor.price, one.donor.freight, one.donor.sizes) == (Decimal("300.00"), 45, given.sizes)  # 299.997
    assert one.shares == (Decimal("75.00"), Decimal("225.00"))  # 60 : 180
    assert one.brings == (Decimal(str(round(0.85 * (60 - 0.029 * 60), 2))), Decimal(str(round(180 - 0.029 * 180, 2))))
    (full,) = ground_of(worked.plan(), worked.shop(), [given], parts).lots
    assert full.brings[0] == Decimal(str(round(0.85 * (60 / 1.23 - 0.029 * 60), 2)))


def test_cutting_one_shell_down() -> None:
    shop = worked.shop()
    assert cut_cost(shop) is None
    assert cut_cost(cutting(shop)) == pytest.approx(0.75 * 42 * 1.1)


def cutting(shop: Shop, **work: Any) -> Shop:
    assert shop.work is not None
    hours = {**shop.work.hours, "cut_down": Decimal("0.75")}
    return shop.model_copy(update={"work": shop.work.model_copy(update={"hours": hours, **work})})


def test_a_kit_with_every_drum_makes_a_plan_of_one_donor() -> None:
    plan, shop = worked.plan(), worked.shop()
    offers = [offer(price=Decimal(500), freight=Decimal(30), pieces=8, sizes=(*SEVEN, *sizes("14x6.5")))]
    ground = ground_of(plan, shop, offers, [part("14x6.5 inch", 60, "0.85", 14)])
    (answer,) = answers(ground)
    made = plan_from(answer, ground, "found")
    assert (made.name, made.surplus) == ("found", ())
    assert [(d.from_, d.price, d.vat) for d in made.drum] == [("D1", None, None)] * 7
    (donor,) = made.donor
    assert (donor.price, donor.freight, donor.pieces, donor.spare) == (500, 30, 8, None)
    # 340 + 45 and 280 with its freight, and the new shell go, what was sold off them stays away; the offer comes
    before = cost_sheet(plan, shop)
    donors = worked.plan_tables()["donor"]
    gone = sum(Decimal(str(d[key])) for d in donors for key in ("price", "freight")) + 165
    sold_off = [line.net for line in before.chosen.lines if line.net is not None and line.net < 0]
    assert len(sold_off) == 2
    assert before.net_cost - cost_sheet(made, shop).net_cost == gone + sum(sold_off) - 530
    assert answer.net_cost == cost_sheet(made, shop, parts=ground.parts).net_cost


def test_a_cut_of_the_plans_own_is_not_charged_twice() -> None:
    """The floor tom is cut down by a line of the plan; a deeper shell is cut once, one that fits not at all."""
    cut = {"what": "Cut the floor tom down", "operation": "cut_down", "per": "shell", "only": ["floor"]}
    shop = cutting(worked.shop())
    tables = worked.plan_tables()["drum"]
    plan = worked.plan(drum=[tables[2]], work=[cut])
    for size, times in (("16x18", 1), ("16x16", 0)):
        ground = ground_of(plan, shop, [offer(sizes=sizes(size), pieces=1)], [])
        (answer,) = answers(ground)
        made = plan_from(answer, ground, "found")
        assert [line.operation for line in made.work] == ["cut_down"] * times
        assert [drum.cut_from for drum in made.drum] == [*sizes(size)] * times or [None]
        assert cost_sheet(made, shop).hours == Decimal("0.75") * times


def test_a_donor_under_the_plans_grade_takes_more_hours_and_one_under_worst_none() -> None:
    shop = cutting(worked.shop(), grade={"clean": Decimal("0.5")})
    kit = offer(sizes=SEVEN, pieces=7, condition=Decimal(2))  # the plan's donors are of grade 3
    ground = ground_of(worked.plan(), shop, [kit], [])
    (answer,) = answers(ground)
    assert {line.what: line.net for line in answer.lines}["grades made up for"] == Decimal(
        "161.70"
    )  # 7 * 0.5 * 42 * 1.1
    assert [caution.code for caution in grade_cautions(ground, answer)] == ["under_grade"]
    assert cost_sheet(plan_from(answer, ground, "found"), shop).net_cost == answer.net_cost
    assert ground_of(worked.plan(), shop, [offer(sizes=SEVEN, condition=Decimal("1.5"))], []).lots == ()


def test_a_line_for_a_donor_that_goes_is_refused_by_its_name() -> None:
    line = {"what": "Strip the old wrap", "per": "shell", "only": ["B"], "hours": 1}
    plan, shop = worked.plan(work=[line]), worked.shop()
    ground = ground_of(plan, shop, [offer(sizes=SEVEN, pieces=7)], [])
    (answer,) = answers(ground)
    with pytest.raises(RefusedError, match='"Strip the old wrap" chooses drums by donor B, which the new plan has not'):
        refuse_lost_donors(plan, plan_from(answer, ground, "found"))
