"""Damaged files for every reader, hostile shops and adverts for every command: an answer or one clear refusal, always.

    python tests/tooling/fuzz.py [readers 20000] [seed] [--commands 1500]

Inputs are made from sound ones by cutting, doubling, splicing and setting odd texts between; a seed gives the same ones
again. Looked for: tracebacks, a library's warnings, runs that do not end, signs that steer a terminal on either stream
or in a table, lines to paste that a shell would run, files cut short, another file's text. Prints how many inputs were
answered how; a failure is printed with its seed.
"""

from __future__ import annotations

import argparse
import collections
import datetime as dt
import random
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.jot import jot
from kitvalue.intake.books.bookrows import read_rates
from kitvalue.intake.books.done import read_done
from kitvalue.intake.books.offers import read_offers
from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.settings.plan import read_plan
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.text.problems import KitvalueError, Level, Problem

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # as a script it stands outside of its own package
from tests.tooling.hostile import ATTACKS, attempt, load_all

ROOT = Path(__file__).resolve().parents[2]
STARTER = ROOT / "kitvalue" / "starter"
SHOP_TEXT = (STARTER / "shop.toml").read_text(encoding="utf-8")
PLAN_TEXT = next((STARTER / "builds").glob("*.toml")).read_text(encoding="utf-8")
PRICES = b"".join((STARTER / "prices.csv").read_bytes().splitlines(keepends=True)[:8])
OFFERS = (STARTER / "offers.csv").read_bytes()
RATES = b"date,currency,rate\n2024-01-01,CHF,1.05\n01.02.2024,GBP,1.17\n"
DONE = b"plan,finished_on,hours,cost,sold_on,sold_for,note\nexample,2024-03-01,30,900.00,2024-04-01,2100.00,x\n"
ADVERT = (
    b"Verkaufe Burren, 22x16, 16x16, 13x9, 12x8 + Snare, guter Zustand, 480,00 EUR VB, Versand 45, 3.11.2026, "
    b'Tel. 0171 1234567, https://example.org/1, Becken: 20" Ride'
)
LIMIT = 60.0  # seconds after which a reader is taken to hang
TODAY = dt.date(2026, 11, 25)
ODD = (
    b'"', b'""', b";",
    b",", b"\t", b"|", b"\n", b"\r", b"\r\n", b"\x00", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe", b"\xc3", b"\x80",
    "€".encode(), "\u202e".encode(), "\u00a0".encode(), "\u200b".encode(), "½".encode(), "１２".encode(), "٣".encode(),
    b"=1+1", b"+", b"-",
    b"@", b"'", b"1.250", b"1.250,00", b"1e9", b"1e999", b"nan", b"inf", b"-450", b"450-500", b"0",
    b"999999999999999999999", b"#REF!",
    b"###", b"Err:508", b"31.02.2023", b"4/3/23", b"2023-04-03", b"29.2.1900", b"sold", b"VB", b"EUR", b"\xc2\xa3",
    b"kr", b"Summe",
    b"total", b"4+1", b"1/2", b"22x16", b"22/16/13", b"[", b"]", b"[[drum]]", b"{", b"}", b"=", b"#", b"true",
    b"'''", b'"""', b"\\u0000",
    b"sep=;", b"Suche", b"je", b"x" * 130, b"1" * 60, b"a" * 3000, b"((((((((", b"[[[[[[[[", b".", b"..", b"/", b"%",
        b"<script>", *(attack.encode() for attack in ATTACKS),
)  # fmt: skip


def damaged(sound: bytes, draw: random.Random) -> bytes:
    """The bytes with a few wounds."""
    data = sound
    for _ in range(draw.choice((1, 1, 2, 3, 5, 12))):
        at = draw.randrange(len(data) + 1)
        to = min(len(data), at + draw.choice((0, 1, 1, 2, 5, 20, 80)))
        kind = draw.randrange(7)
        if kind <= 2:
            data = data[:at] + draw.choice(ODD) + data[to:]
        elif kind == 3:
            data = data[:at] + data[to:]
        elif kind == 4:
            data = data[:to] + data[at:]
        elif kind == 5:
            data = data[:at] + bytes([draw.randrange(256)]) + data[to:]
        else:
            lines = data.split(b"\n")
            one, other = draw.randrange(len(lines)), draw.randrange(len(lines))
            lines[one], lines[other] = lines[other], lines[one]
            data = b"\n".join(lines)
    if draw.random() < 0.05:
        encoding = draw.choice(("utf-16", "cp1252", "utf-32", "latin-1"))
        data = data.decode("utf-8", errors="replace").encode(encoding, "replace")
    return data


def _sound(problems: tuple[Problem, ...]) -> str:
    for problem in problems:
        assert problem.message, problem
        assert "\n" not in problem.line(), problem
    levels = {problem.level for problem in problems}
    return "file" if Level.FILE in levels else "rows" if Level.REFUSED in levels else "used"


class Readers:
    """Every reader on a folder of its own; each takes bytes and says how it answered."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.joinpath("builds").mkdir()
        folder.joinpath("shop.toml").write_text(SHOP_TEXT, encoding="utf-8")
        self.shop: Shop = read_shop(folder)
        self.by_name: dict[str, tuple[bytes, Callable[[bytes], str]]] = {
            "prices.csv": (PRICES, self.prices),
            "offers.csv": (OFFERS, self.offers),
            "rates.csv": (RATES, self.rates),
            "done.csv": (DONE, self.done),
            "shop.toml": (SHOP_TEXT.encode(), self.settings),
            "plan": (PLAN_TEXT.encode(), self.plan),
            "jot": (ADVERT, self.jot),
            "jot into": (PRICES, self.jot_into),
        }

    def _written(self, name: str, data: bytes) -> Path:
        path = self.folder / name
        path.write_bytes(data)
        return path

    def prices(self, data: bytes) -> str:
        reading = read_pricebook(self._written("prices.csv", data), self.shop, TODAY)
        counts = reading.counts
        assert counts.read == counts.used + counts.refused + counts.set_aside
        assert counts.used == len(reading.rows_as_read) == (0 if reading.book is None else len(reading.book))
        return _sound(reading.problems)

    def offers(self, data: bytes) -> str:
        reading = read_offers(self._written("offers.csv", data), self.shop)
        assert reading.counts.used == len(reading.rows)
        return _sound(reading.problems)

    def rates(self, data: bytes) -> str:
        path = self._written("rates.csv", data)
        found = _sound(read_rates(path, self.shop).problems)
        path.unlink()
        return found

    def done(self, data: bytes) -> str:
        return _sound(read_done(self._written("done.csv", data), self.shop, ("example",), TODAY).problems)

    def settings(self, data: bytes) -> str:
        place = self.folder / "settings"
        place.mkdir(exist_ok=True)
        place.joinpath("shop.toml").write_bytes(data)
        read_shop(place)
        return "used"

    def plan(self, data: bytes) -> str:
        self.folder.joinpath("builds", "fuzz.toml").write_bytes(data)
        read_plan("fuzz", self.folder, self.shop)
        return "used"

    def jot(self, data: bytes) -> str:
        self._written("prices.csv", PRICES)
        jot(ShopFolder(self.folder, TODAY), data.decode("utf-8", errors="replace"), TODAY, offer=False)
        return "used"

    def jot_into(self, data: bytes) -> str:
        self._written("prices.csv", data)
        assert jot(ShopFolder(self.folder, TODAY), ADVERT.decode(), TODAY, offer=False).row.data.startswith(data)
        return "used"

    def take(self, name: str, seed: int) -> str:
        """One damaged input: how it was answered. Anything but an answer or a KitvalueError is raised."""
        return self.answer(name, damaged(self.by_name[name][0], random.Random(f"{name} {seed}")))

    def answer(self, name: str, data: bytes) -> str:
        """How one reader answers these bytes."""
        try:
            return self.by_name[name][1](data)
        except KitvalueError as error:
            message = error.message
        assert message
        assert "\n" not in message, message
        return "refused"


def _too_long(*_: object) -> None:
    raise TimeoutError(f"no answer within {LIMIT:g} seconds")


def read_damaged(wanted: int, first: int) -> int:
    """Give the readers so many damaged files; how many of them failed."""
    counts: collections.Counter[str] = collections.Counter()
    failed, slowest = 0, (0.0, "")
    signal.signal(signal.SIGALRM, _too_long)
    with tempfile.TemporaryDirectory() as place:
        readers = Readers(Path(place))
        names = list(readers.by_name)
        for at in range(wanted):
            name, seed = names[at % len(names)], first + at // len(names)
            began = time.perf_counter()
            signal.setitimer(signal.ITIMER_REAL, LIMIT)
            try:
                counts[f"{name}: {readers.take(name, seed)}"] += 1
            except Exception:
                failed += 1
                print(f"FAILED {name} {seed}\n{traceback.format_exc(limit=-4)}", flush=True)
            signal.setitimer(signal.ITIMER_REAL, 0)
            slowest = max(slowest, (time.perf_counter() - began, f"{name} {seed}"))
    _tell(counts, f"{wanted} files, {failed} failed; slowest {slowest[0]:.2f} s ({slowest[1]})")
    return failed


def run_hostile(wanted: int, first: int) -> int:
    """Run so many commands on hostile shops, one a shop; how many did what none may do."""
    counts: collections.Counter[str] = collections.Counter()
    failed, slowest = 0, (0.0, 0)
    load_all()
    with tempfile.TemporaryDirectory() as place:
        for seed in range(first, first + wanted):
            outcome, faults = attempt(Path(place) / "work", seed)
            counts[f"{outcome.args[0]:.12}: exit status {outcome.status}"] += 1
            slowest = max(slowest, (outcome.seconds, seed))
            if faults:
                failed += 1
                print(f"FAILED command {seed} {outcome.args}\n  {faults}\n{outcome.err[-1000:]}", flush=True)
    _tell(counts, f"{wanted} commands, {failed} failed; slowest {slowest[0]:.2f} s ({slowest[1]})")
    return failed


def _tell(counts: collections.Counter[str], last: str) -> None:
    for what, count in sorted(counts.items()):
        print(f"{count:8d}  {what!r}"[:100])
    print(last, flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("readers", nargs="?", type=int, default=20_000, help="damaged files for the readers")
    parser.add_argument("seed", nargs="?", type=int, default=0, help="another seed draws other inputs")
    parser.add_argument("--commands", type=int, default=1_500, help="hostile shops, a command each")
    asked = parser.parse_args()
    failed = read_damaged(asked.readers, asked.seed) + run_hostile(asked.commands, asked.seed)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
