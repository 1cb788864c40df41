"""Build against original: the worked case, by pieces, tie prices, like for like."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from kitvalue.decisions.breakeven import below_text, piece_counts, tie_price
from kitvalue.decisions.original import like_for_like
from kitvalue.decisions.pricing import price
from kitvalue.intake.settings.plan import OriginalTable
from kitvalue.intake.text.problems import texts
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.money import PartlyKnown
from tests import worked
from tests.decisions.market import DRAWS, FINISHED, at_pieces, comparison

FULL = worked.CASE["expected"]["full"]
SHARES = {"full": (10 / 15, 14 / 15), "margin": (9 / 15, 14 / 15)}


@pytest.mark.parametrize(("route", "table"), [("full", "full"), ("margin", "margin_route")])
def test_the_worked_tie_prices(route: str, table: str) -> None:
    made = comparison(worked.plan(route=route), worked.shop())
    assert made.tie_at_cost.price == worked.expected(table, "tie_price_at_cost")
    assert made.tie_at_price.price == worked.expected(table, "tie_price_at_price")
    assert (made.tie_at_cost.share_below, made.tie_at_price.share_below) == pytest.approx(SHARES[route])
    assert made.tie_at_cost.hammer is None


def test_the_worked_sizes() -> None:
    rows = comparison(worked.plan(), worked.shop()).by_pieces
    at_cost = {str(row.sheet.pieces): float(row.quote.landed_at_cost) for row in rows}
    originals = {str(row.sheet.pieces): float(row.quote.original_landed) for row in rows}
    assert at_cost == FULL["build_at_cost_by_pieces"]
    assert originals == FULL["original_landed_by_pieces"]


def test_the_worked_crossing() -> None:
    (one,) = comparison(worked.plan(), worked.shop()).crossings.crossings
    assert round(one.pieces, 1) == FULL["crossing"]
    assert one.build_cheaper == "below"
    assert one.low is not None
    assert one.high is not None
    assert one.low < one.pieces < one.high


def test_each_size_is_priced_in_its_own_market() -> None:
    plan, shop = worked.plan(), worked.shop()
    made = comparison(plan, shop)
    for row in made.by_pieces:
        market = at_pieces(row.sheet.pieces)
        alone = price(plan, shop, cost_sheet(plan, shop, row.sheet.pieces), market.original, market.finished)
        assert row.quote.suggested == alone.quote.suggested
        assert row.quote.landed_at_price == row.quote.suggested + 60
    assert made.by_pieces[-1].quote.suggested == worked.expected("full", "suggested")
    assert made.quote.suggested == made.by_pieces[-1].quote.suggested


def test_ranges_and_chances_are_at_the_door() -> None:
    made = comparison(worked.plan(), worked.shop())
    seven = made.by_pieces[-1]
    sample = 2600 * worked.FACTORS
    assert seven.original_low == Decimal(repr(round(float(sample.min()), 2))) + 340
    assert seven.original_high == Decimal(repr(round(float(sample.max()), 2))) + 340
    assert made.chance_build_cheaper == seven.chance_build_cheaper == pytest.approx(1 / 15)  # 3980 alone is above 3930


def test_repair_goes_with_the_size_and_freight_is_whole() -> None:
    original = worked.plan_tables()["original"] | {"repair": 700, "freight": 100}
    rows = comparison(worked.plan(original=original), worked.shop()).by_pieces
    for row in rows:
        typical = worked.original_typical(row.sheet.pieces)
        assert float(row.quote.original_landed) == pytest.approx(typical + 100 + 700 * row.sheet.pieces / 7, abs=0.005)


def test_leftover_drums_are_told_or_credited() -> None:
    rows = {row.sheet.pieces: row for row in comparison(worked.plan(), worked.shop()).by_pieces}
    assert rows[3].note == "1 drum of donor A left over, not credited (no spare given)"
    assert rows[4].note == rows[7].note == ""
    donors = [d | {"spare": 40} for d in worked.plan_tables()["donor"]]
    credited = {r.sheet.pieces: r for r in comparison(worked.plan(donor=donors), worked.shop()).by_pieces}
    assert credited[3].note == ""
    lower = rows[3].quote.landed_at_cost - credited[3].quote.landed_at_cost  # sold off as the kit is: VAT and fee off
    assert abs(lower - 40) <= Decimal("0.02")
    assert credited[7].quote.landed_at_cost == rows[7].quote.landed_at_cost


@pytest.mark.parametrize(("smallest", "counts"), [(3, [3, 4, 5, 6, 7]), (6, [6, 7]), (7, [7]), (9, [7])])
def test_the_sizes_compared(smallest: int, counts: list[int]) -> None:
    plan = worked.plan(smallest=smallest)
    assert list(piece_counts(plan)) == counts
    assert [row.sheet.pieces for row in comparison(plan, worked.shop()).by_pieces] == counts


def test_a_build_that_never_crosses_says_so() -> None:
    made = comparison(worked.plan(), worked.shop(work_rate=150.00))
    assert made.crossings.crossings == ()
    assert made.crossings.chance_none > 0.9
    assert made.crossings.text.startswith("Never within 3 to 7 pieces: the build at cost is dearer")


def test_wide_draws_give_no_range() -> None:
    wide = 1 + (DRAWS - 1) * 10
    made = comparison(worked.plan(), worked.shop(), draws=wide)
    (one,) = made.crossings.crossings
    assert made.crossings.chance_none > 0.2
    assert (one.low, one.high) == (None, None)
    assert one.reason is not None


# --- tie prices ------------------------------------------------------------------------------------------------------


def original(**changes: Any) -> OriginalTable:
    return OriginalTable.model_validate({"series": "I", "condition": 3, "freight": 90, "repair": 250} | changes)


@pytest.mark.parametrize("changes", [{}, {"duty": 4, "import_vat": 20}, {"premium": 15}, {"freight": 0, "repair": 0}])
def test_an_original_at_the_tie_price_costs_as_much_at_the_door(changes: dict[str, Any]) -> None:
    table = original(**changes)
    tie = tie_price(table, Decimal("3204.74"), table.repair or Decimal(0), np.array([1.0]))
    factor = (1 + table.duty / 100) * (1 + table.import_vat / 100)
    door = (tie.price + table.freight) * factor + (table.repair or 0)
    assert abs(door - Decimal("3204.74")) <= Decimal("0.01")
    if table.premium:
        assert tie.hammer is not None
        assert abs(tie.hammer * (1 + table.premium / 100) - tie.price) <= Decimal("0.01")
    else:
        assert tie.hammer is None


def test_shares_are_strictly_below() -> None:
    tie = tie_price(original(freight=0), Decimal(1250), Decimal(250), np.array([900.0, 1000.0, 1000.0, 1100.0]))
    assert tie.price == Decimal("1000.00")
    assert tie.share_below == 0.25
    assert tie.text == "tie at 1,000.00: one original in four this size sells under it"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "no original this size sells under it"),
        (1.0, "every original this size sells under it"),
        (0.125, "one original in eight this size sells under it"),
        (0.2549, "one original in four this size sells under it"),
        (0.2551, "26 % of originals this size sell under it"),
        (0.4, "40 % of originals this size sell under it"),
        (0.5, "50 % of originals this size sell under it"),
        (2 / 3, "67 % of originals this size sell under it"),
    ],
)
def test_shares_in_words(share: float, text: str) -> None:
    assert below_text(share) == text


def test_a_price_bound_by_the_cap_is_priced_to_tie() -> None:
    made = comparison(worked.plan(), worked.shop(work_rate=5.00), finished=FINISHED * 3)
    assert made.quote.binding == "cap"
    assert made.priced_to_tie
    assert any("priced to tie" in text for text in texts(made.cautions))
    assert abs(made.tie_at_price.price - Decimal(2600)) <= 10  # rounded down to the step, else the original's own price
    assert not comparison(worked.plan(), worked.shop()).priced_to_tie


# --- like for like ---------------------------------------------------------------------------------------------------


def test_like_for_like() -> None:
    made = comparison(worked.plan(), worked.shop())
    points = {point.what: (point.build, point.original) for point in made.like_for_like}
    assert points["Pieces"] == ("7 drums", "7 drums")
    assert points["Condition"] == ("5 of 5 (wipe)", "3 of 5 (mend)")
    assert points["Still needs"] == ("nothing", "250.00 EUR of work to play and look alike")
    assert points["Total at the door"] == ("3,930.00 EUR", "2,940.00 EUR")
    assert "14 days" in points["Return right"][0]
    assert points["Guarantee"][1] == points["Return right"][1] == "none from a private seller"
    dealer = comparison(worked.plan(original=worked.plan_tables()["original"] | {"channel": "dealer"}), worked.shop())
    assert "dealer" in {p.what: p.original for p in dealer.like_for_like}["Guarantee"]


def test_an_original_that_needs_no_work_needs_nothing() -> None:
    points = like_for_like(worked.plan(), "EUR", PartlyKnown(Decimal(2310)), Decimal(2690), Decimal(0))
    needs = next(point for point in points if point.what == "Still needs")
    assert (needs.build, needs.original) == ("nothing", "nothing")
    some = like_for_like(worked.plan(), "EUR", PartlyKnown(Decimal(2310)), Decimal(2690), Decimal("0.01"))
    assert next(p for p in some if p.what == "Still needs").original.startswith("0.01 EUR of work")


def test_grades_and_halves_in_words() -> None:
    original = worked.plan_tables()["original"] | {"condition": Decimal("2.5")}
    points = like_for_like(worked.plan(original=original), "EUR", PartlyKnown(Decimal(1)), Decimal(1), Decimal(0))
    (condition,) = [point for point in points if point.what == "Condition"]
    assert (condition.build, condition.original) == ("5 of 5 (wipe)", "2.5 of 5")
