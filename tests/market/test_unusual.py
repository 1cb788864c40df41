"""Unusual rows: their figures against refits without them, and the slips that are named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm

from kitvalue.market.fit import fit_book, hint
from kitvalue.market.fitted import TermEstimate
from kitvalue.market.robust import gross_rows
from tests.market.books import invented_book


def term(name: str, coefficient: float) -> TermEstimate:
    return TermEstimate(name, coefficient, 0.01, coefficient, coefficient, 0.0, 0.0, 0.0)


TERMS = (term("log_pieces", 0.6), term("sold", -0.25))


def test_a_slip_is_found_with_what_it_does_to_kits_like_it() -> None:
    book = invented_book(n=80)
    price = book.price.copy()
    price[11] *= 10
    book = replace(book, price=price)
    fit = fit_book(book, None)
    worst = fit.unusual[0]
    assert worst.row == int(book.rows[11])
    assert worst.leverage == pytest.approx(fit.leverage[11])
    assert "ten times too high" in worst.hint
    r = fit.residuals[11] / (1 - fit.leverage[11])
    assert worst.expected == pytest.approx(price[11] * np.exp(-r))
    assert worst.moves_percent == pytest.approx(100 * np.expm1(fit.leverage[11] * r), rel=1e-9)
    scale = fit.scatter * fit.ratios[fit.book.series[11]]
    assert worst.studentised == pytest.approx(fit.residuals[11] / scale / np.sqrt(1 - fit.leverage[11]), rel=1e-9)


def test_plain_leverage_and_left_out_residuals_are_statsmodels() -> None:
    """A second program: the influence measures of the same least squares."""
    book = invented_book(n=60)
    fit = fit_book(book, None, robust=False, pooled=False)
    F = fit.columns_of(fit.rows)
    peer = sm.OLS(np.log(book.price), F).fit().get_influence()
    np.testing.assert_allclose(fit.leverage, peer.hat_matrix_diag, rtol=1e-9)
    np.testing.assert_allclose(fit.left_out_residuals, peer.resid_press, rtol=1e-8)


@pytest.mark.parametrize(
    ("log_ratio", "pieces", "sold", "words"),
    [
        (np.log(100), 5, True, "a hundred times too high"),
        (-np.log(100) + 0.2, 5, False, "a hundred times too low"),
        (np.log(10) - 0.34, 5, False, "ten times too high"),
        (np.log(10) + 0.34, 5, False, "ten times too high"),
        (-np.log(10), 5, True, "ten times too low"),
        (0.6 * np.log(5 / 9), 9, False, "priced like 5 drums"),
        (0.25, 5, True, "is it the price paid?"),
        (np.log(3), 5, False, "a bundle"),
        (0.5, 5, False, ""),
        (-0.5, 5, False, ""),
    ],
)
def test_hints(log_ratio: float, pieces: float, sold: bool, words: str) -> None:
    found = hint(log_ratio, pieces, sold, 0.1, TERMS)
    assert words in found
    assert bool(found) == bool(words)


def test_a_row_is_gross_by_its_residual_over_what_its_leverage_leaves_it() -> None:
    """By hand: 6 / sqrt(1 - 0.5) is 8.5 scales, 6 / sqrt(1 - 0.4) is 7.7; a weight of 4 doubles a residual."""
    e, h, precision = np.array([6.0, -6.0, 4.1, 0.1]), np.array([0.5, 0.4, 0.0, 0.1]), np.array([1.0, 1.0, 4.0, 1.0])
    assert gross_rows(e, h, precision, 1.0, np.zeros(4, dtype=np.int64)).tolist() == [True, False, True, False]
