"""Whether prices have moved: the time effect between two days, with its range."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.market.columns import DAYS_A_YEAR
from kitvalue.market.fitted import Fit


@dataclass(frozen=True, slots=True)
class Moved:
    """How far prices have moved between two days, everything else equal: percent with a range, or why not."""

    since: date
    to: date
    percent: float | None
    low: float | None
    high: float | None
    reason: str | None


def moved(fit: Fit, since: date, to: date | None, range_percent: int) -> Moved:
    """The move from `since` to `to` (the newest date of the book where None). The range is that of the time effect."""
    until = to or fit.recipe.reference_date or since
    years = (until - since).days / DAYS_A_YEAR
    term = next((t for t in fit.terms if t.name == "years"), None)
    if term is None:
        out = next((o.reason for o in fit.recipe.left_out if o.term == "years"), "no time effect in the fit")
        return Moved(since, until, None, None, None, out)
    reach = fit.level_t[range_percent - 1] * term.se
    ends = sorted(years * b for b in (term.coefficient - reach, term.coefficient + reach))
    low, high = (100 * float(np.expm1(x)) for x in ends)
    return Moved(since, until, 100 * float(np.expm1(years * term.coefficient)), low, high, None)
