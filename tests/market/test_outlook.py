"""The outlook against refits, the published order statistics and a second program."""

from __future__ import annotations

from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kitvalue.intake.books.book import PriceBook
from kitvalue.intake.text.problems import RefusedError, texts
from kitvalue.market.encoding import FeatureValue, Kit, of_kits
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.linear import Triangle, solve
from kitvalue.market.outlook import (
    jackknife_plus,
    normal_scores,
    outlook,
    outlooks,
    sample_of,
    scatter_at,
    typical_draws,
)
from tests.market.books import invented_book


def root_of(C: np.ndarray, y: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The QR triangle of weighted rows, series columns already scaled."""
    return np.linalg.qr(np.column_stack([C, y]) * np.sqrt(weights)[:, None], mode="r")


def slipped_book() -> PriceBook:
    book = invented_book(n=60, series=5, seed=31, features=True)
    price, weight = book.price.copy(), np.random.default_rng(2).uniform(0.4, 2.5, 60)
    price[[3, 17]] *= [12, 0.2]
    return replace(book, price=price, weight=weight)


def encoded(fit: Fit, kit: Kit) -> np.ndarray:
    return fit.columns_of(of_kits([kit], fit.recipe))[0]


@pytest.mark.parametrize("robust", [True, False])
@pytest.mark.parametrize("pooled", [True, False])
def test_closed_form_equals_refits_with_weights_and_theta_fixed(robust: bool, pooled: bool) -> None:
    book = slipped_book()
    fit = fit_book(book, None, robust=robust, pooled=pooled)
    x = encoded(fit, Kit("Series C", 6, 4.5, features=(FeatureValue("hardware", 1.0),)))
    got = scatter_at(fit, sample_of(fit), x, stretch=False, unseen=False)
    C = fit.columns_of(fit.rows)
    p = len(fit.recipe.names)
    y = fit.residuals + C @ fit.coef
    for i in range(len(book)):
        keep = np.arange(len(book)) != i
        rest = solve(Triangle(root_of(C[keep], y[keep], fit.weights[keep]), p, C.shape[1] - p, keep.sum(), 0.0), 1.0)
        assert got.predictions[i] == pytest.approx(x @ rest.coef, abs=1e-9)
        left_out = fit.allowance * (y[i] - C[i] @ rest.coef) / fit.ratios[fit.book.series[i]]
        assert got.residuals[i] == pytest.approx(left_out, abs=1e-9)


@given(n=st.integers(2, 400), percent=st.integers(1, 99))
def test_order_statistics_are_exact(n: int, percent: int) -> None:
    """floor(a (n + 1)) and ceil((1 - a)(n + 1)) in decimal arithmetic; 0.68 at n = 74 is where floats go wrong."""
    share = Decimal(percent) / 100
    low_at = int(((1 - share) * (n + 1)).to_integral_value(ROUND_FLOOR))
    high_at = int((share * (n + 1)).to_integral_value(ROUND_CEILING))
    predictions, residuals = np.zeros(n), np.arange(1.0, n + 1)
    if low_at < 1 or high_at > n:
        with pytest.raises(RefusedError, match="too few"):
            jackknife_plus(predictions, residuals, percent)
    else:
        low, high = jackknife_plus(predictions, residuals, percent)
        assert high == high_at
        assert low == -(n + 1 - low_at)


def test_the_stretch_is_the_stated_one_and_never_narrows() -> None:
    fit = fit_book(slipped_book(), None)
    sample = sample_of(fit)
    near, far = encoded(fit, Kit("Series A", 5, 3)), encoded(fit, Kit("Series E", 40, 1))
    own = (fit.leverage / fit.weights) / (1 - fit.leverage) / fit.ratio_of(fit.book.series) ** 2
    for x in (near, far):
        g = float(x @ fit.root @ fit.root.T @ x)
        expected = max(1.0, np.sqrt((1 + g) / (1 + np.median(own))))
        plain = scatter_at(fit, sample, x, stretch=False, unseen=False)
        wide = scatter_at(fit, sample, x, stretch=True, unseen=False)
        np.testing.assert_allclose(wide.residuals, expected * plain.residuals, rtol=1e-12)
        np.testing.assert_array_equal(wide.predictions, plain.predictions)
    assert np.sqrt((1 + float(far @ fit.root @ fit.root.T @ far)) / (1 + np.median(own))) > 1.1


def test_level_range_is_the_students_t_range_of_the_prediction() -> None:
    """Plain, not pooled: the range is that of statsmodels' mean prediction."""
    import statsmodels.api as sm

    book = invented_book(n=80)
    fit = fit_book(book, None, robust=False, pooled=False)
    F = fit.columns_of(fit.rows)
    peer = sm.OLS(np.log(book.price), F).fit()
    kit = Kit("Series B", 6, 4)
    frame = peer.get_prediction(encoded(fit, kit)[None, :]).summary_frame(alpha=0.2)
    view = outlook(fit, kit, 80)
    assert view.typical == pytest.approx(float(np.exp(frame["mean"].iloc[0])), rel=1e-10)
    assert view.level_low == pytest.approx(float(np.exp(frame["mean_ci_lower"].iloc[0])), rel=1e-9)
    assert view.level_high == pytest.approx(float(np.exp(frame["mean_ci_upper"].iloc[0])), rel=1e-9)


def test_level_quantiles_are_students_t() -> None:
    fit = fit_book(invented_book(n=50), None)
    for percent in (1, 50, 80, 95, 99):
        assert fit.level_t[percent - 1] == pytest.approx(stats.t.ppf(0.5 + percent / 200, fit.df), rel=1e-12)


def test_mean_is_the_average_of_the_sample_with_far_residuals_cut() -> None:
    fit = fit_book(slipped_book(), None)
    kit = Kit("Series A", 5, 3)
    view = outlook(fit, kit)
    x = encoded(fit, kit)
    scatter = scatter_at(fit, sample_of(fit), x, stretch=False, unseen=False)
    factor = np.median((np.log(view.sample) - scatter.predictions) / scatter.residuals)
    r, s = fit.usual_residuals, fit.scatter
    cut = np.where(np.abs(r) > 8 * s, 0.0, np.clip(r, -4 * s, 4 * s))
    assert np.any(np.abs(r) > 8 * s)
    assert view.mean == pytest.approx(float(np.exp(scatter.predictions + factor * cut).mean()), rel=1e-10)
    assert view.mean < float(view.sample.mean())
    assert any("far from the others and count" in c for c in texts(view.cautions))


def test_many_kits_at_once_equal_one_at_a_time() -> None:
    fit = fit_book(slipped_book(), None)
    kits = [Kit("Series A", 5, 3), Kit("Series D", 4, 2.5, "asked", "dealer")]
    for kit, view in zip(kits, outlooks(fit, kits, 70), strict=True):
        alone = outlook(fit, kit, 70)
        assert (view.typical, view.low, view.high) == pytest.approx((alone.typical, alone.low, alone.high), rel=1e-12)


def test_an_unknown_series_is_refused_with_the_nearest_names() -> None:
    fit = fit_book(invented_book(), None)
    with pytest.raises(RefusedError) as why:
        outlook(fit, Kit("Serie A", 5, 3))
    said = 'no rows of "Serie A" in the price book; did you mean Series A? It has '
    assert why.value.message == said + "Series A, Series B, Series C, Series D, Series E and Series F"
    with pytest.raises(RefusedError, match='no rows of "Nobody" in the price book; it has Series A, Series B'):
        outlook(fit, Kit("Nobody", 5, 3))


def test_an_unseen_series_may_be_asked_for_and_is_wider_by_the_spread_between_series() -> None:
    fit = fit_book(invented_book(n=200), None)
    known, unseen = outlook(fit, Kit("Series A", 5, 3)), outlook(fit, Kit("Nobody", 5, 3), unseen=True)
    assert None not in (known.low, known.high, unseen.low, unseen.high)
    assert np.log(unseen.high / unseen.low) > 1.5 * np.log(known.high / known.low)
    assert any("nothing is known" in c for c in texts(unseen.cautions))
    scores = normal_scores(200)
    assert sorted(scores) == pytest.approx(stats.norm.ppf((np.arange(200) + 0.5) / 200), abs=1e-9)
    assert list(scores) == list(normal_scores(200))


def test_cautions_for_thin_series_and_kits_outside_the_book() -> None:
    from datetime import timedelta

    book = invented_book(n=80, series=5)
    codes = book.series.copy()
    codes[codes == 4] = 3
    codes[0] = 4
    fit = fit_book(replace(book, series=codes), None)
    newest = fit.recipe.reference_date
    assert newest is not None
    view = outlook(fit, Kit("Series E", 9, 3, on=newest + timedelta(days=200)))
    text = " / ".join(texts(view.cautions))
    assert "Series E has only 1 row" in text
    assert "pieces 9 is outside the book (3 to 7)" in text
    assert "past the book's newest date" in text
    assert outlook(fit, Kit("Series A", 5, 3)).cautions == ()


def test_draws_have_the_level_ranges_spread() -> None:
    fit = fit_book(invented_book(n=80), None)
    kits = [Kit("Series A", 4, 3), Kit("Series A", 7, 3)]
    draws = typical_draws(fit, kits, 4000)
    assert draws.shape == (4000, 2)
    np.testing.assert_array_equal(draws, typical_draws(fit, kits, 4000))
    for j, kit in enumerate(kits):
        view = outlook(fit, kit, 80)
        assert view.level_high is not None
        sd = np.log(view.level_high / view.typical) / fit.level_t[79]
        assert np.log(draws[:, j]).std() == pytest.approx(sd, rel=0.05)
        assert np.median(draws[:, j]) == pytest.approx(view.typical, rel=0.01)


def test_rows_far_from_all_others_are_named_beside_the_mean() -> None:
    book = invented_book(n=60)
    slips = book.price.copy()
    slips[7] *= 100
    one = outlook(fit_book(replace(book, price=slips), None), Kit("Series A", 5, 3))
    told = "little: see kitvalue fit"
    assert f"row 9 lies far from the others and counts {told}" in texts(one.cautions)
    slips[20] /= 10
    both = outlook(fit_book(replace(book, price=slips), None), Kit("Series A", 5, 3))
    assert f"rows 9 and 22 lie far from the others and count {told}" in texts(both.cautions)
    assert not [
        text for text in texts(outlook(fit_book(book, None), Kit("Series A", 5, 3)).cautions) if "far from" in text
    ]
