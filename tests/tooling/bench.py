"""How fast, as ratios against a public peer in the same run: `python tests/tooling/bench.py [--quick]`.

Each row runs the program and its peer alternately and prints the medians and their ratio; nothing here is a timed test.
Memory is the peak resident size of a whole process. The books are invented, the shop is a copy of sample_data.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np  # noqa: F401 - the formula names it
import pandas as pd
import statsmodels.formula.api as smf

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from kitvalue.intake.pricebook import PriceBook  # noqa: E402
from kitvalue.market.fit import fit_rows  # noqa: E402
from kitvalue.market.kit import Kit  # noqa: E402
from kitvalue.market.outlook import outlooks  # noqa: E402
from tests.market.books import invented_book  # noqa: E402

FORMULA = "np.log(price) ~ np.log(pieces) + condition + sold + dealer + auction + years"
VALUE = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3")


@dataclass(frozen=True)
class Compared:
    """One row: seconds (or MiB) of ours and of the peer, and what was promised of the ratio."""

    what: str
    ours: float
    peer: float
    against: str
    target: str
    unit: str = "s"

    def line(self) -> str:
        ratio = self.ours / self.peer
        said = f"{ratio:.2f} x" if ratio >= 0.2 else f"1/{1 / ratio:,.0f} of"
        return (
            f"{self.what:46}{self.ours:10.3f}{self.peer:10.3f} {self.unit:4}{said:>12}  {self.against} ({self.target})"
        )


def alternately(ours: Callable[[], object], peer: Callable[[], object], times: int) -> tuple[float, float]:
    """Median seconds of each, run in turn so that a machine's moods hit both."""
    spent: tuple[list[float], list[float]] = ([], [])
    for _ in range(times):
        for place, run in enumerate((ours, peer)):
            start = time.perf_counter()
            run()
            spent[place].append(time.perf_counter() - start)
    return statistics.median(spent[0]), statistics.median(spent[1])


def process(*words: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True)


def start_up(shop: Path, times: int) -> list[Compared]:
    cli = ("-m", "kitvalue", "--shop", str(shop))
    pairs = [
        ("--help", (*cli, "--help"), "import click", "within 2.5"),
        ("value from a saved fit", (*cli, *VALUE), "import click, pydantic, numpy", "within 2"),
        ("fit on the sample's 156 rows", (*cli, "fit"), "import pandas, statsmodels.api", "within 1.3"),
    ]
    process(*cli, "fit")()
    return [
        Compared(what, *alternately(process(*words), process("-c", peer), times), f"python -c '{peer}'", target)
        for what, words, peer, target in pairs
    ]


def frame_of(book: PriceBook) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "price": book.price,
            "pieces": book.pieces,
            "condition": book.condition,
            "sold": (book.price_kind > 0) * 1.0,
            "dealer": (book.channel == 1) * 1.0,
            "auction": (book.channel == 2) * 1.0,
            "years": (book.date - book.date.max()).astype(float) / 365.25,
            "series": pd.Categorical.from_codes(book.series, list(book.series_names)),
        }
    )


def regression(rows: int, times: int) -> list[Compared]:
    book = invented_book(n=rows, series=9, seed=1)
    frame = frame_of(book)

    def peer() -> object:
        return smf.ols(FORMULA + " + series", frame).fit().bse

    plain = alternately(lambda: fit_rows(book, 10.0, robust=False, pooled=False), peer, times)
    robust = alternately(lambda: fit_rows(book, 10.0, robust=True, pooled=True), peer, times)
    against = "statsmodels formula OLS"
    return [
        Compared(f"regression step, {rows:,} rows, plain, no pooling", *plain, against, "5 times faster"),
        Compared(f"regression step, {rows:,} rows, pooled, robust", *robust, against, "still faster"),
    ]


def outlook_against_refits(rows: int, kits: int, refits: int) -> list[Compared]:
    """The outlook in closed form against MixedLM refits without one row each; a few refits stand for all of them."""
    book = invented_book(n=rows, series=9, seed=2)
    frame = frame_of(book)
    fit = fit_rows(book, 10.0, robust=False, pooled=True)
    asked = [Kit(book.series_names[k % 9], 3.0 + k % 5, 1 + k % 5) for k in range(kits)]
    start = time.perf_counter()
    outlooks(fit, asked)
    ours = time.perf_counter() - start
    start = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for i in range(refits):
            smf.mixedlm(FORMULA, frame.drop(index=i), groups=frame["series"].drop(index=i)).fit(reml=True)
    peer = (time.perf_counter() - start) / refits * rows
    what = f"outlook of {kits} kits, {rows} rows"
    return [Compared(what, ours, peer, f"{rows} MixedLM refits (from {refits})", "1,000 times faster")]


def growth(sizes: Sequence[int]) -> list[str]:
    """Seconds a row at each size: no faster than linear means that it does not rise."""
    lines = []
    for rows in sizes:
        book = invented_book(n=rows, series=9, seed=3)
        start = time.perf_counter()
        fit = fit_rows(book, 10.0, robust=True, pooled=True)
        fitted = time.perf_counter()
        outlooks(fit, [Kit(book.series_names[0], 5, 3)] * 100)
        valued = time.perf_counter()
        lines.append(f"{rows:>12,}{1e6 * (fitted - start) / rows:14.2f}{1e3 * (valued - fitted) / 100:18.3f}")
    return lines


def main(quick: bool) -> None:
    rows, times = (100_000, 3) if quick else (1_000_000, 5)
    print(f"{os.cpu_count()} cores; medians; ours, the peer, their ratio, what it is measured against (and the target)")
    with tempfile.TemporaryDirectory() as place:
        shop = Path(place) / "shop"
        shutil.copytree(ROOT / "sample_data", shop, ignore=shutil.ignore_patterns("out"))
        for row in start_up(shop, times):
            print(row.line(), flush=True)
    for row in (*regression(rows, 3), *outlook_against_refits(500, 100, 5 if quick else 20)):
        print(row.line(), flush=True)
    print("\ngrowth        rows  fit, us a row  outlook, ms a kit")
    for line in growth([1_000, 10_000, 100_000] if quick else [1_000, 10_000, 100_000, 1_000_000]):
        print("      " + line, flush=True)


if __name__ == "__main__":
    main("--quick" in sys.argv[1:])
