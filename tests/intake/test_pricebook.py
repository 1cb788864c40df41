"""prices.csv: which rows are used, which refused, and what is said about them."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.text.problems import Level
from tests import TODAY
from tests.intake.shops import (
    HEADER,
    kit,
    read_bytes,
    read_rows,
    refused,
    shop_in,
    warned,
    whole_file,
)
from tests.intake.test_rows import agree

# ---- the book ------------------------------------------------------------------------------------------------------


def test_a_sound_book_becomes_arrays(tmp_path: Path) -> None:
    reading = read_rows(
        tmp_path, kit("1.250,50"),
        kit("480", series=" SLANE", condition="3,5", status="", channel="shop", freight="", date=""),
        kit("300,00", series="burren mki", pieces="5,0", condition="harvest", status="asked", date="03.05.2024"),
    )  # fmt: skip
    book = reading.book
    assert book is not None
    assert book.series_names == ("Burren", "Slane")
    assert book.series.tolist() == [0, 1, 0]
    assert book.rows.tolist() == [2, 3, 4]
    assert book.price.tolist() == [1250.5, 480.0, 300.0]
    assert book.pieces.tolist() == [4.0, 4.0, 5.0]
    assert book.condition.tolist() == [4.0, 3.5, 1.0]
    assert book.price_kind.tolist() == [1, 0, 0]
    assert book.channel.tolist() == [0, 1, 0]
    assert np.isnat(book.date[1])
    assert book.date[2] == np.datetime64("2024-05-03")
    assert np.isnan(book.freight[1])
    assert book.weight.tolist() == [1.0, 1.0, 1.0]
    assert len(book) == 3
    first = reading.rows_as_read[0]
    assert (first.price, first.date, first.freight, first.currency) == (
        Decimal("1250.50"), dt.date(2024, 4, 3), Decimal(25), "EUR",
    )  # fmt: skip
    counts = reading.counts
    assert (counts.read, counts.used, counts.refused, counts.set_aside) == (3, 3, 0, 0)
    assert (counts.encoding, counts.delimiter, counts.decimal) == ("utf-8", ";", ",")


def test_every_default_is_said_with_its_rows(tmp_path: Path) -> None:
    reading = read_rows(
        tmp_path, kit(), kit(status="", channel="", currency="", freight="", date="", note="x"), kit("490")
    )
    said = {problem.code: problem.message for problem in reading.problems}
    assert said["blank_price_kind"] == "blank in row 3: counts as asked"
    assert said["blank_channel"] == "blank in row 3: counts as private"
    assert said["blank_currency"] == "blank in row 3: counts as EUR"
    assert "unknown, never 0" in said["blank_freight"]
    assert "mean date" in said["blank_date"]
    assert reading.counts.used == 3


def test_columns_that_are_not_there_are_said_once(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, "Burren;4;good;480", header="series;pieces;condition;price")
    (problem,) = reading.problems
    assert problem.code == "absent_columns"
    for name in ("date", "price_kind (asked)", "channel (private)", "currency (EUR)", "freight"):
        assert name in problem.message


def test_a_row_wrong_in_two_cells_has_two_problems_in_the_spreadsheets_order(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit("x"), "", kit("abc", pieces="4+1", series="Buren"), kit())
    found = [(problem.row, problem.column) for problem in refused(reading)]
    assert found == [(2, "price"), (4, "series"), (4, "pieces"), (4, "price")]
    assert (reading.counts.read, reading.counts.used, reading.counts.refused) == (3, 1, 2)


@pytest.mark.parametrize(
    ("column", "text", "words"),
    [
        ("price", "", "empty"), ("price", "0", "above 0"), ("price", "-450", "negative"), ("price", "sold",
        "price_kind"),
        ("price", "450-500", "range"), ("price", "#NV", "formula"), ("price", "61O,00", "letter"),
        ("series", "", "empty"), ("series", "#NAME?", "spreadsheet error"), ("series", "Corrib Burren",
        "did you mean Burren?"),
        ("series", "Quilty", "[series.NAME]"), ("series", "Bur\u200bren", "<U+200B>"),
        ("pieces", "4+1", "4 or 5"), ("pieces", "1/2", "not one number"), ("pieces", "4,5", "not a whole number"),
        ("pieces", "0", "1 or more"), ("pieces", "five", "digits"), ("pieces", "-4", "1 or more"), ("pieces",
        "vierteilig", "digits: 4"), ("pieces", "5-6 pcs", "range"), ("pieces", "4.5 pcs", "digits"),
        ("condition", "", "empty"), ("condition", "good+", "[prices.words.condition]"), ("condition", "6", "1 to 5"),
        ("condition", "3,7", "halves"), ("condition", "8/9", "1 to 5"), ("condition", "#REF!", "spreadsheet error"),
        ("status", "reserved", "asked, sold or hammer"), ("status", "solld", "did you mean sold?"),
        ("channel", "=1+1", "[prices.words.channel]"), ("channel", 'x" onmouseover="y', "private, dealer or auction"),
        ("currency", "GBP", "rates.csv"), ("currency", "Euro?", "EUR"), ("currency", "$", "can be"),
        ("freight", "inkl.", "leave it blank"), ("freight", "-15", "negative"), ("freight", "pick-up only", "blank"),
        ("freight", "-", "blank"), ("date", "31.02.2024", "calendar"), ("date", "gestern", "leave it blank"),
        ("date", "45019", "day number"),
    ],
)  # fmt: skip
def test_a_cell_that_cannot_be_taken_is_named_and_the_cure_told(
    tmp_path: Path, column: str, text: str, words: str
) -> None:
    key = {"price": "price"}.get(column, column)
    row = kit(text) if column == "price" else kit(**{key: text})
    reading = read_rows(tmp_path, kit(), row)
    (problem,) = refused(reading)
    assert (problem.row, problem.column, problem.text) == (3, column, text)
    assert words in problem.message
    assert reading.counts.used == 1


def test_drums_listed_by_size_are_counted_and_said(tmp_path: Path) -> None:
    """Adverts list a kit by its diameters (common practice, no source)."""
    sizes = ("22/12/16", "22x16 16x16 13x11 12x10", "5")
    reading = read_rows(tmp_path, *(kit(f"{480 + n}", pieces=pieces) for n, pieces in enumerate(sizes)))
    assert reading.book is not None
    assert reading.book.pieces.tolist() == [3, 4, 5]
    told = warned(reading, "pieces_from_sizes")
    assert [(problem.row, problem.text) for problem in told] == [(2, sizes[0]), (3, sizes[1])]
    assert told[0].message == '"22/12/16" lists sizes: as many drums count, 3'


def test_money_in_another_currency(tmp_path: Path) -> None:
    rows = [kit("£ 480"), kit("480 CHF", currency=""), kit("€ 480", currency="GBP"), kit("480 €", currency=""),
            kit("480", freight="20 CHF"), kit("480 kr", currency="")]  # fmt: skip
    reading = read_rows(tmp_path, *rows)
    assert [row.row for row in reading.rows_as_read] == [5]
    assert [(p.row, p.column, p.code) for p in refused(reading)] == [
        (2, "price", "currency_clash"), (3, "price", "no_rate"), (4, "price", "currency_clash"),
        (6, "freight", "currency_clash"), (7, "price", "currency"),
    ]  # fmt: skip
    assert not warned(reading, "blank_currency")


def test_rates_turn_foreign_prices_into_the_shops_currency(tmp_path: Path) -> None:
    rates = "date;currency;rate\n2024-01-01;CHF;1,05\n2024-04-01;CHF;1,02\n2024-05-01;CHF;1,10\n2024-05-01;XXX;1,2\n"
    (tmp_path / "rates.csv").write_text(rates)
    rows = [kit("100 CHF", currency="", freight="10"), kit("100", currency="chf", date="2023-12-31"),
            kit("100", currency="CHF", date="")]  # fmt: skip
    reading = read_rows(tmp_path, *rows)
    assert reading.book is not None
    assert reading.book.price.tolist() == [102.0]
    assert reading.book.freight.tolist() == [10.2]
    assert (reading.rows_as_read[0].price, reading.rows_as_read[0].currency) == (100, "CHF")
    assert [(p.file, p.row, p.code) for p in refused(reading)] == [
        ("rates.csv", 5, "currency"), ("prices.csv", 3, "no_rate"), ("prices.csv", 4, "no_rate"),
    ]  # fmt: skip


def test_negotiable_and_placeholder_prices_are_used_and_said(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit("500 VB", status="asked"), kit("500 VB"), kit("1", status="asked"), kit("VB"))
    assert [row.row for row in reading.rows_as_read] == [2, 4]
    assert [p.row for p in warned(reading, "negotiable")] == [2]
    assert [p.row for p in warned(reading, "placeholder")] == [4]
    assert [(p.row, p.code) for p in refused(reading)] == [(3, "negotiable"), (5, "no_amount")]


def test_a_hammer_price_needs_its_premium(tmp_path: Path) -> None:
    header = "series;pieces;condition;price;status;channel;premium"
    rows = [
        "Burren;4;good;480;hammer;auction;20 %",
        "Burren;4;good;490;hammer;auction;",
        "Burren;4;good;500;sold;forum;15",
    ]
    reading = read_rows(tmp_path, *rows, header=header)
    assert reading.book is not None
    assert reading.book.premium.tolist() == [20.0, 0.0]
    assert [(p.row, p.column) for p in refused(reading)] == [(3, "premium")]
    assert [p.row for p in warned(reading, "premium_unused")] == [4]
    (problem,) = refused(read_rows(tmp_path, kit(status="hammer")))
    assert "premium" in problem.message


BARE = "Burren;4;good;480;;auction", "Burren;5;good;490;asked;auction", "Burren;3;good;500;;forum"


@pytest.mark.parametrize(
    ("header", "rows", "message"),
    [
        (
            "series;pieces;condition;price;status;channel", (*BARE, "Slane;6;good;700;-;auction"),
            "rows 2 and 5 say auction and nothing under status, so they count as asked: write sold or hammer there if "
            "that is what they went for",
        ),
        (
            "series;pieces;condition;price;status;channel", BARE,
            "row 2 says auction and nothing under status, so it counts as asked: write sold or hammer there if that is "
            "what it went for",
        ),
        (
            "series;pieces;condition;price;other;channel", BARE,
            "rows 2 and 3 say auction and nothing under price_kind, so they count as asked: write sold or hammer there "
            "if that is what they went for",
        ),
        (
            "series;pieces;condition;price;status;channel;sold_for",
            (*(f"{row};" for row in BARE), "Slane;6;good;700;;auction;650"),
            "row 2 says auction and nothing under status, so it counts as asked: write what was paid under sold_for, "
            "or hammer under status",
        ),
        ("series;pieces;condition;price;status;channel", BARE[1:], None),
    ],
)  # fmt: skip
def test_auctions_that_do_not_say_their_kind_of_price_are_named_once(
    tmp_path: Path, header: str, rows: tuple[str, ...], message: str | None
) -> None:
    found = read_rows(tmp_path, *rows, header=header)
    assert refused(found) == []
    assert [one.message for one in warned(found, "auction_asked")] == ([] if message is None else [message])
    data, shop = tmp_path.joinpath("prices.csv").read_bytes(), shop_in(tmp_path)
    agree(data, tmp_path, shop)


# ---- texts that are only text --------------------------------------------------------------------------------------


def test_formulas_and_markup_in_notes_stay_text(tmp_path: Path) -> None:
    notes = ["+353 1 555 0100", "-5% for cash", "@dealer", "<script>alert(1)</script>", "=1+1"]
    reading = read_rows(tmp_path, *(kit(str(480 + at), note=note) for at, note in enumerate(notes)))
    assert [row.note for row in reading.rows_as_read] == notes
    assert not refused(reading)


def test_whole_file_refusals_carry_one_problem_and_no_row(tmp_path: Path) -> None:
    cases = {b"": "empty", b"PK\x03\x04": "workbook", b"series;pieces\nA;1\n": "missing",
             HEADER.encode(): "no data", HEADER.encode() + b'\n;"open\n;x\n': "swallowed"}  # fmt: skip
    for data, word in cases.items():
        assert word in whole_file(read_bytes(tmp_path, data)).message
    missing = read_pricebook(tmp_path / "gone.csv", shop_in(tmp_path), TODAY)
    assert whole_file(missing).code == "no_file"


UNITS = ["x", "1,", "1 2", "(", "n.e.g.", "4 or ", "from 4 and ", "\u200b 1", "1/", "total ", '""']


@pytest.mark.parametrize("unit", UNITS)
def test_a_huge_cell_is_refused_at_once(tmp_path: Path, unit: str) -> None:
    huge = unit * 300_000
    quoted = '"' + huge + '"' if unit == '""' else huge
    for row in (kit(quoted), kit(date=quoted), kit(series=quoted), kit(pieces=quoted), kit(condition=quoted)):
        reading = read_rows(tmp_path, kit(), row)
        assert reading.counts.refused == 1
        assert all(len(problem.message) < 400 for problem in reading.problems)


CELLS = ["", "4", "480", "1.250", "480,50", "480.5", "good", "5", "Burren", "Slane", "Buren", "sold", "asked",
"VB", "500 VB",
         "forum", "EUR", "CHF", "€", "2024-04-03", "4/3/24", "03.04.24", "-", "#REF!", "Summe", "x", '"', "4+1",
         "\u200b"]  # fmt: skip


@given(st.lists(st.lists(st.one_of(st.sampled_from(CELLS), st.text(max_size=5)), min_size=10, max_size=10), max_size=6))
def test_no_row_leaves_silently(tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]) -> None:
    folder = tmp_path_factory.getbasetemp()
    reading = read_rows(folder, *(";".join(row) for row in rows))
    counts = reading.counts
    assert counts.read == counts.used + counts.refused + counts.set_aside
    assert counts.used == len(reading.rows_as_read) == len(reading.book or ())
    named = {p.row for p in reading.problems if p.level is Level.REFUSED and p.file == "prices.csv"}
    if reading.book is not None:
        assert len(named) == counts.refused
        assert named.isdisjoint(row.row for row in reading.rows_as_read)
        assert np.isfinite(reading.book.price).all()
        assert (reading.book.price > 0).all()
    order = [(p.level is not Level.FILE, p.row or 0) for p in reading.problems]
    assert order == sorted(order)
