"""A fit as small as it can be and still give every outlook exactly: what a page needs to value kits by itself.

Left-out predictions need of each row only its columns, its weight and its left-out residual: with u = A^-1 x, leaving
row i out moves the prediction at x by -w_i (c_i' u) r_i (see `outlook`). So k x k matrices and n rows ride along, not
n x k products.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kitvalue.intake.books.book import FloatArray, IntArray
from kitvalue.intake.text.problems import texts
from kitvalue.market.encoding import FeatureValue, Kit, Term, term_values
from kitvalue.market.fitted import GROSS, Fit
from kitvalue.market.outlook import CLIP, outlooks, places, sample_of
from kitvalue.market.value import value_kit

RANGE_PERCENT = 80
MOST_PIECES = 20
GRADES = tuple(g / 2 for g in range(2, 11))  # bench grades in halves


@dataclass(frozen=True, slots=True, eq=False)
class PocketFit:
    """n rows, k columns of which p are fixed. `raw` holds, for each term after the intercept that is no series
    indicator, the rows' values (n,) before standardising, blanks filled; None for a series indicator."""

    terms: tuple[Term, ...]
    raw: tuple[FloatArray | None, ...]
    center: FloatArray  # (p,)
    scale: FloatArray  # (p,)
    series: IntArray  # (n,) index into the recipe's series
    weights: FloatArray  # (n,)
    residuals: FloatArray  # (n,) left-out, log scale
    coef: FloatArray  # (k,)
    inverse: FloatArray  # (k, k) A^-1
    level_inverse: FloatArray  # (k, k) the same without the robust weights
    root_theta: float | None  # what a pooled series' indicator is multiplied by; None where series are not pooled
    typical_g: float
    level_reach: float  # Student t times sigma
    cut: float  # residuals beyond this enter a mean as this much
    gross: float  # and beyond this as 0
    low_at: int  # which order statistics hold the range, counted from 1
    high_at: int


def pocket_fit(fit: Fit) -> PocketFit:
    """The parts of a fit that its outlooks at 80 % need."""
    rows, series = fit.rows, fit.recipe.series
    return PocketFit(
        terms=fit.recipe.terms,
        raw=tuple(None if t.source == "series" else term_values(t, rows, series) for t in fit.recipe.terms),
        center=fit.scaling.center,
        scale=fit.scaling.scale,
        series=fit.book.series,
        weights=fit.weights,
        residuals=fit.left_out_residuals,
        coef=fit.coef,
        inverse=fit.root @ fit.root.T,
        level_inverse=fit.level_root @ fit.level_root.T,
        root_theta=float(np.sqrt(fit.theta)) if fit.recipe.pooled else None,
        typical_g=sample_of(fit).typical_g,
        level_reach=fit.level_t[RANGE_PERCENT - 1] * float(np.sqrt(fit.sigma2)),
        cut=CLIP * fit.scatter,
        gross=GROSS * fit.scatter,
        low_at=places(len(rows), RANGE_PERCENT)[0],
        high_at=places(len(rows), RANGE_PERCENT)[1],
    )


@dataclass(frozen=True, slots=True)
class GivenFeature:
    """What it does to the cautions of a kit that a feature is given: `value` is the word, or "" for any other kind."""

    name: str
    value: str
    drop: tuple[str, ...]
    add: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PocketCautions:
    """The cautions of any kit, found by asking: those that always hold, and those that come with a series (in the
    recipe's order), with 1 to 20 pieces, with a grade (1 to 5 in halves) or with a feature that is given."""

    always: tuple[str, ...]
    by_series: tuple[tuple[str, ...], ...]
    by_pieces: tuple[tuple[str, ...], ...]
    by_grade: tuple[tuple[str, ...], ...]
    given: tuple[GivenFeature, ...]


def pocket_cautions(fit: Fit) -> PocketCautions:
    """Ask the program itself for one kit of every sort. Raises RefusedError where a sale cannot be valued."""
    names, counts = fit.recipe.series, fit.recipe.rows_by_series
    base = Kit(names[counts.index(max(counts))], fit.recipe.pieces_seen[0], fit.recipe.conditions_seen[0])

    def said_of(kits: list[Kit]) -> list[tuple[str, ...]]:
        return [texts(view.cautions) for view in outlooks(fit, kits, RANGE_PERCENT)]

    by_series = said_of([replace(base, series=name) for name in names])
    shared = [text for text in by_series[0] if all(text in told for told in by_series)]
    (own,) = said_of([base])
    usual = texts(value_kit(fit, base, None, RANGE_PERCENT).cautions)
    always = tuple(text for text in usual if text in shared or text not in own)
    pieces = [replace(base, pieces=float(k)) for k in range(1, MOST_PIECES + 1)]
    grades = [replace(base, condition=g) for g in GRADES]
    given = []
    for feature in fit.recipe.features:
        for word in feature.words if feature.kind == "word" else ("",):
            value = FeatureValue(feature.name, word or (True if feature.kind == "yes-no" else 0.0))
            told = texts(value_kit(fit, replace(base, features=(value,)), None, RANGE_PERCENT).cautions)
            given.append(GivenFeature(feature.name, word, _beyond(usual, told), _beyond(told, usual)))
    return PocketCautions(
        always=always,
        by_series=tuple(_beyond(told, always) for told in by_series),
        by_pieces=tuple(_beyond(told, own) for told in said_of(pieces)),
        by_grade=tuple(_beyond(told, own) for told in said_of(grades)),
        given=tuple(given),
    )


def _beyond(told: tuple[str, ...], known: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(text for text in told if text not in known)
