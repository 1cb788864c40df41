"""Which terms enter a fit: decided from the book alone, before anything is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kitvalue.intake.books.book import FloatArray, IntArray, PriceBook
from kitvalue.intake.text.problems import RefusedError
from kitvalue.intake.text.vocabulary import PRICE_KINDS
from kitvalue.intake.text.words import rows_phrase
from kitvalue.market.encoding import (
    CONDITION_ZERO,
    DAYS_A_YEAR,
    Columns,
    FeatureRecipe,
    LeftOut,
    Recipe,
    Term,
    by_pairs,
    indicators,
    level_values,
    newest_date,
    squares_about,
)

MIN_SOLD = 5  # rows on each side before asked and sold are told apart
MIN_SIDE = 3  # rows on each side of any other yes/no term
MIN_SPAN_DAYS = 180


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A term on trial: its column (n,) with blanks filled, the rows it needs on each side (None for a number), and a
    reason against it that is known beforehand."""

    term: Term
    values: FloatArray
    side: int | None
    refused: str = ""


def candidates(rows: Columns) -> tuple[Candidate, ...]:
    """Every term that could enter, in the order in which they are tried."""
    tried = [
        _candidate(Term("log_pieces", "pieces"), np.log(rows.pieces), None),
        _candidate(Term("condition", "condition"), rows.condition - CONDITION_ZERO, None),
        _candidate(Term("sold", "sold"), rows.sold, MIN_SOLD),
        _candidate(Term("dealer", "dealer"), rows.dealer, MIN_SIDE),
        _candidate(Term("auction", "auction"), rows.auction, MIN_SIDE),
        _candidate(Term("years", "years"), rows.years, None, _years_refused(rows.years)),
    ]
    for f in rows.features:
        if f.kind == "word" and f.words:  # an indicator for each word but the most frequent
            known = f.values[~np.isnan(f.values)].astype(np.int64)
            base = int(np.argmax(np.bincount(known, minlength=len(f.words))))
            for i, word in enumerate(f.words):
                if i != base:
                    term = Term(f"{f.name}={word}", "feature", feature=f.name, level=word)
                    tried.append(_candidate(term, level_values(f, i), MIN_SIDE))
        elif f.kind != "word":
            side = MIN_SIDE if f.kind == "yes-no" else None
            tried.append(_candidate(Term(f.name, "feature", feature=f.name), f.values, side))
    return tuple(tried)


def _candidate(term: Term, values: FloatArray, side: int | None, refused: str = "") -> Candidate:
    known = ~np.isnan(values)
    if known.all():
        return Candidate(replace(term, blank=float(values.mean())), values, side, refused)
    blank = float(values[known].mean()) if known.any() else 0.0
    return Candidate(replace(term, blank=blank), np.where(known, values, blank), side, refused)


def _years_refused(years: FloatArray) -> str:
    known = years[~np.isnan(years)]
    if not len(known):
        return "no row has a date"
    days = round(float(known.max() - known.min()) * DAYS_A_YEAR)
    return f"the dates span {days} days; {MIN_SPAN_DAYS} are needed" if days < MIN_SPAN_DAYS else ""


RANK_TOLERANCE = 1e-7
MANY = 50_000  # rows from which a part of them is looked at first
PART = 20_000
PLAIN = 1e-3  # a length this far above rounding needs no second look


def independent(columns: Sequence[FloatArray], groups: IntArray, tolerance: float = RANK_TOLERANCE) -> tuple[bool, ...]:
    """Which columns, each (n,), taken in order, add something to the indicators of `groups` (n,) and to those before.

    A column is out where what is left of it, centred and scaled to unit length, after projecting the others out is
    shorter than `tolerance`. Rank is decided before anything is fitted. One group stands for an intercept alone.
    """
    if len(groups) > MANY and len(columns) and plainly_independent(columns, groups):
        return (True,) * len(columns)
    basis = np.empty((len(columns), len(groups)))
    counts = np.maximum(np.bincount(groups), 1)
    size, kept = 0, []
    for column in columns:
        rest = column - column.mean()
        length = float(np.linalg.norm(rest))
        if length <= tolerance * max(1.0, float(np.abs(column).max(initial=0.0))) * np.sqrt(len(column)):
            kept.append(False)
            continue
        rest = rest / length
        for _ in range(2):  # twice is enough: Gram-Schmidt with reorthogonalisation
            rest = rest - (np.bincount(groups, weights=rest) / counts)[groups]
            rest = rest - (basis[:size] @ rest) @ basis[:size]
        left = float(np.linalg.norm(rest))
        kept.append(left > tolerance)
        if kept[-1]:
            basis[size] = rest / left
            size += 1
    return tuple(kept)


def plainly_independent(columns: Sequence[FloatArray], groups: IntArray) -> bool:
    """Whether all columns, each (n,), are far from dependent, told by every so many rows of a tall book alone.

    What is left of a column after the others are projected out is no shorter over all rows than over some of them.
    It is held against the column's whole length, about any centre: the length about its mean is no longer.
    """
    every = max(1, len(groups) // PART)
    part = np.column_stack([column[::every] for column in columns])
    centre = part.mean(axis=0)
    whole = np.sqrt([squares_about(column, c) for column, c in zip(columns, centre, strict=True)])
    some = groups[::every]
    Z = indicators(some, int(groups.max()) + 1)
    rest = part - centre
    rest -= Z @ ((Z.T @ rest) / np.maximum(Z.sum(axis=0), 1.0)[:, None])
    left = np.abs(np.diag(np.linalg.qr(rest, mode="r")))
    return bool(np.all(left > PLAIN * whole))


KINDS = {"sold": ("sold", "asked"), "dealer": ("dealer", "non-dealer"), "auction": ("auction", "non-auction")}


def decide(candidates: tuple[Candidate, ...], book: PriceBook) -> tuple[tuple[Term, ...], tuple[LeftOut, ...]]:
    """The terms that enter, in their order, and the reasons of the others.

    A term that the series can reproduce is out, pooled or not: its effect could not be told from theirs.
    """
    few = {c.term.name: c.refused or _too_few(c, book.rows) for c in candidates}
    standing = [c for c in candidates if not few[c.term.name]]
    independents = independent([c.values for c in standing], book.series)
    kept = [c for c, enters in zip(standing, independents, strict=True) if enters]
    left_out = (
        LeftOut(c.term.name, "few", few[c.term.name]) if few[c.term.name] else _reproduced(c, kept, book)
        for c in candidates if c not in kept
    )  # fmt: skip
    return tuple(c.term for c in kept), tuple(left_out)


def _too_few(candidate: Candidate, rows: IntArray) -> str:
    if candidate.side is None:
        return ""
    yes = candidate.values >= 0.5
    count, other = int(yes.sum()), int((~yes).sum())
    word, otherwise = KINDS.get(candidate.term.name, (candidate.term.name, f"other than {candidate.term.name}"))
    if count == 0:
        return f"no {word} rows"
    if other == 0:
        return f"every row is {word}"
    number = min(count, other)
    if number >= candidate.side:
        return ""
    scarce, which = (word, yes) if count <= other else (otherwise, ~yes)
    named = rows_phrase(rows[which].tolist())
    return f"only {number} {scarce} row{'s' if number > 1 else ''} ({named}); {candidate.side} are needed"


def _reproduced(candidate: Candidate, kept: Sequence[Candidate], book: PriceBook) -> LeftOut:
    """Why a column adds nothing: constant, the same as another, fixed by the series, or a mix of several."""
    name, values = candidate.term.name, candidate.values
    flat = 1e-9 * max(1.0, float(np.abs(values).max()))
    if np.ptp(values) <= flat:
        told = {"log_pieces": f": {np.exp(values[0]):g} pieces", "condition": f": {values[0] + CONDITION_ZERO:g}"}
        return LeftOut(name, "flat", f"it is the same in every row{told.get(name, '')}")
    for other in (o for o in kept if candidate.side is not None and o.side is not None):
        same = np.array_equal(values, other.values)
        if same or np.array_equal(values, 1 - other.values):
            word = KINDS.get(name, (name, ""))[0]
            yes, no = KINDS.get(other.term.name, (other.term.name, f"non-{other.term.name}"))
            named = rows_phrase(book.rows[values >= 0.5].tolist())
            side = yes if same else no
            all_of = f"all {side} rows are {word} rows and no others are ({named})"
            return LeftOut(name, "inside", f"{all_of}; its effect is inside {other.term.name}")
    within = [np.ptp(values[book.series == s]) for s in np.unique(book.series)]
    if max(within) <= flat:
        same_in = "it is the same in all rows of each series, so its effect is inside the series effects"
        return LeftOut(name, "inside", same_in)
    names = " and ".join([*(o.term.name for o in kept), "the series"])
    return LeftOut(name, "inside", f"it can be worked out from {names}, so its effect is inside theirs")


def build_recipe(book: PriceBook, rows: Columns, haggle: float | None, pooled: bool) -> Recipe:
    """Decide the terms from the book and its columns alone. `haggle`: the percent between asked and sold, or None.

    Raises RefusedError where sold and asked rows are mixed, cannot be told apart and no haggle is given.
    """
    terms, left_out = decide(candidates(rows), book)
    several = len(book.series_names) > 1
    if not several:
        only = f"every row is {book.series_names[0]}: there is no other series to tell it from"
        left_out += (LeftOut("series", "alone", only),)
    elif not pooled:
        terms += tuple(Term(f"series[{s}]", "series", level=s) for s in sorted(book.series_names)[1:])
    both = (book.price_kind == PRICE_KINDS.index("sold")) & (book.asked > 0)  # rows that tell what was asked and paid
    pairs = int(both.sum())
    step = float(np.median(np.log(book.price[both] / book.asked[both]))) if pairs >= MIN_SOLD else None
    pair_step = None if step is None else min(0.0, step)
    offset, basis = _sold_basis(book, any(t.source == "sold" for t in terms), pair_step, pairs, haggle)
    return Recipe(
        terms=terms,
        series=book.series_names,
        features=tuple(FeatureRecipe(f.name, f.kind, f.words) for f in book.features),
        pooled=pooled and several,
        reference_date=newest_date(book),
        sold_offset=offset,
        sold_basis=basis,
        pairs=pairs,
        pair_step=pair_step,
        left_out=left_out,
        pieces_seen=(float(book.pieces.min()), float(book.pieces.max())),
        conditions_seen=(float(book.condition.min()), float(book.condition.max())),
        rows_by_series=tuple(np.bincount(book.series, minlength=len(book.series_names)).tolist()),
    )


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
