"""Accuracy: ratio-study figures against the standard and a second program, held-out tests against refits."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import assesspy
import numpy as np
import pytest

from kitvalue.intake.books.book import PriceBook
from kitvalue.market import accuracy
from kitvalue.market.accuracy import (
    assess,
    assessed_rows,
    hold_out_folds,
    kit_of,
    left_out_prices,
    predict_quarters,
    ratio_study,
)
from kitvalue.market.encoding import of_kits
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.linear import subset, without_empty_series
from kitvalue.market.outlook import outlook, outlooks, series_knowledge, typical_prices, usual_kit
from tests.checks import check
from tests.market.books import invented_book

REFIT = partial(fit_book, haggle=10.0, least=0)


def test_ratio_study_equals_the_published_sample_figures() -> None:
    """assesspy's own sample of 979 sales and the figures that its test suite states (read)."""
    sample = assesspy.ccao_sample()
    study = ratio_study(sample["estimate"].to_numpy(float), sample["sale_price"].to_numpy(float))
    for figure, value in (("cod", study.cod), ("prd", study.prd), ("prb", study.prb)):
        row = check("ratio_studies.csv", f"ccao_sample_{figure}")
        assert value == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), figure


def test_ratio_study_equals_assesspy_on_the_same_rows() -> None:
    """A second program on rows of our own. Its PRB divides by ln 2 as we do; the standard's text prints 0.693."""
    rng = np.random.default_rng(8)
    observed = rng.lognormal(6, 0.5, 200)
    predicted = observed * rng.lognormal(0, 0.2, 200) * (observed / 400) ** -0.1
    study = ratio_study(predicted, observed)
    assert study.cod == pytest.approx(assesspy.cod(predicted, observed), rel=1e-12)
    assert study.prd == pytest.approx(assesspy.prd(predicted, observed), rel=1e-12)
    assert study.prb == pytest.approx(assesspy.prb(predicted, observed), rel=1e-9)
    assert study.median_ratio == pytest.approx(float(np.median(predicted / observed)), rel=1e-12)


def test_equal_prices_have_no_prb() -> None:
    study = ratio_study(np.full(20, 480.0), np.full(20, 500.0))
    assert study.prb is None
    assert study.cod == pytest.approx(0, abs=1e-12)


def test_left_out_prices_are_those_of_refits_with_weights_fixed() -> None:
    book = invented_book(n=40)
    fit = fit_book(book, 10.0, robust=False, pooled=False)
    for i in (0, 13, 39):
        rest = fit_book(subset(book, np.arange(40) != i), 10.0, robust=False, pooled=False)
        kit = replace(kit_of(book, i))
        assert left_out_prices(fit)[i] == pytest.approx(outlook(rest, kit, 50).typical, rel=0.02)


def test_folds_hold_out_every_row_once_and_refit() -> None:
    book = invented_book(n=97)
    out: list[list[int]] = []

    def watching(part: PriceBook) -> Fit:
        out.append(np.setdiff1d(book.rows, part.rows).tolist())
        return REFIT(part)

    held = hold_out_folds(book, watching)
    assert held is not None
    assert held.shape == (97,)
    assert sorted(row for rows in out for row in rows) == book.rows.tolist()
    assert len(out) == 10


def test_coverage_is_near_its_promise_on_a_large_clean_book() -> None:
    found = assess(book := invented_book(n=600, seed=17), REFIT(book), REFIT)
    assert found.coverage_80 == pytest.approx(80, abs=5)
    assert found.median_ape == pytest.approx(100 * 0.6745 * 0.15, abs=1.5)  # the half-normal median of the scatter
    assert found.median_ratio == pytest.approx(1, abs=0.02)
    assert found.prd_expected == pytest.approx(float(np.exp(0.15**2)), abs=0.005)


def test_forward_in_time_uses_only_the_past() -> None:
    book = invented_book(n=150)
    newest: list[np.datetime64] = []

    def watching(part: PriceBook) -> Fit:
        newest.append(part.date.max())
        return REFIT(part)

    held = predict_quarters(book, watching)
    assert held is not None
    quarters = book.date.astype("datetime64[M]").astype(int) // 3
    starts = [np.datetime64(int(q) * 3, "M").astype("datetime64[D]") for q in np.unique(quarters)]
    assert newest
    for day in newest:
        start = min(s for s in starts if s > day)
        assert day == book.date[book.date < start].max()
    assert len(held.observed) + held.skipped <= 150 - 30


def test_forward_skips_series_unseen_by_then_and_counts_them() -> None:
    book = invented_book(n=150, series=5)
    late = np.flatnonzero(book.date > np.datetime64("2026-09-30"))[:3]  # one quarter
    codes = np.where(book.series == 4, 3, book.series)
    codes[late] = 4
    held = predict_quarters(replace(book, series=codes), REFIT)
    assert held is not None
    assert held.skipped == 3


def test_young_and_tiny_books_say_why_a_figure_is_missing() -> None:
    book = invented_book(n=50)
    assert predict_quarters(book, REFIT) is None
    found = assess(book, REFIT(book), REFIT)
    assert found.forward_median_ape is None
    assert any("60 dated rows" in r for r in found.reasons)
    tiny = without_empty_series(subset(invented_book(n=60, series=9), np.arange(12)))
    small = assess(tiny, REFIT(tiny), REFIT)
    assert (small.coverage_80 is None) == any("coverage_80" in r for r in small.reasons)


def test_what_is_predicted_is_the_typical_price_of_the_outlook() -> None:
    """Two routes to one number: the price alone, and the outlook with its ranges."""
    book = invented_book(n=80, features=True)
    fit = REFIT(subset(book, np.arange(60)))
    kits = [kit_of(book, i) for i in range(60, 80)]
    np.testing.assert_allclose(typical_prices(fit, kits), [o.typical for o in outlooks(fit, kits)], rtol=1e-12)
    assert typical_prices(fit, []).shape == (0,)


def test_of_a_large_book_some_rows_are_refitted_and_it_says_so() -> None:
    book = invented_book(n=10_400, series=4)
    seen: list[int] = []

    def counting(part: PriceBook) -> Fit:
        seen.append(len(part))
        return REFIT(part)

    found = assess(book, REFIT(book), counting)
    assert max(seen) <= 10_000
    assert found.reasons[0] == "coverage_80 and forward: from 10,000 rows drawn with a fixed seed"
    assert found.coverage_80 == pytest.approx(80, abs=3)
    assert len(assessed_rows(subset(book, np.arange(10_000)))) == 10_000


def test_folds_are_the_same_every_time() -> None:
    book = invented_book(n=60)
    first, second = hold_out_folds(book, REFIT), hold_out_folds(book, REFIT)
    assert first is not None
    np.testing.assert_array_equal(first, second)
    assert accuracy.FOLDS == 10


def test_one_more_sighting_narrows_the_level_as_said() -> None:
    """Add the very kit to the book and solve again with weights and theta held: the level narrows by 1/sqrt(1 + g)."""
    book = invented_book(n=80)
    fit = fit_book(book, 10.0, robust=False, pooled=True)
    for known in series_knowledge(fit):
        rows = of_kits([usual_kit(fit, known.name)], fit.recipe)
        x = fit.columns_of(rows)[0]
        before = x @ fit.level_root @ fit.level_root.T @ x
        A = np.linalg.inv(fit.level_root @ fit.level_root.T) + np.outer(x, x)
        after = x @ np.linalg.solve(A, x)
        wide, narrow = (np.log(1 + p / 100) for p in (known.level_percent, known.one_more_percent))
        assert narrow / wide == pytest.approx(np.sqrt(after / before), rel=1e-9)
        view = outlook(fit, usual_kit(fit, known.name), 80)
        assert view.level_high is not None
        assert view.level_high / view.typical == pytest.approx(1 + known.level_percent / 100, rel=1e-12)
    thin = [k.name for k in series_knowledge(fit)]
    counts = dict(zip(fit.recipe.series, fit.recipe.rows_by_series, strict=True))
    assert counts[thin[0]] < counts[thin[-1]]


def test_prb_of_prices_that_lie_close_together_is_told_too() -> None:
    rng = np.random.default_rng(12)
    observed = rng.uniform(400, 440, 25)
    predicted = observed * rng.lognormal(0, 0.05, 25)
    assert ratio_study(predicted, observed).prb == pytest.approx(assesspy.prb(predicted, observed), rel=1e-9)


def test_the_figures_forward_in_time_are_those_of_the_predicted_rows() -> None:
    book = invented_book(n=150)
    found, held = assess(book, REFIT(book), REFIT), predict_quarters(book, REFIT)
    assert held is not None
    assert found.forward_rows == len(held.observed) > 0
    errors = sorted(abs(held.typical / held.observed - 1) * 100)
    assert found.forward_median_ape == pytest.approx(np.median(errors), rel=1e-12)


def test_a_row_is_valued_in_its_own_market() -> None:
    book = invented_book(n=40)
    kits = [kit_of(book, i) for i in range(40)]
    assert [k.price_kind for k in kits] == ["sold" if kind else "asked" for kind in book.price_kind]
    assert {k.price_kind for k in kits} == {"asked", "sold"}
    assert [k.channel for k in kits] == [("private", "dealer", "auction")[c] for c in book.channel]
