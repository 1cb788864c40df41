"""The build worked by hand, to the cent: cost, zero-profit price and floor by both VAT routes."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from kitvalue.intake.settings.shop import Route
from kitvalue.workshop.build import Group
from kitvalue.workshop.costing import RouteCost, cost_sheet
from kitvalue.workshop.tax import sale_at
from tests import worked

FIGURES = ("net_cost", "zero_profit_price", "landed_at_cost", "floor")
BY_PIECES: dict[str, Any] = worked.CASE["expected"]["full"]["build_at_cost_by_pieces"]
SALES: tuple[tuple[Route, str, str, str], ...] = (
    ("full", "full", "suggested", "profit_at_suggested"),
    ("margin", "margin_route", "suggested", "profit_at_suggested"),
    ("full", "richer_market", "suggested", "profit_full"),
    ("margin", "richer_market", "suggested", "profit_margin_route"),
)


def side(route: Route) -> RouteCost:
    return next(r for r in cost_sheet(worked.plan(), worked.shop()).routes if r.route == route)


@pytest.mark.parametrize("figure", FIGURES)
def test_full_vat(figure: str) -> None:
    assert getattr(side("full"), figure) == worked.expected("full", figure)


@pytest.mark.parametrize("figure", [*FIGURES, "purchase"])
def test_margin_scheme(figure: str) -> None:
    assert getattr(side("margin"), figure) == worked.expected("margin_route", figure)


def test_labour_and_contingency() -> None:
    sheet = cost_sheet(worked.plan(), worked.shop())
    net = {sub.group: sub.net for sub in sheet.subtotals()}
    assert sheet.hours == worked.expected("full", "hours")
    assert net[Group.WORK] == worked.expected("full", "labour")
    assert net[Group.CONTINGENCY] == worked.expected("full", "contingency")
    assert sum(net.values()) == sheet.net_cost


@pytest.mark.parametrize("pieces", sorted(BY_PIECES))
def test_first_drums(pieces: str) -> None:
    sheet = cost_sheet(worked.plan(), worked.shop(), int(pieces))
    assert sheet.chosen.landed_at_cost == Decimal(str(BY_PIECES[pieces]))


@pytest.mark.parametrize(("route", "table", "gross", "profit"), SALES)
def test_profit_at_a_price(route: Route, table: str, gross: str, profit: str) -> None:
    cost, terms = side(route), cost_sheet(worked.plan(), worked.shop()).terms
    sale = sale_at(worked.expected(table, gross), cost.net_cost, cost.purchase, terms, route)
    assert sale.profit == worked.expected(table, profit)
    if "vat_at_suggested" in worked.CASE["expected"][table]:
        assert sale.vat == worked.expected(table, "vat_at_suggested")
