"""Verdicts of builds, prices and originals: each held against the plan costed anew, and against their definition."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.decisions.pricing import PriceSheet
from kitvalue.decisions.verdict import FURTHEST, original_verdict
from tests import worked
from tests.decisions.market import priced

FACTORS = [Decimal(step) / 200 for step in range(-50, 51)]  # a quarter less to a quarter more


def made(
    at: str = "", plan: dict[str, Any] | None = None, shop: dict[str, Any] | None = None, **market: Any
) -> PriceSheet:
    return priced(worked.plan(**(plan or {})), worked.shop(**(shop or {})), at=at, **market)


def moved(what: str, factor: Decimal, **market: Any) -> PriceSheet:
    """The build with one thing moved, costed anew: the second route to what turns it."""
    tables = worked.plan_tables()
    match what:
        case "share":
            return made(
                plan={"finished": tables["finished"] | {"share": tables["finished"]["share"] * float(factor)}}, **market
            )
        case "hours":
            return made(shop={"hours_factor": float(factor)}, **market)
        case "donor prices":
            donors = [d | {"price": d["price"] * float(factor)} for d in tables["donor"]]
            return made(plan={"donor": donors}, **market)
    parts = [p | {"each": p["each"] * float(factor)} if p["per"] == "sheet" else p for p in tables["part"]]
    return made(plan={"part": parts}, **market)


def turns(**market: Any) -> dict[str, Decimal]:
    """By each thing that may turn the build, the smallest move in half percents that does."""
    found: dict[str, Decimal] = {}
    for what in ("share", "hours", "donor prices", "covering cost"):
        for factor in sorted(FACTORS, key=abs):
            sheet = moved(what, 1 + factor, **market)
            if sheet.quote.market_price >= sheet.quote.floor:
                found[what] = abs(factor)
                break
    return found


@pytest.mark.parametrize("finished", [3600, 4000, 4400, 4600, 5000])
def test_a_build_is_turned_by_the_smallest_move_of_a_quarter_at_most(finished: float) -> None:
    market: dict[str, Any] = {"finished": finished, "original": 9000.0}
    verdict, by_hand = made(**market).build, turns(**market)
    sheet = made(**market)
    if sheet.quote.market_price >= sheet.quote.floor:
        assert (verdict.code, verdict.price) == ("build", sheet.quote.suggested)
    elif not by_hand:
        assert verdict.code == "leave"
    else:
        assert verdict.code == "build_if"
        assert verdict.reason is not None
        words = {"share": "share", "hours": "hours", "donor prices": "donors", "covering cost": "covering"}
        smallest = min(by_hand.values())
        near = [what for what, move in by_hand.items() if move <= smallest + Decimal("0.005")]
        assert any(words[what] in verdict.reason for what in near)
        assert smallest <= FURTHEST


def test_the_worked_case_is_left() -> None:
    verdict = made().build
    assert (verdict.code, verdict.price) == ("leave", worked.expected("full", "market_price"))
    assert verdict.sentence == "Leave it: at 2,310, what the market gives, it loses 654."


def test_what_is_not_known_is_no_verdict() -> None:
    donors = [d | {"freight": None} for d in worked.plan_tables()["donor"]]
    assert made(plan={"donor": donors}).build.code == "unknown"


def test_an_own_price_below_the_floor_says_what_it_leaves() -> None:
    low = made(at="2450", original=4600.0, finished=5800.0)
    assert low.verdict.code == "ask_less_than_margin"
    assert low.verdict.price == 2450
    short = low.quote.floor - 2450
    assert f"{short:,.2f} less than the floor" in low.verdict.sentence
    assert ("loses" in low.verdict.sentence) is (low.sale.profit < 0)
    high = made(at=str(low.quote.floor), original=4600.0, finished=5800.0)
    assert high.verdict.code == "ask"


@given(st.decimals(1, 9000, places=2), st.decimals(1, 9000, places=2))
def test_ours_and_the_original_are_level_within_three_percent(ours: Decimal, original: Decimal) -> None:
    verdict = original_verdict(ours, original)
    expected = "level" if abs(ours / original - 1) <= Decimal("0.03") else "ours_cheaper" if ours < original else None
    assert verdict.code == (expected or "original_cheaper")
    assert verdict.price == ours
