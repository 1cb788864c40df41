"""The terms of a regression: each turns kits into one column of numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.market.columns import Columns, FeatureValues

CONDITION_ZERO = 3.0  # condition enters as grade less 3

Source = Literal["pieces", "condition", "sold", "dealer", "auction", "years", "feature", "series"]


@dataclass(frozen=True, slots=True)
class Term:
    """One fixed column after the intercept. `blank` is what a kit counts at where it does not say."""

    name: str
    source: Source
    blank: float = 0.0
    feature: str = ""
    level: str = ""  # the word or the series of an indicator


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
