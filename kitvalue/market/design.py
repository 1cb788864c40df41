"""The recipe of a fit: which terms enter, and how a kit becomes its row of numbers.

The recipe travels with the fit, so that a kit asked about later cannot be encoded differently.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.intake.book import FloatArray, PriceBook
from kitvalue.intake.problems import RefusedError
from kitvalue.market import columns
from kitvalue.market.columns import Columns, FeatureValues
from kitvalue.market.leftout import LeftOut, decide
from kitvalue.market.terms import MIN_SOLD, Term, candidates, term_values


@dataclass(frozen=True, slots=True)
class FeatureRecipe:
    """A feature of the book: its kind and, for words, the ones that occur."""

    name: str
    kind: str
    words: tuple[str, ...]


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
    left_out: tuple[LeftOut, ...]
    pieces_seen: tuple[float, float]
    conditions_seen: tuple[float, float]
    rows_by_series: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The fixed columns' names, the intercept first."""
        return ("intercept", *(t.name for t in self.terms))

    def has(self, source: str) -> bool:
        """Does a term of this source enter?"""
        return any(t.source == source for t in self.terms)


def build_recipe(book: PriceBook, haggle: float | None, pooled: bool) -> Recipe:
    """Decide the terms from the book alone. `haggle` is the percent between asked and sold, or None.

    Raises RefusedError where sold and asked rows are mixed, cannot be told apart and no haggle is given.
    """
    reference = columns.newest_date(book)
    tried = candidates(columns.of_book(book, reference))
    kept, left_out = decide(tried, book)
    terms = tuple(c.term for c, k in zip(tried, kept, strict=True) if k)
    several = len(book.series_names) > 1
    if not several:
        only = f"every row is {book.series_names[0]}: there is no other series to tell it from"
        left_out += (LeftOut("series", only),)
    elif not pooled:
        terms += tuple(Term(f"series[{s}]", "series", level=s) for s in sorted(book.series_names)[1:])
    offset, basis = _sold_basis(book, any(t.source == "sold" for t in terms), haggle)
    return Recipe(
        terms=terms,
        series=book.series_names,
        features=tuple(FeatureRecipe(f.name, f.kind, f.words) for f in book.features),
        pooled=pooled and several,
        reference_date=reference,
        sold_offset=offset,
        sold_basis=basis,
        left_out=left_out,
        pieces_seen=(float(book.pieces.min()), float(book.pieces.max())),
        conditions_seen=(float(book.condition.min()), float(book.condition.max())),
        rows_by_series=tuple(int(n) for n in np.bincount(book.series, minlength=len(book.series_names))),
    )


def _sold_basis(book: PriceBook, is_term: bool, haggle: float | None) -> tuple[float | None, str]:
    """The offset of sold kits, and in words what it rests on."""
    sold = int((book.price_kind != 0).sum())
    if is_term or sold == len(book):
        return 0.0, f"{sold} sold rows of the book"
    why = f"the book has {sold} sold rows, fewer than {MIN_SOLD}" if sold < MIN_SOLD else "the book cannot tell"
    if haggle is not None:
        return float(np.log1p(-haggle / 100)), f"the haggle of {haggle:g} % in shop.toml ({why})"
    if sold:
        raise RefusedError(f"asked and sold prices cannot be told apart ({why}): set haggle in [prices] of shop.toml")
    return None, f"nothing: {why}, and shop.toml sets no haggle"


def encode(rows: Columns, recipe: Recipe) -> FloatArray:
    """(n, p) fixed columns, the intercept first, blanks filled by the recipe's averages.

    Column by column in memory, which is how they are made and standardised.
    """
    columns_first = np.empty((1 + len(recipe.terms), len(rows)))
    columns_first[0] = 1.0
    for place, term in enumerate(recipe.terms, start=1):
        columns_first[place] = term_values(term, rows, recipe.series)
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
