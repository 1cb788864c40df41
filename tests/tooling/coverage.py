"""How often the ranges hold in invented worlds: `python tests/tooling/coverage.py [REPETITIONS]`.

Draws price books of 30 to 400 rows in four worlds, fits each as the program does, and counts how often a new sale falls
inside its 80 % range and the true level inside its own. The level is the median of such sales, which is what a typical
price means. Also asked about: series of one or two rows, and dates 1.5 years past the book. The seed is fixed.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from kitvalue.intake.books.book import PriceBook
from kitvalue.market.encoding import Channel, Kit, PriceKind
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlook

SIZES = (30, 60, 150, 400)
SCATTER = 0.18
SPREAD = 0.4
NEWEST = date(2026, 11, 1)
KITS = 8  # new sales a book is asked about in each group
CHANNELS: tuple[Channel, ...] = ("private", "dealer", "auction")
Noise = Callable[[np.random.Generator, int], np.ndarray]


def normal(rng: np.random.Generator, n: int) -> np.ndarray:
    return SCATTER * rng.standard_normal(n)


def heavy(rng: np.random.Generator, n: int) -> np.ndarray:
    """Student's t with 4 degrees of freedom."""
    return SCATTER / np.sqrt(2) * rng.standard_t(4, n)


def bundles(rng: np.random.Generator, n: int) -> np.ndarray:
    """One row in twenty is dearer by a factor of 2 to 4."""
    return normal(rng, n) + (rng.random(n) < 1 / 20) * rng.uniform(np.log(2), np.log(4), n)


WORLDS: dict[str, tuple[Noise, bool]] = {
    "normal": (normal, False),
    "t with 4 degrees": (heavy, False),
    "one in twenty a bundle": (bundles, False),
    "unequal series": (normal, True),
}


@dataclass
class World:
    """One draw of the market: its effects, and the chance of each series."""

    noise: Noise
    middle: float  # the median of the noise
    effects: np.ndarray
    shares: np.ndarray

    def level(self, series: int, pieces: float, grade: float, sold: int, channel: int, years: float) -> float:
        return float(
            5.5 + 0.6 * np.log(pieces) + 0.11 * (grade - 3) - 0.09 * sold
            + 0.12 * (channel == 1) - 0.08 * (channel == 2) + 0.03 * years + self.effects[series]
        )  # fmt: skip


@dataclass
class Tally:
    """Hits and tries by what was asked."""

    hits: dict[str, int] = field(default_factory=dict)
    tries: dict[str, int] = field(default_factory=dict)

    def add(self, name: str, hit: bool) -> None:
        self.hits[name] = self.hits.get(name, 0) + int(hit)
        self.tries[name] = self.tries.get(name, 0) + 1

    def merge(self, other: Tally) -> None:
        for name, tries in other.tries.items():
            self.tries[name] = self.tries.get(name, 0) + tries
            self.hits[name] = self.hits.get(name, 0) + other.hits[name]

    def share(self, name: str) -> float:
        return 100 * self.hits[name] / self.tries[name] if self.tries.get(name) else float("nan")


def draw_world(rng: np.random.Generator, noise: Noise, unequal: bool) -> World:
    count = 9
    shares = np.array([40, 25, 12, 8, 5, 4, 3, 2, 1]) / 100 if unequal else np.full(count, 1 / count)
    middle = float(np.median(noise(np.random.default_rng(1), 400_001)))
    return World(noise, middle, rng.normal(0, SPREAD, count), shares)


def draw_book(rng: np.random.Generator, world: World, n: int) -> PriceBook:
    series = rng.choice(len(world.shares), n, p=world.shares)
    pieces = rng.integers(3, 8, n).astype(float)
    grade = rng.integers(4, 11, n) / 2
    sold = (rng.random(n) < 0.45).astype(np.int64)
    channel = rng.choice(3, n, p=[0.6, 0.25, 0.15])
    days = rng.integers(0, 730, n)
    level = [
        world.level(*row)
        for row in zip(series, pieces, grade, sold, channel, -days / 365.25, strict=True)
    ]  # fmt: skip
    present = np.unique(series)
    return PriceBook(
        rows=np.arange(2, n + 2),
        series=np.searchsorted(present, series),
        series_names=tuple(f"S{s}" for s in present),
        pieces=pieces,
        condition=grade,
        price=np.exp(np.array(level) + world.noise(rng, n)),
        asked=np.full(n, np.nan),
        premium=np.zeros(n),
        price_kind=sold,
        channel=channel,
        date=np.datetime64(NEWEST) - days.astype("timedelta64[D]"),
        freight=np.full(n, np.nan),
        weight=np.ones(n),
        features=(),
    )


def ask(rng: np.random.Generator, world: World, fit: Fit, series: int, years: float, group: str, tally: Tally) -> None:
    """One new sale and one true level against the ranges of its kit."""
    pieces, grade = float(rng.integers(3, 8)), float(rng.integers(4, 11)) / 2
    sold, channel = int(rng.random() < 0.45), int(rng.choice(3, p=[0.6, 0.25, 0.15]))
    kind: PriceKind = "sold" if sold else "asked"
    reference = fit.recipe.reference_date or NEWEST
    on = reference + timedelta(days=round(365.25 * years))
    view = outlook(fit, Kit(f"S{series}", pieces, grade, kind, CHANNELS[channel], on))
    since = (on - NEWEST).days / 365.25
    level = world.level(series, pieces, grade, sold, channel, since)
    sale = level + float(world.noise(rng, 1)[0])
    assert view.low is not None
    assert view.high is not None
    assert view.level_low is not None
    assert view.level_high is not None
    tally.add(f"{group} sale", view.low <= np.exp(sale) <= view.high)
    tally.add(f"{group} level", view.level_low <= np.exp(level + world.middle) <= view.level_high)


def repeat(name: str, n: int, seed: int) -> Tally:
    """One book: fitted, and asked about kits of all, of thin and of later kinds."""
    rng = np.random.default_rng((seed, n, list(WORLDS).index(name)))
    noise, unequal = WORLDS[name]
    world = draw_world(rng, noise, unequal)
    book = draw_book(rng, world, n)
    fit = fit_book(book, 10.0)
    tally = Tally()
    known = [int(s[1:]) for s in book.series_names]
    counts = dict(zip(known, fit.recipe.rows_by_series, strict=True))
    shares = world.shares[known] / world.shares[known].sum()
    thin = [s for s in known if counts[s] <= 2]
    for _ in range(KITS):
        ask(rng, world, fit, int(rng.choice(known, p=shares)), 0.0, "all", tally)
        ask(rng, world, fit, int(rng.choice(known, p=shares)), 1.5, "later", tally)
        if thin:
            ask(rng, world, fit, int(rng.choice(thin)), 0.0, "thin", tally)
    return tally


def cell(job: tuple[str, int, int]) -> Tally:
    name, n, repetitions = job
    total = Tally()
    for seed in range(repetitions):
        total.merge(repeat(name, n, seed))
    return total


def main(repetitions: int) -> None:
    jobs = [(name, n, repetitions) for name in WORLDS for n in SIZES]
    groups = ("all sale", "thin sale", "later sale", "all level", "thin level", "later level")
    print(f"{repetitions} books each; share of 80 % ranges that held, percent")
    print(f"{'world':24}{'rows':>5}" + "".join(f"{g:>13}" for g in groups))
    with ProcessPoolExecutor() as pool:
        for (name, n, _), tally in zip(jobs, pool.map(cell, jobs), strict=True):
            print(f"{name:24}{n:5}" + "".join(f"{tally.share(g):13.1f}" for g in groups), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
