"""One unknown at a time: the worked values, every break-even put back in, every null with its reason."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.decisions.original import Situation
from kitvalue.decisions.pricing import price
from kitvalue.decisions.unknowns import Solved, Unknown, solve, solve_all, unknowns_of
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.workshop.costing import cost_sheet
from tests import worked
from tests.decisions.market import FINISHED, ORIGINAL, comparison, typical

NAMES = {
    "donor prices", "hours", "hourly rate", "covering cost", "share", "tax rate", "freight of the original",
    "condition of the original",
}  # fmt: skip


def solved(plan: Plan | None = None, shop: Shop | None = None) -> dict[str, Solved]:
    made = comparison(plan or worked.plan(), shop or worked.shop())
    return {one.name: one for one in made.unknowns}


def situation(plan: Plan, shop: Shop, original: float, finished: float) -> Situation:
    repair = plan.original.repair or Decimal(0)
    return Situation.planned(plan, cost_sheet(plan, shop), worked.outlook(original), worked.outlook(finished), repair)


def test_the_worked_hours_and_rate() -> None:
    made = solved()
    hours, rate = made["hours"], made["hourly rate"]
    assert hours.break_even is not None
    assert hours.break_even_market is not None
    assert rate.break_even_market is not None
    assert round(hours.break_even, 2) == worked.expected("full", "break_even_hours")
    assert round(hours.break_even_market, 2) == worked.expected("full", "break_even_market_hours")
    assert round(rate.break_even_market, 2) == worked.expected("full", "break_even_market_rate")


def test_every_unknown_is_there_as_planned() -> None:
    planned = {one.name: one.planned for one in solved().values()}
    assert set(planned) == NAMES
    assert planned == {
        "donor prices": 620, "hours": Decimal("28.8"), "hourly rate": 42, "covering cost": 192, "share": 70,
        "tax rate": 23, "freight of the original": 90, "condition of the original": 3,
    }  # fmt: skip


def test_the_widest_swing_comes_first() -> None:
    widths = [
        max(abs(one.swing_down or Decimal(0)), abs(one.swing_up or Decimal(0)))
        for one in comparison(worked.plan(), worked.shop()).unknowns
    ]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > widths[-1]


@pytest.mark.parametrize(("down", "up", "width"), [(-200, 90, 200), (-200, None, 200), (90, -200, 200), (None, 90, 90)])
def test_a_swing_counts_by_its_size_whichever_way_it_goes(down: int | None, up: int | None, width: int) -> None:
    swings = {"swing_down": down, "swing_up": up}
    exact = {key: None if value is None else Decimal(value) for key, value in swings.items()}
    assert replace(solved()["hours"], **exact).width == width


def test_swings_by_hand() -> None:
    made = solved()
    # a tenth of the labour with its contingency; of the donors' prices; of 2310 less VAT and fee
    assert (made["hours"].swing_down, made["hours"].swing_up) == (Decimal("133.06"), Decimal("-133.06"))
    assert (made["donor prices"].swing_down, made["donor prices"].swing_up) == (Decimal("62.00"), Decimal("-62.00"))
    assert made["share"].swing_up == Decimal("181.11")
    assert made["covering cost"].swing_down == Decimal("19.20")
    assert made["freight of the original"].swing_up == 0  # the resale binds, not the cap


def test_a_null_has_its_reason_and_a_value_has_none() -> None:
    for one in solved().values():
        missing = [value for value in (one.break_even, one.break_even_market) if value is None]
        assert (one.reason is not None) == bool(missing)
    share = solved()["share"]
    assert share.break_even is None
    assert share.reason is not None
    assert "at cost: it does not enter the landed cost" in share.reason


def test_what_a_plan_has_not_is_told() -> None:
    plan = worked.plan(work=[], part=[worked.plan_tables()["part"][0]])
    made = solved(plan)
    assert made["hours"].reason == "the plan has no hours"
    assert made["hourly rate"].reason == "no hour of the plan is paid for"
    assert made["covering cost"].reason == 'nothing is bought per = "sheet"'
    assert made["covering cost"].break_even is None
    assert made["covering cost"].swing_up is None


def test_a_condition_half_a_grade_past_the_scale_has_no_swing() -> None:
    original = worked.plan_tables()["original"] | {"condition": 5}
    top = solved(worked.plan(original=original))["condition of the original"]
    assert top.swing_up is None
    assert top.swing_down is not None


def test_donors_cannot_fall_below_what_is_sold_off_them_under_the_margin_scheme() -> None:
    # B: 90 of 280; so 199.29 of 620 together
    plan = worked.plan(route="margin")
    reason = solved(plan)["donor prices"].reason
    assert reason is not None
    assert "at every value from 199.29 up" in reason


# --- put back in -----------------------------------------------------------------------------------------------------


@st.composite
def cases(draw: Any) -> tuple[Plan, Shop, float, float]:
    """Plans and markets near enough to each other that many unknowns have break-evens."""
    tables = worked.plan_tables()
    amounts = st.integers(100, 700)
    donors = [d | {"price": draw(amounts) + 100, "freight": draw(st.integers(0, 80))} for d in tables["donor"]]
    if draw(st.booleans()):
        donors[0] |= {"bought_from": "trade", "vat": "margin"}
    part = [
        p | {"each": draw(st.integers(5, 120)), "vat": draw(st.sampled_from(["included", "excluded"]))}
        for p in tables["part"]
    ]
    original = tables["original"] | {"freight": draw(st.integers(0, 200)), "duty": draw(st.sampled_from([0, 4]))}
    finished = tables["finished"] | {"share": draw(st.integers(60, 120))}
    route = draw(st.sampled_from(["full", "margin", "none"]))
    plan = worked.plan(donor=donors, part=part, original=original, finished=finished, route=route)
    shop = worked.shop(
        vat_rate=draw(st.integers(5, 27)), fee=draw(st.integers(0, 8)), work_rate=draw(st.integers(15, 60))
    )
    return plan, shop, draw(st.floats(1200, 5000)), draw(st.floats(1500, 6000))


@settings(max_examples=60)
@given(cases())
def test_every_break_even_put_back_in_is_an_equality(case: tuple[Plan, Shop, float, float]) -> None:
    plan, shop, original, finished = case
    here = situation(plan, shop, original, finished)

    def curve(grade: float) -> float:
        return original * typical(grade) / ORIGINAL

    for unknown in unknowns_of(here, plan.original.condition, curve):
        one = solve(unknown)
        if one.break_even is not None:
            assert abs(unknown.change(one.break_even).gap()) < Decimal("0.0001")
        if one.break_even_market is not None:
            assert abs(unknown.change(one.break_even_market).profit_at_market()) < Decimal("0.0001")
        if unknown.absent is None:
            as_planned = unknown.change(unknown.planned)
            assert abs(as_planned.gap() - here.gap()) < Decimal("1e-9")


def rebuilt(name: str, value: Decimal, route: str) -> tuple[Plan, Shop]:
    """The plan and shop with one unknown at a value, as a person would write it into the files."""
    tables, shop = worked.plan_tables() | {"route": route}, worked.shop()
    match name:
        case "donor prices":
            donors = [d | {"price": Decimal(str(d["price"])) * value / 620} for d in tables["donor"]]
            return worked.plan(**tables | {"donor": donors}), shop
        case "hours":
            return worked.plan(**tables), worked.shop(hours_factor=float(value) / 28.8)
        case "hourly rate":
            return worked.plan(**tables), worked.shop(work_rate=float(value))
        case "covering cost":
            part = [tables["part"][0], tables["part"][1] | {"each": value / 2}]
            return worked.plan(**tables | {"part": part}), shop
        case "tax rate":
            return worked.plan(**tables), worked.shop(vat_rate=float(value))
        case "freight of the original":
            return worked.plan(**tables | {"original": tables["original"] | {"freight": value}}), shop
        case "share":
            return worked.plan(**tables | {"finished": tables["finished"] | {"share": value}}), shop
    raise AssertionError(name)


@pytest.mark.parametrize("route", ["full", "margin"])
@pytest.mark.parametrize("name", sorted(NAMES - {"condition of the original", "share"}))
def test_a_break_even_written_into_the_files_lands_both_at_one_price(name: str, route: str) -> None:
    value = solved(worked.plan(route=route))[name].break_even
    if value is None:
        assert (name, route) == ("covering cost", "full")  # 207.56 of net cost too dear: more than all the covering
        return
    plan, shop = rebuilt(name, value, route)
    sheet = cost_sheet(plan, shop)
    landed = sheet.chosen.landed_at_cost
    quote = price(plan, shop, sheet, worked.outlook(ORIGINAL), worked.outlook(FINISHED)).quote
    assert landed is not None
    assert abs(landed - quote.original_landed) <= Decimal("0.05")  # the sheet rounds each line


@pytest.mark.parametrize("route", ["full", "margin"])
@pytest.mark.parametrize("name", ["hours", "hourly rate"])
def test_a_break_even_in_the_market_written_into_the_files_leaves_nothing(name: str, route: str) -> None:
    value = solved(worked.plan(route=route))[name].break_even_market
    assert value is not None
    plan, shop = rebuilt(name, value, route)
    made = price(plan, shop, cost_sheet(plan, shop), worked.outlook(ORIGINAL), worked.outlook(FINISHED))
    assert abs(made.quote.profit_at_market) <= Decimal("0.05")


def test_a_share_breaks_even_in_the_market_until_the_cap_binds() -> None:
    here = situation(worked.plan(), worked.shop(), 9000.0, FINISHED)
    one = {u.name: solve(u) for u in unknowns_of(here, Decimal(3), typical)}["share"]
    assert one.break_even_market is not None
    plan, shop = rebuilt("share", one.break_even_market, "full")
    made = price(plan, shop, cost_sheet(plan, shop), worked.outlook(9000.0), worked.outlook(FINISHED))
    assert made.quote.binding == "floor"
    assert abs(made.quote.profit_at_market) <= Decimal("0.02")


def test_a_condition_that_breaks_even_is_the_one_nearest_to_the_plan() -> None:
    here = situation(worked.plan(), worked.shop(), ORIGINAL, FINISHED)

    def hump(grade: float) -> float:  # falls through the tie near grade 1.5 and rises through it near 3.9
        return 2864.74 + 400 * (grade - 1.5) * (grade - 3.9)

    (one,) = [solve(u) for u in unknowns_of(here, Decimal(3), hump) if u.name == "condition of the original"]
    assert one.break_even is not None
    assert abs(one.break_even - Decimal("3.9")) < Decimal("0.01")


def test_all_are_solved_once() -> None:
    here = situation(worked.plan(), worked.shop(), ORIGINAL, FINISHED)
    made = solve_all(unknowns_of(here, Decimal(3), typical))
    assert len(made) == len({one.name for one in made}) == len(NAMES)


def test_without_a_fee_the_tax_rate_has_a_break_even_too() -> None:
    """Profit at the market's price is net - cost: 0 where 1 + v = price / cost."""
    plan, shop = worked.plan(donor=[d | {"price": 120} for d in worked.plan_tables()["donor"]]), worked.shop(fee=0)
    made = situation(plan, shop, ORIGINAL, FINISHED)
    (rate,) = [u for u in unknowns_of(made, Decimal(3), typical) if u.name == "tax rate"]
    assert rate.high == 100
    found = solve(rate)
    assert found.break_even_market is not None
    assert made_even(rate, found.break_even_market)


def made_even(unknown: Unknown, value: Decimal) -> bool:
    return abs(unknown.change(value).profit_at_market()) < Decimal("0.01")


def test_a_fee_that_takes_most_of_the_price_bounds_the_tax_rate() -> None:
    """1 / (1 + v) = f: at a fee of 80 % a VAT of 25 % leaves nothing; just under it is the end of the range."""
    made = situation(worked.plan(), worked.shop(fee=80, margin=0, vat_rate=5), ORIGINAL, FINISHED)
    (rate,) = [u for u in unknowns_of(made, Decimal(3), typical) if u.name == "tax rate"]
    assert rate.high is not None
    assert Decimal("24.9") < rate.high < 25
