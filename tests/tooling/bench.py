"""How fast, as ratios against a public peer in the same run: `python tests/tooling/bench.py [--quick] [ROW ...]`.

Each row runs the program and its peer alternately and prints the medians, their ratio by the clock and of processor
time, and whether the target is met; nothing here is a timed test. Memory is the peak resident size of a whole process.
Then come the offers of `shortlist` and the growth of every step with the rows. Books and shops are invented.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator, Sequence
from importlib.metadata import version
from pathlib import Path

import numpy as np  # noqa: F401 - the formula names it
import pandas as pd
import statsmodels.formula.api as smf

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from benchmark.measure import (  # noqa: E402
    HEADING,
    Compared,
    Spent,
    alternately,
    call,
    exponents,
    middle,
    python,
)
from benchmark.shops import FORMULA, frame_of, give_offers, shop_of  # noqa: E402

from kitvalue.intake.books.pricebook import read_pricebook  # noqa: E402
from kitvalue.intake.settings.shop import read_shop  # noqa: E402
from kitvalue.market.encoding import Kit  # noqa: E402
from kitvalue.market.fit import fit_book  # noqa: E402
from kitvalue.market.outlook import outlooks  # noqa: E402
from tests import TODAY  # noqa: E402
from tests.market.books import invented_book  # noqa: E402

LIBRARIES = ("numpy", "scipy", "pandas", "statsmodels", "pydantic", "click")
VALUE = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3")
PEER_FIT = """
import sys
import numpy as np, pandas as pd, statsmodels.formula.api as smf
frame = pd.read_csv(sys.argv[1], parse_dates=["date"])
frame["years"] = (frame["date"] - frame["date"].max()).dt.days / 365.25
formula = "np.log(price) ~ np.log(pieces) + condition + C(price_kind) + C(channel) + years + C(series)"
found = smf.ols(formula, frame).fit()
print(found.params, found.bse)
"""


def ours(shop: Path, *words: str) -> Spent:
    return python("-m", "kitvalue", "--shop", str(shop), *words)


def start_up(shop: Path, times: int) -> Iterator[Compared]:
    """The commands on a book of 300 rows against imports."""
    ours(shop, "fit")
    rows: list[tuple[str, tuple[str, ...], str, float]] = [
        ("--help", ("--help",), "import click", 1.3),
        ("value from a saved fit", VALUE, "import click, pydantic, numpy", 2.0),
        ("fit on 300 rows", ("fit",), "import pandas, statsmodels.api", 1.3),
    ]
    for what, words, peer, target in rows:
        pair = alternately(lambda words=words: ours(shop, *words), lambda peer=peer: python("-c", peer), times)
        yield Compared(what, *pair, target, f"python -c '{peer}'")


def regression(rows: int, times: int) -> Iterator[Compared]:
    """The regression step in this process, on one frame."""
    book = invented_book(n=rows, series=9, seed=1)
    frame = frame_of(book)
    against = "statsmodels formula OLS, series as indicators"
    plain = alternately(
        lambda: call(lambda: fit_book(book, 10.0, robust=False, pooled=False)),
        lambda: call(lambda: smf.ols(FORMULA + " + series", frame).fit().bse),
        times,
    )
    peer = smf.ols(FORMULA + " + series", frame).fit().params
    terms = {term.name: term.coefficient for term in fit_book(book, 10.0, robust=False, pooled=False).terms}
    same = {"np.log(pieces)": "log_pieces", **{name: name for name in peer.index if name in terms}}
    same |= {f"series[T.{name}]": f"series[{name}]" for name in book.series_names[1:]}
    apart = max(abs(peer[theirs] - terms[mine]) for theirs, mine in same.items())
    yield Compared(f"regression, {rows:,} rows, plain", *plain, 0.2, f"{against}; coefficients within {apart:.0e}")
    robust = [call(lambda: fit_book(book, 10.0, robust=True, pooled=True)) for _ in range(times)]
    yield Compared(f"regression, {rows:,} rows, pooled, robust", middle(robust), plain[1], 1.0, against)


def whole_fit(shop: Path, rows: int, times: int) -> Iterator[Compared]:
    """`fit` end to end as a process, and the peak of its memory."""
    pair = alternately(lambda: ours(shop, "fit"), lambda: python("-c", PEER_FIT, str(shop / "prices.csv")), times)
    against = "process: pandas.read_csv + statsmodels formula OLS"
    yield Compared(f"fit end to end, {rows:,} rows", *pair, 0.7, against)
    yield Compared("  its peak resident size", *pair, 0.9, against, memory=True)


def dirty(shop: Path, rows: int, times: int) -> Iterator[Compared]:
    """Reading a book of which every second price, or series, is another text that no other row has."""
    settings = read_shop(shop)

    def read(cell: str, odd: Callable[[int], str]) -> Spent:
        place = shop.parent / f"dirty-{cell}.csv"
        frame = pd.read_csv(shop / "prices.csv", dtype=str)
        frame.loc[::2, cell] = [odd(n) for n in range(len(frame.loc[::2]))]
        frame.to_csv(place, index=False)
        return middle([call(lambda: read_pricebook(place, settings, TODAY)) for _ in range(times)])

    clean = middle([call(lambda: read_pricebook(shop / "prices.csv", settings, TODAY)) for _ in range(times)])
    against = "the same book, clean"
    prices = read("price", lambda n: f"{n} or offer {n % 97}")
    yield Compared(f"{rows // 2:,} unreadable prices", prices, clean, 4.0, against)
    names = read("series", lambda n: "Kit " + "".join(chr(97 + n // 26**k % 26) for k in range(4)))
    yield Compared(f"{rows // 2:,} names of series", names, clean, 4.0, against)


def outlook_against_refits(rows: int, kits: int, refits: int) -> Iterator[Compared]:
    """The outlook in closed form against MixedLM refits without one row each; a few refits stand for all of them."""
    book = invented_book(n=rows, series=9, seed=2)
    frame = frame_of(book)
    fit = fit_book(book, 10.0, robust=False, pooled=True)
    asked = [Kit(book.series_names[k % 9], 3.0 + k % 5, 1 + k % 5) for k in range(kits)]
    mine = middle([call(lambda: outlooks(fit, asked)) for _ in range(5)])

    def refit(at: int) -> object:
        return smf.mixedlm(FORMULA, frame.drop(index=at), groups=frame["series"].drop(index=at)).fit(reml=True)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        one = middle([call(lambda at=at: refit(at)) for at in range(refits)])
    peer = Spent(one.wall * rows, one.cpu * rows)
    yield Compared(f"outlook of {kits} kits, {rows} rows", mine, peer, 0.001, f"{rows} MixedLM refits (from {refits})")


def offers(shop: Path, counts: Sequence[int], times: int) -> Iterator[str]:
    """`shortlist` as a process: processor seconds beyond those of a single offer."""
    seconds = []
    for count in (1, *counts):
        give_offers(shop, count)
        words = ("shortlist", "--plan", "inishmore-restored")
        seconds.append(middle([ours(shop, *words) for _ in range(times)]).cpu)
    beyond = [one - seconds[0] for one in seconds[1:]]
    yield f"{'offers':>12}{'CPU s in all':>14}{'beyond one':>14}{'exponent':>10}   (10,000: under 3 s, exponent 1)"
    for count, total, more, power in zip(counts, seconds[1:], beyond, exponents(counts, beyond), strict=True):
        verdict = "" if count < 10_000 else "   met" if more < 3 else "   MISSED"
        yield f"{count:12,}{total:14.2f}{more:14.3f}{power:>10}{verdict}"


def grown(shop: Path, times: int) -> list[Spent]:
    """What is spent on a shop: reading, fitting, 100 outlooks in this process; `fit` and `shortlist` as processes."""
    settings = read_shop(shop)
    book = read_pricebook(shop / "prices.csv", settings, TODAY).book
    assert book is not None
    fit = fit_book(book, 10.0, robust=True, pooled=True)
    asked = [Kit(book.series_names[0], 5, 3)] * 100
    return [
        middle([call(lambda: read_pricebook(shop / "prices.csv", settings, TODAY)) for _ in range(times)]),
        middle([call(lambda: fit_book(book, 10.0, robust=True, pooled=True)) for _ in range(times)]),
        middle([call(lambda: outlooks(fit, asked)) for _ in range(3)]),
        middle([ours(shop, "fit") for _ in range(times)]),
        middle([ours(shop, "shortlist") for _ in range(times)]),
    ]


def growth(place: Path, sizes: Sequence[int]) -> Iterator[str]:
    """Processor seconds of each step by the rows of the book, with the exponent from one size to the next."""
    names = ("read", "fit step", "outlook", "fit process", "shortlist")
    found = [grown(shop_of(place / f"grown-{rows}", rows), 3 if rows <= 100_000 else 1) for rows in sizes]
    table = [[one.cpu for one in steps] for steps in found]
    peaks = [steps[names.index("fit process")].peak for steps in found]
    powers = [exponents(sizes, [row[at] for row in table]) for at in range(len(names))]
    yield f"{'rows':>12}" + "".join(f"{name:>18}" for name in names) + f"{'peak of fit':>16}"
    for at, rows in enumerate(sizes):
        cells = "".join(f"{table[at][k]:10.3f} ({powers[k][at]:>5})" for k in range(len(names)))
        yield f"{rows:12,}{cells}{peaks[at]:12.0f} MiB"


def rows_of(place: Path, quick: bool) -> dict[str, tuple[str, Callable[[], Iterator[Compared | str]]]]:
    """What can be asked for by name: what stands above its lines, and what makes them, one after the other."""
    rows, times = (100_000, 3) if quick else (1_000_000, 5)
    sizes = [1_000, 10_000, 100_000] if quick else [1_000, 10_000, 100_000, 1_000_000]

    def small() -> Path:
        return shop_of(place / "small", 300)

    return {
        "start": (HEADING, lambda: start_up(small(), 3 * times)),
        "fit": (HEADING, lambda: whole_fit(shop_of(place / "tall", rows), rows, 1 if quick else 3)),
        "dirty": (HEADING, lambda: dirty(shop_of(place / "middling", 100_000), 100_000, 3)),
        "regression": (HEADING, lambda: regression(rows, 3)),
        "outlook": (HEADING, lambda: outlook_against_refits(500, 100, 5 if quick else 20)),
        "offers": (
            "shortlist by offers, as a process",
            lambda: offers(small(), (100, 1_000, 10_000), 1 if quick else 3),
        ),
        "growth": (
            "processor seconds by rows of the book (exponent from the size above; 1 is linear)",
            lambda: growth(place, sizes),
        ),
    }


def main(words: Sequence[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
        parser.add_argument("--quick", action="store_true", help="100,000 rows in place of a million, fewer times")
        named = rows_of(Path(folder), quick=False)
        parser.add_argument("rows", nargs="*", metavar="ROW", help=f"any of {', '.join(named)}; all, if none is named")
        asked = parser.parse_args(words)
        if unknown := [name for name in asked.rows if name not in named]:
            parser.error(f"there is no row {', '.join(unknown)}; the rows are {', '.join(named)}")
        libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
        print(f"{os.cpu_count()} cores, {platform.machine()}; Python {platform.python_version()}, {libraries}")
        print("medians of alternating runs; the verdict goes by the clock")
        above = ""
        for name, (heading, lines) in rows_of(Path(folder), asked.quick).items():
            if asked.rows and name not in asked.rows:
                continue
            if heading != above:
                print(f"\n{heading}")
            above = heading
            for line in lines():
                print(line if isinstance(line, str) else line.line(), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
