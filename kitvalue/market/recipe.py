"""The recipe of a fit: how a kit becomes its row of numbers.

The recipe travels with the fit, so that a kit asked about later cannot be encoded differently.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.intake.problems import RefusedError
from kitvalue.market.columns import Columns, FeatureValues
from kitvalue.market.terms import Term, term_values


@dataclass(frozen=True, slots=True)
class FeatureRecipe:
    """A feature of the book: its kind and, for words, the ones that occur."""

    name: str
    kind: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A term that did not enter, and why."""

    term: str
    reason: str


@dataclass(frozen=True, slots=True)
class Recipe:
    """Everything needed to encode a kit the way the book was encoded."""

    terms: tuple[Term, ...]
    series: tuple[str, ...]
    features: tuple[FeatureRecipe, ...]
    pooled: bool  # series effects are drawn from a normal; else they are indicators among `terms`
    reference_date: date | None  # years count from here
    sold_offset: float | None  # added to the log price of sold kits where sold is no term; None where it is unknown
    sold_basis: str  # what the step from asked to sold rests on, in words
    pairs: int  # rows that tell both what was asked and what was paid
    pair_step: float | None  # the median of log(paid / asked) over these, at most 0; None where they are too few
    left_out: tuple[LeftOut, ...]
    pieces_seen: tuple[float, float]
    conditions_seen: tuple[float, float]
    rows_by_series: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The fixed columns' names, the intercept first."""
        return ("intercept", *(t.name for t in self.terms))

    @property
    def numbers(self) -> tuple[Term, ...]:
        """The terms that are no indicators of a series."""
        return tuple(t for t in self.terms if t.source != "series")

    def has(self, source: str) -> bool:
        """Does a term of this source enter?"""
        return any(t.source == source for t in self.terms)


def by_pairs(pairs: int, step: float) -> str:
    """What a step rests on that rows with both prices tell, in words."""
    return f"{pairs} rows that tell what was asked and what was paid ({100 * np.expm1(step):.1f} %)"


def encode(rows: Columns, recipe: Recipe) -> FloatArray:
    """(n, p) fixed columns, the intercept first, blanks filled by the recipe's averages."""
    return encode_terms(rows, recipe.terms, recipe.series)


def encode_terms(rows: Columns, terms: tuple[Term, ...], series: tuple[str, ...]) -> FloatArray:
    """(n, 1 + terms) columns of some terms, the intercept first, blanks filled by the book's averages.

    Column by column in memory, which is how they are made and standardised.
    """
    columns_first = np.empty((1 + len(terms), len(rows)))
    columns_first[0] = 1.0
    for place, term in enumerate(terms, start=1):
        columns_first[place] = term_values(term, rows, series)
    return columns_first.T


def offsets(rows: Columns, recipe: Recipe) -> FloatArray:
    """(n,) what is added to the log price outside the regression: the haggle of sold kits where sold is no term.

    Raises RefusedError where a sold price is asked for and nothing says how far it lies under the asked one.
    """
    sold = rows.sold > 0
    if recipe.sold_offset is None and np.any(sold):
        raise RefusedError("the book holds asked prices only: set haggle in [prices] of shop.toml to value a sale")
    return np.where(sold, recipe.sold_offset or 0.0, 0.0)


def like(recipe: Recipe) -> tuple[FeatureValues, ...]:
    """The features as empty columns, to code kits by."""
    return tuple(FeatureValues(f.name, f.kind, np.empty(0), f.words) for f in recipe.features)
