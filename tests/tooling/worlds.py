"""The regression in harder worlds: `python tests/tooling/worlds.py [BOOKS] [WORLD ...]`.

Draws price books over ten series whose chances follow a Zipf law, fits each as the program does, and asks about new
kits of the newest quarter. Printed are, in percent: the median error of the typical price against a new sale, the
median width of the 80 % range, how often it held that sale and the 80 % level range the true level, the median bias of
the typical price, how many kits were off by a factor of two, and what the world itself is about. The seed is fixed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from kitvalue.intake.books.book import BoolArray, FloatArray, IntArray, PriceBook
from kitvalue.market.encoding import Channel, Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlooks

NEWEST = date(2026, 11, 1)
SERIES = 10
CHANNELS: tuple[Channel, ...] = ("private", "dealer", "auction")
SHARES = np.array([(i + 1.0) ** -1.1 for i in range(SERIES)])
SHARES /= SHARES.sum()
SCATTER, SPREAD = 0.18, 0.4
KITS = 24


@dataclass(frozen=True, eq=False)
class Rows:
    """n kits of a market: every array is (n,). `years` counts back from the newest day."""

    series: IntArray
    pieces: FloatArray
    grade: FloatArray
    sold: IntArray
    channel: IntArray
    years: FloatArray


@dataclass(frozen=True, eq=False)
class World:
    """One draw of a market: what its kits are worth, and how far sales scatter around it."""

    effects: FloatArray  # (series,)
    trends: FloatArray  # (series,) a year, beside the market's own
    slopes: FloatArray  # (series,) of the grade, beside the market's own
    scatters: FloatArray  # (series,)
    grades: FloatArray | None = None  # (5,) what grades 1 to 5 add, in place of a straight line
    fall: float = 0.0  # of all prices, half a year ago
    haggle: FloatArray = field(default_factory=lambda: np.full(3, 0.0))

    def level(self, rows: Rows) -> FloatArray:
        """(n,) log of the median price."""
        line = 0.11 * (rows.grade - 3)
        grade = line if self.grades is None else np.interp(rows.grade, np.arange(1, 6), self.grades)
        sold = np.where(self.haggle.any(), np.log1p(-self.haggle)[rows.channel], -0.06)
        trend = (0.03 * (not self.trends.any()) + self.trends[rows.series]) * rows.years
        return np.asarray(
            5.5 + 0.6 * np.log(rows.pieces) + grade + self.slopes[rows.series] * (rows.grade - 3) + sold * rows.sold
            + 0.12 * (rows.channel == 1) - 0.08 * (rows.channel == 2) + trend + self.effects[rows.series]
            + self.fall * (rows.years > -0.5)
        )  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A line of the table. `focus` picks the kits that the line is about."""

    rows: int = 120
    years: float = 2.0
    series: int = SERIES
    change: Callable[[np.random.Generator, World], World] = lambda rng, world: world
    focus: Callable[[World, Rows], BoolArray] | None = None
    relisted: bool = False
    asked: bool = False
    ahead: float = 0.0  # years past the newest row that the kits are asked about


def _opposite(rng: np.random.Generator, world: World) -> World:
    trends = np.zeros(SERIES)
    trends[0], trends[1] = np.log(1.12), np.log(0.94)
    return replace(world, trends=trends)


def _noisy(world: World, rows: Rows) -> BoolArray:
    return np.asarray(world.scatters[rows.series] > 1.3 * SCATTER)


def _scattered(rng: np.random.Generator, world: World) -> World:
    return replace(world, scatters=SCATTER * np.exp(0.5 * rng.standard_normal(SERIES)))


BENT = np.array([-0.80, -0.20, 0.0, 0.12, 0.20])
HAGGLE = np.array([14.0, 4.0, 14.0])
SLOPED = Case(change=lambda rng, w: replace(w, slopes=0.1 * rng.standard_normal(SERIES)))
FOREIGN = Case(change=lambda rng, w: w)
WORLDS = {
    "12 rows": Case(12, series=5),
    "20 rows": Case(20),
    "30 rows": Case(30),
    "60 rows": Case(60),
    "normal": Case(),
    "relisted": Case(relisted=True),
    "falling series": Case(years=3, change=_opposite, focus=lambda w, r: r.series == 1),
    "falling, ahead": Case(years=3, change=_opposite, focus=lambda w, r: r.series == 1, ahead=0.5),
    "trends, 300 rows": Case(300, years=3, change=lambda rng, w: replace(w, trends=0.08 * rng.standard_normal(SERIES))),
    "fall": Case(change=lambda rng, w: replace(w, fall=np.log(0.8))),
    "grade 1": Case(change=lambda rng, w: replace(w, grades=BENT), focus=lambda w, r: r.grade <= 1.5),
    "slopes": replace(SLOPED, focus=lambda w, r: (r.grade <= 2) & (w.slopes[r.series] > 0.08)),
    "noisy series": Case(change=_scattered, focus=_noisy),
    "quiet series": Case(change=_scattered, focus=lambda w, r: w.scatters[r.series] < SCATTER / 1.3),
    "asked, private": Case(asked=True, change=lambda rng, w: replace(w, haggle=HAGGLE / 100),
                           focus=lambda w, r: r.channel == 0),
    "asked, dealers": Case(asked=True, change=lambda rng, w: replace(w, haggle=HAGGLE / 100),
                           focus=lambda w, r: r.channel == 1),
}  # fmt: skip


def draw_rows(rng: np.random.Generator, n: int, years: float, series: int = SERIES) -> Rows:
    """n kits over the last `years`."""
    shares = SHARES[:series] / SHARES[:series].sum()
    return Rows(
        series=rng.choice(series, n, p=shares),
        pieces=rng.integers(3, 8, n).astype(float),
        grade=np.clip(np.round(2 * rng.normal(3, 0.9, n)) / 2, 1, 5),
        sold=(rng.random(n) < 0.45).astype(np.int64),
        channel=rng.choice(3, n, p=[0.62, 0.26, 0.12]),
        years=-rng.integers(0, round(365.25 * years), n) / 365.25,
    )


def book_of(rows: Rows, logs: FloatArray) -> PriceBook:
    """The rows as a price book."""
    n, present = len(logs), np.unique(rows.series)
    blank = np.full(n, np.nan)
    return PriceBook(
        rows=np.arange(2, n + 2), series=np.searchsorted(present, rows.series),
        series_names=tuple(f"S{s}" for s in present), pieces=rows.pieces, condition=rows.grade, price=np.exp(logs),
        asked=blank, premium=np.zeros(n), price_kind=rows.sold, channel=rows.channel,
        date=np.datetime64(NEWEST) + np.round(365.25 * rows.years).astype("timedelta64[D]"),
        freight=blank, weight=np.ones(n), features=(),
    )  # fmt: skip


def relist(rng: np.random.Generator, rows: Rows, logs: FloatArray) -> tuple[Rows, FloatArray, IntArray]:
    """Each kit listed 1 + Poisson(1.2) times some 35 days apart, 5 % less each time, sold only at the end; as many rows
    as before. Its first price is such that the middle listing has the kit's own."""
    times = 1 + rng.poisson(1.2, len(logs))
    times = times[: int(np.searchsorted(np.cumsum(times), len(logs))) + 1]
    kit = np.repeat(np.arange(len(times)), times)
    place = np.concatenate([np.arange(t) for t in times])
    back = (times[kit] - 1 - place) * 35 / 365.25
    again = Rows(rows.series[kit], rows.pieces[kit], rows.grade[kit], rows.sold[kit] * (back == 0), rows.channel[kit],
                 np.minimum(rows.years[kit], 0) - back)  # fmt: skip
    last = back == 0
    unsold = np.where(rows.sold[kit] > last, 0.06, 0.0)  # logs hold the step of a sale
    return again, logs[kit] + unsold + np.log(0.95) * (place - (times[kit] - 1)), kit


def draw(rng: np.random.Generator, case: Case) -> tuple[World, PriceBook, Rows, IntArray]:
    """A world, its book and the kits that are asked about; and which kit each row is."""
    flat = np.zeros(SERIES)
    world = case.change(rng, World(SPREAD * rng.standard_normal(SERIES), flat, flat, np.full(SERIES, SCATTER)))
    rows = draw_rows(rng, case.rows, case.years, case.series)
    if case.asked:
        rows = replace(rows, sold=np.zeros(case.rows, dtype=np.int64))
    logs = world.level(rows) + world.scatters[rows.series] * rng.standard_normal(case.rows)
    kit = np.arange(case.rows)
    if case.relisted:
        rows, logs, kit = relist(rng, rows, logs)
    book = book_of(rows, logs)
    known = np.unique(rows.series)
    asked = draw_rows(rng, 40 * KITS, 0.25, case.series)
    asked = replace(asked, years=asked.years + case.ahead, sold=np.ones_like(asked.sold) if case.asked else asked.sold)
    keep = np.isin(asked.series, known)
    if case.focus is not None:
        keep &= case.focus(world, asked)
    return world, book, chosen(asked, np.flatnonzero(keep)[:KITS]), kit


def chosen(rows: Rows, at: IntArray) -> Rows:
    return Rows(**{name: getattr(rows, name)[at] for name in Rows.__dataclass_fields__})


@dataclass
class Tally:
    """What was seen of the kits asked about, one entry a kit, and of the books, one entry a book."""

    kits: list[FloatArray] = field(default_factory=list)
    sold: list[float] = field(default_factory=list)
    lost: list[float] = field(default_factory=list)
    exact: int = 0

    def figures(self) -> dict[str, float]:
        """In percent; `exact` counts books."""
        typical, low, high, level_low, level_high, level, sale = np.concatenate(self.kits, axis=1)
        told = ~np.isnan(level_low)
        shares = {
            "error": np.median(np.abs(np.exp(typical - sale) - 1)),
            "width": np.nanmedian(np.exp(high - typical) - np.exp(low - typical)),
            "covered": np.mean((low <= sale) & (sale <= high)),
            "level": np.mean((level_low <= level)[told] & (level <= level_high)[told]) if told.any() else np.nan,
            "bias": np.median(np.exp(typical - level) - 1),
            "by 2": np.mean(np.abs(typical - sale) > np.log(2)),
            "sold": np.mean(self.sold) if self.sold else np.nan,
            "lost": np.mean(self.lost),
        }
        return {name: 100 * float(value) for name, value in shares.items()} | {"exact": self.exact}

    def line(self) -> str:
        return "".join(f"{value:9.1f}" for value in self.figures().values())


HEADS = "    error    width  covered    level     bias     by 2     sold     lost    exact"


def value(fit: Fit, world: World, rows: Rows, rng: np.random.Generator) -> FloatArray:
    """(7, kits) logs of typical, low, high, level_low, level_high, true level and a new sale."""
    days = [NEWEST + timedelta(days=round(365.25 * y)) for y in rows.years]
    kits = [
        Kit(f"S{s}", p, g, "sold" if sold else "asked", CHANNELS[c], on)
        for s, p, g, sold, c, on in zip(
            rows.series, rows.pieces.tolist(), rows.grade.tolist(), rows.sold, rows.channel, days, strict=True
        )
    ]
    ends = ("typical", "low", "high", "level_low", "level_high")
    found = [[getattr(view, end) for end in ends] for view in outlooks(fit, kits)]
    level = world.level(rows)
    sale = level + world.scatters[rows.series] * rng.standard_normal(len(level))
    return np.vstack([np.log(np.array(found, dtype=float).reshape(-1, 5).T), level, sale])


def repeat(name: str, seed: int, tally: Tally, haggle: float = 10.0) -> None:
    """One book of a world."""
    case = WORLDS[name]
    rng = np.random.default_rng((seed, sorted(WORLDS).index(name)))
    world, book, asked, _kit = draw(rng, case)
    fit = fit_book(book, haggle)
    tally.exact += fit.exact
    if len(asked.series):
        tally.kits.append(value(fit, world, asked, rng))
    sold = next((t.coefficient for t in fit.terms if t.name == "sold"), None)
    if sold is not None:
        tally.sold.append(float(np.expm1(sold)))
    tally.lost.append(0.0)


def main(books: int, names: list[str]) -> None:
    print(f"{books} books each; percent{'':1}{HEADS}")
    for name in names or WORLDS:
        tally, start = Tally(), time.perf_counter()
        for seed in range(books):
            repeat(name, seed, tally)
        print(f"{name:24}{tally.line()}{time.perf_counter() - start:7.0f} s", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200, sys.argv[2:])
