"""The least-squares core against certified values."""

from __future__ import annotations

import csv

import numpy as np
import pytest
import statsmodels.api as sm

from kitvalue.market import linear
from kitvalue.market.encoding import independent, indicators, standardise
from kitvalue.market.linear import Equations, reducer, residuals, solve
from tests.checks import CHECKS, check_toml
from tests.market.books import fixed, reduce

CERTIFIED = check_toml("nist/certified.toml")


def nist(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Target and raw columns without the intercept. NIST StRD linear regression sets (public domain, read)."""
    with (CHECKS / "nist" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        data = np.array([[float(x) for x in row] for row in list(csv.reader(file))[1:]])
    y, X = data[:, 0], data[:, 1:]
    degree = CERTIFIED[name]["degree"]
    return y, (np.column_stack([X[:, 0] ** k for k in range(1, degree + 1)]) if degree > 1 else X)


def numbers(texts: list[str]) -> np.ndarray:
    return np.array([float(t) for t in texts])


@pytest.mark.parametrize(
    "name", ["norris", "longley", "wampler1", "wampler2", "wampler3", "wampler4", "wampler5", "pontius"]
)
def test_certified_coefficients(name: str) -> None:
    """NIST StRD certified values; the tolerances are those stated beside them."""
    certified = CERTIFIED[name]
    y, X = nist(name)
    n = len(y)
    assert all(independent(X.T, np.zeros(n, dtype=np.int64)))
    F = np.column_stack([np.ones(n), X])
    scaling = standardise(F)
    solution = solve(reduce(fixed(scaling.apply(F.copy()), y), np.ones(n)), 0.0)
    params = scaling.back() @ solution.coef
    np.testing.assert_allclose(params, numbers(certified["params"]), rtol=certified["relative_tolerance"])
    sigma = np.sqrt(solution.rss / (n - F.shape[1]))
    bse = sigma * np.sqrt(((scaling.back() @ solution.root) ** 2).sum(axis=1))
    se = numbers(certified["se"])
    assert np.all((se > 0) | (bse < 1e-5))  # the exact fits have standard errors of rounding alone
    np.testing.assert_allclose(bse[se > 0], se[se > 0], rtol=certified["relative_tolerance"])


@pytest.mark.parametrize("name", ["noint1", "noint2"])
def test_certified_without_intercept(name: str) -> None:
    certified = CERTIFIED[name]
    y, X = nist(name)
    solution = solve(reduce(fixed(X, y), np.ones(len(y))), 0.0)
    np.testing.assert_allclose(solution.coef, numbers(certified["params"]), rtol=1e-12)


def test_weights_are_precision_weights() -> None:
    rng = np.random.default_rng(3)
    F = np.column_stack([np.ones(40), rng.normal(size=(40, 2))])
    y, w = rng.normal(size=40), rng.uniform(0.2, 3, 40)
    solution = solve(reduce(fixed(F, y), w), 0.0)
    peer = sm.WLS(y, F, weights=w).fit()
    np.testing.assert_allclose(solution.coef, peer.params, rtol=1e-10)
    np.testing.assert_allclose(solution.root @ solution.root.T, peer.normalized_cov_params, rtol=1e-9)
    assert solution.rss == pytest.approx(peer.ssr, rel=1e-12)


def test_penalised_solution_solves_the_mixed_model_equations() -> None:
    """Henderson's equations, formed outright, have the same solution, inverse and determinant."""
    rng = np.random.default_rng(4)
    F, codes = np.column_stack([np.ones(30), rng.normal(size=30)]), rng.integers(0, 4, 30)
    Z = indicators(codes, 4)
    y, w, theta = rng.normal(size=30), rng.uniform(0.5, 2, 30), 0.37
    C = np.column_stack([F, np.sqrt(theta) * Z])
    A = C.T @ (w[:, None] * C) + np.diag([0, 0, 1, 1, 1, 1])
    solution = solve(reduce(Equations(F, codes, 4, y), w), theta)
    np.testing.assert_allclose(solution.coef, np.linalg.solve(A, C.T @ (w * y)), rtol=1e-10)
    np.testing.assert_allclose(solution.root @ solution.root.T, np.linalg.inv(A), rtol=1e-9)
    assert solution.log_det == pytest.approx(np.linalg.slogdet(A)[1], rel=1e-12)


@pytest.mark.parametrize("theta", [0.0, 0.4])
def test_cross_products_of_tall_books_equal_the_qr_path(monkeypatch: pytest.MonkeyPatch, theta: float) -> None:
    rng = np.random.default_rng(6)
    n, q = 5000, 7
    raw = np.column_stack([np.ones(n), rng.normal(3, 1, n), rng.random(n) < 0.1, rng.lognormal(0, 2, n)])
    F = standardise(raw).apply(raw)
    equations = Equations(F, rng.integers(0, q, n), q, 6 + F @ [1, 0.5, -0.2, 0.1] + rng.normal(0, 0.2, n))
    weights = rng.uniform(0.2, 2, n)
    monkeypatch.setattr(linear, "TALL", n)
    by_qr = solve(reduce(equations, weights), theta)
    whole = residuals(equations, weights, by_qr)
    monkeypatch.setattr(linear, "TALL", n - 1)
    monkeypatch.setattr(linear, "BLOCK", 999)
    by_sums = solve(reduce(equations, weights), theta)
    np.testing.assert_allclose(by_sums.coef, by_qr.coef, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(by_sums.root @ by_sums.root.T, by_qr.root @ by_qr.root.T, rtol=1e-7, atol=1e-9)
    assert by_sums.rss == pytest.approx(by_qr.rss, rel=1e-11)
    assert by_sums.log_det == pytest.approx(by_qr.log_det, rel=1e-12)
    blockwise = residuals(equations, weights, by_sums)
    np.testing.assert_allclose(blockwise.residuals, whole.residuals, atol=1e-11)
    C = np.column_stack([F, np.sqrt(theta) * indicators(equations.codes, q)])
    np.testing.assert_allclose(whole.leverage, weights * ((C @ by_qr.root) ** 2).sum(axis=1), rtol=1e-12)
    np.testing.assert_allclose(blockwise.leverage, whole.leverage, rtol=1e-8)


@pytest.mark.parametrize("pooled", [True, False])
@pytest.mark.parametrize("n", [900, 6000])
def test_robust_weights_taken_off_the_whole_are_the_weighted_equations(n: int, pooled: bool) -> None:
    """Some rows lighter, one of them far off and heavy: the same as reducing the weighted equations at once."""
    rng = np.random.default_rng(9)
    F = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    y = 6 + F @ [0, 0.5, -0.2] + rng.normal(0, 0.2, n)
    y[17] += np.log(100)
    precision = rng.uniform(0.5, 2, n)
    precision[17] = 50
    weights = precision * np.where(rng.random(n) < 0.2, rng.random(n), 1.0)
    weights[17] = 1e-6
    equations = Equations(F, rng.integers(0, 5, n), 4, y, pooled=pooled)  # the last series has no indicator
    reduced = reducer(equations, precision)
    Z = indicators(equations.codes, 4)
    C = np.column_stack([F, Z, y])
    for w in (precision, weights, precision):
        triangle = reduced(w)
        assert (triangle.p, triangle.q, triangle.n) == ((3, 4, n) if pooled else (7, 0, n))
        np.testing.assert_allclose(triangle.R.T @ triangle.R, C.T @ (w[:, None] * C), rtol=1e-11, atol=1e-8)
        assert triangle.log_weights == pytest.approx(np.log(w).sum(), rel=1e-12)


@pytest.mark.parametrize("n", [60, 6000])
def test_series_as_indicators_are_weighted_least_squares(n: int) -> None:
    """statsmodels with a column for each series but the one that the others are measured from."""
    rng = np.random.default_rng(10)
    F, codes = np.column_stack([np.ones(n), rng.normal(size=n)]), rng.integers(0, 4, n)
    y, w = F @ [5, 0.3] + np.array([0.2, -0.1, 0.4, 0])[codes] + rng.normal(0, 0.1, n), rng.uniform(0.5, 2, n)
    equations = Equations(F, codes, 3, y, pooled=False)
    X = np.column_stack([F, indicators(codes, 3)])
    solution = solve(reduce(equations, w), 0.0)
    peer = sm.WLS(y, X, weights=w).fit()
    np.testing.assert_allclose(solution.coef, peer.params, rtol=1e-9)
    np.testing.assert_allclose(solution.root @ solution.root.T, peer.normalized_cov_params, rtol=1e-8)
    assert solution.rss == pytest.approx(peer.ssr, rel=1e-10)
    left = residuals(equations, w, solution)
    np.testing.assert_allclose(left.residuals, peer.resid, atol=1e-11)
    half = np.sqrt(w)[:, None] * X
    np.testing.assert_allclose(left.leverage, np.einsum("ij,ji->i", half, np.linalg.pinv(half)), rtol=1e-8)
