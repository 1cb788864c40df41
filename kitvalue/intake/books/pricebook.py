"""prices.csv: the observed used kits, as columns of checked values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from kitvalue.intake.books.book import FeatureColumn, FloatArray, PriceBook
from kitvalue.intake.books.bookcolumns import FeatureValue, read_columns
from kitvalue.intake.books.bookrows import RowAsRead, RowReader, read_rates, totals_refusals
from kitvalue.intake.books.bookwarnings import absent_warnings, row_warnings, scale_warnings, without_repeats
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import TextTable, table_from_text
from kitvalue.intake.text.decoding import DecodedText, decode, read_bytes
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem
from kitvalue.intake.text.vocabulary import CHANNELS, OPTIONAL, PRICE_KINDS, REQUIRED
from kitvalue.intake.text.words import fold

if TYPE_CHECKING:
    from kitvalue.intake.books.tall.book import Shape


TALL: Final = 5000  # lines from which a book is read in bulk; below, row by row is as quick
_LOOKED_AT: Final = 1 << 22  # characters in which lines are counted


@dataclass(frozen=True, slots=True)
class PriceReading:
    """What came of reading prices.csv. `book` is None where nothing of the file can be used (a problem of level FILE);
    `problems` stand in the spreadsheet's order, before all why the file is refused as a whole, then those of no single
    row; `rows_as_read` are the rows of the book.
    """

    book: PriceBook | None
    problems: tuple[Problem, ...]
    counts: FileCounts
    rows_as_read: Sequence[RowAsRead]  # of a tall book each is made when it is asked for


def read_pricebook(path: Path, shop: Shop) -> PriceReading:
    """Read a price book by a shop's settings, with exchange rates from rates.csv beside it. Every problem is in the
    result; nothing is raised for what stands in the files.
    """
    try:
        text = decode(read_bytes(path, path.name), path.name, shop.files.encoding)
        tall = _if_tall(text, path, shop)
        if tall is not None:
            from kitvalue.intake.books.tall.book import read_tall

            del text  # a large part of what is held, and the rows stand as bytes now
            return read_tall(tall, read_rates(path.parent / "rates.csv", shop))
        table = table_from_text(text, path.name, wanted_columns(shop), shop.files.delimiter)
    except FileError as error:
        return refused_whole(path.name, error.problems, None, 0, None)
    return _read_carefully(table, path, shop)


def _if_tall(text: DecodedText, path: Path, shop: Shop) -> Shape | None:
    """The rows of a tall file, to be read in bulk; None for a small one, and for one to be read row by row."""
    start = text.text[:_LOOKED_AT]
    if max(start.count("\n"), start.count("\r")) < TALL:
        return None
    from kitvalue.intake.books.tall.book import tall_shape

    return tall_shape(text, path.name, shop)


def _read_carefully(table: TextTable, path: Path, shop: Shop) -> PriceReading:
    """The reading of a table, row by row."""
    totals = totals_refusals(table)
    counted = [at not in totals for at in range(len(table.rows))]
    columns = read_columns(table, shop, counted)
    rates = read_rates(path.parent / "rates.csv", shop)
    reader = RowReader(table, columns, rates, shop.shop.currency)
    usable: list[RowAsRead] = []
    problems = [*rates.problems, *table.problems, *columns.warnings, *totals.values()]
    problems += scale_warnings(columns.condition, table, shop)
    for at in range(len(table.rows)):
        read = reader.read(at) if at not in totals else []
        if isinstance(read, RowAsRead):
            usable.append(read)
        else:
            problems += read
    if columns.undecided:  # what else there is to mend is told in the same round
        problems += [*columns.undecided, *absent_warnings(table, shop)]
        return refused_whole(table.file, problems, table, table.read, columns.decimal)
    kept = without_repeats(usable, table.file, table.header.name("ref"))
    problems += kept.problems
    problems += row_warnings(kept.rows, table, columns, shop)
    problems.sort(key=lambda problem: (problem.file == table.file, problem.row or 0))
    refused = table.read - len(usable) + kept.refused
    counts = FileCounts(
        table.file,
        table.read,
        len(kept.rows),
        refused,
        kept.set_aside,
        table.encoding,
        table.delimiter,
        columns.decimal,
    )
    return PriceReading(_book(kept.rows, shop), tuple(problems), counts, kept.rows)


def wanted_columns(shop: Shop) -> WantedColumns:
    """The columns of a shop's price book."""
    return WantedColumns(REQUIRED, (*OPTIONAL, *shop.prices.features), shop.prices.columns, "[prices.columns]")


def refused_whole(
    file: str, problems: Sequence[Problem], table: TextTable | None, read: int, decimal: str | None
) -> PriceReading:
    """The reading of a file of which nothing can be used: why not stands before what else there is to mend."""
    encoding = table.encoding if table is not None else None
    delimiter = table.delimiter if table is not None else None
    ordered = sorted(problems, key=lambda one: (one.file == file, one.level is not Level.FILE, one.row or 0))
    return PriceReading(None, tuple(ordered), FileCounts(file, read, 0, read, 0, encoding, delimiter, decimal), ())


def _book(rows: Sequence[RowAsRead], shop: Shop) -> PriceBook:
    """The rows as arrays. Series in order of first appearance, under the spelling that appears first."""
    names: dict[str, str] = {}
    for row in rows:
        names.setdefault(fold(row.series), row.series)
    codes = {key: at for at, key in enumerate(names)}
    features = tuple(
        _feature_column(name, kind, [_feature_value(row, name) for row in rows])
        for name, kind in shop.prices.features.items()
        if rows and any(one.name == name for one in rows[0].features)
    )
    dates = np.array([row.date for row in rows], dtype="datetime64[D]")
    return PriceBook(
        rows=np.array([row.row for row in rows], dtype=np.int64),
        series=np.array([codes[fold(row.series)] for row in rows], dtype=np.int64),
        series_names=tuple(names.values()),
        pieces=_floats([row.pieces for row in rows]),
        condition=_floats([row.condition for row in rows]),
        price=_floats([row.price * row.rate for row in rows]),
        asked=_floats([None if row.asked is None else row.asked * row.rate for row in rows]),
        premium=_floats([row.premium if row.price_kind == "hammer" and row.premium is not None else 0 for row in rows]),
        price_kind=np.array([PRICE_KINDS.index(row.price_kind) for row in rows], dtype=np.int64),
        channel=np.array([CHANNELS.index(row.channel) for row in rows], dtype=np.int64),
        date=dates,
        freight=_floats([None if row.freight is None else row.freight * row.rate for row in rows]),
        weight=_floats([1 if row.weight is None else row.weight for row in rows]),
        features=features,
    )


def _floats(values: Sequence[Decimal | int | None]) -> FloatArray:
    return np.array([np.nan if value is None else float(value) for value in values], dtype=np.float64)


def _feature_value(row: RowAsRead, name: str) -> FeatureValue | None:
    return next((one.value for one in row.features if one.name == name), None)


def _feature_column(name: str, kind: str, values: Sequence[FeatureValue | None]) -> FeatureColumn:
    if kind != "word":
        numbers = [None if value is None or isinstance(value, str) else Decimal(value) for value in values]
        return FeatureColumn(name, kind, _floats(numbers))
    words: dict[str, str] = {}
    for value in values:
        if value is not None:
            words.setdefault(fold(str(value)), str(value))
    places = {key: at for at, key in enumerate(words)}
    found = [None if value is None else places[fold(str(value))] for value in values]
    return FeatureColumn(name, kind, _floats(found), tuple(words.values()))
