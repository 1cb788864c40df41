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

WORST = Decimal(2)


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
    base = next(b for b in rebuild_bases(plan, shop, 0, plan.donor[0]) if b.route == route)
    assert base.cost + 340 + 45 == pytest.approx(float(sheet.net_cost))
    assert base.others + max(0, 340 - base.credit) == pytest.approx(float(sheet.purchase))
    assert base.reason is None


def test_an_imported_kit_has_no_margin_scheme() -> None:
    full, margin = rebuild_bases(worked.plan(), worked.shop(), 0, offer(pieces=4, bought_from="import"))
    assert full.reason is None
    assert margin.reason is not None
    assert "imported" in margin.reason


def test_selling_on_costs_its_hours_with_contingency() -> None:
    full, margin = plain_bases(worked.shop(), "sell on", Decimal(3), offer(), "prepare")
    assert full.cost == pytest.approx(3 * 42 * 1.1)
    assert (full.labour, full.hours, margin.reason) == (126, 3, None)
    asked = plain_bases(worked.shop(), "sell on", None, offer(), "prepare")
    assert all(base.reason is not None and "add prepare under [work]" in base.reason for base in asked)
    unpaid = plain_bases(worked.shop().model_copy(update={"work": None}), "sell on", Decimal(3), offer(), "prepare")
    assert all(base.reason is not None and "add rate under [work]" in base.reason for base in unpaid)


def test_an_offer_takes_the_first_place_whose_drums_it_has() -> None:
    needs = donor_needs(worked.plan())
    assert [need.id for need in needs] == ["A", "B"]
    fit_a = offer(sizes=sizes("12x10 22x16 16x16 13x11 14x6.5"))
    fit_b = offer(sizes=sizes("10x9 14x14"))
    assert [place_of(o, needs, WORST).id for o in (fit_a, fit_b)] == ["A", "B"]  # type: ignore[union-attr]
    twice = offer(sizes=sizes("22x16 22x16 13x11 16x16"))
    assert "all the drums of any one donor" in str(place_of(twice, needs, WORST))
    assert place_of(offer(), needs, WORST) == NO_SIZES
    assert place_of(fit_a, [], WORST) == "the plan takes no drum from a donor"


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
    four, six = (rebuild_bases(plan, shop, 0, offer(pieces=pieces))[0] for pieces in (4, 6))
    bigger = worked.plan(donor=[tables[0] | {"spare": 40, "pieces": 6}, tables[1]])
    assert four.cost + 340 + 45 == pytest.approx(float(cost_sheet(plan, shop).net_cost))
    assert six.cost + 340 + 45 == pytest.approx(float(cost_sheet(bigger, shop).net_cost))
    assert four.cost - six.cost == pytest.approx(2 * (40 / 1.23 - 0.029 * 40), abs=0.006)


def test_under_the_margin_scheme_no_price_lies_below_what_is_sold_off_the_donor() -> None:
    """What is sold off for 60 is taken out of the purchase price, which cannot fall below nothing."""
    value = float(worked.CASE["surplus"]["from_A"])
    full, margin = rebuild_bases(worked.plan(), worked.shop(), 0, worked.plan().donor[0])
    assert (full.least, margin.least) == (0.0, value)
    assert margin.credit == value


def test_an_exempt_business_has_one_route() -> None:
    exempt = worked.shop(route="none")
    assert routes_of(exempt) == ("none",)
    imported = offer(bought_from="import")
    assert [base.route for base in plain_bases(exempt, "sell on", Decimal(3), imported, "prepare")] == ["none"]
    (base,) = rebuild_bases(worked.plan(), exempt, 0, worked.plan().donor[0])
    assert base.cost + 340 + 45 == pytest.approx(float(cost_sheet(worked.plan(route="none"), worked.shop()).net_cost))
    assert base.reason is None


GRADED = worked.shop().model_copy(
    update={"work": worked.shop().work.model_copy(update={"grade": {"clean": Decimal("0.3"), "edge": Decimal("0.1")}})}  # type: ignore[union-attr]
)


@pytest.mark.parametrize(("short", "hours"), [("0", 0), ("0.5", 0.8), ("2", 3.2)])
def test_each_grade_under_the_plans_donor_adds_its_hours_a_drum(short: str, hours: float) -> None:
    """Four drums come from donor A: 4 * 0.4 h for each grade, at 42 an hour with 10 % contingency, by hand."""
    plain = rebuild_bases(worked.plan(), GRADED, 0, worked.plan().donor[0])
    worse = rebuild_bases(worked.plan(), GRADED, 0, worked.plan().donor[0], Decimal(short))
    for before, after in zip(plain, worse, strict=True):
        assert after.hours - before.hours == pytest.approx(hours)
        assert after.labour - before.labour == pytest.approx(hours * 42)
        assert after.cost - before.cost == pytest.approx(hours * 42 * 1.1)
    assert rebuild_bases(worked.plan(), worked.shop(), 0, worked.plan().donor[0], Decimal(2))[0].hours == plain[0].hours


def test_a_kit_worse_than_worst_is_no_donor_and_one_in_a_better_grade_takes_nothing_more() -> None:
    needs = donor_needs(worked.plan())
    kit = offer(sizes=sizes("12x10 22x16 16x16 13x11"), condition=Decimal("1.5"))
    assert place_of(kit, needs, WORST) == "grade 1.5 is worse than what is taken as a donor (worst under [buying])"
    (first, *_) = needs
    assert place_of(kit, needs, Decimal("1.5")) == first
    assert first.short(kit) == first.condition - Decimal("1.5")
    assert first.short(offer(condition=Decimal(5))) == 0
