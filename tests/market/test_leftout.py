"""Which terms enter, and what is said of those that do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kitvalue.intake.book import FeatureColumn, PriceBook
from kitvalue.market.columns import newest_date, of_book
from kitvalue.market.design import build_recipe
from kitvalue.market.fit import fit_book
from kitvalue.market.kit import FeatureValue, Kit
from kitvalue.market.leftout import listed
from kitvalue.market.outlook import outlook
from kitvalue.market.recipe import Recipe
from tests.market.books import invented_book


def recipe_of(book: PriceBook, haggle: float | None) -> Recipe:
    return build_recipe(book, of_book(book, newest_date(book)), haggle, True)


def reasons(book: PriceBook, haggle: float | None = 10.0) -> dict[str, str]:
    return {out.term: out.reason for out in recipe_of(book, haggle).left_out}


def test_a_rich_book_leaves_nothing_out() -> None:
    assert reasons(invented_book(features=True)) == {}


def test_sold_only_on_one_channel_names_rows_and_keeps_the_effect_inside_sold() -> None:
    book = invented_book(n=40)
    mixed = replace(book, channel=np.where(book.price_kind == 1, 2, 1))
    found = reasons(mixed)
    sold_rows = listed(book.rows[book.price_kind == 1])
    assert found["auction"] == (
        f"all sold rows are auction rows and no others are ({sold_rows}); its effect is inside sold"
    )
    assert found["dealer"].startswith("all asked rows are dealer rows")
    assert set(found) == {"auction", "dealer"}
    view = outlook(fit_book(mixed, None), Kit("Series A", 5, 3))
    assert any("auction left out" in c for c in view.cautions)
    assert any("dealer left out" in c for c in view.cautions)


@pytest.mark.parametrize(
    ("count", "word"), [(0, "no auction rows"), (2, "only 2 auction rows (rows 2 and 3); 3 are needed")]
)
def test_too_few_rows_on_one_side(count: int, word: str) -> None:
    book = invented_book(n=40)
    channel = np.where(book.channel == 2, 0, book.channel)
    channel[:count] = 2
    assert reasons(replace(book, channel=channel))["auction"] == word


def test_too_few_on_the_other_side() -> None:
    book = invented_book(n=40)
    kind = np.ones(40, dtype=np.int64)
    kind[:2] = 0
    assert reasons(replace(book, price_kind=kind))["sold"] == "only 2 asked rows (rows 2 and 3); 5 are needed"
    assert reasons(replace(book, price_kind=np.ones(40, dtype=np.int64)))["sold"] == "every row is sold"


def test_constant_condition_and_pieces() -> None:
    book = invented_book(n=40)
    found = reasons(replace(book, condition=np.full(40, 4.0), pieces=np.full(40, 5.0)))
    assert found["condition"] == "it is the same in every row: 4"
    assert found["log_pieces"] == "it is the same in every row: 5 pieces"


def test_dates_that_span_too_little_or_are_missing() -> None:
    book = invented_book(n=40)
    near = np.datetime64("2026-11-01") - np.arange(40).astype("timedelta64[D]") * 4
    assert reasons(replace(book, date=near))["years"] == "the dates span 156 days; 180 are needed"
    none = np.full(40, np.datetime64("NaT", "D"), dtype="datetime64[D]")
    assert reasons(replace(book, date=none))["years"] == "no row has a date"
    assert "years" not in reasons(replace(book, date=near - np.arange(40).astype("timedelta64[D]")))


def test_what_each_series_has_alone_is_inside_the_series() -> None:
    book = invented_book(n=60, series=5)
    feature = FeatureColumn("wrapped", "yes-no", (book.series % 2).astype(np.float64))
    assert reasons(replace(book, features=(feature,)))["wrapped"].startswith(
        "it is the same in all rows of each series"
    )
    size = FeatureColumn("weight_kg", "number", 3.0 * np.log(book.pieces) + book.series)
    assert "worked out from log_pieces" in reasons(replace(book, features=(size,)))["weight_kg"]


def test_words_enter_as_indicators_against_the_most_frequent() -> None:
    book = invented_book(n=60)
    values = np.zeros(60)
    values[:20], values[20:22], values[30:35] = 1, 2, np.nan
    feature = FeatureColumn("finish", "word", values, ("oil", "wrap", "gold"))
    recipe = recipe_of(replace(book, features=(feature,)), None)
    assert [t.name for t in recipe.terms if t.source == "feature"] == ["finish=wrap"]
    assert {out.term: out.reason for out in recipe.left_out} == {
        "finish=gold": "only 2 finish=gold rows (rows 22 and 23); 3 are needed"
    }
    fit = fit_book(replace(book, features=(feature,)), None)
    golden = outlook(fit, Kit("Series A", 5, 3, features=(FeatureValue("finish", "gold"),)))
    assert any("finish=gold left out" in c for c in golden.cautions)
    assert outlook(fit, Kit("Series A", 5, 3, features=(FeatureValue("finish", "wrap"),))).cautions == ()


def test_long_lists_of_rows_are_cut() -> None:
    assert listed([4]) == "row 4"
    assert listed([4, 6, 9]) == "rows 4, 6 and 9"
    assert listed(range(2, 32)).endswith("13 and 18 more")
    assert listed(range(2, 14)).endswith("12 and 13")  # twelve are shown whole
    assert listed(range(2, 15)).endswith("13 and 1 more")
