"""What a bought kit can become: costs before the kit is paid, places in a plan, parts."""

from __future__ import annotations

from decimal import Decimal

import pytest

from kitvalue.decisions.ceiling import (
    NO_SIZES,
    donor_needs,
    place_of,
    plain_bases,
    rebuild_bases,
    routes_of,
)
from kitvalue.decisions.shortlist import drum_value, part_sales, parts_of
from kitvalue.intake.books.offers import Part
from kitvalue.intake.settings.shop import SellingTable
from kitvalue.intake.text.drums import DrumMeant
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.money import holding_cost
from tests import worked
from tests.decisions.test_haggling import offer


def sizes(text: str) -> tuple[Size, ...]:
    sizes = [read_size(one) for one in text.split()]
    return tuple(size for size in sizes if isinstance(size, Size))


def part(name: str, value: float, chance: str, diameter: int | None = None, weeks: int = 4) -> Part:
    drum = DrumMeant(Decimal(diameter), None) if diameter else None
    return Part(2, name, Decimal(str(value)), Decimal(chance), Decimal(weeks), drum)


@pytest.mark.parametrize("route", ["full", "margin"])
def test_a_rebuild_costs_what_the_plans_sheet_says(route: str) -> None:
    plan, shop = worked.plan(), worked.shop()
    sheet = next(r for r in cost_sheet(plan, shop).routes if r.route == route)
    base = next(b for b in rebuild_bases(plan, shop, 0, 4, "private") if b.route == route)
    assert base.cost + 340 + 45 == pytest.approx(float(sheet.net_cost))
    assert base.others + max(0, 340 - base.credit) == pytest.approx(float(sheet.purchase))
    assert base.reason is None


def test_an_imported_kit_has_no_margin_scheme() -> None:
    full, margin = rebuild_bases(worked.plan(), worked.shop(), 0, 4, "import")
    assert full.reason is None
    assert margin.reason is not None
    assert "imported" in margin.reason


def test_selling_on_costs_its_hours_with_contingency() -> None:
    full, margin = plain_bases(worked.shop(), "sell on", Decimal(3), "private", "prepare")
    assert full.cost == pytest.approx(3 * 42 * 1.1)
    assert (full.labour, full.hours, margin.reason) == (126, 3, None)
    asked = plain_bases(worked.shop(), "sell on", None, "private", "prepare")
    assert all(base.reason is not None and "add prepare under [work]" in base.reason for base in asked)
    unpaid = plain_bases(worked.shop().model_copy(update={"work": None}), "sell on", Decimal(3), "private", "prepare")
    assert all(base.reason is not None and "add rate under [work]" in base.reason for base in unpaid)


def test_an_offer_takes_the_first_place_whose_drums_it_has() -> None:
    needs = donor_needs(worked.plan())
    assert [need.id for need in needs] == ["A", "B"]
    fit_a = offer(sizes=sizes("12x10 22x16 16x16 13x11 14x6.5"))
    fit_b = offer(sizes=sizes("10x9 14x14"))
    assert [place_of(o, needs).id for o in (fit_a, fit_b)] == ["A", "B"]  # type: ignore[union-attr]
    twice = offer(sizes=sizes("22x16 22x16 13x11 16x16"))
    assert "all the drums of any one donor" in str(place_of(twice, needs))
    assert place_of(offer(), needs) == NO_SIZES
    assert place_of(fit_a, []) == "the plan takes no drum from a donor"


def test_holding_needs_the_months() -> None:
    table = {"fee": Decimal(3), "margin": Decimal(18), "freight": Decimal(60)}
    assert holding_cost(SellingTable.model_validate(table)) == 0
    both = SellingTable.model_validate(table | {"holding": Decimal(8), "months_to_sell": Decimal("2.5")})
    assert holding_cost(both) == 20
    with pytest.raises(FileError, match=r"shop.toml, selling.months_to_sell: .*add the months"):
        holding_cost(SellingTable.model_validate(table | {"holding": Decimal(8)}))


def test_parts_sell_with_their_own_chances() -> None:
    parts = [part("13 inch", 60, "0.85", 13), part("22 inch", 100, "0.75", 22), part("legs", 30, "0.5", weeks=10)]
    kit = parts_of(sizes("22x16 13x9 13x11"), parts)
    assert kit.rows == (1, 0, 0, 2)
    assert kit.unknown == ()
    sales = part_sales(kit, parts)
    assert sales.value == 250
    assert sales.outcomes @ sales.chances == pytest.approx(2 * 60 * 0.85 + 100 * 0.75 + 30 * 0.5)
    assert sales.chances[sales.outcomes == 0].sum() == pytest.approx(0.15**2 * 0.25 * 0.5)
    assert sales.months == pytest.approx(10 / (365.25 / 12 / 7))
    assert sales.sold == pytest.approx(2 * 0.85 + 0.75 + 0.5)
    assert parts_of(sizes("24x14 13x9"), parts).unknown == sizes("24x14")


def test_a_single_drum_brings_its_value_as_often_as_it_is_sold() -> None:
    parts = [part("13 inch", 60, "0.85", 13), part("legs", 30, "0.5")]
    assert drum_value(sizes("13x11")[0], parts) == pytest.approx(51)  # 60 in 85 of 100 cases
    assert drum_value(sizes("14x11")[0], parts) == 0
    assert drum_value(sizes("13x11")[0], []) == 0


def test_the_drums_a_bought_kit_has_over_are_credited_as_the_plans_sheet_credits_them() -> None:
    """Four drums of donor A are built in; a kit of six in its place leaves two at its spare value."""
    tables = worked.plan_tables()["donor"]
    plan, shop = worked.plan(donor=[tables[0] | {"spare": 40}, tables[1]]), worked.shop()
    four, six = (rebuild_bases(plan, shop, 0, pieces, "private")[0] for pieces in (4, 6))
    bigger = worked.plan(donor=[tables[0] | {"spare": 40, "pieces": 6}, tables[1]])
    assert four.cost + 340 + 45 == pytest.approx(float(cost_sheet(plan, shop).net_cost))
    assert six.cost + 340 + 45 == pytest.approx(float(cost_sheet(bigger, shop).net_cost))
    assert four.cost - six.cost == pytest.approx(2 * (40 / 1.23 - 0.029 * 40), abs=0.006)


def test_under_the_margin_scheme_no_price_lies_below_what_is_sold_off_the_donor() -> None:
    """What is sold off for 60 is taken out of the purchase price, which cannot fall below nothing."""
    value = float(worked.CASE["surplus"]["from_A"])
    full, margin = rebuild_bases(worked.plan(), worked.shop(), 0, 4, "private")
    assert (full.least, margin.least) == (0.0, value)
    assert margin.credit == value


def test_an_exempt_business_has_one_route() -> None:
    exempt = worked.shop(route="none")
    assert routes_of(exempt) == ("none",)
    assert [base.route for base in plain_bases(exempt, "sell on", Decimal(3), "import", "prepare")] == ["none"]
    (base,) = rebuild_bases(worked.plan(), exempt, 0, 4, "private")
    assert base.cost + 340 + 45 == pytest.approx(float(cost_sheet(worked.plan(route="none"), worked.shop()).net_cost))
    assert base.reason is None
