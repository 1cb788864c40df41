"""The outlooks of many kits at once, as arrays: what the buying decisions count their chances from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.market import columns
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import Kit
from kitvalue.market.outlook import for_means, sample_of, typical_draws
from kitvalue.market.recipe import like, offsets

SCATTER_SEED = 20260107


@dataclass(frozen=True, slots=True, eq=False)
class KitSamples:
    """m kits, n rows of the book; money.

    `sample` is the signed sample from which chances are counted; `clipped` the same with far residuals cut, from which
    means are taken. Column j is the market's scatter as row j of the book shows it, for every kit.
    """

    typical: FloatArray  # (m,)
    sample: FloatArray  # (m, n)
    clipped: FloatArray  # (m, n)


def kit_samples(fit: Fit, kits: Sequence[Kit]) -> KitSamples:
    """The samples of kits whose series are in the book: `outlook.outlooks` for all of them in one product.

    Raises RefusedError where nothing says how far a sold price lies under an asked one.
    """
    rows = columns.of_kits(kits, fit.recipe.series, fit.recipe.reference_date, like(fit.recipe))
    X = fit.columns_of(rows)
    shift = offsets(rows, fit.recipe)[:, None]
    base = sample_of(fit)
    V = X @ fit.root
    typical = (X @ fit.coef)[:, None] + shift
    r = base.residuals
    predictions = typical - (V @ base.weighted.T) * r
    stretch = np.maximum(1.0, np.sqrt((1.0 + (V**2).sum(axis=1)) / (1.0 + base.typical_g)))[:, None]
    cut = for_means(r, fit.scatter)
    sample = np.exp(predictions + stretch * r)
    clipped = sample if np.array_equal(cut, r) else np.exp(predictions + stretch * cut)
    return KitSamples(np.exp(typical[:, 0]), sample, clipped)


def shared_draws(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
    """(m, draws) prices of one sale of each kit: the coefficients drawn once for all kits, each sale's own scatter
    drawn for itself from e_i / sqrt(1 - h_i). Fixed seed. Two equal kits share the level and not the scatter."""
    level = np.log(typical_draws(fit, kits, draws).T)
    scatter = fit.residuals / np.sqrt(1.0 - fit.leverage)
    scatter = for_means(scatter, fit.scatter) if fit.scatter > 0 else scatter
    own = np.random.default_rng(SCATTER_SEED).integers(len(scatter), size=level.shape)
    prices: FloatArray = np.exp(level + scatter[own])
    return prices
