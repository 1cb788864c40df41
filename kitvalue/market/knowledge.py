"""Which series the book knows least, and what one more sighting of each would do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.market import columns
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import Kit
from kitvalue.market.recipe import like


@dataclass(frozen=True, slots=True)
class SeriesKnowledge:
    """How well the typical price of one series is known, for the book's usual kit.

    `level_percent` is how far the upper end of the 80 % level range lies above the typical price, in percent;
    `one_more_percent` the same once one more such kit has been seen.
    """

    name: str
    rows: int
    level_percent: float
    one_more_percent: float


def usual_kit(fit: Fit, series: str) -> Kit:
    """A kit of the book's median pieces and condition, sold in private on the newest date."""
    book = fit.book
    return Kit(series, float(round(np.median(book.pieces))), float(np.round(2 * np.median(book.condition)) / 2))


def series_knowledge(fit: Fit) -> tuple[SeriesKnowledge, ...]:
    """Every series of the book, the one that it knows least first.

    One more sighting at x multiplies the variance of the level there by 1 / (1 + g), g = x' A^-1 x (the rank-one
    update of the inverse; Sherman and Morrison 1950).
    """
    names = fit.recipe.series
    rows = columns.of_kits([usual_kit(fit, name) for name in names], names, fit.recipe.reference_date, like(fit.recipe))
    g = ((fit.columns_of(rows) @ fit.level_root) ** 2).sum(axis=1)
    reach = fit.level_t[79] * np.sqrt(fit.sigma2 * g)
    after = reach / np.sqrt(1 + g)
    found = [
        SeriesKnowledge(name, count, 100 * float(np.expm1(a)), 100 * float(np.expm1(b)))
        for name, count, a, b in zip(names, fit.recipe.rows_by_series, reach, after, strict=True)
    ]
    return tuple(sorted(found, key=lambda k: -k.level_percent))
