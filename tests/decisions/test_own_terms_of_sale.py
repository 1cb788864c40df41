"""[price] of a plan: its own margin, fee and rate against a shop that has them, the owner's own price, and endings."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.decisions.pricing import PriceSheet
from kitvalue.intake.settings.plan import read_plan
from kitvalue.intake.text.problems import FileError
from kitvalue.pages.files import plan_text
from kitvalue.workshop.costing import cost_sheet
from tests import worked
from tests.decisions.market import comparison, priced

RICH: dict[str, Any] = {"original": 9000.0, "finished": 5800.0}


def made(at: str = "", market: dict[str, Any] | None = None, **price: Any) -> PriceSheet:
    return priced(worked.plan(price=price), worked.shop(), at=at, **(market or {}))


@pytest.mark.parametrize(
    ("own", "setting"), [({"margin": 5}, "margin"), ({"fee": 2.5}, "fee"), ({"rate": 51}, "work_rate")]
)
def test_the_plan_s_own_terms_go_before_the_shop_s(own: dict[str, Any], setting: str) -> None:
    inside = cost_sheet(worked.plan(price=own), worked.shop())
    outside = cost_sheet(worked.plan(), worked.shop(**{setting: next(iter(own.values()))}))
    assert (inside.terms, inside.routes, inside.charges) == (outside.terms, outside.routes, outside.charges)
    assert inside.cautions == outside.cautions


@pytest.mark.parametrize(("margin", "word"), [(0, "without profit"), (-5, "at a loss")])
def test_a_promotion_is_said_as_such(margin: int, word: str) -> None:
    sheet = cost_sheet(worked.plan(price={"margin": margin}), worked.shop())
    side = sheet.chosen
    assert side.floor is not None
    assert side.zero_profit_price is not None
    assert (side.floor == side.zero_profit_price) is (margin == 0)
    assert side.floor <= side.zero_profit_price
    assert [word in c.text for c in sheet.cautions if c.code == "promotion"] == [True]


def test_the_owner_s_price_is_the_one_that_all_answers_are_at() -> None:
    own = made(ask=2450, market=RICH)
    tried = priced(worked.plan(), worked.shop(), at="2450", **RICH)
    assert (own.sale, own.verdict) == (tried.sale, tried.verdict)
    assert own.verdict.code == "ask_less_than_margin"
    assert own.build.code == "leave"
    assert "at 2,450 it" in own.build.sentence
    assert own.quote.suggested == tried.quote.suggested
    assert made(at="2600", ask=2450, market=RICH).sale.gross == 2600  # --at goes before
    beside = comparison(worked.plan(price={"ask": 2450}), worked.shop())
    assert beside.quote.landed_at_price == 2450 + beside.sheet.terms.freight
    assert beside.verdict.price == beside.quote.landed_at_price
    assert not beside.priced_to_tie
    assert all(one.quote.asked == one.quote.suggested for one in beside.by_pieces[:-1])  # of the whole kit alone


def test_an_own_price_above_the_floor_is_built_for() -> None:
    floor = made().quote.floor
    assert made(ask=float(floor)).build.code == "build"
    assert made(ask=float(floor)).verdict.code == "ask"


@given(st.sampled_from([1, 5, 9.99, 50, 100, 500, 1000]), st.floats(1000, 9000))
def test_an_ending_rounds_the_suggestion_down_and_says_what_that_leaves(ending: float, finished: float) -> None:
    market = {"original": 9000.0, "finished": finished}
    plain, ended = made(market=market), made(market=market, ending=ending)
    step = Decimal(str(ending))
    assert ended.sale.gross % step == 0
    assert 0 <= plain.quote.suggested - ended.sale.gross < step
    assert (ended.verdict.code == "ask_less_than_margin") is (ended.sale.gross < plain.quote.floor)
    if ended.sale.gross < plain.quote.floor:
        assert f"{plain.quote.floor - ended.sale.gross:,.2f} less than the floor" in ended.verdict.sentence


def test_an_ending_above_the_price_leaves_it() -> None:
    assert made(ending=100_000).sale.gross == made().sale.gross


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("ending = 0", '"0" is out of range; it must be above 0'),
        ("ending = -50", "must be above 0"),
        ("ask = 0", "must be above 0"),
        ("margin = 100", "must be below 100"),
        ("asking = 2450", "did you mean ask?"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(tmp_path: Path, line: str, said: str) -> None:
    (tmp_path / "builds").mkdir()
    text = plan_text(worked.plan(), "The worked case.", "diameter-depth")
    (tmp_path / "builds" / "own.toml").write_text(f"{text}\n[price]\n{line}\n")
    with pytest.raises(FileError) as refused:
        read_plan("own", tmp_path, worked.shop())
    assert said in refused.value.message
    assert "price." in refused.value.message
    assert len(refused.value.problems) == 1


def test_an_own_price_under_the_vat_of_the_floor_is_refused() -> None:
    side = cost_sheet(worked.plan(), worked.shop()).chosen
    assert side.floor is not None
    vat = side.floor * 23 / 123
    with pytest.raises(FileError, match=r"price\.ask: .* is under the VAT of .* that your floor of .* holds"):
        cost_sheet(worked.plan(price={"ask": round(float(vat) - 0.02, 2)}), worked.shop())
    cost_sheet(worked.plan(price={"ask": round(float(vat) + 0.02, 2)}), worked.shop())


def test_a_written_plan_keeps_its_own_terms(tmp_path: Path) -> None:
    plan = worked.plan(price={"margin": -5, "fee": 0, "ask": 2450, "ending": 50})
    (tmp_path / "builds").mkdir()
    (tmp_path / "builds" / "worked.toml").write_text(plan_text(plan, "The worked case.", "diameter-depth"))
    assert read_plan("worked", tmp_path, worked.shop()) == plan
