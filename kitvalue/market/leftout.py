"""Terms that the rows cannot tell apart are left out before the fit, each with its rows and its reason."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from kitvalue.intake.book import PriceBook
from kitvalue.market.candidates import Candidate
from kitvalue.market.rank import independent
from kitvalue.market.recipe import LeftOut

SHOWN_ROWS = 12
KINDS = {"sold": ("sold", "asked"), "dealer": ("dealer", "non-dealer"), "auction": ("auction", "non-auction")}


def decide(candidates: tuple[Candidate, ...], book: PriceBook) -> tuple[tuple[bool, ...], tuple[LeftOut, ...]]:
    """Which candidates enter, in their order, and the reasons of the others.

    A term that the series can reproduce is out, pooled or not: its effect could not be told from theirs.
    """
    reasons = {c.term.name: c.refused or _too_few(c, book.rows) for c in candidates}
    standing = [c for c in candidates if not reasons[c.term.name]]
    enters = independent([c.values for c in standing], book.series)
    kept = {c.term.name for c, yes in zip(standing, enters, strict=True) if yes}
    for c, yes in zip(standing, enters, strict=True):
        if not yes:
            reasons[c.term.name] = _reproduced(c, [o for o in standing if o.term.name in kept], book)
    left_out = tuple(LeftOut(c.term.name, reasons[c.term.name]) for c in candidates if c.term.name not in kept)
    return tuple(c.term.name in kept for c in candidates), left_out


def _too_few(candidate: Candidate, rows: Iterable[int]) -> str:
    if candidate.side is None:
        return ""
    yes = candidate.values >= 0.5
    count, other = int(yes.sum()), int((~yes).sum())
    word, otherwise = KINDS.get(candidate.term.name, (candidate.term.name, f"other than {candidate.term.name}"))
    if count == 0:
        return f"no {word} rows"
    if other == 0:
        return f"every row is {word}"
    if min(count, other) >= candidate.side:
        return ""
    scarce, which = (word, yes) if count <= other else (otherwise, ~yes)
    number = min(count, other)
    rows_text = listed(r for r, hit in zip(rows, which, strict=True) if hit)
    return f"only {number} {scarce} row{'s' if number > 1 else ''} ({rows_text}); {candidate.side} are needed"


def _reproduced(candidate: Candidate, kept: list[Candidate], book: PriceBook) -> str:
    """Why a column adds nothing: constant, the same as another, fixed by the series, or a mix of several."""
    values = candidate.values
    if np.ptp(values) <= 1e-9 * max(1.0, float(np.abs(values).max())):
        return f"it is the same in every row{_constant(candidate)}"
    for other in kept:
        if candidate.side is not None and other.side is not None:
            same, opposite = np.array_equal(values, other.values), np.array_equal(values, 1 - other.values)
            if same or opposite:
                return _twins(candidate, other, same, book)
    within = [np.ptp(values[book.series == s]) for s in range(len(book.series_names)) if np.any(book.series == s)]
    if max(within) <= 1e-9 * max(1.0, float(np.abs(values).max())):
        return "it is the same in all rows of each series, so its effect is inside the series effects"
    names = " and ".join([*(o.term.name for o in kept), "the series"])
    return f"it can be worked out from {names}, so its effect is inside theirs"


def _constant(candidate: Candidate) -> str:
    shown = {"log_pieces": f": {np.exp(candidate.values[0]):g} pieces", "condition": f": {candidate.values[0] + 3:g}"}
    return shown.get(candidate.term.name, "")


def _twins(candidate: Candidate, other: Candidate, same: bool, book: PriceBook) -> str:
    word = KINDS.get(candidate.term.name, (candidate.term.name, ""))[0]
    yes, no = KINDS.get(other.term.name, (other.term.name, f"non-{other.term.name}"))
    side = yes if same else no
    rows = listed(r for r, hit in zip(book.rows, candidate.values >= 0.5, strict=True) if hit)
    return f"all {side} rows are {word} rows and no others are ({rows}); its effect is inside {other.term.name}"


def listed(rows: Iterable[int]) -> str:
    """Row numbers in words: `rows 2, 5 and 9`, cut after a dozen."""
    numbers = [str(int(r)) for r in rows]
    if len(numbers) == 1:
        return f"row {numbers[0]}"
    if len(numbers) > SHOWN_ROWS:
        return f"rows {', '.join(numbers[:SHOWN_ROWS])} and {len(numbers) - SHOWN_ROWS} more"
    return f"rows {', '.join(numbers[:-1])} and {numbers[-1]}"
