"""The market of a shop: the saved fit where it still matches the files, else a fresh one."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from kitvalue import __version__
from kitvalue.commands.writing import write_whole
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import FileCounts, FileError, KitvalueError, Level, Problem, RefusedError
from kitvalue.market.fitted import Fit, upside_down
from kitvalue.market.saved import FORMAT, dump_fit, load_fit

PRICES = "prices.csv"
INPUTS = (PRICES, "rates.csv")
OUT = "out"
FIT_FILE = "fit.json"


@dataclass(frozen=True, slots=True, eq=False)
class ShopMarket:
    """A fit of the shop's price book and how its rows were read. `problems` is empty where the fit was a saved one."""

    fit: Fit
    counts: FileCounts
    problems: tuple[Problem, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """Grades that look upside down, rows that no estimate knows of, and a fit made otherwise than usual."""
        turned = upside_down(self.fit.terms)
        found = [] if turned is None else [turned]
        if self.counts.refused:
            rows = f"{self.counts.refused} of {self.counts.read} rows"
            found.append(f"{rows} of {self.counts.file} are refused and not used: kitvalue check lists them")
        if not self.fit.robust:
            found.append("from a plain fit, without robust weights (kitvalue fit makes the usual one)")
        if not self.fit.recipe.pooled and len(self.fit.recipe.series) > 1:
            found.append("from a fit without pooling: series with few rows stand alone (kitvalue fit pools)")
        return tuple(found)


def fingerprint(folder: Path, shop: Shop) -> str:
    """What a fit depends on: the files' bytes, the settings that they are read by, and this program's version."""
    digest = hashlib.sha256()
    reading = shop.model_dump_json(include={"shop": {"currency", "size_order"}, "files": True, "prices": True})
    names = json.dumps({name: list(table.also) for name, table in shop.series.items()}, sort_keys=True)
    for part in (f"{FORMAT} {__version__}", reading, names):
        digest.update(part.encode() + b"\0")
    for name in INPUTS:
        path = folder / name
        try:
            digest.update(hashlib.sha256(path.read_bytes()).digest() if path.is_file() else b"absent")
        except OSError as why:
            raise FileError(f"cannot read {name}: {(why.strerror or str(why)).lower()}") from why
    return digest.hexdigest()


def saved_market(folder: Path, shop: Shop) -> ShopMarket | None:
    """The saved fit, or None where there is none that matches."""
    path = folder / OUT / FIT_FILE
    try:
        text = path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    kept = load_fit(text, fingerprint(folder, shop))
    return None if kept is None else ShopMarket(kept.fit, kept.counts, ())


def fresh_market(folder: Path, shop: Shop, *, robust: bool = True, pooled: bool = True) -> ShopMarket:
    """Read the price book and fit it. Raises FileError or RefusedError with the file's problems."""
    from kitvalue.intake.books.pricebook import read_pricebook
    from kitvalue.market.accuracy import assess
    from kitvalue.market.fit import fit_book, fit_rows

    reading = replace(read_pricebook(folder / PRICES, shop), rows_as_read=())  # those of a tall file hold all its bytes
    refuse_file(reading.problems)
    haggle = None if shop.prices.haggle is None else float(shop.prices.haggle)
    if reading.book is None:
        short = f"{PRICES} has 0 usable rows; a fit needs 12: add observed kits{_or_mend(reading.counts)}"
        raise RefusedError(short, reading.problems)
    try:
        fit = fit_book(reading.book, haggle, robust=robust, pooled=pooled)
    except RefusedError as why:
        raise RefusedError(f"{PRICES}: {why.message}{_or_mend(reading.counts)}", reading.problems) from why
    if not fit.exact:
        accuracy = assess(reading.book, fit, lambda part: fit_rows(part, haggle, robust=robust, pooled=pooled))
        fit = replace(fit, accuracy=accuracy)
    return ShopMarket(fit, reading.counts, reading.problems)


def _or_mend(counts: FileCounts) -> str:
    """What else would give a fit more rows."""
    if not counts.refused:
        return ""
    which = "the refused row" if counts.refused == 1 else f"the {counts.refused} refused rows"
    return f", or mend {which}: kitvalue check lists what to write"


def refuse_file(problems: Sequence[Problem]) -> None:
    """Raise FileError where a file is refused as a whole."""
    whole = [p for p in problems if p.level is Level.FILE]
    if whole:
        raise FileError(whole[0].line(), tuple(problems))


def save(folder: Path, shop: Shop, market: ShopMarket) -> Path:
    """Write out/fit.json. Raises FileError where it cannot be written."""
    path = folder / OUT / FIT_FILE
    write_whole(path, dump_fit(market.fit, market.counts, fingerprint(folder, shop)))
    return path


def reported_market(folder: Path, shop: Shop) -> ShopMarket:
    """The market with every problem of its files, from the saved fit where that matches and was made as usual. Raises
    FileError where a fresh fit cannot be kept.
    """
    from kitvalue.intake.books.pricebook import read_pricebook

    market = saved_market(folder, shop)
    if market is not None and market.fit.robust and market.fit.recipe.pooled:
        return replace(market, problems=read_pricebook(folder / PRICES, shop).problems)
    market = fresh_market(folder, shop)
    save(folder, shop, market)
    return market


def market_of(folder: Path, shop: Shop) -> ShopMarket:
    """The saved fit where it matches, else a fresh one, which is saved where that is possible."""
    from kitvalue.commands.writing import make_writable

    market = saved_market(folder, shop)
    if market is not None:
        return market
    market = fresh_market(folder, shop)
    try:
        make_writable(folder / OUT)
        save(folder, shop, market)
    except KitvalueError:
        return market  # the answer does not depend on being kept
    return market
