"""Priors of small books: against their closed form, how they fade, and what they leave to a book far from them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kitvalue.market.fit import fit_book
from kitvalue.market.linear import Triangle, solve
from kitvalue.market.priors import USUAL, USUAL_SCATTER, prior_rows, prior_share
from tests.market.books import EFFECTS, invented_book


def test_priors_fade_between_30_and_60_rows() -> None:
    shares = [prior_share(rows) for rows in (12, 30, 45, 59, 60, 1000)]
    assert shares == pytest.approx([1, 1, 0.5, 1 / 30, 0, 0])


def test_the_rows_give_the_posterior_mean_of_normal_priors() -> None:
    """(X'X/s2 + D)^-1 (X'y/s2 + D m) in raw units, D the inverse prior variances (Theil and Goldberger 1961)."""
    book = invented_book(n=40)
    recipe, scaling = (fit := fit_book(book, None)).recipe, fit.scaling
    names = list(USUAL)
    p = len(recipe.names)
    F = fit.columns_of(fit.rows)[:, :p]
    y = np.log(book.price)
    R = np.vstack([np.column_stack([F, y]), prior_rows(recipe, scaling, names, 0, 1.0)])
    raw = scaling.back() @ solve(Triangle(R, p, 0, len(y), 0.0), ()).coef
    X = F @ np.linalg.inv(scaling.back())
    D = np.diag([0.0, *(USUAL[name][1] ** -2.0 for name in recipe.names[1:])])
    m = np.array([0.0, *(USUAL[name][0] for name in recipe.names[1:])])
    s2 = USUAL_SCATTER**2
    np.testing.assert_allclose(raw, np.linalg.solve(X.T @ X / s2 + D, X.T @ y / s2 + D @ m), rtol=1e-8)


def test_small_books_come_nearer_to_the_truth() -> None:
    """The mean error of the effect of a grade over 20 books of 14 rows, with and without priors."""
    books = [invented_book(n=14, series=4, seed=seed) for seed in range(20)]
    leaning, alone = (
        [np.abs(next(t.coefficient for t in fit_book(b, 10.0, robust=robust).terms if t.name == "condition")
                - EFFECTS["condition"]) for b in books]
        for robust in (True, False)
    )  # fmt: skip
    assert np.mean(leaning) < 0.7 * np.mean(alone)


def test_a_book_far_from_the_trade_is_believed() -> None:
    """A grade worth four times the usual: the priors widen, and the effect stays within a fifth of what was drawn."""
    book = invented_book(n=40, seed=2)
    far = replace(book, price=book.price * np.exp(0.35 * (book.condition - 3)))
    found = next(t.coefficient for t in fit_book(far, 10.0).terms if t.name == "condition")
    assert found == pytest.approx(EFFECTS["condition"] + 0.35, rel=0.2)
