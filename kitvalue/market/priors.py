"""What the trade usually sees, for books too small to tell: normal priors on the effects, fading as rows come in.

The values are from memory of the trade, not from a source, and wide; a book that lies far from them widens them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.market.encoding import Recipe, Scaling
from kitvalue.market.linear import Reducer, Triangle, reml_criterion, reml_theta
from kitvalue.market.refine import Refined
from kitvalue.market.robust import reweight

FULL_UP_TO, GONE_FROM = 30, 60  # rows
USUAL = {  # effect on the log price, and how far it may well be off
    "log_pieces": (0.6, 0.2),
    "condition": (0.11, 0.05),
    "sold": (-0.07, 0.06),
    "dealer": (0.12, 0.08),
    "auction": (-0.08, 0.1),
    "years": (0.03, 0.06),
}
USUAL_SCATTER = 0.2
WIDER = (1.0, 1.5, 2.0, 3.0, 5.0, 8.0, 15.0)


def prior_share(rows: int) -> float:
    """How much the priors count: 1 up to 30 rows, 0 from 60 on, straight in between."""
    return float(np.clip((GONE_FROM - rows) / (GONE_FROM - FULL_UP_TO), 0.0, 1.0))


def leaning(plain: Refined, recipe: Recipe, scaling: Scaling, rows: int) -> Refined:
    """The fit with its priors: rows of their own under the equations (mixed estimation; Theil and Goldberger 1961). All
    are widened by one factor, the one with the highest marginal likelihood."""
    share, names = prior_share(rows), [name for name in recipe.names if name in USUAL]
    if not share or not names:
        return plain

    def with_width(width: float) -> Reducer:
        prior = prior_rows(recipe, scaling, names, plain.equations.q, np.sqrt(share) / width)

        def reduced(weights: FloatArray) -> Triangle:
            triangle = plain.reduced(weights)
            return replace(triangle, R=np.vstack([triangle.R, prior]), lent=share * len(names))

        return reduced

    def criterion(width: float) -> float:
        triangle = with_width(width)(weights)
        return reml_criterion(triangle, reml_theta(triangle)) + 2 * share * len(names) * float(np.log(width))

    weights = plain.precision * reweight(plain.equations, plain.precision, with_width(1.0)).huber
    reduced = with_width(min(WIDER, key=criterion))
    return replace(plain, reduced=reduced, weighted=reweight(plain.equations, plain.precision, reduced))


def prior_rows(recipe: Recipe, scaling: Scaling, names: list[str], q: int, times: float) -> FloatArray:
    """(names, p + q + 1) one equation an effect, in units of the usual scatter."""
    prior = np.zeros((len(names), len(recipe.names) + q + 1))
    for row, name in zip(prior, names, strict=True):
        at, (middle, sd) = recipe.names.index(name), USUAL[name]
        weight = times * USUAL_SCATTER / sd
        row[at], row[-1] = weight / scaling.scale[at], weight * middle
    return prior
