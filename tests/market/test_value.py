"""Values, comparables, the saved fit and the notebook's results: one set of figures."""

from __future__ import annotations

import datetime as dt
import doctest
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from kitvalue.intake.settings.shop import Shop, ShopTable
from kitvalue.intake.text.problems import FileCounts, FileError, RefusedError, texts
from kitvalue.market import results as market_results
from kitvalue.market.encoding import FeatureValue, Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import dump_fit, load_fit, sealed
from kitvalue.market.outlook import ESTIMATES, comparables, outlook, value_kit
from kitvalue.market.results import Prices, fit_prices
from tests.market.books import invented_book

BOOK = invented_book(n=90, features=True)
COUNTS = FileCounts("prices.csv", 92, 90, 1, 1, "utf-8", ";", ",")
KIT = Kit("Series A", 5, 3, features=(FeatureValue("hardware", 1.0),))


def test_buy_in_is_sold_private_and_resale_sold_dealer_at_the_finished_condition() -> None:
    fit = fit_book(BOOK, None)
    got = value_kit(fit, replace(KIT, price_kind="asked", channel="auction"), 5.0, 80)
    assert got.buy_in.typical == outlook(fit, replace(KIT, price_kind="sold", channel="private")).typical
    resale = outlook(fit, replace(KIT, price_kind="sold", channel="dealer", condition=5))
    assert got.resale.typical == resale.typical
    assert got.cautions == (ESTIMATES,)


def test_resale_without_dealer_rows_is_private_and_says_so() -> None:
    book = replace(BOOK, channel=np.where(BOOK.channel == 1, 0, BOOK.channel))
    fit = fit_book(book, None)
    got = value_kit(fit, KIT, 5.0, 80)
    assert got.resale.typical == outlook(fit, replace(KIT, condition=5)).typical
    assert any("private sale (no dealer rows)" in c for c in texts(got.cautions))


def test_a_feature_that_is_not_given_counts_at_the_average_and_says_so() -> None:
    fit = fit_book(BOOK, None)
    bare = value_kit(fit, Kit("Series A", 5, 3), None, 80)
    assert any(c.startswith("hardware was not given") for c in texts(bare.cautions))
    share = float(BOOK.features[0].values.mean())
    coefficient = next(t.coefficient for t in fit.terms if t.name == "hardware")
    with_it = value_kit(fit, KIT, None, 80)
    assert with_it.buy_in.typical / bare.buy_in.typical == pytest.approx(np.exp((1 - share) * coefficient), rel=1e-9)


def test_unknown_features_are_refused_with_the_known_ones() -> None:
    fit = fit_book(BOOK, None)
    with pytest.raises(RefusedError, match='no feature "cases"; its features: hardware'):
        outlook(fit, replace(KIT, features=(FeatureValue("cases", 1.0),)))


def test_adjustments_multiply_out_to_the_adjusted_price() -> None:
    fit = fit_book(BOOK, None)
    found = value_kit(fit, KIT, None, 80).comparables
    assert len(found) == 5
    assert [c.series for c in found] == ["Series A"] * 5
    for c in found:
        assert c.observed * np.prod([a.factor for a in c.adjustments]) == pytest.approx(c.adjusted, rel=1e-12)
        i = int(np.flatnonzero(BOOK.rows == c.row)[0])
        assert c.observed == BOOK.price[i]
        left_over = c.adjusted / outlook(fit, replace(KIT, price_kind="sold")).typical
        assert np.log(left_over) == pytest.approx(fit.residuals[i], abs=1e-9)  # adjusted = fit times its own residual
    total = [sum(abs(np.log(a.factor)) for a in c.adjustments) for c in found]
    assert total == sorted(total)


def test_comparables_of_a_thin_series_go_on_to_others_with_a_series_adjustment() -> None:
    codes = BOOK.series.copy()
    codes[codes == 5] = 4
    codes[:2] = 5
    fit = fit_book(replace(BOOK, series=codes), None)
    found = value_kit(fit, Kit("Series F", 5, 3), None, 80).comparables
    assert [c.series for c in found[:2]] == ["Series F"] * 2
    assert all(c.series != "Series F" for c in found[2:])
    assert all(next(a.factor for a in c.adjustments if a.name == "series") != 1 for c in found[2:])


def test_the_saved_fit_values_to_the_last_bit() -> None:
    fit = fit_book(BOOK, 10.0)
    text = dump_fit(fit, COUNTS, "abc")
    back = load_fit(text, "abc")
    assert back is not None
    assert dump_fit(back.fit, back.counts, "abc") == text
    ours, theirs = value_kit(fit, KIT, 5.0, 80), value_kit(back.fit, KIT, 5.0, 80)
    for name in ("typical", "mean", "low", "high", "level_low", "level_high"):
        assert getattr(ours.resale, name) == getattr(theirs.resale, name), name
    assert ours.comparables == theirs.comparables


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "",
        lambda text: text[: len(text) // 2],
        lambda text: "[]",
        lambda text: text.replace('"format": 5', '"format": 4'),
        lambda text: json.dumps({**json.loads(text), "coef": [1.0]}),
        lambda text: json.dumps({**json.loads(text), "weights": [-1.0] * 90}),
        lambda text: json.dumps({**json.loads(text), "extra": 1}),
        lambda text: text.replace('"sigma2": ', '"sigma2": "x", "y": '),
    ],
)
def test_a_damaged_fit_is_no_fit(damage) -> None:  # type: ignore[no-untyped-def]
    """Neither as it is, nor where its digest was made anew."""
    whole = dump_fit(fit_book(BOOK, 10.0), COUNTS, "abc")
    bare = whole[: whole.index(',\n "digest"')] + "}"
    assert load_fit(sealed(bare), "abc") is not None
    assert load_fit(damage(whole), "abc") is None
    assert load_fit(sealed(damage(bare)), "abc") is None


def test_a_fit_with_one_digit_changed_is_no_fit() -> None:
    text = dump_fit(fit_book(BOOK, 10.0), COUNTS, "abc")
    assert json.loads(text)["digest"]
    at = text.index('"coef": [') + 15
    digit = next(i for i in range(at, len(text)) if text[i] in "12345678")
    assert load_fit(text[:digit] + str(int(text[digit]) + 1) + text[digit + 1 :], "abc") is None


def test_a_fit_of_other_files_is_no_fit() -> None:
    assert load_fit(dump_fit(fit_book(BOOK, 10.0), COUNTS, "abc"), "abd") is None


def test_results_for_notebooks_are_the_same_figures() -> None:
    results = fit_prices(Prices(BOOK, Shop(shop=ShopTable(name="Dock Road Drums", currency="EUR"))))
    fit = fit_book(BOOK, None)
    assert results.params["condition"] == next(t.coefficient for t in fit.terms if t.name == "condition")
    assert results.nobs == 90
    table = results.conf_int()
    for t in fit.terms:
        assert (table.loc[t.name, 0], table.loc[t.name, 1]) == pytest.approx((t.low, t.high), rel=1e-9)
    np.testing.assert_allclose(results.fittedvalues + results.resid, np.log(BOOK.price), rtol=1e-12)
    frame = pd.DataFrame(
        {"series": ["Series A", "Series B"], "pieces": [5, 4], "condition": [3, 4.5], "hardware": [True, None]},
        index=["one", "two"],
    )
    money = results.get_prediction(frame).summary_frame(alpha=0.2)
    view = outlook(fit, KIT)
    assert list(money.index) == ["one", "two"]
    assert money.loc["one", "mean"] == view.typical
    assert money.loc["one", "mean_ci_lower"] == view.level_low
    assert money.loc["one", "obs_ci_upper"] == view.high
    more = results.get_prediction(frame.assign(price=[1.0, np.nan], note="x")).summary_frame(alpha=0.2)
    pd.testing.assert_frame_equal(more, money)  # columns that it does not need change nothing, as in statsmodels
    with pytest.raises(FileError, match="no such column: pieces"):
        results.get_prediction(frame.drop(columns="pieces"))
    text = str(results.summary())
    assert "condition" in text
    assert "Huber" in text


def test_robust_errors_are_statsmodels_hc3_on_a_plain_fit() -> None:
    shop = Shop(shop=ShopTable(name="Dock Road Drums", currency="EUR"))
    results = fit_prices(Prices(BOOK, shop), robust=False, pooled=False)
    fit = results.fit
    F = fit.columns_of(fit.rows) * fit.scaling.scale + fit.scaling.center
    F[:, 0] = 1
    peer = sm.OLS(np.log(BOOK.price), F).fit(cov_type="HC3")
    np.testing.assert_allclose(results.robust_bse(), peer.bse, rtol=1e-8)


def test_the_notebook_example_is_true(monkeypatch: pytest.MonkeyPatch) -> None:
    """The doctest at the top of the module, which values a kit of the sample shop as the command line does."""
    monkeypatch.chdir(Path(__file__).parents[2])
    found = doctest.testmod(market_results)
    assert found.attempted >= 5
    assert found.failed == 0


def test_a_comparable_counts_with_its_premium_and_its_net_adjustment() -> None:
    book = replace(BOOK, premium=np.where(BOOK.channel == 2, 25.0, 0.0))
    found = value_kit(fit_book(book, None), KIT, None, 80)
    for c in comparables(fit_book(book, None), KIT, 90):
        i = int(np.flatnonzero(book.rows == c.row)[0])
        assert c.observed == pytest.approx(book.price[i] * (1.25 if book.channel[i] == 2 else 1.0), rel=1e-12)
        assert c.net_percent == pytest.approx(100 * (c.adjusted / c.observed - 1), rel=1e-9, abs=1e-9)
        assert c.gross_percent == pytest.approx(sum(abs(a.factor - 1) for a in c.adjustments) * 100, rel=1e-9)
    assert len(found.comparables) == 5


def test_a_series_that_the_book_has_not_is_valued_both_ways_where_that_is_asked_for() -> None:
    fit = fit_book(BOOK, None)
    got = value_kit(fit, replace(KIT, series="Kilbeg"), 5.0, 80, unseen=True)
    assert got.buy_in.typical == outlook(fit, replace(KIT, series="Kilbeg", price_kind="sold"), unseen=True).typical
    with pytest.raises(RefusedError, match="no rows of"):
        value_kit(fit, replace(KIT, series="Kilbeg"), 5.0, 80)


def test_a_prediction_reads_every_column_of_the_frame() -> None:
    results = fit_prices(Prices(BOOK, Shop(shop=ShopTable(name="Dock Road Drums", currency="EUR"))))
    plain = {"series": "Series A", "pieces": 5, "condition": 3, "hardware": True}
    frame = pd.DataFrame([plain | more for more in ({}, {"channel": "dealer"}, {"channel": "auction"})])
    frame["channel"] = frame["channel"].fillna("private")
    mean = results.get_prediction(frame).summary_frame(alpha=0.2)["mean"]
    for i, name in ((1, "dealer"), (2, "auction")):
        assert np.log(mean[i] / mean[0]) == pytest.approx(results.params[name], rel=1e-9)


@pytest.mark.parametrize("pooled", [True, False])
def test_a_row_of_any_series_adjusted_to_the_kit_is_the_fit_times_its_own_residual(pooled: bool) -> None:
    """Two routes to the adjusted price, over every row of the book: term by term, and from the fit."""
    fit = fit_book(BOOK, None, pooled=pooled)
    typical = outlook(fit, replace(KIT, price_kind="sold")).typical
    every = comparables(fit, replace(KIT, price_kind="sold"), len(BOOK))
    assert len(every) == len(BOOK)
    for c in every:
        i = int(np.flatnonzero(BOOK.rows == c.row)[0])
        assert c.adjusted == pytest.approx(typical * np.exp(fit.residuals[i]), rel=1e-9)


def test_a_prediction_reads_the_day_and_the_kind_of_price() -> None:
    results = fit_prices(Prices(BOOK, Shop(shop=ShopTable(name="Dock Road Drums", currency="EUR"))))
    newest = results.fit.recipe.reference_date
    assert newest is not None
    plain = {"series": "Series A", "pieces": 5, "condition": 3, "hardware": True, "price_kind": "sold", "date": newest}
    year = newest - dt.timedelta(days=365)
    frame = pd.DataFrame([plain, plain | {"price_kind": "asked"}, plain | {"date": year}])
    mean = results.get_prediction(frame).summary_frame(alpha=0.2)["mean"]
    assert np.log(mean[0] / mean[1]) == pytest.approx(results.params["sold"], rel=1e-9)
    assert np.log(mean[0] / mean[2]) == pytest.approx(results.params["years"] * 365 / 365.25, rel=1e-6)
