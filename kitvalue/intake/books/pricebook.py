"""prices.csv: the observed used kits, as columns of checked values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from kitvalue.intake.books.book import FeatureColumn, IntArray, PriceBook
from kitvalue.intake.books.bookrows import Rates, RowAsRead, RowReader, read_rates, totals_refusals
from kitvalue.intake.books.bookwarnings import absent_warnings, far_in_time, repeats, row_warnings, scale_warning
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import Coded, TextTable, read_table
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem
from kitvalue.intake.text.vocabulary import CHANNELS, OPTIONAL, PRICE_KINDS, REQUIRED
from kitvalue.intake.text.words import Refusal, fold


@dataclass(frozen=True, slots=True)
class PriceReading:
    """What came of reading prices.csv."""

    book: PriceBook | None  # None where nothing of the file can be used (a problem of level FILE)
    problems: tuple[Problem, ...]  # in the spreadsheet's order, after why the file is refused and those of no row
    counts: FileCounts
    rows_as_read: Sequence[RowAsRead]  # the rows of the book, each made when it is asked for


@dataclass(frozen=True, slots=True, eq=False)
class _Rows(Sequence[RowAsRead]):
    """The rows `at` some places of a table; those of which there was more to say have been `read` already."""

    reader: RowReader
    at: IntArray
    read: Mapping[int, RowAsRead]

    def __len__(self) -> int:
        return len(self.at)

    def __getitem__(self, place: Any) -> Any:  # noqa: ANN401 - a row, or a tuple of them for a slice
        if isinstance(place, slice):
            return tuple(map(self.__getitem__, range(*place.indices(len(self)))))
        at = int(self.at[place])
        return self.read.get(at) or self.reader.row(at)


def read_pricebook(path: Path, shop: Shop, today: dt.date) -> PriceReading:
    """Read a price book by a shop's settings, no day in it after `today`, with exchange rates from rates.csv beside it.
    Every problem is in the result; nothing is raised for what stands in the files.
    """
    try:
        table = read_table(path, wanted_columns(shop), shop.files)
    except FileError as error:
        return _refused(error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    return read_prices(table, shop, read_rates(path.parent / "rates.csv", shop, today), today)


def read_prices(table: TextTable, shop: Shop, rates: Rates, today: dt.date) -> PriceReading:
    """The same of a table that holds prices."""
    totals = totals_refusals(table)
    counted = np.ones(len(table), dtype=bool)
    counted[list(totals)] = False
    reader = RowReader(table, shop, rates, counted, today)
    columns = reader.columns
    problems = [*rates.problems, *table.problems, *columns.warnings, *totals.values()]
    problems += [*scale_warning(columns, shop), *reader.problems]
    read: dict[int, RowAsRead] = {}
    usable = reader.plain.copy()
    for at in np.flatnonzero(reader.doubtful).tolist():
        row = reader.read(at)
        if isinstance(row, RowAsRead):
            read[at], usable[at] = row, True
        else:
            problems += row
    if columns.undecided:  # what else there is to mend is told in the same round
        problems += [*columns.undecided, *absent_warnings(table, shop)]
        return _refused(problems, table.counts(0, columns.sign))
    repeated = repeats(columns, np.flatnonzero(usable))
    kept = np.flatnonzero(usable & ~np.isin(table.rows, [problem.row or 0 for problem in repeated]))
    repeated += (lone := far_in_time(columns, kept))
    kept = kept[~np.isin(table.rows[kept], [problem.row or 0 for problem in lone])]
    rows = _Rows(reader, kept, read)
    problems += [*repeated, *row_warnings(reader, rows, kept, shop)]
    problems.sort(key=lambda problem: (problem.file == table.file, problem.row or 0))
    set_aside = sum(problem.level is Level.WARNING for problem in repeated)
    counts = table.counts(len(rows), columns.sign, set_aside)
    return PriceReading(_book(reader, kept, read), tuple(problems), counts, rows if len(rows) else ())


def numbered_alike(one: PriceReading, other: PriceReading, names: Iterable[str]) -> tuple[list[int], list[int]]:
    """A number for each row of both: rows of one number say the same in some columns, and mean the same kind of price.
    -1 for rows of which more than their cells must be known.
    """
    both = [rows for rows in (one.rows_as_read, other.rows_as_read) if isinstance(rows, _Rows)]
    if len(both) < 2:
        return [-1] * len(one.rows_as_read), [-1] * len(other.rows_as_read)
    same = np.concatenate([2 * rows.reader.kinds[rows.at] + rows.reader.paid[rows.at] for rows in both])
    for name in names:
        places: dict[object, int] = {}
        columns = [rows.reader.columns[name].values for rows in both]
        numbers = [np.array([places.setdefault(v, len(places)) for v in column.each]) for column in columns]
        codes = [number[column.codes[rows.at]] for number, column, rows in zip(numbers, columns, both, strict=True)]
        _, same = np.unique(same * (len(places) + 1) + np.concatenate(codes), return_inverse=True)
    same[np.concatenate([rows.reader.doubtful[rows.at] for rows in both])] = -1
    return same[: len(both[0])].tolist(), same[len(both[0]) :].tolist()


def wanted_columns(shop: Shop) -> WantedColumns:
    """The columns of a shop's price book."""
    return WantedColumns(REQUIRED, (*OPTIONAL, *shop.prices.features), shop.prices.columns, "[prices.columns]")


def _refused(problems: Sequence[Problem], counts: FileCounts) -> PriceReading:
    """The reading of a file of which nothing can be used: why not stands before what else there is to mend."""
    ordered = sorted(problems, key=lambda one: (one.file == counts.file, one.level is not Level.FILE, one.row or 0))
    return PriceReading(None, tuple(ordered), counts, ())


def _book(reader: RowReader, at: IntArray, read: Mapping[int, RowAsRead]) -> PriceBook:
    """The rows `at` as arrays; the money of those in `read` is turned into the shop's currency."""
    columns, kinds, paid = reader.columns, reader.kinds[at], reader.paid[at]
    price, sold_for, freight, premium, weight = (
        columns.numbers(name)[at] for name in ("price", "sold_for", "freight", "premium", "weight")
    )
    asked = np.where(paid, price, np.nan)
    price = np.where(paid, sold_for, price)
    for place, row in [(place, read[n]) for place, n in enumerate(at.tolist()) if n in read] if read else ():
        price[place], asked[place], freight[place] = (
            np.nan if money is None else float(money * row.rate) for money in (row.price, row.asked, row.freight)
        )
    series, names = _named(columns["series"].values.take(at))
    dates = columns["date"].values.map(lambda day: None if isinstance(day, Refusal) else day)
    channel = columns["channel"].values.floats(lambda word: CHANNELS.index(word) if word in CHANNELS else 0)
    features = []
    for name, kind in reader.features.items() if len(at) else ():
        codes, words = _named(columns[name].values.take(at))  # no words but in a column of words
        values = np.where(codes < 0, np.nan, codes) if kind == "word" else columns.numbers(name)[at]
        features.append(FeatureColumn(name, kind, values, words))
    return PriceBook(
        rows=reader.table.rows[at].astype(np.int64),
        series=series,
        series_names=names,
        pieces=columns.numbers("pieces")[at],
        condition=columns.numbers("condition")[at],
        price=price,
        asked=asked,
        premium=np.where(kinds == PRICE_KINDS.index("hammer"), np.nan_to_num(premium), 0.0),
        price_kind=kinds,
        channel=channel[at].astype(np.int64),
        date=np.array(dates.each, dtype="datetime64[D]")[dates.codes[at]],
        freight=freight,
        weight=np.where(np.isnan(weight), 1.0, weight),
        features=tuple(features),
    )


def _named(column: Coded[object]) -> tuple[IntArray, tuple[str, ...]]:
    """Numbers of the rows' words, in order of first appearance, and each word in the spelling that appears first; -1
    where there is none.
    """
    codes, first = np.unique(column.codes, return_index=True)
    spelt: dict[str, str] = {}
    numbers: dict[str, int] = {}
    places = np.full(len(column.each), -1, dtype=np.int64)
    for code in codes[np.argsort(first)].tolist():
        word = column.each[code]
        if isinstance(word, str):
            spelt.setdefault(fold(word), word)
            places[code] = numbers.setdefault(fold(word), len(numbers))
    return places[column.codes], tuple(spelt.values())
