"""`new`: a shop folder laid out, with a worked example or from the owner's own spreadsheet."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from kitvalue.commands.check import CheckDone, check
from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import OFFERS, PRICES, SETTINGS, make_writable, write_whole
from kitvalue.intake.arrival.settings import FirstLook, NewLines, SeriesSeen, new_settings, series_seen, unknown_words
from kitvalue.intake.arrival.takeover import Incoming, incoming
from kitvalue.intake.books import specs
from kitvalue.intake.settings.pasting import open_blocks, paste_blocks
from kitvalue.intake.settings.shop import PricesTable, Shop
from kitvalue.intake.settings.toml import TomlFile
from kitvalue.intake.settings.words import shop_grades
from kitvalue.intake.tables.csvout import MARK, csv_text
from kitvalue.intake.text.decoding import read_bytes
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.words import fold

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable


_OF_AN_OFFER: Final = ("finished", "hours", "parts")  # columns of a new offers.csv beyond those it must have


@dataclass(frozen=True, slots=True)
class NewDone:
    """A shop folder was laid out."""

    folder: Path
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class TakenOver:
    """A shop folder was laid out from a spreadsheet: what was made of it, and how its files read now."""

    folder: Path
    files: tuple[str, ...]
    sheet: Incoming
    series: tuple[SeriesSeen, ...]
    currency: str | None  # as its prices say it
    check: CheckDone
    settings: NewLines


def lay_out(folder: Path) -> NewDone:
    """Lay out a shop folder with a worked example. Raises FileError where the folder already holds something."""
    starter = sorted(_starter_files(_starter(), ""), key=lambda pair: pair[1])
    with _all_or_none(folder) as write:
        for source, name in starter:
            text = source.read_text(encoding="utf-8")
            write(name, (MARK + text if name.endswith(".csv") else text).encode())
    return NewDone(folder, tuple(name for _, name in starter))


def take_over(folder: Path, spreadsheet: Path) -> TakenOver:
    """Lay out a shop folder from a spreadsheet saved as CSV: its rows as prices.csv, what it calls things in shop.toml.

    Raises FileError where the folder already holds something or the spreadsheet cannot be read.
    """
    starter = _starter().joinpath(SETTINGS).read_text(encoding="utf-8")
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
    usual = _usual_grade(sheet.cells.get("condition", ()), ShopFolder(folder).shop)
    settings = NewLines(open_blocks(toml), seen.guesses, _private(toml), toml.lines, usual)
    return TakenOver(folder, (OFFERS, PRICES, SETTINGS), sheet, series, currency, checked, settings)


def _usual_grade(conditions: Sequence[str], shop: Shop) -> Decimal:
    """The grade of the commonest condition that has one; a middling one where none has."""
    grades = shop_grades(shop)
    often = Counter(map(fold, conditions)).most_common()
    return next((found for cell, _ in often if (found := grades.find(cell)) is not None), Decimal(3))


def _private(toml: TomlFile) -> tuple[int, ...]:
    place = ("prices", "words", "channel")
    words = toml.values["prices"]["words"]["channel"]
    found = (toml.lines.get((*place, word)) for word, ours in words.items() if ours == "private")
    return tuple(sorted(at for at in found if at is not None))


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
            "that stands is saved over its prices.csv"
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


def _starter() -> Traversable:
    return resources.files("kitvalue") / "starter"


def _starter_files(place: Traversable, prefix: str) -> list[tuple[Traversable, str]]:
    found = []
    for entry in place.iterdir():
        if entry.is_dir():
            found += _starter_files(entry, f"{prefix}{entry.name}/")
        elif entry.name.endswith((".toml", ".csv")):
            found.append((entry, prefix + entry.name))
    return found
