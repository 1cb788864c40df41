"""offers.csv: donor kits that are on offer now."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Final, Literal

from kitvalue.intake.books.bookcolumns import (
    FREIGHT_CURE,
    PRICE_CURE,
    Feature,
    feature_number,
    feature_reader,
    feature_values,
    freight_check,
    price_check,
    read_series,
    read_shop_grade,
)
from kitvalue.intake.books.bookrows import FeatureRead, Rates, read_rates
from kitvalue.intake.books.done import hours_check, read_hours
from kitvalue.intake.settings.shop import FilesTable, Shop
from kitvalue.intake.settings.words import grade_name
from kitvalue.intake.tables.columns import Column, ColumnFindings, known_amount, number_column, word_column
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import TextTable, read_table
from kitvalue.intake.text.numbers import Amount, Reading, Sign, TwoReadings, read_amount, read_percent
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem, shown
from kitvalue.intake.text.sizes import Diameters, Size, SizesCell, read_pieces, sizes_reader
from kitvalue.intake.text.vocabulary import vocabulary
from kitvalue.intake.text.words import Refusal, fold, is_dash, rows_phrase, says_not_known, trimmed

FINISHED_CURE: Final = "write the grade that it will be sold in, or leave it blank if it is sold as it is"
PARTS_CURE: Final = "write what heads and parts for it cost, such as 85, or leave it blank"
HOURS_CURE: Final = "write the bench hours that restoring it takes, such as 6 or 5:30, or leave it blank"


def finished_column(table: TextTable, shop: Shop) -> Column[Decimal]:
    """The grade that each kit will be sold in, in the words of `condition`; None where nothing is said."""
    return word_column(table, "finished", _finished_reader(shop), FINISHED_CURE)


def _finished_reader(shop: Shop) -> Callable[[str], Decimal | Refusal | None]:
    grade = read_shop_grade(shop)

    def read(text: str) -> Decimal | Refusal | None:
        found = grade(text)
        return None if isinstance(found, Refusal) and _says_nothing(text) else found

    return read


def hours_column(table: TextTable, decimal: Sign | None) -> ColumnFindings[Amount]:
    """The bench hours that restoring each kit takes, 0 or more; None where nothing is said. `decimal` is the sign that
    the shop or another column of the file gives."""
    return number_column(table, "hours", _read_hours, hours_check, HOURS_CURE, decimal)


def _read_hours(text: str) -> Reading | None:
    return None if _says_nothing(text) else read_hours(text)


def parts_column(table: TextTable, decimal: Sign | None) -> ColumnFindings[Amount]:
    """What is bought for each kit, money net of the VAT that is deducted, 0 or more; None where nothing is said."""
    return number_column(table, "parts", _read_parts, freight_check, PARTS_CURE, decimal)


def _read_parts(text: str) -> Reading | None:
    return None if _says_nothing(text) else read_amount(text)


def _says_nothing(text: str) -> bool:
    return is_dash(text) or says_not_known(text)


def sold_worse(finished: Decimal | None, condition: Decimal | None) -> Refusal | None:
    """The refusal of a grade below the one that the kit is bought in."""
    if finished is None or condition is None or finished >= condition:
        return None
    return Refusal("below_condition", f"is below the condition that it is bought in, {grade_name(condition)}")


@dataclass(frozen=True, slots=True)
class FeatureColumns:
    """The columns of features, and what was found while those of numbers were read."""

    columns: tuple[Feature, ...]
    findings: tuple[ColumnFindings[Amount], ...]


def feature_columns(table: TextTable, shop: Shop, names: Iterable[str]) -> FeatureColumns:
    """Of the features `names` those that the table has a column for. Rows that are not `counted` prove nothing."""
    columns: list[Feature] = []
    findings: list[ColumnFindings[Amount]] = []
    for name in names:
        if name not in table.header.places:
            continue
        kind = shop.prices.features[name]
        if kind == "number":
            cure = "write a number, or leave it blank"
            found = number_column(table, name, feature_number, lambda amount: None, cure, shop.files.decimal)
            findings.append(found)
            column = feature_values(found.column)
        else:
            reader = feature_reader(name, kind, shop.prices.words.get(name, {}))
            column = word_column(table, name, reader, "write a word, or leave it blank")
        columns.append(Feature(name, kind, column))
    return FeatureColumns(tuple(columns), tuple(findings))


BoughtFrom = Literal["private", "trade", "import"]
WANTED: Final = WantedColumns(
    ("offer", "series", "pieces", "condition", "price"),
    ("freight", "sizes", "bought_from", "haggle", "finished", "hours", "parts", "note"),
)
_SOURCES: Final = ("private", "trade", "import")
_FIXED: Final = ("fixed", "fix", "firm", "fest", "festpreis", "fp", "none")
SIZES_CURE: Final = 'write sizes such as "22x16 16x16 13x11 12x10"'
NO_DEPTHS: Final = "no_depths"


@dataclass(frozen=True, slots=True)
class Offer:
    """One kit on offer: money in the shop's currency, `haggle` in percent, "fixed" where the price is firm.

    `sizes` is () where they are not known in full; `features` are the declared ones that the file tells. `finished` is
    the grade that it will be sold in (None: as it is), `hours` the bench's to restore it, on top of `prepare`,
    `parts` what is bought for that, net of the VAT that is deducted.
    """

    row: int
    offer: str
    series: str
    pieces: int
    condition: Decimal
    price: Decimal
    freight: Decimal | None
    sizes: tuple[Size, ...]
    bought_from: BoughtFrom
    haggle: Decimal | Literal["fixed"] | None
    note: str | None
    features: tuple[FeatureRead, ...] = ()
    finished: Decimal | None = None
    hours: Decimal | None = None
    parts: Decimal | None = None


@dataclass(frozen=True, slots=True)
class OffersReading:
    """What came of reading offers.csv: the usable offers in file order, every problem, and the counts."""

    offers: tuple[Offer, ...]
    problems: tuple[Problem, ...]
    counts: FileCounts


@dataclass(frozen=True, slots=True)
class _Columns:
    offer: Column[str]
    series: Column[str]
    pieces: Column[int]
    condition: Column[Decimal]
    price: Column[Amount]
    freight: Column[Amount]
    sizes: Column[SizesCell]
    bought_from: Column[str]
    haggle: Column[Amount | str]
    finished: Column[Decimal]
    hours: Column[Amount]
    parts: Column[Amount]
    note: Column[str]
    features: tuple[Feature, ...]


def offer_columns(shop: Shop) -> WantedColumns:
    """The columns of offers.csv."""
    return WantedColumns(WANTED.required, (*WANTED.optional, *offer_features(shop)))


def offer_features(shop: Shop) -> tuple[str, ...]:
    """The declared features, but for those with the name of a column that offers.csv has of its own."""
    own = {fold(name) for name in (*WANTED.required, *WANTED.optional)}
    return tuple(name for name in shop.prices.features if fold(name) not in own)


def read_offers(path: Path, shop: Shop) -> OffersReading:
    """Read the offers by a shop's settings. Every problem is in the result; a missing file is one of them."""
    try:
        table = read_table(path, offer_columns(shop), shop.files)
    except FileError as error:
        return OffersReading((), error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    price = number_column(table, "price", read_amount, price_check, PRICE_CURE, shop.files.decimal)
    freight = number_column(table, "freight", read_amount, freight_check, FREIGHT_CURE, shop.files.decimal)
    features = feature_columns(table, shop, offer_features(shop))
    hours = hours_column(table, shop.files.decimal or price.sign or freight.sign)
    parts = parts_column(table, shop.files.decimal or price.sign or freight.sign)
    numbers = (price, freight, hours, parts, *features.findings)
    undecided = [one.undecided for one in numbers if one.undecided is not None]
    if undecided:
        counts = table.counts(0, price.sign or shop.files.decimal)
        return OffersReading((), (*table.problems, *undecided), counts)
    amounts = (one.column for one in (price, freight, hours, parts))
    columns = _columns(table, shop, *amounts, features=features.columns)
    problems = [*table.problems, *(warning for one in numbers for warning in one.warnings)]
    offers: list[Offer] = []
    rates = read_rates(path.parent / "rates.csv", shop)
    twice = _named_twice(table, columns)
    for at in range(len(table)):
        found = [*_cell_problems(table, columns, at), *_across(table, columns, shop, rates, at), *twice.get(at, ())]
        problems += found
        if not any(problem.level is Level.REFUSED for problem in found):
            offers.append(_offer(table, columns, shop, rates, at))
    problems.sort(key=lambda problem: problem.row or 0)
    counts = table.counts(len(offers), price.sign)
    return OffersReading(tuple(offers), tuple(problems), counts)


def _columns(
    table: TextTable, shop: Shop, price: Column[Amount], freight: Column[Amount], hours: Column[Amount],
    parts: Column[Amount], *, features: tuple[Feature, ...],
) -> _Columns:  # fmt: skip
    sources = vocabulary(_SOURCES, {})

    def source(text: str) -> str | Refusal:
        return sources.find(text) or Refusal("unknown_word", "is no known word", "write private, trade or import")

    return _Columns(
        offer=word_column(table, "offer", trimmed, "write a name or number of your choice"),
        series=word_column(table, "series", read_series(shop), "write the series' name"),
        pieces=word_column(table, "pieces", read_pieces, "write the number of drums in digits, such as 4"),
        condition=word_column(table, "condition", read_shop_grade(shop), "write its grade"),
        price=price,
        freight=freight,
        sizes=word_column(table, "sizes", sizes_reader(shop.shop.size_order), SIZES_CURE),
        bought_from=word_column(table, "bought_from", source, "write private, trade or import"),
        haggle=word_column(table, "haggle", _haggle_reader(shop.files), 'write a percentage, such as 10, or "fixed"'),
        finished=finished_column(table, shop),
        hours=hours,
        parts=parts,
        note=word_column(table, "note", str, ""),
        features=features,
    )


def _haggle_reader(files: FilesTable) -> Callable[[str], Amount | str | Refusal]:
    def read(text: str) -> Amount | str | Refusal:
        if fold(text) in _FIXED:
            return "fixed"
        found: Reading = read_percent(text)
        if isinstance(found, TwoReadings):
            found = found.under(files.decimal or ".")
        if isinstance(found, Refusal):
            return Refusal(found.code, "is no percentage")
        return found if 0 <= found.value < 100 else Refusal("range", "is no percentage from 0 to below 100")

    return read


def _named_twice(table: TextTable, columns: _Columns) -> dict[int, list[Problem]]:
    """Offers with one name: all of them are refused, since a command could not tell them apart."""
    where: dict[str, list[int]] = {}
    for at, name in enumerate(columns.offer.values):
        if isinstance(name, str):
            where.setdefault(fold(name), []).append(at)
    found: dict[int, list[Problem]] = {}
    for places in where.values():
        if len(places) > 1:
            rows = rows_phrase([table.row(at) for at in places])
            for at in places:
                why = Refusal("offer_twice", f"names more than one offer ({rows})", "give each a name of its own")
                found[at] = [columns.offer.problem(table, at, why)]
    return found


def _cell_problems(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    for name in (*WANTED.required, "freight", "sizes", "bought_from", "haggle", "finished", "hours", "parts"):
        column: Column[object] = getattr(columns, name)
        value = column.values[at]
        if isinstance(value, Refusal):
            yield column.problem(table, at, value)
        elif value is None and name in WANTED.required:
            yield column.problem(table, at, Refusal("empty", "is empty"))
    for feature in columns.features:
        value = feature.column.values[at]
        if isinstance(value, Refusal):
            yield feature.column.problem(table, at, value)


def _across(table: TextTable, columns: _Columns, shop: Shop, rates: Rates, at: int) -> Iterator[Problem]:
    yield from _sizes_problems(table, columns, at)
    worse = sold_worse(columns.finished.known(at), columns.condition.known(at))
    if worse is not None:
        yield columns.finished.problem(table, at, worse)
    own = shop.shop.currency
    for column in (columns.price, columns.freight, columns.parts):
        amount = column.values[at]
        if isinstance(amount, Amount) and _rate(amount, own, rates) is None:
            cure = f"write the amount in {own}, or give the rate of its currency in rates.csv"
            yield column.problem(table, at, Refusal("currency", f"is not in {own}", cure))


def _sizes_problems(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    """Sizes that cannot be those of the kit, and a warning of diameters alone: the offer is used without them."""
    column, pieces = columns.sizes, columns.pieces.known(at)
    meant = _sizes_meant(columns, at)
    if isinstance(meant, Refusal):
        yield column.problem(table, at, meant)
    elif isinstance(meant, Diameters):
        count, cell = len(meant.inches), column.cells[at]
        differs = "" if pieces is None or count == pieces else f", of {count} drums where pieces says {pieces}"
        message = (
            f"{shown(cell)} gives diameters without depths{differs}, so the offer is judged neither as a donor for a "
            'rebuild nor in parts; write diameter and depth of each drum, such as "22x16"'
        )
        yield Problem(table.file, table.row(at), column.header, cell, NO_DEPTHS, Level.WARNING, message)
    elif meant and pieces is not None and len(meant) != pieces:
        why = Refusal("sizes_count", f"names {len(meant)} drums, and pieces says {pieces}", "correct one of the two")
        yield column.problem(table, at, why)


def _sizes_meant(columns: _Columns, at: int) -> tuple[Size, ...] | Diameters | Refusal:
    """What a cell of sizes says; () where it is blank, or refused by itself."""
    cell = columns.sizes.known(at)
    return () if cell is None else cell.meant(columns.pieces.known(at))


def _rate(amount: Amount, own: str, rates: Rates) -> Decimal | None:
    """What one unit of an amount's currency is worth today: by the newest rate, since an offer stands now."""
    if not amount.currencies or own in amount.currencies:
        return Decimal(1)
    return rates.on(amount.currencies[0], dt.date.max) if len(amount.currencies) == 1 else None


def _own_money(amount: Amount, own: str, rates: Rates) -> Decimal:
    """The amount in the shop's currency, to the cent where it was turned into it."""
    rate = _rate(amount, own, rates) or Decimal(1)
    return amount.value if rate == 1 else (amount.value * rate).quantize(Decimal("0.01"), ROUND_HALF_UP)


def _offer(table: TextTable, columns: _Columns, shop: Shop, rates: Rates, at: int) -> Offer:
    own = shop.shop.currency
    haggle, source = columns.haggle.known(at), columns.bought_from.known(at)
    freight, sizes, parts = columns.freight.known(at), _sizes_meant(columns, at), columns.parts.known(at)
    features = ((one.name, one.column.known(at)) for one in columns.features)
    return Offer(
        row=table.row(at),
        offer=columns.offer.sure(at),
        series=columns.series.sure(at),
        pieces=columns.pieces.sure(at),
        condition=columns.condition.sure(at),
        price=_own_money(columns.price.sure(at), own, rates),
        freight=None if freight is None else _own_money(freight, own, rates),
        sizes=sizes if isinstance(sizes, tuple) else (),
        bought_from="trade" if source == "trade" else "import" if source == "import" else "private",
        haggle=haggle.value if isinstance(haggle, Amount) else None if haggle is None else "fixed",
        note=columns.note.known(at),
        features=tuple(FeatureRead(name, value) for name, value in features if value is not None),
        finished=columns.finished.known(at),
        hours=known_amount(columns.hours, at),
        parts=None if parts is None else _own_money(parts, own, rates),
    )
