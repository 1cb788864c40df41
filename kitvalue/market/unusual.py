"""Rows far from what the rest of the book says of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from kitvalue.intake.book import FloatArray, IntArray, PriceBook
from kitvalue.market.fitted import TermEstimate, UnusualRow

if TYPE_CHECKING:
    from kitvalue.market.linear import Residuals

BoolArray = npt.NDArray[np.bool_]

HUBER_K = 1.345
GROSS = 8.0  # scales from which a price is a slip or something else than the kit, not a dear or a cheap one
GROSS_WEIGHT = 1e-6  # not 0, so that the row keeps its residual and its place in the list of unusual rows
UNUSUAL_WEIGHT = 0.5
MOST_SHOWN = 1000
NOTHING = 0.005  # a weight that is told as 0.00
MANY_PIECES = 6  # more drums than most kits have
SLIP = 0.35  # how near the log of the ratio must lie to the log of 10 or 100


def huber_weights(e: FloatArray, precision: FloatArray, scatter: float) -> FloatArray:
    """(n,) min(1, k s / |e|), k = 1.345: 95 % efficiency where the scatter is normal (Huber 1981, section 4.5)."""
    far = np.sqrt(precision)
    far *= np.abs(e)
    reach = HUBER_K * scatter
    np.maximum(far, reach, out=far)
    return np.divide(reach, far, out=far)


def gross_rows(e: FloatArray, h: FloatArray, precision: FloatArray, scatter: float, codes: IntArray) -> BoolArray:
    """(n,) which rows lie over 8 scales off, studentised with their leverage. A series whose rows would all be gross
    keeps them: one that lies elsewhere as a whole is a series of its own, not a row of slips.

    e (n,) residuals, h (n,) leverages, codes (n,) which series.
    """
    free = np.where(h < 1, 1 - h, np.inf)
    gross = np.abs(e) * np.sqrt(precision / free) > GROSS * scatter
    if not gross.any():
        return gross
    others = np.bincount(codes, weights=~gross)
    return gross & (others[codes] > 0)


def unusual_rows(
    book: PriceBook, weights: FloatArray, left: Residuals, scatter: float, terms: tuple[TermEstimate, ...]
) -> tuple[UnusualRow, ...]:
    """The rows with a robust weight (n,) under one half, the furthest first and at most 1,000 of them."""
    light = np.flatnonzero(weights < UNUSUAL_WEIGHT)
    e, h = left.residuals[light], left.leverage[light]
    free = np.where(h < 1, 1 - h, np.inf)
    left_out = e / free
    studentised = e * np.sqrt(book.weight[light] / free) / scatter
    paid = book.price[light] * (1 + book.premium[light] / 100)
    hits = np.argsort(-np.abs(studentised), kind="stable")[:MOST_SHOWN]
    return tuple(
        UnusualRow(
            row=int(book.rows[at]),
            series=book.series_names[book.series[at]],
            weight=float(weights[at]),
            observed=float(paid[i]),
            expected=float(paid[i] * np.exp(-left_out[i])),
            studentised=float(studentised[i]),
            leverage=float(h[i]),
            moves_percent=100 * float(np.expm1(left_out[i] - e[i])),
            hint=hint(float(left_out[i]), book.pieces[at], book.price_kind[at] > 0, scatter, terms),
        )
        for i, at in zip(hits, light[hits], strict=True)
    )


def weighs_nothing(weight: float) -> bool:
    """Is it a row that the fit passes over as a slip?"""
    return weight < NOTHING


def hint(log_ratio: float, pieces: float, sold: bool, scatter: float, terms: tuple[TermEstimate, ...]) -> str:
    """What single slip would explain a row that far off, in the order of likelihood; empty where none would."""
    for times, word in ((100, "a hundred times"), (10, "ten times")):
        if abs(abs(log_ratio) - np.log(times)) < SLIP:
            return f"about {word} too {'high' if log_ratio > 0 else 'low'}: a slip of the decimal sign?"
    effects = {t.name: t.coefficient for t in terms}
    counted = _drums_paid_for(log_ratio, pieces, effects.get("log_pieces", 0.0))
    if log_ratio < 0 and pieces >= MANY_PIECES and 1 <= counted <= pieces - 2:
        return f"priced like {counted:g} drums: are cymbals or stands counted as pieces?"
    if sold and log_ratio > 0 and abs(log_ratio + effects.get("sold", 0.0)) < scatter:
        return "priced like one that is asked for: is it the price paid?"
    return "far too high: a bundle, or more than the kit in the price?" if log_ratio > np.log(2) else ""


def _drums_paid_for(log_ratio: float, pieces: float, power: float) -> float:
    """The number of drums at which the price would be the expected one."""
    return round(float(pieces * np.exp(log_ratio / power))) if power > 0.1 else float(pieces)
