"""Which terms enter, and what is said of those that do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kitvalue.decisions.ceiling import step_of
from kitvalue.intake.books.book import FeatureColumn, PriceBook
from kitvalue.intake.text.problems import texts
from kitvalue.intake.text.words import rows_phrase
from kitvalue.market.encoding import FeatureValue, Kit, Recipe, build_recipe
from kitvalue.market.fit import fit_book
from kitvalue.market.outlook import outlook
from tests.market.books import invented_book


def recipe_of(book: PriceBook, haggle: float | None) -> Recipe:
    return build_recipe(book, haggle, True)


def reasons(book: PriceBook, haggle: float | None = 10.0) -> dict[str, str]:
    return {out.term: out.reason for out in recipe_of(book, haggle).left_out}


def test_a_rich_book_leaves_nothing_out() -> None:
    assert reasons(invented_book(features=True)) == {}


def test_sold_only_on_one_channel_names_rows_and_keeps_the_effect_inside_sold() -> None:
    book = invented_book(n=40)
    mixed = replace(book, channel=np.where(book.price_kind == 1, 2, 1))
    found = reasons(mixed)
    sold_rows = rows_phrase(book.rows[book.price_kind == 1].tolist())
    assert found["auction"] == (
        f"all sold rows are auction rows and no others are ({sold_rows}); its effect is inside sold"
    )
    assert found["dealer"].startswith("all asked rows are dealer rows")
    assert set(found) == {"auction", "dealer"}
    view = outlook(fit_book(mixed, None), Kit("Series A", 5, 3))
    assert any("auction left out" in c for c in texts(view.cautions))
    assert any("dealer left out" in c for c in texts(view.cautions))


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
    assert any("finish=gold left out" in c for c in texts(golden.cautions))
    assert outlook(fit, Kit("Series A", 5, 3, features=(FeatureValue("finish", "wrap"),))).cautions == ()


def test_long_lists_of_rows_are_cut() -> None:
    assert rows_phrase([4]) == "row 4"
    assert rows_phrase([4, 6, 9]) == "rows 4, 6 and 9"
    assert rows_phrase(range(2, 32)).endswith("13 and 18 more")
    assert rows_phrase(range(2, 14)).endswith("12 and 13")  # twelve are shown whole
    assert rows_phrase(range(2, 15)).endswith("13 and 1 more")


def asked_and_paid(paid: float, rows: int, asked_rows: int) -> PriceBook:
    """A book whose sold rows lie `paid` times what was asked, the first `rows` of which say what that was."""
    book = invented_book(n=60)
    kind = np.where(np.arange(60) < 60 - asked_rows, 1, 0)
    asked = np.where(np.arange(60) < rows, book.price / paid, np.nan)
    return replace(book, price_kind=kind, asked=asked)


@pytest.mark.parametrize("asked_rows", [0, 3])
def test_rows_that_tell_both_prices_tell_the_step_from_asked_to_paid(asked_rows: int) -> None:
    book = asked_and_paid(0.88, 5, asked_rows)
    recipe = recipe_of(book, 10.0)
    assert recipe.sold_offset == pytest.approx(np.log(0.88), rel=1e-12)
    assert recipe.sold_basis == "5 rows that tell what was asked and what was paid (-12.0 %)"
    fit = fit_book(book, 10.0)
    step = step_of(fit)
    assert step.price == pytest.approx(0.88, rel=1e-12)
    assert step.rests_on == recipe.sold_basis
    asked, sold = (outlook(fit, Kit("Series A", 5, 3, price_kind=kind)).typical for kind in ("asked", "sold"))  # type: ignore[arg-type]
    assert sold == pytest.approx(0.88 * asked, rel=1e-12)


def test_four_rows_that_tell_both_are_too_few() -> None:
    recipe = recipe_of(asked_and_paid(0.88, 4, 3), 10.0)
    assert recipe.sold_offset == pytest.approx(np.log(0.9), rel=1e-12)
    assert "haggle of 10 %" in recipe.sold_basis
    assert recipe_of(asked_and_paid(0.88, 4, 0), 10.0).sold_offset == 0.0


def test_nobody_pays_more_than_is_asked() -> None:
    """Common practice, no source: pairs that say so leave no step."""
    assert recipe_of(asked_and_paid(1.1, 20, 3), 10.0).sold_offset == 0.0


def test_enough_asked_rows_tell_the_step_themselves() -> None:
    fit = fit_book(asked_and_paid(0.88, 20, 12), 10.0)
    recipe = fit.recipe
    assert (recipe.sold_offset, recipe.sold_basis) == (0.0, "48 sold rows of the book")
    assert recipe.has("sold")
    step = step_of(fit)  # of one kit the pairs tell more than the rows of others
    assert step.price == pytest.approx(0.88, rel=1e-12)
    assert step.rests_on == "20 rows that tell what was asked and what was paid (-12.0 %)"


def test_with_pairs_the_values_of_sold_kits_are_those_of_a_book_without() -> None:
    """The step moves what asked rows count at, and what an asked price is worth: nothing where every row is sold."""
    with_pairs, without = asked_and_paid(0.88, 60, 0), replace(asked_and_paid(0.88, 60, 0), asked=np.full(60, np.nan))
    one, other = (outlook(fit_book(book, 10.0), Kit("Series A", 5, 3)) for book in (with_pairs, without))
    for name in ("typical", "low", "high", "level_low", "level_high"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9), name
