"""The share that finished builds fetched, and what their sales teach."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.decisions.shares import OWN_SALES, LearnedShares, SoldBuild, learned_shares
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.outcome import Planned, job_outcomes
from tests import worked
from tests.workshop.test_outcome import build


def sale(row: int, sold_for: str, typical: float = 3300.0, name: str = "worked", share: int = 70) -> SoldBuild:
    finished = {"series": "Inishmore", "share": share, "condition": 5}
    plan = worked.plan(name=name, finished=finished)
    planned = Planned(plan, cost_sheet(plan, worked.shop()))
    done = build(row, plan=name, sold_on=dt.date(2026, 6, row), sold_for=Decimal(sold_for))
    (job,) = job_outcomes([done], {name: planned}, worked.shop())
    return SoldBuild(job, worked.outlook(typical))


def test_a_sale_at_the_planned_share_teaches_the_planned_share() -> None:
    found = learned_shares([sale(2, "2310")])
    (seen,), (one,) = found.sales, found.learned
    assert (seen.share, seen.finished.share.middle, seen.market.typical) == (Decimal("70.0"), 70, 3300.0)
    assert (one.learned, one.own, one.sales) == (Decimal("70.0"), Decimal("70.0"), 1)
    # 8 in 10 of the market's own sales lie within 0.796 and 1.268 of its typical price: half of that on either side
    low, high = np.quantile(worked.FACTORS, [0.1, 0.9])
    assert (low, high) == (pytest.approx(0.796), pytest.approx(1.268))
    assert (one.low, one.high) == (Decimal("53.5"), Decimal("86.5"))  # 70 -+ 70 * 0.236
    assert OWN_SALES in found.cautions


def test_a_slip_in_the_price_book_does_not_widen_the_range() -> None:
    usual = sale(2, "2310")
    slip = replace(usual, market=replace(usual.market, sample=np.append(usual.market.sample, 33_000.0)))
    (one,), (other,) = learned_shares([usual]).learned, learned_shares([slip]).learned
    assert (other.high - other.low) / (one.high - one.low) < Decimal("1.25")


def test_more_sales_narrow_the_range() -> None:
    (one,) = learned_shares([sale(2, "2310")]).learned
    (four,) = learned_shares([sale(row, "2310") for row in (2, 3, 4, 5)]).learned
    assert abs((one.high - one.low) / (four.high - four.low) - 2) < Decimal("0.02")


def test_two_plans_lean_on_each_other() -> None:
    found = learned_shares([sale(2, "1980"), sale(3, "2970", name="other", share=90)])
    first, second = found.learned
    assert (first.plan, first.planned, second.plan, second.planned) == ("worked", 70, "other", 90)
    # 60 of 70 and 90 of 90: both lean on the factor between them, for the scatter of one sale explains the difference
    assert Decimal(60) < first.learned < Decimal(70)
    assert Decimal(80) < second.learned < Decimal(90)


def test_the_line_to_paste() -> None:
    (one,) = learned_shares([sale(2, "1980"), sale(3, "2145")]).learned
    assert tomllib.loads(one.line, parse_float=Decimal) == {"share": [one.low, one.high]}
    assert "was 70; 2 sales, 62.5 in the middle" in one.line
    assert one.learned == Decimal("62.5")


def test_a_share_above_the_originals_is_doubted() -> None:
    """Common practice, no source: a rebuild fetches less than an original, so sales far above them are of others."""
    found = learned_shares([sale(2, "6600"), sale(3, "6600")])
    assert found.learned[0].low > 100
    assert found.cautions[0].text.startswith("the sales of worked fetched 200.0 % of what Inishmore fetches")
    assert found.cautions[0].code == "share_above"
    assert "share_above" not in [caution.code for caution in learned_shares([sale(2, "3400")]).cautions]


def test_no_sale_teaches_nothing() -> None:
    assert learned_shares([]) == LearnedShares((), (), "no finished build was sold yet", ())


@settings(max_examples=40)
@given(st.lists(st.integers(800, 5000), min_size=1, max_size=6), st.floats(1000, 6000))
def test_one_plan_learns_the_mean_of_its_shares(prices: list[int], typical: float) -> None:
    (one,) = learned_shares([sale(i, str(price), typical) for i, price in enumerate(prices, start=2)]).learned
    mean = sum(prices) / len(prices) / typical * 100
    assert float(one.learned) == pytest.approx(mean, abs=0.051)
    assert 0 <= one.low <= one.learned <= one.high


def test_a_sale_far_from_the_plan_scatters_in_proportion() -> None:
    """Half of the planned share: the range around it is half as wide, for scatter is relative to the price."""
    (usual,) = learned_shares([sale(2, "2310")]).learned
    (half,) = learned_shares([sale(2, "1155")]).learned
    assert half.learned == Decimal("35.0")
    assert (half.low, half.high) == (Decimal("26.7"), Decimal("43.3"))  # 35 -+ 35 * 0.236
    assert abs((usual.high - usual.low) / (half.high - half.low) - 2) < Decimal("0.02")
