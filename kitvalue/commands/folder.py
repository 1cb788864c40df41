"""A shop's folder: what its files are called, what stands in them, and the one way to write them."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import shutil
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final

from kitvalue import __version__
from kitvalue.commands.writing import DONE, OFFERS, PARTS, PRICES, RATES, make_writable, write_whole
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.text.dates import AFTER_TODAY
from kitvalue.intake.text.decoding import read_bytes
from kitvalue.intake.text.problems import Caution, FileCounts, FileError, KitvalueError, Level, Problem, RefusedError
from kitvalue.market.fitted import FORMAT, Fit, dump_fit, load_fit, upside_down

if TYPE_CHECKING:
    from kitvalue.intake.books.done import FinishedBuild
    from kitvalue.intake.books.offers import Offer, Part
    from kitvalue.intake.books.pricebook import PriceReading
    from kitvalue.intake.settings.plan import Plan
    from kitvalue.intake.tables.specification import FileReading

OUT: Final = "out"
FIT_FILE: Final = "fit.json"
KEPT: Final = 20  # changes of the shop's own files whose old state stays in out/before/
AGAIN: Final = "nothing is written, run the command again"
PATIENCE: Final = 10.0  # seconds to wait for another run that is writing


@dataclass(frozen=True, slots=True, eq=False)
class ShopMarket:
    """A fit of the shop's price book and how its rows were read. `problems` is empty where the fit was a saved one."""

    fit: Fit
    counts: FileCounts
    problems: tuple[Problem, ...]

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """Grades that look upside down, rows that no estimate knows of, and a fit made otherwise than usual."""
        turned = upside_down(self.fit.terms)
        said = [] if turned is None else [turned]
        if self.counts.refused:
            rows = f"{self.counts.refused} of {self.counts.read} rows"
            refused = f"{rows} of {self.counts.file} are refused and not used: kitvalue check lists them"
            said.append(Caution("refused_rows", refused))
        if not self.fit.robust:
            plain = "from a plain fit, without robust weights (kitvalue fit makes the usual one)"
            said.append(Caution("plain_fit", plain))
        if not self.fit.recipe.pooled and len(self.fit.recipe.series) > 1:
            alone = "from a fit without pooling: series with few rows stand alone (kitvalue fit pools)"
            said.append(Caution("not_pooled", alone))
        return tuple(said)


class ShopFolder:
    """The files of one shop as of `today`, each read once, when it is first asked for. Raises FileError where one
    cannot be used.
    """

    def __init__(self, path: Path, today: dt.date) -> None:
        self.path, self.today = path, today
        self._plans: dict[str, Plan] = {}

    # ---- what stands in it

    @cached_property
    def shop(self) -> Shop:
        """The settings."""
        return read_shop(self.path, self.today)

    def has(self, name: str) -> bool:
        """Is there such a file?"""
        return (self.path / name).exists()

    @property
    def plan_names(self) -> tuple[str, ...]:
        """The plans in builds/, sorted."""
        from kitvalue.intake.settings.plan import plan_names

        return plan_names(self.path)

    def plan(self, name_or_path: str) -> Plan:
        """A plan by its name in builds/ or by a path."""
        from kitvalue.intake.settings.plan import read_plan

        if name_or_path not in self._plans:
            self._plans[name_or_path] = read_plan(name_or_path, self.path, self.shop)
        return self._plans[name_or_path]

    def plans_that_read(self) -> tuple[tuple[Plan, ...], tuple[Caution, ...]]:
        """The plans in builds/ that can be read, and a caution for each other one."""
        from kitvalue.decisions.builds import left_out

        plans, cautions = [], []
        for name in self.plan_names:
            try:
                plans.append(self.plan(name))
            except KitvalueError as why:
                cautions.append(left_out(name, why))
        return tuple(plans), tuple(cautions)

    def prices(self) -> PriceReading:
        """The price book, read anew: a tall one is not kept in memory."""
        from kitvalue.intake.books.pricebook import read_pricebook

        return read_pricebook(self.path / PRICES, self.shop, self.today)

    @cached_property
    def offers(self) -> FileReading[Offer]:
        """The kits on offer."""
        from kitvalue.intake.books.offers import read_offers

        return read_offers(self.path / OFFERS, self.shop, self.today)

    def offers_to_judge(self) -> FileReading[Offer]:
        """The kits on offer. Raises FileError where there is no such file or it is refused as a whole, RefusedError
        where it has no offer that can be judged.
        """
        if not self.has(OFFERS):
            missing = f"there is no {OFFERS} in {self.path}: write the kits you are offered into it, or use jot --offer"
            raise FileError(missing)
        refuse_file(self.offers.problems)
        if not self.offers.rows:
            read = self.offers.counts.read
            if not read:
                raise RefusedError(
                    f"{OFFERS} has no offers in it yet: write the kits you are offered into it, or use jot --offer",
                    self.offers.problems,
                )
            which = "the one offer" if read == 1 else f"none of the {read} offers"
            could = "could not be read" if read == 1 else "could be read"
            raise RefusedError(f"{which} in {OFFERS} {could}: kitvalue check lists what to mend", self.offers.problems)
        if self.parts is not None:
            refuse_file(self.parts.problems)
        return self.offers

    @cached_property
    def parts(self) -> FileReading[Part] | None:
        """What drums bring without their kit; None where there is no such file."""
        from kitvalue.intake.books.offers import read_parts

        return read_parts(self.path / PARTS, self.shop) if self.has(PARTS) else None

    def parts_for(self, plan: Plan) -> Sequence[Part]:
        """The rows of parts.csv for a plan whose donors tell their sizes; not looked into for another. Raises FileError
        where the file is refused as a whole.
        """
        if not any(donor.sizes for donor in plan.donor) or self.parts is None:
            return ()
        refuse_file(self.parts.problems)
        return self.parts.rows

    @cached_property
    def finished(self) -> FileReading[FinishedBuild]:
        """The finished builds."""
        from kitvalue.intake.books.done import read_done

        return read_done(self.path / DONE, self.shop, self.plan_names, self.today)

    # ---- its market

    @cached_property
    def market(self) -> ShopMarket:
        """The saved fit where it matches the files, else a fresh one, which is saved where that is possible."""
        saved = self._saved_market()
        if saved is not None:
            return saved
        market = fresh_market(self)
        with suppress(KitvalueError):  # the answer does not depend on being kept
            self.save(market)
        return market

    def reported_market(self) -> ShopMarket:
        """The market with every problem of its files, from the saved fit where that matches and was made as usual.
        Raises FileError where a fresh fit cannot be kept.
        """
        market = self._saved_market()
        if market is not None and market.fit.robust and market.fit.recipe.pooled:
            return replace(market, problems=self.prices().problems)
        market = fresh_market(self)
        self.save(market)
        return market

    def _saved_market(self) -> ShopMarket | None:
        try:
            text = (self.path / OUT / FIT_FILE).read_bytes().decode("utf-8")
        except (OSError, UnicodeDecodeError):
            return None
        kept = load_fit(text, self._fit_key(of_day=False), self._fit_key(of_day=True))
        return None if kept is None else ShopMarket(kept.fit, kept.counts, ())

    def fingerprint(self) -> str:
        """What a fit depends on: the files' bytes, the settings that they are read by, and this program's version."""
        shop, whole = self.shop, hashlib.sha256()
        reading = shop.model_dump_json(include={"shop": {"currency", "size_order"}, "files": True, "prices": True})
        names = json.dumps({name: list(table.also) for name, table in shop.series.items()}, sort_keys=True)
        for part in (f"{FORMAT} {__version__}", reading, names):
            whole.update(part.encode() + b"\0")
        for name in (PRICES, RATES):
            path = self.path / name
            try:
                whole.update(hashlib.sha256(path.read_bytes()).digest() if path.is_file() else b"absent")
            except OSError as why:
                raise FileError(f"cannot read {name}: {(why.strerror or str(why)).lower()}") from why
        return whole.hexdigest()

    # ---- what is written

    def ready(self) -> None:
        """Find out before any work whether out/ can be written to; it is made where it is missing."""
        make_writable(self.path / OUT)

    def put(self, name: str, content: str | bytes) -> Path:
        """Write a file of answers into out/; `ready` goes before."""
        path = self.path / OUT / name
        write_whole(path, content)
        return path

    def save(self, market: ShopMarket) -> Path:
        """Keep a fit in out/fit.json."""
        self.ready()
        of_day = any(problem.code == AFTER_TODAY for problem in market.problems)
        return self.put(FIT_FILE, dump_fit(market.fit, market.counts, self._fit_key(of_day)))

    def _fit_key(self, of_day: bool) -> str:
        """What a saved fit is known by. It holds for its year (of two digits), or day where any ahead is refused."""
        return f"{self.fingerprint()} {self.today if of_day else self.today.year}"

    def bytes_of(self, name: str) -> bytes | None:
        """One of the shop's own files as it is on the disk now; None where it is not there."""
        path = self.path / name
        return read_bytes(path, path.name) if path.exists() or path.is_symlink() else None

    def change(self, files: Mapping[str, bytes], read: Mapping[str, str]) -> None:
        """Write the shop's own files, all of them or none. `read` has the state (`state_of`) that each was made from.

        What they held goes to out/before/, a folder for each change, of which the last are kept. Raises FileError where
        one has changed since it was read or cannot be written, or where another run is writing.
        """
        from filelock import FileLock, Timeout

        self.ready()
        try:
            with FileLock(self.path / OUT / ".lock", timeout=PATIENCE):
                old = {name: self.bytes_of(name) for name in files}
                for name, data in old.items():
                    if state_of(data) != read[name]:
                        raise FileError(
                            f"{name} has changed since it was read; nothing is written, run the command again"
                        )
                self._keep({name: data for name, data in old.items() if data is not None})
                self._replace(files, old)
        except Timeout:
            raise FileError(
                f"another run is writing to {self.path}; nothing is written, run the command again"
            ) from None

    def _replace(self, files: Mapping[str, bytes], old: Mapping[str, bytes | None]) -> None:
        try:
            for name, data in files.items():
                write_whole(self.path / name, data)
        except BaseException:  # what is written already is taken back, also where the stop came right behind a write
            for name, before in old.items():
                if before is None:
                    (self.path / name).unlink(missing_ok=True)
                elif self.bytes_of(name) != before:
                    write_whole(self.path / name, before)
            raise

    def _keep(self, old: Mapping[str, bytes]) -> None:
        place = self.path / OUT / "before"
        kept = sorted(int(path.name) for path in place.glob("*") if path.name.isdecimal())
        number = kept[-1] + 1 if kept else 1
        for name, data in old.items():
            target = place / f"{number:06}" / name
            make_writable(target.parent)
            write_whole(target, data)
        for outdated in kept[: max(0, len(kept) + 1 - KEPT)]:
            shutil.rmtree(place / f"{outdated:06}", ignore_errors=True)


def state_of(data: bytes | None) -> str:
    """What tells one state of a file from another, in hexadecimal digits; "" where there is no file."""
    return "" if data is None else hashlib.sha256(data).hexdigest()


def fresh_market(folder: ShopFolder, *, robust: bool = True, pooled: bool = True) -> ShopMarket:
    """Read the price book and fit it. Raises FileError or RefusedError with the file's problems."""
    from kitvalue.market.accuracy import assess
    from kitvalue.market.fit import fit_book

    reading = replace(folder.prices(), rows_as_read=())  # those of a tall file hold all its bytes
    refuse_file(reading.problems)
    haggle = None if folder.shop.prices.haggle is None else float(folder.shop.prices.haggle)
    mend = ""
    if reading.counts.refused:  # what else would give a fit more rows
        rows = "the refused row" if reading.counts.refused == 1 else f"the {reading.counts.refused} refused rows"
        mend = f", or mend {rows}: kitvalue check lists what to write"
    if reading.book is None:
        short = f"{PRICES} has 0 usable rows; a fit needs 12: add observed kits{mend}"
        raise RefusedError(short, reading.problems)
    try:
        fit = fit_book(reading.book, haggle, robust=robust, pooled=pooled)
    except RefusedError as why:
        raise RefusedError(f"{PRICES}: {why.message}{mend}", reading.problems) from why
    if not fit.exact:
        accuracy = assess(reading.book, fit, lambda part: fit_book(part, haggle, robust=robust, pooled=pooled, least=0))
        fit = replace(fit, accuracy=accuracy)
    return ShopMarket(fit, reading.counts, reading.problems)


def refuse_file(problems: Sequence[Problem]) -> None:
    """Raise FileError where a file is refused as a whole."""
    whole = [p for p in problems if p.level is Level.FILE]
    if whole:
        raise FileError(whole[0].line(), tuple(problems))
