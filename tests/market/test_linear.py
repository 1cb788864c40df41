"""The least-squares core against certified values, and its rank check."""

from __future__ import annotations

import csv

import numpy as np
import pytest
import statsmodels.api as sm

from kitvalue.market.linear import independent, indicators, reduce, solve, standardise
from tests.checks import CHECKS, check_toml

CERTIFIED = check_toml("nist/certified.toml")
NO_SERIES = np.empty((0, 0))


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
    assert all(independent(X, np.empty((n, 0))))
    F = np.column_stack([np.ones(n), X])
    scaling = standardise(F)
    solution = solve(reduce(scaling.apply(F), np.empty((n, 0)), y, np.ones(n)), 0.0)
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
    solution = solve(reduce(X, np.empty((len(y), 0)), y, np.ones(len(y))), 0.0)
    np.testing.assert_allclose(solution.coef, numbers(certified["params"]), rtol=1e-12)


def test_filip_is_refused_never_answered() -> None:
    """NIST StRD Filip: a polynomial of degree 10 whose powers double precision cannot tell apart."""
    y, X = nist("filip")
    assert not all(independent(X, np.empty((len(y), 0))))


def test_weights_are_precision_weights() -> None:
    rng = np.random.default_rng(3)
    F = np.column_stack([np.ones(40), rng.normal(size=(40, 2))])
    y, w = rng.normal(size=40), rng.uniform(0.2, 3, 40)
    solution = solve(reduce(F, np.empty((40, 0)), y, w), 0.0)
    peer = sm.WLS(y, F, weights=w).fit()
    np.testing.assert_allclose(solution.coef, peer.params, rtol=1e-10)
    np.testing.assert_allclose(solution.root @ solution.root.T, peer.normalized_cov_params, rtol=1e-9)
    assert solution.rss == pytest.approx(peer.ssr, rel=1e-12)


def test_penalised_solution_solves_the_mixed_model_equations() -> None:
    """Henderson's equations, formed outright, have the same solution, inverse and determinant."""
    rng = np.random.default_rng(4)
    F, Z = np.column_stack([np.ones(30), rng.normal(size=30)]), indicators(rng.integers(0, 4, 30), 4)
    y, w, theta = rng.normal(size=30), rng.uniform(0.5, 2, 30), 0.37
    C = np.column_stack([F, np.sqrt(theta) * Z])
    A = C.T @ (w[:, None] * C) + np.diag([0, 0, 1, 1, 1, 1])
    solution = solve(reduce(F, Z, y, w), theta)
    np.testing.assert_allclose(solution.coef, np.linalg.solve(A, C.T @ (w * y)), rtol=1e-10)
    np.testing.assert_allclose(solution.root @ solution.root.T, np.linalg.inv(A), rtol=1e-9)
    assert solution.log_det == pytest.approx(np.linalg.slogdet(A)[1], rel=1e-12)


def test_rank_is_decided_in_order() -> None:
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=50), rng.normal(size=50)
    columns = np.column_stack([a, np.full(50, 4.0), b, 2 * a - b + 1, a + 1e-3 * rng.normal(size=50)])
    assert independent(columns, np.empty((50, 0))) == (True, False, True, False, True)


def test_what_the_series_reproduce_is_dependent() -> None:
    codes = np.repeat([0, 1, 2], 5)
    of_series = np.array([2.0, 5.0, 7.0])[codes]
    assert independent(of_series[:, None], indicators(codes, 3)) == (False,)
    assert independent(of_series[:, None], np.empty((15, 0))) == (True,)
