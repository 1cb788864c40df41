"""A cost that is not known shows beside every figure that rests on it."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from kitvalue.decisions.shares import SoldBuild, learned_shares
from kitvalue.intake.books.done import FinishedBuild
from kitvalue.intake.settings.plan import Plan
from kitvalue.pages.answers import compare_answer, cost_answer, outcome_answer, price_answer
from kitvalue.pages.terminal.builds import compare_text, cost_text, outcome_text, price_text
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.outcome import Planned, job_outcomes, learned_hours
from tests import worked
from tests.decisions.market import comparison, priced
from tests.workshop.test_outcome import PLANNED, build

DONORS = worked.plan_tables()["donor"]
NAME = "Freight of donor A"


def unknown_plan() -> Plan:
    return worked.plan(donor=[DONORS[0] | {"freight": None}, DONORS[1]])


def lines_with(text: str, words: str) -> list[str]:
    return [line for line in text.splitlines() if words in line]


def test_cost() -> None:
    sheet = cost_sheet(unknown_plan(), worked.shop())
    text = cost_text(sheet, None, details=True)
    for row in ("= net cost", "= donors"):
        assert any("+ 1 unknown" in line for line in lines_with(text, row)), row
    for row in ("  net cost", "price of no profit", "landed at cost", "floor, your margin met", "landed at the floor"):
        assert lines_with(text, row)[0].count("+ 1 unknown") == 2, row  # by either route
    for row in ("= parts", "bought in for"):
        assert "unknown" not in lines_with(text, row)[0]
    answer = cost_answer(sheet, None)
    assert answer["incomplete"] == [NAME]
    assert answer["net_cost_text"] == "2,418.76 + 1 unknown"


def test_price() -> None:
    plan, shop = unknown_plan(), worked.shop()
    sheet, made = cost_sheet(plan, shop), priced(plan, shop)
    text = price_text(sheet, made, made.cautions, details=True)
    assert "and there you lose 609, with 1 cost unknown." in " ".join(text.split())
    for row in ("floor, your margin met", "suggested, set by the floor", "landed at the suggested"):
        assert "+ 1 unknown" in lines_with(text, row)[0]
    for row in ("profit at the market price", "  profit   "):
        assert "less 1 unknown" in lines_with(text, row)[0]
    for row in ("margin, profit of net revenue", "markup, profit of net cost", "Ways out"):
        assert "(1 unknown not in it)" in lines_with(text, row)[0]
    assert price_answer(sheet, made)["incomplete"] == [NAME]


def test_compare() -> None:
    made = comparison(unknown_plan(), worked.shop())
    text = compare_text(made, made.cautions, details=True)
    assert f"Not in the build's cost: {NAME}." in text
    assert text.count(" +? ") == 5 + 2 * 5  # the cost of five sizes and, set by the floor, their prices
    assert "  +?: something of that cost is not known" in text
    assert "+ 1 unknown" in lines_with(text, "Total at the door")[0]
    assert "at webshop price (1 unknown not in it): tie at" in text
    assert "at cost (1 unknown not in it): tie at" in text
    answer = compare_answer(made)
    assert answer["incomplete"] == [NAME]


def test_a_price_that_the_market_sets_rests_on_no_cost() -> None:
    plan, shop = unknown_plan(), worked.shop()
    sheet, made = cost_sheet(plan, shop), priced(plan, shop, original=4600.0, finished=5800.0)
    text = price_text(sheet, made, made.cautions, details=True)
    assert made.quote.binding == "resale"
    for row in ("suggested, set by the resale", "landed at the suggested", "market price"):
        assert "unknown" not in lines_with(text, row)[0]
    assert "less 1 unknown" in lines_with(text, "  profit   ")[0]


@pytest.mark.parametrize("plan", [worked.plan()])
def test_nothing_is_said_where_all_is_known(plan: Plan) -> None:
    shop = worked.shop()
    sheet, made, found = cost_sheet(plan, shop), priced(plan, shop), comparison(plan, shop)
    texts = (cost_text(sheet, None), price_text(sheet, made, ()), compare_text(found, ()))
    more = (cost_text(sheet, None, details=True), price_text(sheet, made, (), details=True))
    for text in (*texts, *more, compare_text(found, (), details=True)):
        assert "unknown" not in text
        assert "+?" not in text


def outcome(*builds: FinishedBuild) -> tuple[str, object]:
    plan, shop = worked.plan(), worked.shop()
    planned = Planned(plan, cost_sheet(plan, shop))
    jobs = job_outcomes(builds, {"worked": planned}, shop)
    hours = learned_hours(jobs, shop)
    sold = [SoldBuild(job, worked.outlook(3300.0)) for job in jobs if job.build.sold_for and job.build.sold_on]
    shares = learned_shares(sold)
    return outcome_text(jobs, hours, shares, "EUR", shares.cautions), outcome_answer(jobs, hours, shares, "EUR")


def test_finished_builds_in_words_and_as_data() -> None:
    done = dt.date(2026, 6, 1)
    text, answer = outcome(
        build(2, PLANNED | {"edge": "9"}, cost=Decimal(1100), sold_on=done, sold_for=Decimal(2310)),
        build(3, PLANNED | {"edge": "10"}, cost=Decimal(1200)),
        build(4),
    )
    assert "row 4: hours: not written down for edge" in text
    assert "row 4: paid out: cost is not written down" in text
    assert lines_with(text, "edge = 0.")
    assert "share = [53.5, 86.5]  # was 70; 1 sale, 70.0 in the middle" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert isinstance(answer, dict)
    assert [job["hours"]["actual"] for job in answer["jobs"]] == [30.8, 31.8, None]
    assert answer["jobs"][2]["hours"]["reason"] == "not written down for edge, veneer, head, assemble, dispatch"
    assert answer["sales"][0]["share"] == 70.0
    assert answer["work_hours_lines"][0].startswith("edge = ")


def test_an_empty_outcome_book() -> None:
    text, answer = outcome()
    assert "No finished build" in text
    assert isinstance(answer, dict)
    assert answer["jobs"] == []
    assert answer["shares_reason"] == "no finished build was sold yet"
