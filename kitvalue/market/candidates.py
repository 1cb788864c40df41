"""The terms that a regression on this book could have, each on trial."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.market.columns import DAYS_A_YEAR, Columns, FeatureValues
from kitvalue.market.terms import CONDITION_ZERO, Term, level_values

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
    found = [
        _candidate(Term("log_pieces", "pieces"), np.log(rows.pieces), None),
        _candidate(Term("condition", "condition"), rows.condition - CONDITION_ZERO, None),
        _candidate(Term("sold", "sold"), rows.sold, MIN_SOLD),
        _candidate(Term("dealer", "dealer"), rows.dealer, MIN_SIDE),
        _candidate(Term("auction", "auction"), rows.auction, MIN_SIDE),
        _candidate(Term("years", "years"), rows.years, None, _years_refused(rows.years)),
    ]
    for f in rows.features:
        found += _words(f) if f.kind == "word" else [_plain(f)]
    return tuple(found)


def _plain(f: FeatureValues) -> Candidate:
    return _candidate(Term(f.name, "feature", feature=f.name), f.values, MIN_SIDE if f.kind == "yes-no" else None)


def _words(f: FeatureValues) -> list[Candidate]:
    """One indicator for each word but the most frequent."""
    known = f.values[~np.isnan(f.values)].astype(np.int64)
    base = int(np.argmax(np.bincount(known, minlength=len(f.words)))) if f.words else -1
    return [
        _candidate(Term(f"{f.name}={word}", "feature", feature=f.name, level=word), level_values(f, i), MIN_SIDE)
        for i, word in enumerate(f.words)
        if i != base
    ]


def _candidate(term: Term, values: FloatArray, side: int | None, refused: str = "") -> Candidate:
    missing = np.isnan(values)
    if not missing.any():
        blank, filled = float(values.mean()), values
    else:
        blank = 0.0 if missing.all() else float(values[~missing].mean())
        filled = np.where(missing, blank, values)
    return Candidate(Term(term.name, term.source, blank, term.feature, term.level), filled, side, refused)


def _years_refused(years: FloatArray) -> str:
    known = years[~np.isnan(years)]
    if not len(known):
        return "no row has a date"
    days = round(float(known.max() - known.min()) * DAYS_A_YEAR)
    return f"the dates span {days} days; {MIN_SPAN_DAYS} are needed" if days < MIN_SPAN_DAYS else ""
