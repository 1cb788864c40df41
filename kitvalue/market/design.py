"""Which terms enter a fit: decided from the book alone, before anything is fitted."""

from __future__ import annotations

import numpy as np

from kitvalue.intake.book import FloatArray, PriceBook
from kitvalue.intake.problems import RefusedError
from kitvalue.intake.vocabulary import PRICE_KINDS
from kitvalue.market.candidates import MIN_SOLD, candidates
from kitvalue.market.columns import Columns
from kitvalue.market.leftout import decide
from kitvalue.market.recipe import FeatureRecipe, LeftOut, Recipe, by_pairs
from kitvalue.market.terms import Term


def build_recipe(book: PriceBook, rows: Columns, haggle: float | None, pooled: bool) -> Recipe:
    """Decide the terms from the book and its columns alone. `haggle`: the percent between asked and sold, or None.

    Raises RefusedError where sold and asked rows are mixed, cannot be told apart and no haggle is given.
    """
    tried = candidates(rows)
    kept, left_out = decide(tried, book)
    terms = tuple(c.term for c, k in zip(tried, kept, strict=True) if k)
    several = len(book.series_names) > 1
    if not several:
        only = f"every row is {book.series_names[0]}: there is no other series to tell it from"
        left_out += (LeftOut("series", only),)
    elif not pooled:
        terms += tuple(Term(f"series[{s}]", "series", level=s) for s in sorted(book.series_names)[1:])
    steps = asked_to_paid(book)
    pair_step = min(0.0, float(np.median(steps))) if len(steps) >= MIN_SOLD else None
    offset, basis = _sold_basis(book, any(t.source == "sold" for t in terms), pair_step, len(steps), haggle)
    return Recipe(
        terms=terms,
        series=book.series_names,
        features=tuple(FeatureRecipe(f.name, f.kind, f.words) for f in book.features),
        pooled=pooled and several,
        reference_date=rows.reference,
        sold_offset=offset,
        sold_basis=basis,
        pairs=len(steps),
        pair_step=pair_step,
        left_out=left_out,
        pieces_seen=(float(book.pieces.min()), float(book.pieces.max())),
        conditions_seen=(float(book.condition.min()), float(book.condition.max())),
        rows_by_series=tuple(int(n) for n in np.bincount(book.series, minlength=len(book.series_names))),
    )


def asked_to_paid(book: PriceBook) -> FloatArray:
    """The log of what was paid over what was asked, of the rows that tell both."""
    both = (book.price_kind == PRICE_KINDS.index("sold")) & (book.asked > 0)
    steps: FloatArray = np.log(book.price[both] / book.asked[both])
    return steps


def _sold_basis(
    book: PriceBook, is_term: bool, pair_step: float | None, pairs: int, haggle: float | None
) -> tuple[float | None, str]:
    """The offset of sold kits, and in words what it rests on."""
    sold = int((book.price_kind != 0).sum())
    if is_term:
        return 0.0, f"{sold} sold rows of the book"
    if pair_step is not None:
        return pair_step, by_pairs(pairs, pair_step)
    if sold == len(book):
        return 0.0, f"{sold} sold rows of the book"
    fewer, kind = min((sold, "sold"), (len(book) - sold, "asked"))
    why = f"the book has {fewer} {kind} rows, fewer than {MIN_SOLD}" if fewer < MIN_SOLD else "the book cannot tell"
    if haggle is not None:
        return float(np.log1p(-haggle / 100)), f"the haggle of {haggle:g} % in shop.toml ({why})"
    if sold:
        raise RefusedError(f"asked and sold prices cannot be told apart ({why}): set haggle in [prices] of shop.toml")
    return None, f"nothing: {why}, and shop.toml sets no haggle"
