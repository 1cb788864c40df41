"""prices.csv: which rows are used, which refused, and what is said about them."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.pricebook import read_pricebook
from kitvalue.intake.problems import Level
from tests.intake.shops import (
    HEADER,
    SETTINGS,
    kit,
    read_bytes,
    read_rows,
    refused,
    shop_in,
    warned,
    whole_file,
)

FEATURED = SETTINGS + """
[prices.features]
hardware = "yes-no"
holes = "number"
colour = "word"

[prices.words.hardware]
mit = "yes"
"""
FEATURE_HEADER = "series;pieces;condition;price;hardware;holes;colour"


def used(tmp_path: Path, *rows: str) -> list[int]:
    return [row.row for row in read_rows(tmp_path, *rows).rows_as_read]


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
    reading = read_rows(tmp_path, kit(), kit(status="", channel="", currency="", freight="", date="", note="x"),
    kit("490"))
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
        ("series", "Quilty", "[series]"), ("series", "Bur\u200bren", "<U+200B>"),
        ("pieces", "4+1", "4 or 5"), ("pieces", "1/2", "not one number"), ("pieces", "4,5", "not a whole number"),
        ("pieces", "0", "1 or more"), ("pieces", "five", "digits"), ("pieces", "-4", "1 or more"), ("pieces",
        "4 Stück", "digits"),
        ("condition", "", "empty"), ("condition", "good+", "[prices.words.condition]"), ("condition", "6", "1 to 5"),
        ("condition", "3,7", "halves"), ("condition", "8/10", "1 to 5"), ("condition", "#REF!", "spreadsheet error"),
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
    rows = ["Burren;4;good;480;hammer;auction;20 %", "Burren;4;good;490;hammer;auction;",
    "Burren;4;good;500;sold;forum;15"]
    reading = read_rows(tmp_path, *rows, header=header)
    assert reading.book is not None
    assert reading.book.premium.tolist() == [20.0, 0.0]
    assert [(p.row, p.column) for p in refused(reading)] == [(3, "premium")]
    assert [p.row for p in warned(reading, "premium_unused")] == [4]
    (problem,) = refused(read_rows(tmp_path, kit(status="hammer")))
    assert "premium" in problem.message


# ---- what only the column shows ------------------------------------------------------------------------------------


def test_a_column_proves_what_a_cell_leaves_open(tmp_path: Path) -> None:
    assert [row.price for row in read_rows(tmp_path, kit("1.250"), kit("480,00"),
    kit("2.100")).rows_as_read] == [1250, 480, 2100]
    assert [row.price for row in read_rows(tmp_path, kit("1,250"), kit("480.00")).rows_as_read] == [1250, 480]


@pytest.mark.parametrize(("text", "sign"), [("1.250", ","), ("1,250", ".")])
def test_an_undecidable_sign_refuses_the_file_until_it_is_set(tmp_path: Path, text: str, sign: str) -> None:
    problem = whole_file(read_rows(tmp_path, kit("980"), kit(text)))
    assert (problem.row, problem.column, problem.text) == (3, "price", text)
    for word in ("1250", "1.25", "decimal", "[files]"):
        assert word in problem.message
    settings = SETTINGS + f'\n[files]\ndecimal = "{sign}"\n'
    assert [row.price for row in read_rows(tmp_path, kit("980"),
    kit(text), settings=settings).rows_as_read] == [980, 1250]


def test_mixed_styles_are_read_as_written_and_said(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit("480,00"), kit("480.50"), kit("1.250,00"))
    assert [row.price for row in reading.rows_as_read] == [480, Decimal("480.50"), 1250]
    (warning,) = warned(reading, "mixed_styles")
    assert "row 3" in warning.message
    (problem,) = refused(read_rows(tmp_path, kit("480,00"), kit("480.50"), kit("1.250")))
    assert (problem.row, problem.code) == (4, "two_readings")
    assert "1250" in problem.message
    assert "1.25" in problem.message


def test_a_totals_row_decides_nothing(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit("480"), kit("612"), "Summe;;;;1.092;;;;;")
    assert reading.counts.used == 2
    (problem,) = refused(reading)
    assert (problem.row, problem.column, problem.text) == (4, "date", "Summe")


@pytest.mark.parametrize(
    ("row", "column"),
    [("Total:;;13;;1442;;;;;", "date"), (";Gesamt;;;1442;;;;;", "series"), (";;;;480,83;;;;;average", "series"),
     (";;;;Ø 480;;;;;", "price"), (";;;;;;;;;a remark only", "series")],
)  # fmt: skip
def test_rows_that_are_no_kit(tmp_path: Path, row: str, column: str) -> None:
    (problem,) = refused(read_rows(tmp_path, kit(), row))
    assert (problem.row, problem.column, problem.code) == (3, column, "totals_row")


def test_slash_dates_need_the_setting_where_both_orders_give_a_day(tmp_path: Path) -> None:
    problem = whole_file(read_rows(tmp_path, kit(date="4/3/23"), kit("1", date="5/6/23")))
    assert (problem.row, problem.text) == (2, "4/3/23")
    assert "day_first" in problem.message
    (one,) = refused(read_rows(tmp_path, kit(date="4/3/23"), kit("490", date="13/4/23"), kit("500", date="2023-04-03")))
    assert (one.row, one.code) == (2, "two_dates")
    for day_first, month in (("true", 3), ("false", 4)):
        settings = SETTINGS + f"\n[files]\nday_first = {day_first}\n"
        reading = read_rows(tmp_path, kit(date="4/3/23"), kit("490", date="2023-05-11"), settings=settings)
        assert [row.date and row.date.month for row in reading.rows_as_read] == [month, 5]


# ---- repeats -------------------------------------------------------------------------------------------------------


def test_a_row_that_repeats_another_is_set_aside(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit(note="red"), kit(note=" red"), kit(note="blue"), kit("470", note="red"))
    assert [row.row for row in reading.rows_as_read] == [2, 4, 5]
    (warning,) = warned(reading, "repeated_row")
    assert warning.row == 3
    assert "row 2" in warning.message
    assert (reading.counts.set_aside, reading.counts.refused) == (1, 0)


def test_of_one_listing_only_the_latest_row_counts(tmp_path: Path) -> None:
    header = "date;series;pieces;condition;price;ref"
    rows = ["2024-05-01;Burren;4;good;450;A1", "2024-04-01;Burren;4;good;520;A1", ";Burren;4;good;510;A1",
            "2024-04-01;Burren;4;good;400;-", "2024-04-02;Burren;4;good;410;-", "2024-04-01;Burren;4;good;300;B2",
            "2024-04-02;Slane;4;good;310;B2", "2024-04-02;Slane;4;good;330;C3"]  # fmt: skip
    reading = read_rows(tmp_path, *rows, header=header)
    assert [row.row for row in reading.rows_as_read] == [2, 5, 6, 9]
    assert [p.row for p in warned(reading, "relisted")] == [3, 4]
    assert [(p.row, p.code) for p in refused(reading)] == [(7, "ref_clash"), (8, "ref_clash")]
    counts = reading.counts
    assert (counts.read, counts.used, counts.refused, counts.set_aside) == (8, 4, 2, 2)


def test_spelling_neighbours_are_warned_of_and_not_merged(tmp_path: Path) -> None:
    settings = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'
    header = "series;pieces;condition;price"
    rows = ["Burren;4;4;480", "burren ;4;4;490", "Buren;4;4;500", "Corrib Burren;4;4;510", "Slane 2;4;4;400",
    "Slane 3;4;4;410"]
    reading = read_rows(tmp_path, *rows, header=header, settings=settings)
    assert reading.book is not None
    assert reading.book.series_names == ("Burren", "Buren", "Corrib Burren", "Slane 2", "Slane 3")
    assert [(p.text, p.row) for p in warned(reading, "series_spelling")] == [("Buren", 4), ("Corrib Burren", 5)]


# ---- features ------------------------------------------------------------------------------------------------------


def test_features_of_every_kind(tmp_path: Path) -> None:
    rows = ["Burren;4;good;480;yes;2;Red", "Burren;4;good;490;MIT;0,5;red", "Burren;4;good;500;nein;-1;blue",
    "Burren;4;good;510;;;"]
    reading = read_rows(tmp_path, *rows, header=FEATURE_HEADER, settings=FEATURED)
    assert reading.book is not None
    hardware, holes, colour = reading.book.features
    assert hardware.values[:3].tolist() == [1.0, 1.0, 0.0]
    assert holes.values[:3].tolist() == [2.0, 0.5, -1.0]
    assert (colour.words, colour.values[:3].tolist()) == (("Red", "blue"), [0.0, 0.0, 1.0])
    assert all(np.isnan(one.values[3]) for one in reading.book.features)
    assert "row 5" in warned(reading, "blank_hardware")[0].message


def test_feature_cells_that_cannot_be_taken(tmp_path: Path) -> None:
    rows = ["Burren;4;good;480;maybe;2;red", "Burren;4;good;490;yes;two;red", "Burren;4;good;500;1;2;#REF!"]
    reading = read_rows(tmp_path, *rows, header=FEATURE_HEADER, settings=FEATURED)
    assert [(p.row, p.column) for p in refused(reading)] == [(2, "hardware"), (3, "holes"), (4, "colour")]


def test_a_declared_feature_without_a_column_is_left_out_and_said(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit(), settings=FEATURED)
    assert reading.book is not None
    assert reading.book.features == ()
    assert [p.text for p in warned(reading, "absent_feature")] == ["hardware", "holes", "colour"]


def test_weights(tmp_path: Path) -> None:
    rows = ["Burren;4;good;480;2,5", "Burren;4;good;490;", "Burren;4;good;500;0"]
    reading = read_rows(tmp_path, *rows, header="series;pieces;condition;price;weight")
    assert reading.book is not None
    assert reading.book.weight.tolist() == [2.5, 1.0]
    assert [p.column for p in refused(reading)] == ["weight"]


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
    missing = read_pricebook(tmp_path / "gone.csv", shop_in(tmp_path))
    assert whole_file(missing).code == "no_file"


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
    assert [p.row or 0 for p in reading.problems] == sorted(p.row or 0 for p in reading.problems)
