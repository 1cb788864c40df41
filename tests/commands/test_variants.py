"""`compare A B`: plans side by side have the figures that `price` and `cost` give each by itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shops import run, sample_shop

NAMES = ("seven-piece", "inishmore-restored")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("variants"))


def test_each_plan_has_the_figures_of_its_own_answers(shop: Path) -> None:
    beside = run(shop, "compare", *NAMES, "--json").data["plans"]
    assert [one["plan"] for one in beside] == [*NAMES]
    for one in beside:
        alone, cost = (run(shop, command, one["plan"], "--json").data for command in ("price", "cost"))
        assert (one["ask"], one["profit"], one["floor"]) == (alone["price"], alone["profit"], alone["floor"])
        assert one["profit_at_market"] == alone["profit_at_market"]
        assert one["landed_at_price"] == alone["landed_at_price"]
        assert (one["hours"], one["net_cost"], one["verdict"]) == (cost["hours"], cost["net_cost"], cost["verdict"])
        assert one["profit_an_hour"] == pytest.approx(one["profit"] / one["hours"], abs=0.006)
    text = run(shop, "compare", *NAMES).out
    assert all(name in text for name in NAMES)


def test_an_original_is_held_against_one_plan(shop: Path) -> None:
    ran = run(shop, "compare", *NAMES, "--against", "4100")
    assert (ran.status, "name one" in ran.err) == (2, True)
    assert run(shop, "compare").status == 2
    assert run(shop, "compare", "seven-piece", "sevn").status == 2


def test_a_sheet_at_another_price_is_at_it_throughout(shop: Path) -> None:
    asked, at = run(shop, "price", "seven-piece", "--at", "4321", "--json").data, ("--at", "4321")
    assert run(shop, "sheet", "seven-piece", *at).status == 0
    page = (shop / "out" / "sheet-seven-piece.html").read_text(encoding="utf-8")
    freight = asked["landed_at_price"] - asked["suggested"]
    for figure in (4321.0, asked["net"], asked["vat"], 4321.0 + freight):
        assert f"{figure:,.2f}" in page, figure
    assert f"{asked['suggested']:,.2f}" not in page
    assert run(shop, "sheet", "seven-piece", "--at", "0.5").status == 2
