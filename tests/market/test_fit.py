"""The hedonic regression against statsmodels, its robustness, and what it refuses."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from kitvalue.intake.books.book import FeatureColumn, PriceBook
from kitvalue.intake.text.problems import RefusedError, texts
from kitvalue.market.encoding import FeatureValue, Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.linear import Residuals, subset, without_empty_series
from kitvalue.market.outlook import outlook, outlooks
from kitvalue.market.robust import HUBER_K, level_sigma2
from tests.market.books import EFFECTS, invented_book


def frame_of(book: PriceBook) -> pd.DataFrame:
    newest = book.date.max()
    return pd.DataFrame(
        {
            "y": np.log(book.price),
            "log_pieces": np.log(book.pieces),
            "condition": book.condition - 3,
            "sold": (book.price_kind > 0) * 1.0,
            "dealer": (book.channel == 1) * 1.0,
            "auction": (book.channel == 2) * 1.0,
            "years": (book.date - newest).astype(float) / 365.25,
            "series": [book.series_names[s] for s in book.series],
        }
    )


FIXED = "y ~ log_pieces + condition + sold + dealer + auction + years"


def estimates(fit: Fit, field: str = "coefficient") -> dict[str, float]:
    return {t.name: getattr(t, field) for t in fit.terms}


def test_plain_without_pooling_is_statsmodels_ols() -> None:
    book = invented_book()
    peer = sm.OLS.from_formula(FIXED + " + series", frame_of(book)).fit()
    fit = fit_book(book, None, robust=False, pooled=False)
    names = {"Intercept": "intercept"} | {f"series[T.{s}]": f"series[{s}]" for s in book.series_names}
    params = peer.params.rename(names)
    bse = peer.bse.rename(names)
    for name, value in estimates(fit).items():
        assert value == pytest.approx(params[name], rel=1e-10, abs=1e-12), name
        assert estimates(fit, "se")[name] == pytest.approx(bse[name], rel=1e-10), name
    assert len(params) == len(fit.terms)
    assert fit.sigma2 == pytest.approx(peer.scale, rel=1e-12)
    np.testing.assert_allclose(fit.residuals, peer.resid, atol=1e-12)
    np.testing.assert_allclose(fit.leverage, peer.get_influence().hat_matrix_diag, rtol=1e-9)


def test_plain_pooled_is_statsmodels_mixedlm() -> None:
    book = invented_book()
    frame = frame_of(book)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = sm.MixedLM.from_formula(FIXED, frame, groups="series").fit(reml=True)
    fit = fit_book(book, None, robust=False)
    params = peer.fe_params.rename({"Intercept": "intercept"})
    for name, value in estimates(fit).items():
        assert value == pytest.approx(params[name], abs=1e-5), name
    assert fit.tau2 == pytest.approx(float(peer.cov_re.iloc[0, 0]), rel=1e-3)
    assert fit.sigma2 == pytest.approx(peer.scale, rel=1e-4)
    for effect in fit.series:
        assert effect.effect == pytest.approx(float(peer.random_effects[effect.name].iloc[0]), abs=1e-4)
    n, p = len(book), 7
    ours = -0.5 * ((n - p) * np.log(fit.sigma2) + (n - p) * (1 + np.log(2 * np.pi)) + _log_det_a(fit))
    assert ours >= peer.llf - 1e-8


def _log_det_a(fit: Fit) -> float:
    """log det of A in raw columns, from the standardised inverse root."""
    return -2 * float(np.linalg.slogdet(fit.root)[1]) + 2 * float(np.log(fit.scaling.scale).sum())


def test_no_spread_between_series_is_ols_without_series() -> None:
    book = invented_book(n=80, series=4, spread=0.0, seed=12)
    fit = fit_book(book, None, robust=False)
    assert fit.theta == 0.0
    peer = sm.OLS.from_formula(FIXED, frame_of(book)).fit()
    for name, value in estimates(fit).items():
        assert value == pytest.approx(peer.params["Intercept" if name == "intercept" else name], rel=1e-9, abs=1e-12)
    assert all(s.effect == 0 for s in fit.series)


def test_precision_weights_are_wls() -> None:
    book = invented_book()
    weight = np.random.default_rng(1).uniform(0.3, 3, len(book))
    fit = fit_book(replace(book, weight=weight), None, robust=False, pooled=False)
    peer = sm.WLS.from_formula(FIXED + " + series", frame_of(book), weights=weight).fit()
    assert estimates(fit)["condition"] == pytest.approx(peer.params["condition"], rel=1e-9)
    assert estimates(fit, "se")["condition"] == pytest.approx(peer.bse["condition"], rel=1e-9)


def test_the_variance_of_a_robust_fit_is_statsmodels_h1() -> None:
    """A second program: RLM's covariance H1 of its own residuals and scale, over the inverse cross-products."""
    rng = np.random.default_rng(6)
    F = np.column_stack([np.ones(60), rng.normal(size=(60, 4))])
    y = F @ [5.0, 0.6, 0.1, 0.2, 0.0] + 0.15 * rng.standard_t(2, 60)
    peer = sm.RLM(y, F, sm.robust.norms.HuberT(HUBER_K)).fit()
    ours = level_sigma2(Residuals(peer.resid, np.zeros(60)), peer.scale, np.ones(60), 5.0)
    np.testing.assert_allclose(ours * peer.normalized_cov_params, peer.bcov_scaled, rtol=1e-9)


def test_robust_fit_without_outliers_of_a_clean_book_is_near_the_plain_one() -> None:
    book = invented_book(n=400, seed=3)
    robust, plain = fit_book(book, None), fit_book(book, None, robust=False)
    for name, value in estimates(robust).items():
        assert abs(value - estimates(plain)[name]) < 0.7 * estimates(plain, "se")[name], name
    assert robust.sigma2 == pytest.approx(plain.sigma2, rel=0.15)


def test_robust_fit_is_a_fixed_point_of_the_weighted_equations() -> None:
    """At the end the residuals give the very weights that the solution was made with (Huber's estimating equation),
    and the two rows that are slips count for nothing."""
    book = invented_book(n=90, seed=5)
    price = book.price.copy()
    price[[4, 40]] *= [100, 0.1]
    fit = fit_book(replace(book, price=price), None)
    ratio = fit.ratio_of(fit.book.series)
    t = np.abs(fit.residuals) / fit.scatter / ratio
    gross = t / np.sqrt(1 - fit.leverage) > 8
    assert np.flatnonzero(gross).tolist() == [4, 40]
    huber = fit.weights * ratio**2
    np.testing.assert_allclose(huber[~gross], np.minimum(1, 1.345 / np.maximum(t, 1e-300))[~gross], atol=2e-8)
    np.testing.assert_allclose(huber[gross], 1e-6, rtol=1e-12)
    scale = np.median(np.abs(fit.residuals) / ratio / np.sqrt(1 - fit.leverage)) / 0.6745
    assert fit.scatter == pytest.approx(scale, rel=1e-12)


def test_a_slip_adds_nothing_to_what_is_known_of_a_level() -> None:
    """A series of two rows, one of them a hundredfold slip, is known as well as without that row."""
    book = invented_book(n=60, series=5, seed=12)
    first = np.flatnonzero(book.series == 0)
    two = subset(book, np.sort(np.concatenate([first[:2], np.flatnonzero(book.series != 0)])))
    slipped = replace(two, price=np.where(two.rows == book.rows[first[0]], two.price * 100, two.price))
    without = subset(two, np.flatnonzero(two.rows != book.rows[first[0]]))
    kit = Kit(book.series_names[0], 5, 3)
    with_slip, one_row, both = (outlook(fit_book(one, 10.0), kit) for one in (slipped, without, two))
    width = [float(np.log(one.level_high / one.level_low)) for one in (with_slip, one_row, both)]  # type: ignore[operator]
    assert width[0] == pytest.approx(width[1], rel=0.1)  # the slip still widens the scale a little
    assert width[2] < width[1]


@pytest.mark.parametrize("times", [100, 0.01])
def test_one_hundredfold_slip_in_61_rows_moves_the_answer_little(times: float) -> None:
    """Every kit's typical and mean price stays within 3 percent, or within what the row's absence alone would do."""
    moves, absences = [], []
    for seed in (21, 22, 23, 26):
        book = invented_book(n=61, series=4, seed=seed)
        kits = [Kit(name, 5, 3) for name in book.series_names]
        before = _typical_and_mean(fit_book(book, None), kits)
        for row in range(0, 61, 6):
            price = book.price.copy()
            price[row] *= times
            slipped = fit_book(replace(book, price=price), None)
            assert int(book.rows[row]) == slipped.unusual[0].row
            assert "hundred" in slipped.unusual[0].hint
            absent = fit_book(subset(book, np.delete(np.arange(61), row)), None)
            moves.append(np.abs(_typical_and_mean(slipped, kits) / before - 1))
            absences.append(np.abs(_typical_and_mean(absent, kits) / before - 1))
    move, absence = np.array(moves), np.array(absences)
    assert np.all(move <= np.maximum(0.03, absence + 0.01))  # a block may be let in by little more than without the row
    assert np.mean(move < 0.03) > 0.94


def _typical_and_mean(fit: Fit, kits: list[Kit]) -> np.ndarray:
    """(2 m,)"""
    found = outlooks(fit, kits)
    return np.array([o.typical for o in found] + [o.mean for o in found])


def test_a_series_that_lies_elsewhere_as_a_whole_is_not_taken_for_slips() -> None:
    """All rows of one series 30 times dearer: they keep their say, and the series is valued where its rows lie."""
    book = invented_book(n=60, series=4, seed=21)
    dear = book.series == 3
    price = np.where(dear, 30 * book.price, book.price)
    fit = fit_book(replace(book, price=price), None)
    assert np.all(fit.weights[dear] > 1e-3)
    kit = Kit("Series D", 5, 3)
    assert outlook(fit, kit).typical == pytest.approx(30 * outlook(fit_book(book, None), kit).typical, rel=0.15)


def test_the_only_row_of_a_series_keeps_its_say() -> None:
    """A slip or a dear series: one row cannot tell, so it is not silenced."""
    book = invented_book(n=60, series=4, seed=21)
    only = np.flatnonzero(book.series == 3)[:1]
    lone = subset(book, np.sort(np.concatenate([np.flatnonzero(book.series != 3), only])))
    at = int(np.flatnonzero(lone.series == 3)[0])
    price = lone.price.copy()
    price[at] *= 100
    fit = fit_book(replace(lone, price=price), None)
    assert fit.weights[at] > 1e-3


def test_rows_that_a_term_rests_on_keep_their_say() -> None:
    """The three rows with hardware are all slips, in different series: without them its effect would be unknown."""
    book = invented_book(n=60, series=4, seed=21, features=True)
    hardware = np.zeros(60)
    at = [np.flatnonzero(book.series == s)[1] for s in range(3)]
    hardware[at] = 1.0
    price = book.price.copy()
    price[at] *= [100, 0.01, 100]
    slipped = replace(book, price=price, features=(FeatureColumn("hardware", "yes-no", hardware),))
    fit = fit_book(slipped, None)
    assert np.any(fit.weights[at] > 1e-3)
    view = outlook(fit, Kit("Series A", 5, 3, features=(FeatureValue("hardware", 1.0),)))
    assert np.all(np.isfinite(view.sample))
    assert view.level_high is not None
    assert view.level_high < 1e4 * view.typical


def test_generating_effects_are_within_their_ranges() -> None:
    """Ninety-five percent ranges hold the generating effects about that often over 40 invented books."""
    hits, tries = 0, 0
    for seed in range(40):
        fit = fit_book(invented_book(n=100, seed=100 + seed), None)
        for t in fit.terms:
            if t.name in EFFECTS:
                tries += 1
                hits += t.low <= EFFECTS[t.name] <= t.high
    assert 0.91 <= hits / tries <= 0.985


def test_eleven_rows_are_refused_and_twelve_are_not() -> None:
    book = invented_book(n=60, series=2, seed=9)
    with pytest.raises(RefusedError, match=r"11 usable rows; a fit needs 12: add 1 more observed kit$"):
        fit_book(subset(book, np.arange(11)), 10.0)
    assert fit_book(subset(book, np.arange(12)), 10.0).rows_used == 12


def test_more_unknowns_than_rows_is_refused() -> None:
    book = invented_book(n=13, series=13, seed=2)
    with pytest.raises(RefusedError, match="add more"):
        fit_book(book, 10.0, robust=False, pooled=False)


def test_few_sold_rows_rest_on_haggle_or_are_refused() -> None:
    book = invented_book(n=40, seed=4)
    kind = np.zeros(40, dtype=np.int64)
    kind[:3] = 1
    few = replace(book, price_kind=kind)
    with pytest.raises(RefusedError, match="haggle"):
        fit_book(few, None)
    fit = fit_book(few, 10.0)
    assert "sold" not in estimates(fit)
    asked, sold = outlook(fit, Kit("Series A", 5, 3, "asked")), outlook(fit, Kit("Series A", 5, 3, "sold"))
    assert sold.typical / asked.typical == pytest.approx(0.9, rel=1e-12)
    assert "haggle of 10 %" in sold.rests_on


def test_only_asked_rows_without_haggle_fit_but_cannot_value_a_sale() -> None:
    book = invented_book(n=40, seed=4)
    fit = fit_book(replace(book, price_kind=np.zeros(40, dtype=np.int64)), None)
    assert outlook(fit, Kit("Series A", 5, 3, "asked")).typical > 0
    with pytest.raises(RefusedError, match="haggle"):
        outlook(fit, Kit("Series A", 5, 3, "sold"))


def test_prices_that_follow_a_formula_have_no_range() -> None:
    book = invented_book(n=40, sigma=0.0, seed=6)
    fit = fit_book(replace(book, price=np.round(book.price, 2)), None)
    assert fit.exact
    view = outlook(fit, Kit("Series A", 5, 3))
    assert view.low is None
    assert view.level_high is None
    assert view.typical > 0
    assert any("formula" in c for c in texts(view.cautions))
    assert fit.unusual == ()


def test_a_wrong_sign_is_said() -> None:
    book = invented_book(n=60, seed=8)
    upside_down = replace(book, condition=6 - book.condition)
    assert (
        fit_book(upside_down, None)
        .cautions[0]
        .text.startswith("conditions look upside down: one grade better comes out")
    )
    assert not any("cheaper" in c for c in texts(fit_book(book, None).cautions))


def test_one_series_is_fitted_without_a_series_effect() -> None:
    book = invented_book(n=60, seed=8)
    one = without_empty_series(subset(book, book.series == 0))
    fit = fit_book(one, None)
    assert not fit.recipe.pooled
    assert "series" in [out.term for out in fit.recipe.left_out]
    assert fit.tau2 == 0


def test_blank_dates_and_features_count_at_the_average() -> None:
    book = invented_book(n=60, seed=8, features=True)
    date = book.date.copy()
    date[:20] = np.datetime64("NaT", "D")
    fit = fit_book(replace(book, date=date), None)
    years = next(t for t in fit.recipe.terms if t.name == "years")
    known = (date[20:] - date[20:].max()).astype(float) / 365.25
    assert years.blank == pytest.approx(known.mean(), rel=1e-12)


def test_hammer_prices_count_with_their_premium() -> None:
    book = invented_book(n=60, seed=8)
    kind, premium = book.price_kind.copy(), np.zeros(60)
    hammer = kind == 1
    kind[hammer], premium[hammer] = 2, 25.0
    with_premium = replace(
        book, price_kind=kind, premium=premium, price=np.where(hammer, book.price / 1.25, book.price)
    )
    assert estimates(fit_book(with_premium, None)) == pytest.approx(estimates(fit_book(book, None)), rel=1e-9)


# ---- books that lack something ------------------------------------------------------------------------------------


def test_all_on_one_day_has_no_trend() -> None:
    book = invented_book(n=40)
    fit = fit_book(replace(book, date=np.full(40, book.date[0])), None)
    assert {out.term: out.reason for out in fit.recipe.left_out}["years"].startswith("the dates span 0 days")
    assert outlook(fit, Kit("Series A", 5, 3)).typical > 0


def test_a_feature_true_in_one_row_is_left_out_by_name() -> None:
    book = invented_book(n=40)
    values = np.zeros(40)
    values[5] = 1
    fit = fit_book(replace(book, features=(FeatureColumn("signed", "yes-no", values),)), None)
    reasons = {out.term: out.reason for out in fit.recipe.left_out}
    assert reasons["signed"] == f"only 1 signed row (row {int(book.rows[5])}); 3 are needed"


def test_series_of_one_row_each_still_give_ranges() -> None:
    """With pooling every row leans on the others; nothing is infinite."""
    book = invented_book(n=14, series=14, seed=5)
    fit = fit_book(book, 10.0)
    view = outlook(fit, Kit("Series A", 5, 3))
    assert view.low is not None
    assert view.high is not None
    assert 0 < view.low < view.typical < view.high < np.inf


def test_without_pooling_rows_that_carry_themselves_leave_the_sample() -> None:
    book = invented_book(n=40, series=5)
    codes = book.series.copy()
    codes[codes == 4] = 3
    codes[0] = 4
    fit = fit_book(replace(book, series=codes), None, pooled=False)
    assert len(fit.book) == 39
    assert any("1 rows carry their own estimate" in c for c in texts(fit.cautions))


@pytest.mark.parametrize(("few", "kind"), [("sold", 1), ("asked", 0)])
def test_the_haggle_says_which_rows_are_too_few(few: str, kind: int) -> None:
    """Five rows on each side tell asked from sold; until then the haggle of shop.toml counts."""
    book = invented_book()
    kinds = np.full(len(book), 1 - kind)
    kinds[:2] = kind
    recipe = fit_book(replace(book, price_kind=kinds), 10.0).recipe
    assert recipe.sold_basis == f"the haggle of 10 % in shop.toml (the book has 2 {few} rows, fewer than 5)"
