"""The predictive sample: residuals as they enter a mean, and the spread of a series that the book has not."""

from __future__ import annotations

import numpy as np
import pytest

from kitvalue.market.fit import fit_book
from kitvalue.market.outlook import for_means, sample_of, scatter_at
from tests.market.books import invented_book


def test_residuals_enter_a_mean_cut_at_four_scales_and_not_at_all_over_eight() -> None:
    """By hand, at a scale of 0.1."""
    cut = for_means(np.array([-0.9, -0.7, -0.3, 0.2, 0.5, 0.81]), 0.1)
    np.testing.assert_allclose(cut, [0.0, -0.4, -0.3, 0.2, 0.4, 0.0], atol=1e-12)


def test_an_unseen_series_scatters_by_tau_around_the_same_middle() -> None:
    fit = fit_book(invented_book(n=200), None)
    x, sample = np.eye(len(fit.coef))[0], sample_of(fit)
    seen = scatter_at(fit, sample, x, stretch=False, unseen=False)
    unseen = scatter_at(fit, sample, x, stretch=False, unseen=True)
    for more in (unseen.residuals - seen.residuals, unseen.clipped - seen.clipped):
        assert float(more.mean()) == pytest.approx(0.0, abs=1e-9)
        assert float(more.std()) == pytest.approx(np.sqrt(fit.tau2), rel=0.02)
    assert unseen.level_sd**2 - seen.level_sd**2 == pytest.approx(fit.tau2)
