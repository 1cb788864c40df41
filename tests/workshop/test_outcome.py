"""Finished builds against their plans, and the hours they teach."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.intake.books.done import FinishedBuild, OperationHours
from kitvalue.intake.settings.shop import Shop
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.outcome import (
    JobOutcome,
    LearnedOperations,
    Planned,
    job_outcomes,
    learned_hours,
    settings_lines,
)
from tests import worked

PLANNED = {"edge": "7.0", "veneer": "14.0", "head": "2.8", "assemble": "3.5", "dispatch": "1.5"}  # of the worked case


def build(row: int = 2, timed: dict[str, str] | None = None, **changes: Any) -> FinishedBuild:
    operations = tuple(OperationHours(name, Decimal(text)) for name, text in (timed or {}).items())
    values: dict[str, Any] = {
        "row": row, "plan": "worked", "finished_on": dt.date(2026, 5, 4), "hours": None, "operations": operations,
        "cost": None, "sold_on": None, "sold_for": None, "note": None,
    }  # fmt: skip
    return FinishedBuild(**(values | changes))


def outcomes(*builds: FinishedBuild, shop: Shop | None = None, **plan: Any) -> tuple[JobOutcome, ...]:
    made, settings_ = worked.plan(**plan), shop or worked.shop()
    return job_outcomes(builds, {"worked": Planned(made, cost_sheet(made, settings_))}, settings_)


def outcome(*args: Any, **changes: Any) -> JobOutcome:
    (one,) = outcomes(build(*args, **changes))
    return one


def test_a_job_that_went_as_planned_costs_the_plan_less_its_contingency() -> None:
    paid = (
        worked.expected("full", "net_cost") - worked.expected("full", "labour") - worked.expected("full", "contingency")
    )
    one = outcome(2, PLANNED, cost=paid)
    assert (one.hours.planned, one.hours.actual, one.hours.more) == (Decimal("28.8"), Decimal("28.8"), 0)
    assert (one.paid.planned, one.paid.more) == (paid, 0)
    assert one.net_cost.planned == worked.expected("full", "net_cost")
    assert one.net_cost.more == -worked.expected("full", "contingency")
    assert [o.hours.more for o in one.operations] == [0] * 5
    edge = one.operations[0]
    assert (edge.operation, edge.unit, edge.quantity, edge.hours.planned) == ("edge", "edge", 14, 7)


def test_a_sale_is_reckoned_at_the_actual_cost() -> None:
    one = outcome(cost=Decimal(1000), sold_for=Decimal(2460), sold_on=dt.date(2026, 6, 1))
    assert one.sale is None
    assert one.sale_reason == "hours: not written down for edge, veneer, head, assemble, dispatch"
    known = outcome(2, PLANNED | {"edge": "9.0"}, cost=Decimal(1000), sold_for=Decimal(2460))
    assert known.net_cost.actual == 1000 + Decimal("30.8") * 42
    assert known.sale is not None
    # 2460 / 1.23 = 2000 net; fee 2.9 % of 2520
    assert (known.sale.net, known.sale.profit) == (Decimal("2000.00"), 2000 - Decimal("73.08") - Decimal("2293.60"))
    assert known.planned_margin == 18
    assert outcome(2, PLANNED, cost=Decimal(1000)).sale_reason == "not sold yet"


def test_the_hours_of_the_whole_job_go_before_those_of_operations() -> None:
    (one,) = outcomes(build(2, {"edge": "9"}))
    assert one.hours.reason == "not written down for veneer, head, assemble, dispatch"
    (whole,) = outcomes(replace(build(2, {"edge": "9"}), hours=Decimal(33)))
    assert (whole.hours.actual, whole.hours.more) == (Decimal(33), Decimal("4.2"))


def test_what_was_not_written_down_is_never_nothing() -> None:
    one = outcome()
    assert (one.hours.actual, one.paid.actual, one.net_cost.actual) == (None, None, None)
    assert one.paid.reason == "cost is not written down"
    assert one.net_cost.reason is not None
    assert "hours: not written down" in one.net_cost.reason


def test_a_plan_with_something_unknown_has_no_planned_total() -> None:
    donors = worked.plan_tables()["donor"]
    (one,) = outcomes(build(2, PLANNED, cost=Decimal(900)), donor=[donors[0] | {"freight": None}, donors[1]])
    assert (one.paid.planned, one.paid.actual) == (None, Decimal(900))
    assert (one.net_cost.planned, one.net_cost.more) == (None, None)
    assert one.paid.reason == one.net_cost.reason == "the plan does not know Freight of donor A"


def test_an_operation_that_the_plan_has_not_is_shown_and_teaches_nothing() -> None:
    (one,) = outcomes(build(2, PLANNED | {"sand": "3"}))
    (sand,) = [o for o in one.operations if o.operation == "sand"]
    assert (sand.hours.actual, sand.hours.reason, sand.quantity) == (Decimal(3), "not in the plan", 0)
    assert "sand" not in {o.operation for o in learned_hours([one], worked.shop()).operations}


def test_hours_outside_the_operations_must_be_written_as_a_whole() -> None:
    work = [*worked.plan_tables()["work"], {"what": "Odd jobs", "per": "kit", "hours": 2}]
    (one,) = outcomes(build(2, PLANNED), work=work)
    assert one.hours.actual is None
    assert one.hours.reason is not None
    assert "outside its operations" in one.hours.reason


# --- learning --------------------------------------------------------------------------------------------------------


def learned(*hours: dict[str, str], shop: Shop | None = None, **plan: Any) -> LearnedOperations:
    jobs = outcomes(*(build(i, one) for i, one in enumerate(hours, start=2)), shop=shop, **plan)
    return learned_hours(jobs, shop or worked.shop())


def test_one_job_alone_teaches_its_mean_and_no_more() -> None:
    for one in learned(PLANNED).operations:
        assert one.learned is None
        assert one.reason is not None
        assert "seen once only" in one.reason
        assert one.own == one.planned
    assert settings_lines(learned(PLANNED)) == ()


@pytest.mark.parametrize(("hours", "own"), [("2", "0.14"), ("1.4", "0.10"), ("1.3", "0.093"), ("1", "0.071")])
def test_hours_for_one_are_told_to_a_hundredth_small_ones_to_a_thousandth(hours: str, own: str) -> None:
    """Fourteen edges."""
    found = {one.operation: one for one in learned(PLANNED | {"edge": hours}).operations}
    assert str(found["edge"].own) == own


def test_jobs_that_agree_on_a_longer_edge_move_it_and_little_else() -> None:
    found = learned(PLANNED | {"edge": "14.0"}, PLANNED | {"edge": "14.2"}, PLANNED | {"edge": "13.8"})
    by_name = {one.operation: one for one in found.operations}
    edge, head = by_name["edge"], by_name["head"]
    assert edge.learned is not None
    assert head.learned is not None
    assert abs(edge.learned - 1) <= Decimal("0.01")
    assert (edge.own, edge.jobs, edge.planned) == (Decimal("1.00"), 3, Decimal("0.5"))
    assert abs(head.learned - Decimal("0.2")) <= Decimal("0.01")
    assert edge.weight is not None
    assert edge.weight > 0.99


def test_jobs_that_scatter_lean_on_each_other() -> None:
    found = learned(PLANNED | {"edge": "3", "head": "4"}, PLANNED | {"edge": "13", "head": "1.5"})
    by_name = {one.operation: one for one in found.operations}
    edge = by_name["edge"]
    assert edge.weight is not None
    assert edge.weight < 0.5
    assert edge.own == Decimal("0.57")
    assert found.common is not None
    assert edge.learned is not None
    low, high = sorted((edge.own, Decimal(str(round(found.common * 0.5, 2)))))
    assert low <= edge.learned <= high


@settings(max_examples=40)
@given(st.lists(st.lists(st.decimals("0.1", "30", places=1), min_size=5, max_size=5), min_size=2, max_size=5))
def test_lines_to_paste_are_toml_and_say_what_was_learned(jobs: list[list[Decimal]]) -> None:
    found = learned(*(dict(zip(PLANNED, map(str, hours), strict=True)) for hours in jobs))
    lines = settings_lines(found)
    table = tomllib.loads("\n".join(lines), parse_float=Decimal)
    for one in found.operations:
        assert one.learned is not None
        assert one.low is not None
        assert one.high is not None
        assert 0 <= one.low <= one.learned <= one.high
        assert Decimal(table[one.operation]) == one.learned
        assert one.jobs == len(jobs)


def test_a_name_that_is_no_bare_key_is_quoted() -> None:
    work = [{"what": "W", "operation": 'true "up"', "per": "kit"}, {"what": "E", "operation": "edge", "per": "edge"}]
    base = worked.shop()
    assert base.work is not None
    hours = {'true "up"': Decimal(2), "edge": Decimal("0.5")}
    shop = base.model_copy(update={"work": base.work.model_copy(update={"hours": hours})})
    found = learned({'true "up"': "3", "edge": "7"}, {'true "up"': "3", "edge": "7"}, shop=shop, work=work)
    table = tomllib.loads("\n".join(settings_lines(found)))
    assert table == {'true "up"': 3.0, "edge": 0.5}


@pytest.mark.parametrize(
    ("work", "hours", "words"),
    [
        ([{"what": "E", "operation": "edge", "per": "edge"}, {"what": "F", "operation": "edge", "per": "kit"}],
         "0.5", "different units"),
        ([{"what": "E", "operation": "edge", "per": "edge"}], "0", "[work.hours] has 0 for it"),
    ],
)  # fmt: skip
def test_an_operation_that_cannot_be_learned_says_why(work: list[dict[str, Any]], hours: str, words: str) -> None:
    base = worked.shop()
    assert base.work is not None
    shop = base.model_copy(update={"work": base.work.model_copy(update={"hours": {"edge": Decimal(hours)}})})
    (one,) = learned({"edge": "7"}, {"edge": "8"}, shop=shop, work=work).operations
    assert one.learned is None
    assert one.reason is not None
    assert words in one.reason


def test_a_build_whose_plan_is_gone_is_left_out() -> None:
    assert job_outcomes([build()], {}, worked.shop()) == ()


def test_no_hours_need_no_hourly_rate() -> None:
    """An outside job: nothing of the shop's own time, so that what was paid is what it cost."""
    base = worked.shop()
    made = worked.plan(work=[])
    sheet = cost_sheet(made, base)
    (one,) = job_outcomes(
        [build(cost=Decimal(900), hours=Decimal(0))], {"worked": Planned(made, sheet)},
        base.model_copy(update={"work": None}),
    )  # fmt: skip
    assert (one.net_cost.actual, one.net_cost.reason) == (Decimal(900), None)
    (some,) = job_outcomes(
        [build(cost=Decimal(900), hours=Decimal(1))], {"worked": Planned(made, sheet)},
        base.model_copy(update={"work": None}),
    )  # fmt: skip
    assert some.net_cost.actual is None


def test_an_operation_counted_differently_by_two_plans_teaches_no_hours_for_one() -> None:
    plans = {}
    for name, per in (("worked", "edge"), ("other", "drum")):
        made = worked.plan(name=name, work=[{"what": "E", "operation": "edge", "per": per}])
        plans[name] = Planned(made, cost_sheet(made, worked.shop()))
    builds = [build(2, {"edge": "7"}), build(3, {"edge": "8"}, plan="other")]
    (one,) = learned_hours(job_outcomes(builds, plans, worked.shop()), worked.shop()).operations
    assert (one.learned, one.own) == (None, None)
    assert one.reason is not None
    assert "different units" in one.reason


def test_hours_that_only_a_plan_states_are_no_setting() -> None:
    work = [{"what": "Odd job", "operation": "odd", "per": "kit", "hours": 2}]
    (one,) = learned({"odd": "3"}, {"odd": "5"}, work=work).operations
    assert (one.operation, one.planned, one.learned) == ("odd", 0, None)
    assert one.own == Decimal("4.00")
