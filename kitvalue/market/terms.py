"""The terms that a regression on this book could have, each as a column of numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.market.columns import DAYS_A_YEAR, Columns, FeatureValues

CONDITION_ZERO = 3.0  # condition enters as grade less 3
MIN_SOLD = 5  # rows on each side before asked and sold are told apart
MIN_SIDE = 3  # rows on each side of any other yes/no term
MIN_SPAN_DAYS = 180

Source = Literal["pieces", "condition", "sold", "dealer", "auction", "years", "feature", "series"]


@dataclass(frozen=True, slots=True)
class Term:
    """One fixed column after the intercept. `blank` is what a kit counts at where it does not say."""

    name: str
    source: Source
    blank: float = 0.0
    feature: str = ""
    level: str = ""  # the word or the series of an indicator


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


def level_values(f: FeatureValues, level: int) -> FloatArray:
    """(n,) 1 where the word is this one, 0 where it is another, NaN where blank."""
    return np.where(np.isnan(f.values), np.nan, (f.values == level).astype(np.float64))


def term_values(term: Term, rows: Columns, series: tuple[str, ...]) -> FloatArray:
    """(n,) one term's column for any kits, blanks filled by the book's average."""
    values = _raw(term, rows, series)
    missing = np.isnan(values)
    return np.where(missing, term.blank, values) if missing.any() else values


def _raw(term: Term, rows: Columns, series: tuple[str, ...]) -> FloatArray:
    match term.source:
        case "pieces":
            return np.log(rows.pieces)
        case "condition":
            return rows.condition - CONDITION_ZERO
        case "sold":
            return rows.sold
        case "dealer":
            return rows.dealer
        case "auction":
            return rows.auction
        case "years":
            return rows.years
        case "series":
            return np.asarray(rows.series == series.index(term.level), dtype=np.float64)
        case "feature":
            found = next(f for f in rows.features if f.name == term.feature)
            return level_values(found, found.words.index(term.level)) if term.level else found.values
