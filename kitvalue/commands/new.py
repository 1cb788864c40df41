"""`new`: a shop folder laid out, with a worked example or from the owner's own spreadsheet."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.commands.check import CheckDone, check
from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import DONE, OFFERS, PARTS, PRICES, SETTINGS, make_writable, write_whole
from kitvalue.intake.arrival.country import country_of
from kitvalue.intake.arrival.guesses import SeriesSeen, refused_words, series_seen, words_meant
from kitvalue.intake.arrival.questions import Ask, column_questions, questions, with_series
from kitvalue.intake.arrival.settings import NewLines, Said, new_settings
from kitvalue.intake.arrival.takeover import Incoming, incoming
from kitvalue.intake.books import specs
from kitvalue.intake.settings.pasting import open_blocks, unknown_words
from kitvalue.intake.settings.shop import PricesTable
from kitvalue.intake.settings.toml import TomlFile
from kitvalue.intake.settings.words import shop_grades
from kitvalue.intake.tables.csvout import MARK, csv_text
from kitvalue.intake.text.decoding import read_bytes
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.tomltext import toml_text
from kitvalue.intake.text.words import fold

STARTER: Final = Path(__file__).parent.parent / "starter"
_PLAN: Final = "builds/example.toml"


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


def take_over(folder: Path, spreadsheet: Path, today: date, ask: Ask | None = None) -> TakenOver:
    """Lay out a shop folder from a spreadsheet saved as CSV: its rows as prices.csv, what it calls things in shop.toml.
    `ask` is asked what nothing tells, before anything is written.

    Raises FileError where the folder already holds something or the spreadsheet cannot be read.
    """
    starter = (STARTER / SETTINGS).read_text(encoding="utf-8")
    features = PricesTable.model_validate(tomllib.loads(starter, parse_float=Decimal)["prices"]).features
    sheet = incoming(read_bytes(spreadsheet, spreadsheet.name), spreadsheet.name, features)
    asked = column_questions(sheet.columns, sheet.unused, sheet.rows) if ask is not None else ()
    for question in asked:
        header = ask(question) if ask is not None else None
        sheet = sheet.with_column(question.column, header) if header is not None else sheet
    home = country_of(next(iter(sheet.currencies), None), sheet.language)
    said = Said(series_seen(sheet.series), home=home)
    with _all_or_none(folder) as write:
        write(PRICES, sheet.data)
        write(SETTINGS, new_settings(starter, replace(sheet, sized=None), Said(home=home)).encode())
        said = _first_look(ShopFolder(folder, today), sheet, said, ask)
        if said.decimal is not None:  # proven by a row beyond those that were looked at
            sheet = replace(sheet, sized=None)
        write(SETTINGS, new_settings(starter, sheet, said).encode())
        for name, specs_of in ((OFFERS, specs.OFFERS), (PARTS, specs.PARTS), (DONE, specs.DONE)):
            more = (name_of for name_of in (*features, *sheet.features) if name == OFFERS and name_of in sheet.columns)
            write(name, csv_text((*(spec.name for spec in specs_of), *more), (), sheet.delimiter).encode())
        write(_PLAN, _plan_to_copy(said.series).encode())
        toml, checked = TomlFile(folder / SETTINGS, SETTINGS), check(ShopFolder(folder, today))
    channels = toml.values["prices"]["words"]["channel"]
    places = (("prices", "words", "channel", word) for word, ours in channels.items() if ours == "private")
    private = tuple(sorted(toml.lines[place] for place in places if place in toml.lines))
    grades = shop_grades(ShopFolder(folder, today).shop)
    often = Counter(map(fold, sheet.cells.get("condition", ()))).most_common()
    usual = next((grade for cell, _ in often if (grade := grades.find(cell)) is not None), Decimal(3))
    guesses = tuple(word for word in said.words if word.guess)
    settings = NewLines(open_blocks(toml), guesses, private, toml.lines, usual)
    currency = home.currency if home is not None else None
    return TakenOver((_PLAN, DONE, OFFERS, PARTS, PRICES, SETTINGS), sheet, said.series, currency, checked, settings)


def _first_look(folder: ShopFolder, sheet: Incoming, said: Said, ask: Ask | None) -> Said:
    """What a reading by settings that know the columns, not yet the words, gives, and what their owner answers; where a
    column is missing, so that no row can be read, the words of the others.
    """
    shop, reading = folder.shop, folder.prices()
    problems = [*reading.problems]
    if any(problem.unmapped is not None for problem in problems):
        problems += refused_words(sheet.cells, shop, PRICES)
    unknown, kinds = unknown_words(problems, shop), shop.prices.features
    conditions = sheet.cells.get("condition", ())
    words = words_meant(unknown, kinds, sheet.scale, conditions, {})
    answers = {}
    for question in questions(words, said.series, kinds) if ask is not None else ():
        answer = ask(question) if ask is not None else None
        if answer is not None:
            answers[question.column, fold(question.word)] = answer
    open_days = any(problem.code in ("undecided_date", "two_dates") for problem in problems)
    return replace(
        said,
        series=with_series(said.series, answers),
        words=words_meant(unknown, kinds, sheet.scale, conditions, answers),
        decimal=reading.counts.decimal,
        guessed_day_first=not said.home.month_first if open_days and said.home is not None else None,
    )


def _plan_to_copy(series: Sequence[SeriesSeen]) -> str:
    """The starter's plan, about series of the sheet where it has any."""
    text = (STARTER / _PLAN).read_text(encoding="utf-8")
    names = [toml_text(one.name) for one in series]
    for ours, name in zip(('"Inishmore"', '"Burren"'), (*names[:1], *names[-1:]), strict=False):
        text = text.replace(ours, name)
    return text.replace('title = "Four-piece in Inishmore dress"', 'title = "An example to copy: all figures invented"')


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
