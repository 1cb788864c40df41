"""What is put together from whole columns is what the rows say one by one, on clean and on dirty tables."""

from __future__ import annotations

import dataclasses
import random
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from kitvalue.intake.books.book import PriceBook
from kitvalue.intake.books.bookrows import RowAsRead, RowReader, read_rates, totals_refusals
from kitvalue.intake.books.bookwarnings import repeats, single_warnings, to_be_looked_at
from kitvalue.intake.books.pricebook import PriceReading, read_pricebook, wanted_columns
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.table import table_from_text
from kitvalue.intake.text.decoding import decode
from kitvalue.intake.text.problems import FileError, Level
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS
from kitvalue.intake.text.words import fold, trimmed
from tests import TODAY
from tests.intake.drawn import LISTED, RATES, SETTINGS, tables, tall_text
from tests.intake.shops import shop_in
from tests.tooling.fuzz import PRICES, damaged

NO_SHRINKING = (Phase.explicit, Phase.generate)
TURNED = SETTINGS.replace('good = "freshen"', 'good = "freshen"\n3 = "mend"\n4 = "remake"')


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rows")
    folder.joinpath("rates.csv").write_text(RATES, encoding="utf-8")
    return folder


def agree(data: bytes, folder: Path, shop: Shop) -> PriceReading:
    """The reading, once its short cuts have been held against the long way round."""
    folder.joinpath("prices.csv").write_bytes(data)
    reading = read_pricebook(folder / "prices.csv", shop, TODAY)
    try:
        text = decode(data, "prices.csv", shop.files.encoding)
        table = table_from_text(text, "prices.csv", wanted_columns(shop), shop.files.delimiter)
    except FileError:
        assert reading.book is None
        return reading
    totals = totals_refusals(table)
    counted = np.array([at not in totals for at in range(len(table))], dtype=bool)
    reader = RowReader(table, shop, read_rates(folder / "rates.csv", shop), counted, TODAY)
    looked_at, usable = to_be_looked_at(reader), []
    for at in np.flatnonzero(counted).tolist():
        row = reader.read(at)
        assert reader.doubtful[at] or row == (reader.row(at) if reader.plain[at] else [])
        if isinstance(row, RowAsRead):
            usable.append(at)
            assert looked_at[at] or not list(single_warnings(row, at, reader))
    cells = Counter(tuple(map(trimmed, table.row_cells(at))) for at in usable)
    codes = [problem.code for problem in repeats(reader.columns, np.array(usable, dtype=np.int64))]
    assert codes.count("repeated_row") == sum(cells.values()) - len(cells)
    as_rows(reading)
    return reading


def as_rows(reading: PriceReading) -> None:
    """The book's arrays are its rows'."""
    book, rows = reading.book, list(reading.rows_as_read)
    assert reading.counts.used == len(rows) == (0 if book is None else len(book))
    if book is None:
        return

    def known(value: object) -> float:
        return np.nan if value is None else float(value)  # type: ignore[arg-type]

    assert [book.series_names[code] for code in book.series] == [
        next(name for name in book.series_names if fold(name) == fold(row.series)) for row in rows
    ]
    assert list(dict.fromkeys(fold(row.series) for row in rows)) == [fold(name) for name in book.series_names]
    assert [PRICE_KINDS[kind] for kind in book.price_kind] == [row.price_kind for row in rows]
    assert [CHANNELS[channel] for channel in book.channel] == [row.channel for row in rows]
    assert book.rows.tolist() == [row.row for row in rows]
    assert [None if np.isnat(day) else day.item() for day in book.date] == [row.date for row in rows]
    columns = {
        "pieces": [row.pieces for row in rows], "condition": [row.condition for row in rows],
        "price": [row.price * row.rate for row in rows],
        "asked": [None if row.asked is None else row.asked * row.rate for row in rows],
        "premium": [row.premium or 0 if row.price_kind == "hammer" else 0 for row in rows],
        "freight": [None if row.freight is None else row.freight * row.rate for row in rows],
        "weight": [1 if row.weight is None else row.weight for row in rows],
    }  # fmt: skip
    for name, values in columns.items():
        np.testing.assert_array_equal(getattr(book, name), [known(value) for value in values], err_msg=name)
    for place, feature in enumerate(book.features):
        said = [row.features[place].value for row in rows]
        if feature.kind == "word":
            spelt = [None if np.isnan(code) else feature.words[int(code)] for code in feature.values]
            assert [one and fold(one) for one in spelt] == [None if one is None else fold(str(one)) for one in said]
        else:
            np.testing.assert_array_equal(feature.values, [known(one) for one in said])


def same_book(one: PriceBook, other: PriceBook) -> None:
    """Equal in every array."""
    for field in dataclasses.fields(PriceBook):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if field.name == "features":
            assert [(f.name, f.kind, f.words) for f in a] == [(f.name, f.kind, f.words) for f in b]
            a, b = ([f.values for f in features] for features in (a, b))
        np.testing.assert_array_equal(a, b, err_msg=field.name)


@pytest.mark.parametrize("rule", [SETTINGS, LISTED, TURNED, SETTINGS + '[files]\ndecimal = ","\nday_first = true\n'])
@settings(max_examples=60, phases=NO_SHRINKING)
@given(text=tables())
def test_generated_tables(place: Path, rule: str, text: str) -> None:
    agree(text.encode(), place, shop_in(place, rule))


@settings(max_examples=100, phases=NO_SHRINKING)
@given(seed=st.integers(0, 10**9))
def test_damaged_tables(place: Path, seed: int) -> None:
    shop = shop_in(place, SETTINGS.replace('price_kind = "status"', ""))
    agree(damaged(PRICES, random.Random(seed)), place, shop)


@pytest.mark.parametrize("price", ["1.250", "480.50"])
@pytest.mark.parametrize("date", ["03/04/2024", "2024-04-03"])
def test_an_undecided_column_hides_no_other_problem(place: Path, price: str, date: str) -> None:
    """With a price or a date that leaves its whole column open, and without."""
    lines = [
        "series;pieces;condition;price;date;status;currency",
        f"Burren;4;3;{price};{date};asked;", "Slane;five;3;480;;?;", "Slane;4;2-;1.480 CHF;03/02/2024;ask;CHF",
        "?;4;fine;£480;31.02.2024;sold;", "Summe;;;2.730;;;", "1;2",
    ]  # fmt: skip
    reading = agree("\n".join(lines).encode(), place, shop_in(place, SETTINGS))
    whole = [problem.code for problem in reading.problems if problem.level is Level.FILE]
    assert whole == ["undecided_decimal"] * (price == "1.250") + ["undecided_date"] * (date == "03/04/2024")
    assert [problem.code for problem in reading.problems if problem.code == "marks_scale"] == ["marks_scale"]
    assert {problem.row for problem in reading.problems if problem.level is Level.REFUSED} >= {3, 4, 5, 6, 7}


def test_thousands_of_rows_are_as_few(place: Path) -> None:
    """Also where a quoted cell, a short row or a blank line stands between the plain ones."""
    text = tall_text(6000).splitlines()
    for at in (10, 4097, 5000):
        text[at] = ";".join(f'"{cell}"' for cell in text[at].split(";"))
        text.insert(at, "")
        text.insert(at, "2024-01-01;Burren")
    reading = agree("\n".join(text).encode(), place, shop_in(place, SETTINGS))
    assert reading.counts.read == 6003
    assert list(reading.rows_as_read[3:5]) == [reading.rows_as_read[3], reading.rows_as_read[4]]
    assert reading.rows_as_read[-1] == list(reading.rows_as_read)[-1]
