"""Rows far from what the rest of the book says of them."""

from __future__ import annotations

import numpy as np

from kitvalue.intake.pricebook import FloatArray, PriceBook
from kitvalue.market.fitted import UnusualRow

HUBER_K = 1.345
UNUSUAL_WEIGHT = 0.5
SLIP = 0.35  # how near the log of the ratio must lie to the log of 10 or 100


def huber_weights(e: FloatArray, precision: FloatArray, scatter: float) -> FloatArray:
    """(n,) min(1, k s / |e|), k = 1.345: 95 % efficiency where the scatter is normal (Huber 1981, section 4.5)."""
    far = np.abs(e) * np.sqrt(precision) / scatter
    return np.where(far > HUBER_K, HUBER_K / np.maximum(far, HUBER_K), 1.0)


def unusual_rows(book: PriceBook, e: FloatArray, h: FloatArray, scatter: float) -> tuple[UnusualRow, ...]:
    """The rows with a robust weight under one half, the furthest first. e (n,) residuals, h (n,) leverages."""
    weights = huber_weights(e, book.weight, scatter)
    paid = book.price * (1 + book.premium / 100)
    free = np.where(h < 1, 1 - h, np.inf)
    left_out = e / free
    hits = [i for i in np.argsort(weights) if weights[i] < UNUSUAL_WEIGHT]
    return tuple(
        UnusualRow(
            row=int(book.rows[i]),
            series=book.series_names[book.series[i]],
            weight=float(weights[i]),
            observed=float(paid[i]),
            expected=float(paid[i] * np.exp(-left_out[i])),
            moves_percent=100 * float(np.expm1(left_out[i] - e[i])),
            hint=_hint(float(left_out[i])),
        )
        for i in hits
    )


def _hint(log_ratio: float) -> str:
    for times, word in ((100, "a hundred times"), (10, "ten times")):
        if abs(abs(log_ratio) - np.log(times)) < SLIP:
            return f"about {word} too {'high' if log_ratio > 0 else 'low'}: a slip of the decimal sign?"
    return "far too high: a bundle, or more than the kit in the price?" if log_ratio > np.log(2) else ""
