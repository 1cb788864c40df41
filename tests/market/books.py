"""Invented price books with known effects, for tests of the market."""

from __future__ import annotations

import numpy as np

from kitvalue.intake.books.book import FeatureColumn, PriceBook
from kitvalue.market.linear import Equations, Triangle, reducer

EFFECTS = {"log_pieces": 0.6, "condition": 0.11, "sold": -0.09, "dealer": 0.13, "auction": -0.08, "years": 0.03}


def invented_book(
    n: int = 120, series: int = 6, seed: int = 7, sigma: float = 0.15, spread: float = 0.4, features: bool = False
) -> PriceBook:
    """n rows over some series, with the effects above and normal scatter `sigma`; series 0 gets a third of the rows."""
    rng = np.random.default_rng(seed)
    codes = np.where(rng.random(n) < 1 / 3, 0, rng.integers(0, series, n))
    codes[:series] = np.arange(series)
    pieces = rng.integers(3, 8, n).astype(np.float64)
    condition = rng.integers(2, 11, n) / 2
    kind = (rng.random(n) < 0.45).astype(np.int64)
    channel = rng.choice(3, n, p=[0.6, 0.25, 0.15])
    days = np.datetime64("2026-11-01") - rng.integers(0, 730, n).astype("timedelta64[D]")
    years = (days - days.max()).astype(np.float64) / 365.25
    hardware = (rng.random(n) < 0.4).astype(np.float64)
    effects = rng.normal(0, spread, series)
    y = (
        5.2
        + EFFECTS["log_pieces"] * np.log(pieces)
        + EFFECTS["condition"] * (condition - 3)
        + EFFECTS["sold"] * kind
        + EFFECTS["dealer"] * (channel == 1)
        + EFFECTS["auction"] * (channel == 2)
        + EFFECTS["years"] * years
        + (0.1 * hardware if features else 0)
        + effects[codes]
        + rng.normal(0, sigma, n)
    )
    return PriceBook(
        rows=np.arange(2, n + 2),
        series=codes,
        series_names=tuple(f"Series {chr(65 + i)}" for i in range(series)),
        pieces=pieces,
        condition=condition,
        price=np.exp(y),
        asked=np.full(n, np.nan),
        premium=np.zeros(n),
        price_kind=kind,
        channel=channel,
        date=days,
        freight=np.full(n, np.nan),
        weight=np.ones(n),
        features=(FeatureColumn("hardware", "yes-no", hardware),) if features else (),
    )


def fixed(F: np.ndarray, y: np.ndarray) -> Equations:
    """Equations without series."""
    return Equations(F, np.zeros(len(y), dtype=np.int64), 0, y)


def reduce(equations: Equations, weights: np.ndarray) -> Triangle:
    """The weighted equations reduced at once."""
    return reducer(equations, weights)(weights)
