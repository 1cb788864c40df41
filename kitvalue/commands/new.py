"""`new`: a shop folder laid out, with a worked example or from the owner's own spreadsheet."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.commands.check import CheckDone, check
from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import OFFERS, PRICES, SETTINGS, make_writable, write_whole
from kitvalue.intake.arrival.settings import FirstLook, NewLines, SeriesSeen, new_settings, series_seen, unknown_words
from kitvalue.intake.arrival.takeover import Incoming, incoming
from kitvalue.intake.books import specs
from kitvalue.intake.settings.pasting import open_blocks, paste_blocks
from kitvalue.intake.settings.shop import PricesTable
from kitvalue.intake.settings.toml import TomlFile
from kitvalue.intake.settings.words import shop_grades
from kitvalue.intake.tables.csvout import MARK, csv_text
from kitvalue.intake.text.decoding import read_bytes
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.words import fold

STARTER: Final = Path(__file__).parent.parent / "starter"
_OF_AN_OFFER: Final = ("finished", "hours", "parts")  # columns of a new offers.csv beyond those it must have


@dataclass(frozen=True, slots=True, eq=False)
class TakenOver:
    """A shop folder was laid out from a spreadsheet: what was made of it, and how its files read now."""

    files: tuple[str, ...]
    sheet: Incoming
    series: tuple[SeriesSeen, ...]
    currency: str | None  # as its prices say it
    check: CheckDone
    settings: NewLines


def lay_out(folder: Path) -> tuple[str, ...]:
    """Lay out a shop folder with a worked example, these files. Raises FileError where it already holds something."""
    names = sorted(p.relative_to(STARTER).as_posix() for p in STARTER.rglob("*") if p.suffix in (".toml", ".csv"))
    with _all_or_none(folder) as write:
        for name in names:
            text = (STARTER / name).read_text(encoding="utf-8")
            write(name, (MARK + text if name.endswith(".csv") else text).encode())
    return tuple(names)


def take_over(folder: Path, spreadsheet: Path) -> TakenOver:
    """Lay out a shop folder from a spreadsheet saved as CSV: its rows as prices.csv, what it calls things in shop.toml.

    Raises FileError where the folder already holds something or the spreadsheet cannot be read.
    """
    starter = (STARTER / SETTINGS).read_text(encoding="utf-8")
    features = PricesTable.model_validate(tomllib.loads(starter, parse_float=Decimal)["prices"]).features
    sheet = incoming(read_bytes(spreadsheet, spreadsheet.name), spreadsheet.name, features)
    series, currency = series_seen(sheet.series), next(iter(sheet.currencies), None)
    with _all_or_none(folder) as write:
        write(PRICES, sheet.data)
        write(SETTINGS, new_settings(starter, replace(sheet, sized=None), (), FirstLook(), currency).encode())
        seen = _first_look(ShopFolder(folder), sheet)
        if seen.decimal is not None:  # proven by a row beyond those that were looked at
            sheet = replace(sheet, sized=None)
        write(SETTINGS, new_settings(starter, sheet, series, seen, currency).encode())
        columns = (
            *(spec.name for spec in specs.OFFERS if spec.needed),
            *_OF_AN_OFFER,
            *(name for name in features if name in sheet.columns),
        )
        write(OFFERS, csv_text(columns, (), sheet.delimiter).encode())
        toml, checked = TomlFile(folder / SETTINGS, SETTINGS), check(ShopFolder(folder))
    channels = toml.values["prices"]["words"]["channel"]
    places = (("prices", "words", "channel", word) for word, ours in channels.items() if ours == "private")
    private = tuple(sorted(toml.lines[place] for place in places if place in toml.lines))
    grades = shop_grades(ShopFolder(folder).shop)
    often = Counter(map(fold, sheet.cells.get("condition", ()))).most_common()
    usual = next((grade for cell, _ in often if (grade := grades.find(cell)) is not None), Decimal(3))
    settings = NewLines(open_blocks(toml), seen.guesses, private, toml.lines, usual)
    return TakenOver((OFFERS, PRICES, SETTINGS), sheet, series, currency, checked, settings)


def _first_look(folder: ShopFolder, sheet: Incoming) -> FirstLook:
    """The price book read by settings that know its columns, not yet its words; where a column is missing, so that no
    row can be read, the words of the others.
    """
    shop, reading = folder.shop, folder.prices()
    problems = [*reading.problems]
    if any(problem.unmapped is not None for problem in problems):
        problems += unknown_words(sheet.cells, shop, PRICES)
    blocks = paste_blocks(problems, shop, TomlFile(folder.path / SETTINGS, SETTINGS).lines)
    return FirstLook(blocks, reading.counts.decimal)


@contextmanager
def _all_or_none(folder: Path) -> Iterator[Callable[[str, bytes], None]]:
    """A function that writes one file of a new shop; where one fails, or somebody stops it, none is left."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileError(
            f"{folder} is not empty: give a new or an empty folder, nothing is written over; a newer sheet of a shop "
            "that stands is merged with kitvalue take, or saved over its prices.csv"
        )
    written: list[Path] = []

    def write(name: str, data: bytes) -> None:
        path = folder / name
        make_writable(path.parent)
        written.append(path)
        write_whole(path, data)

    try:
        yield write
    except BaseException:
        for path in written:
            path.unlink(missing_ok=True)
        raise
