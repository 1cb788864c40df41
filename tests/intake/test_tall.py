"""The reading in bulk gives what the careful reader gives, on clean and dirty tables: every array, row and problem."""

from __future__ import annotations

import dataclasses
import random
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.intake.books import pricebook
from kitvalue.intake.books.book import PriceBook
from kitvalue.intake.books.bookrows import read_rates
from kitvalue.intake.books.pricebook import PriceReading, read_pricebook, wanted_columns
from kitvalue.intake.books.tall.book import read_tall, tall_shape
from kitvalue.intake.books.tall.groups import numbered, repeated
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.table import table_from_text
from kitvalue.intake.text.decoding import decode
from kitvalue.intake.text.problems import FileError, Level
from tests.intake.shops import shop_in
from tests.tooling.fuzz import PRICES, damaged

SETTINGS = """
[shop]
name = "Dock Road Drums"
currency = "EUR"
[prices.columns]
price_kind = "status"
[prices.words.condition]
good = "freshen"
[prices.words.channel]
forum = "private"
[prices.features]
hardware = "yes-no"
holes = "number"
colour = "word"
"""
LISTED = SETTINGS + "[series.Burren]\nalso = ['Burren MkI']\n[series.Slane]\n"
COLUMNS = (
    "date", "series", "pieces", "condition", "price", "status", "sold_for", "channel", "premium", "currency",
    "freight", "weight", "hardware", "holes", "colour", "ref", "note",
)  # fmt: skip
CLEAN = {
    "date": ["2024-04-03", "2023-12-31", "03.04.2024", ""], "series": ["Burren", "Slane", "burren", "Kilbeg", "Buren"],
    "pieces": ["4", "5", "6"], "condition": ["3", "good", "3.5", "4"],
    "price": ["480", "480.50", "612.9", "1250", "99.99", "350"], "status": ["asked", "sold", "SOLD", ""],
    "sold_for": ["", "", "", "450", "399.50", "no"],
    "channel": ["forum", "dealer", "", "auction"], "premium": ["", "20", "0"], "currency": ["", "EUR", "eur"],
    "freight": ["", "25", "0", "30.00"], "weight": ["", "2", "0.5"], "hardware": ["yes", "no", ""],
    "holes": ["", "1", "2.5"], "colour": ["", "red", "Red", "blue"], "ref": ["", "a1", "a2", "-", "b3"],
    "note": ["", "x", "a longer note than eight bytes", "grün – €"],
}  # fmt: skip
DIRTY = {
    "date": ["4/3/23", "31.02.2024", "13/4/23", "2/20/25", "x", "-", " 2024-01-01 "],
    "series": ["", "Summe", "40 kits", "#REF!", " Burren ", "Burren MkI", "\u200bSlane"],
    "pieces": ["0", "4+1", "", "five", "50", "5 pcs", "-", "22/12/16", "22x16 16x16", "22,124,16"],
    "condition": ["", "x", "9", "fine"],
    "price": ["1.250", "1.250,00", "480 €", "480 CHF", "VB", "500 VB", "-1", "", "0", "1", "1234", "450-500",
        "480,50", "1e9", "١٢", "4 8", "450-500 CHF", "CHF"],
    "status": ["hammer", "stolen"],
    "sold_for": ["1.100", "1.100,00", "420 €", "420 CHF", "420 GBP", "420 VB", "0", "-5", "1", "400-450", "480,50",
        "nicht verkauft", "-", "?", "Still  there", "sold", "yes", " 410 ", "#REF!"],
    "channel": ["=1+1", "shop"], "premium": ["20 %", "100", "x"],
    "currency": ["CHF", "GBP", "?"], "freight": ["inkl.", "-5", "10 VB", "10 CHF", "1.250"], "weight": ["0",
        "x"], "hardware": ["maybe"],
    "holes": ["1,5", "x", "1.250"], "colour": ["#N/A", " red"], "ref": [" a1 ", "?"],
    "note": [" x ", "\u00a0", "=1+1"],
}  # fmt: skip
ASIDE = {
    "date": ["?", "k. A."], "series": ["unknown", "?"], "condition": ["2-", "1-2", "3,0", "n/a"], "status": ["?"],
    "channel": [" unbekannt"], "hardware": ["?? "], "holes": ["N/A"], "colour": ["not known"], "freight": ["?"],
}  # fmt: skip
DIRTY |= {name: [*DIRTY[name], *cells] for name, cells in ASIDE.items()}
RATES = "date;currency;rate\n2023-01-01;CHF;1.05\n2024-01-01;CHF;x\n"


def row(columns: tuple[str, ...], odd: int) -> st.SearchStrategy[list[str]]:
    """A row in which about one cell of so many is dirty."""
    return st.tuples(
        *(st.sampled_from(CLEAN[name] * odd + DIRTY[name] if odd else CLEAN[name]) for name in columns)
    ).map(list)


@st.composite
def tables(draw: st.DrawFn) -> str:
    needed = {"series", "pieces", "condition", "price"}
    columns = tuple(name for name in draw(st.permutations(COLUMNS)) if name in needed or draw(st.integers(0, 3)) > 0)
    sign = draw(st.sampled_from([";", ",", "\t"]))
    rows = draw(st.lists(row(columns, draw(st.sampled_from([0, 0, 12, 4]))), min_size=1, max_size=12))
    if draw(st.booleans()):
        rows += draw(st.lists(st.sampled_from(rows), max_size=3))
    lines = [sign.join(columns), *(sign.join(_quoted(cell, sign) for cell in cells) for cells in rows)]
    odd = ["", " ", sign * (len(columns) - 1), "x", sign.join(columns), sign * 30, sign * len(columns)]
    for extra in draw(st.lists(st.sampled_from(odd), max_size=2)):
        lines.insert(draw(st.integers(1, len(lines))), extra)
    if draw(st.integers(0, 5)) == 0:
        lines.insert(0, f"sep={sign}")
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    return end.join(lines) + (end if draw(st.booleans()) else "")


def _quoted(cell: str, sign: str) -> str:
    return f'"{cell}"' if sign in cell or "a1" in cell else cell


def carefully(data: bytes, folder: Path, shop: Shop) -> PriceReading | None:
    try:
        text = decode(data, "prices.csv", shop.files.encoding)
        table = table_from_text(text, "prices.csv", wanted_columns(shop), shop.files.delimiter)
    except FileError:
        return None
    return pricebook._read_carefully(table, folder / "prices.csv", shop)


def in_bulk(data: bytes, folder: Path, shop: Shop) -> PriceReading | None:
    try:
        text = decode(data, "prices.csv", shop.files.encoding)
    except FileError:
        return None
    shape = tall_shape(text, "prices.csv", shop)
    return None if shape is None else read_tall(shape, read_rates(folder / "rates.csv", shop))


def same_book(one: PriceBook, other: PriceBook) -> None:
    for field in dataclasses.fields(PriceBook):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype, field.name
            np.testing.assert_array_equal(a, b, err_msg=field.name)
        elif field.name == "features":
            assert [(f.name, f.kind, f.words) for f in a] == [(f.name, f.kind, f.words) for f in b]
            for x, y in zip(a, b, strict=True):
                np.testing.assert_array_equal(x.values, y.values, err_msg=x.name)
        else:
            assert a == b, field.name


def same(bulk: PriceReading | None, careful: PriceReading | None) -> bool:
    """Both readings are one; False where the bulk reader left the table to the careful one."""
    if bulk is None:
        return False
    assert careful is not None
    assert bulk.counts == careful.counts
    assert list(bulk.problems) == list(careful.problems)
    assert list(bulk.rows_as_read) == list(careful.rows_as_read)
    assert (bulk.book is None) == (careful.book is None)
    if bulk.book is not None and careful.book is not None:
        same_book(bulk.book, careful.book)
    return True


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tall")
    folder.joinpath("rates.csv").write_text(RATES, encoding="utf-8")
    return folder


TURNED = SETTINGS.replace('good = "freshen"', 'good = "freshen"\n3 = "mend"\n4 = "remake"')


@pytest.mark.parametrize("rule", [SETTINGS, LISTED, TURNED, SETTINGS + '[files]\ndecimal = ","\nday_first = true\n'])
@settings(max_examples=250)
@given(text=tables())
def test_generated_tables(place: Path, rule: str, text: str) -> None:
    shop = shop_in(place, rule)
    same(in_bulk(text.encode(), place, shop), carefully(text.encode(), place, shop))


@settings(max_examples=400)
@given(seed=st.integers(0, 10**9))
def test_damaged_tables(place: Path, seed: int) -> None:
    shop = shop_in(place, SETTINGS.replace('price_kind = "status"', ""))
    data = damaged(PRICES, random.Random(seed))
    same(in_bulk(data, place, shop), carefully(data, place, shop))


def test_the_bulk_reader_takes_what_it_should(place: Path) -> None:
    """Clean tables, also with quoted cells, odd cells and ragged rows: none of these is left to the careful reader."""
    shop = shop_in(place, SETTINGS)
    for text in (
        "series;pieces;condition;price\nBurren;4;3;480\n",
        'series;pieces;condition;price;note\nBurren;4;3;480;"a; b"\n"Slane";4;3;x;""\n;;;;\n1;2\n',
        "series,pieces,condition,price\r\nBurren,4,3,1.250\r\n",
    ):
        assert same(in_bulk(text.encode(), place, shop), carefully(text.encode(), place, shop))
    for note in ('"a\nb"', '22"', '"a ""b"""'):
        text = f"series;pieces;condition;price;note\nBurren;4;3;480;{note}\n"
        assert in_bulk(text.encode(), place, shop) is None


@pytest.mark.parametrize("price", ["1.250", "480.50"])
@pytest.mark.parametrize("date", ["03/04/2024", "2024-04-03"])
def test_an_undecided_column_hides_no_other_problem_from_either(place: Path, price: str, date: str) -> None:
    """With a price or a date that leaves its whole column open, and without."""
    shop = shop_in(place, SETTINGS)
    lines = [
        "series;pieces;condition;price;date;status;currency",
        f"Burren;4;3;{price};{date};asked;", "Slane;five;3;480;;?;", "Slane;4;2-;1.480 CHF;03/02/2024;ask;CHF",
        "?;4;fine;£480;31.02.2024;sold;", "Summe;;;2.730;;;", "1;2",
    ]  # fmt: skip
    data = "\n".join(lines).encode()
    bulk = in_bulk(data, place, shop)
    assert same(bulk, carefully(data, place, shop))
    assert bulk is not None
    whole = [problem.code for problem in bulk.problems if problem.level is Level.FILE]
    assert whole == ["undecided_decimal"] * (price == "1.250") + ["undecided_date"] * (date == "03/04/2024")
    assert [problem.code for problem in bulk.problems if problem.code == "marks_scale"] == ["marks_scale"]
    assert {problem.row for problem in bulk.problems if problem.level is Level.REFUSED} >= {3, 4, 5, 6, 7}


def tall_text(rows: int) -> str:
    draw = random.Random(7)
    lines = [";".join(COLUMNS)]
    for _ in range(rows):
        lines.append(";".join(draw.choice(DIRTY[n] if draw.random() < 0.01 else CLEAN[n]) for n in COLUMNS))
    return "\n".join(lines) + "\n"


def test_a_tall_file_is_read_in_bulk_and_alike(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = shop_in(place, SETTINGS)
    data = tall_text(6000).encode()
    path = place / "prices.csv"
    path.write_bytes(data)
    reading = read_pricebook(path, shop)
    assert type(reading.rows_as_read).__name__ == "TallRows"
    assert same(reading, carefully(data, place, shop))
    assert list(reading.rows_as_read[3:5]) == [reading.rows_as_read[3], reading.rows_as_read[4]]
    assert reading.rows_as_read[-1] == list(reading.rows_as_read)[-1]


def test_small_files_load_no_bulk_reader_and_no_file_loads_pandas(place: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from kitvalue.intake.settings.shop import read_shop;"
        "from kitvalue.intake.books.pricebook import read_pricebook; f = Path(sys.argv[1]);"
        "read_pricebook(f / sys.argv[2], read_shop(f));"
        "print([m for m in ('pandas', 'kitvalue.intake.books.tall.book') if m in sys.modules])"
    )
    shop_in(place, SETTINGS)
    place.joinpath("small.csv").write_text(tall_text(50), encoding="utf-8")
    place.joinpath("tall.csv").write_text(tall_text(5001), encoding="utf-8")
    for name, loaded in (("small.csv", "[]"), ("tall.csv", "['kitvalue.intake.books.tall.book']")):
        ran = subprocess.run([sys.executable, "-c", code, str(place), name], capture_output=True, text=True, check=True)
        assert ran.stdout.strip() == loaded


@pytest.mark.parametrize("kinds", [1, 300, 5_000, 70_000, 200_000])
def test_equal_keys_get_equal_numbers(kinds: int) -> None:
    keys = np.random.default_rng(3).integers(0, 2**63, kinds).astype(np.uint64)
    drawn = keys[np.random.default_rng(4).integers(0, kinds, 200_000)]
    codes = numbered(drawn)
    first, found = np.unique(drawn, return_inverse=True)
    assert codes.min() == 0
    assert codes.max() < len(drawn)
    pairs = np.unique(np.stack([codes, found.reshape(-1)]), axis=1)
    assert pairs.shape[1] == len(first) == len(np.unique(codes))


@pytest.mark.parametrize("share", [0.0, 0.001, 0.5])
def test_repeated_keys_are_found(share: float) -> None:
    draw = np.random.default_rng(5)
    keys = draw.integers(0, 2**63, 100_000).astype(np.uint64)
    chosen = draw.random(100_000) < share
    keys[chosen] = keys[draw.integers(0, 100_000, int(chosen.sum()))]
    values, counts = np.unique(keys, return_counts=True)
    np.testing.assert_array_equal(repeated(keys), np.isin(keys, values[counts > 1]))
