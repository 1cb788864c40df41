"""prices.csv with a column for what was asked and one for what the kit then sold for."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.books.pricebook import PriceReading, read_pricebook
from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.text.numbers import Amount
from kitvalue.intake.text.problems import Level
from tests import TODAY
from tests.intake.shops import SETTINGS, read_rows, refused, shop_in, warned
from tests.intake.test_rows import agree, same_book
from tests.shops import run

HEAD = "date;series;pieces;condition;price;sold_for;status;channel;premium;currency;freight"
RATES = "date,currency,rate\n2023-01-01,CHF,1.05\n2023-01-01,SEK,0.09\n"


def row(price: str, sold_for: str, kind: str = "", **cells: str) -> str:
    """One row under HEAD."""
    found = {
        "date": "2024-04-03", "series": "Burren", "pieces": "4", "condition": "good", "price": price,
        "sold_for": sold_for, "status": kind, "channel": "forum", "premium": "", "currency": "EUR", "freight": "25",
    } | cells  # fmt: skip
    return ";".join(found.values())


def reading(folder: Path, *rows: str, settings: str = SETTINGS) -> PriceReading:
    folder.joinpath("rates.csv").write_text(RATES, encoding="utf-8")
    return read_rows(folder, *rows, header=HEAD, settings=settings)


def read(folder: Path, *rows: str) -> list[tuple[Decimal, str, str]]:
    """Price, kind and currency of each used row, of a book in which every row can be used."""
    found = reading(folder, *rows)
    assert refused(found) == []
    return [(one.price, one.price_kind, one.currency) for one in found.rows_as_read]


# ---- what a filled cell means --------------------------------------------------------------------------------------


@pytest.mark.parametrize("price", ["480", "", "-", "500 VB", "450-500", "VB", "?", "0", "-5", "#REF!", "1234"])
@pytest.mark.parametrize("kind", ["", "asked", "sold", "-"])
def test_an_amount_is_the_price_whatever_was_asked(tmp_path: Path, price: str, kind: str) -> None:
    found = reading(tmp_path, row(price, "450", kind))
    assert refused(found) == []
    assert [(one.price, one.price_kind) for one in found.rows_as_read] == [(450, "sold")]
    assert found.book is not None
    assert (found.book.price.tolist(), found.book.price_kind.tolist()) == ([450.0], [1])
    codes = {problem.code for problem in found.problems if problem.code != "absent_columns"}
    assert codes <= {"blank_premium"}, "neither negotiable, nor a placeholder, nor a kind that is assumed"


@pytest.mark.parametrize(
    ("text", "value"),
    [("450", "450"), ("450,50 €", "450.50"), ("EUR 450", "450"), ("450,-", "450"), (" 1.100,00 ", "1100")],
)
def test_it_is_read_as_a_price_is(tmp_path: Path, text: str, value: str) -> None:
    assert read(tmp_path, row("1.250,00", text)) == [(Decimal(value), "sold", "EUR")]


def test_a_mapped_header_is_found(tmp_path: Path) -> None:
    settings = SETTINGS.replace("[prices.columns]", '[prices.columns]\nsold_for = "Verkauft für"')
    head = "series;pieces;condition;price;Verkauft für"
    found = read_rows(tmp_path, "Burren;4;3;480;420", "Slane;4;3;500;", header=head, settings=settings)
    assert [(one.price, one.price_kind) for one in found.rows_as_read] == [(420, "sold"), (500, "asked")]
    assert warned(found, "unused_column") == []
    (absent,) = warned(found, "absent_columns")
    assert "price_kind (asked, or sold where Verkauft für is filled in)" in absent.message


def test_a_hammer_price_beside_it_is_refused(tmp_path: Path) -> None:
    for premium in ("20", ""):
        (problem,) = refused(reading(tmp_path, row("480", "450", "hammer", premium=premium)))
        assert (problem.column, problem.code, problem.text) == ("sold_for", "hammer_and_sold_for", "450")
        assert "a hammer price goes into price, with its premium: delete this amount" in problem.message
    assert read(tmp_path, row("480", "", "hammer", premium="20")) == [(480, "hammer", "EUR")]


def test_a_premium_beside_it_is_left_out(tmp_path: Path) -> None:
    found = reading(tmp_path, row("480", "450", premium="20"))
    (warning,) = warned(found, "premium_unused")
    assert "this row says sold" in warning.message
    assert found.book is not None
    assert found.book.premium.tolist() == [0.0]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("400-450", "range"), ("sold", "word"), ("yes", "word"), ("0", "not_positive"), ("-5", "not_positive"),
        ("no" + " " * 40 + "450", "not_a_number"),
        ("1e9", "shortened"), ("#REF!", "spreadsheet_error"), ("450 VB", "negotiable"), ("450 XYZ", "not_a_number"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("price", ["480", ""])
def test_what_cannot_be_taken_refuses_the_row_once(tmp_path: Path, text: str, code: str, price: str) -> None:
    (problem,) = refused(reading(tmp_path, row(price, text)))
    assert (problem.column, problem.code, problem.text) == ("sold_for", code, text)
    if code in ("not_positive", "negotiable"):
        assert "leave" in problem.message
        assert "blank" in problem.message


def test_a_price_is_still_needed_where_it_is_blank(tmp_path: Path) -> None:
    (problem,) = refused(reading(tmp_path, row("", "")))
    assert (problem.column, problem.code) == ("price", "empty")
    assert "write what was asked, or what it went for under sold_for" in problem.message
    (problem,) = refused(read_rows(tmp_path, "Burren;4;3;", header="series;pieces;condition;price"))
    assert "sold_for" not in problem.message


def test_a_word_that_is_no_kind_still_refuses_its_row(tmp_path: Path) -> None:
    """It may stand for hammer."""
    (problem,) = refused(reading(tmp_path, row("480", "450", "Zuschlag")))
    assert (problem.column, problem.code) == ("status", "unknown_word")


def test_an_odd_amount_is_told_by_its_own_cell(tmp_path: Path) -> None:
    (warning,) = warned(reading(tmp_path, row("480", "1")), "placeholder")
    assert (warning.column, warning.text) == ("sold_for", "1")
    (problem,) = refused(reading(tmp_path, row("480", "1.250"), row("500", "1,50"), row("500", "1.50")))
    assert (problem.row, problem.column, problem.code) == (2, "sold_for", "two_readings")


@pytest.mark.parametrize(
    ("price", "paid", "told"),
    [
        ("470", "6900", "asked 470 and sold for 6900"), ("4.700,00", "450,50", "asked 4700 and sold for 450.5"),
        ("1500", "500", None), ("1500,01", "500", "asked 1500.01 and sold for 500"), ("500", "1500", None),
        ("500", "1500,5", "asked 500 and sold for 1500.5"), ("1", "450", None), ("9999", "450", None),
        ("VB", "450", None), ("", "450", None), ("100-200", "4500", None), ("450", "1", None),
    ],
)  # fmt: skip
def test_prices_far_apart_are_asked_about(tmp_path: Path, price: str, paid: str, told: str | None) -> None:
    """The row is used; a price typed for want of one is no slip."""
    found = reading(tmp_path, row("480", "450"), row(price, paid, channel="dealer"))
    assert refused(found) == []
    assert len(found.rows_as_read) == 2
    messages = [(one.row, one.column, one.message) for one in warned(found, "asked_and_sold_far_apart")]
    assert messages == ([] if told is None else [(3, "sold_for", f"{told}: is one of them a slip?")])
    data = tmp_path.joinpath("prices.csv").read_bytes()
    agree(data, tmp_path, shop_in(tmp_path, SETTINGS))


def test_each_column_shows_its_own_decimal_sign(tmp_path: Path) -> None:
    rows = row("1,250.00", "1.100"), row("480.50", "450,50")
    assert [price for price, _, _ in read(tmp_path, *rows)] == [1100, Decimal("450.50")]
    found = reading(tmp_path, row("480.50", "1.100"))
    (problem,) = [one for one in found.problems if one.level is Level.FILE]
    assert (problem.column, problem.code) == ("sold_for", "undecided_decimal")
    found = reading(tmp_path, row("", "1.100"), settings=SETTINGS + '[files]\ndecimal = ","\n')
    assert [one.price for one in found.rows_as_read] == [1100]
    assert reading(tmp_path, row("", "450,50")).counts.decimal == ","


# ---- currencies ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("price", "sold_for", "stated", "currency"),
    [
        ("480 CHF", "450", "", "CHF"), ("480", "450 CHF", "", "CHF"), ("480 CHF", "450 CHF", "", "CHF"),
        ("", "450 CHF", "", "CHF"), ("480", "450", "CHF", "CHF"), ("480 kr", "450 SEK", "", "SEK"),
        ("450-500 CHF", "450", "", "CHF"), ("CHF", "450", "", "CHF"), ("VB", "450", "", "EUR"),
        ("480 €", "450", "", "EUR"),
    ],
)  # fmt: skip
def test_either_cell_tells_the_currency(tmp_path: Path, price: str, sold_for: str, stated: str, currency: str) -> None:
    rows = row(price, sold_for, currency=stated)
    assert read(tmp_path, rows) == [(450, "sold", currency)]
    blank = warned(reading(tmp_path, rows), "blank_currency")
    assert bool(blank) == (not stated and not any(sign in price + sold_for for sign in ("CHF", "kr", "€", "SEK")))


@pytest.mark.parametrize(
    ("price", "sold_for", "stated", "column"),
    [
        ("480 CHF", "450 €", "", "sold_for"), ("480 CHF", "450", "EUR", "price"), ("480", "450 CHF", "EUR", "sold_for"),
        ("450-500 CHF", "450 €", "", "sold_for"),
    ],
)  # fmt: skip
def test_two_currencies_refuse_the_row(tmp_path: Path, price: str, sold_for: str, stated: str, column: str) -> None:
    (problem,) = refused(reading(tmp_path, row(price, sold_for, currency=stated)))
    assert (problem.column, problem.code) == (column, "currency_clash")
    assert "correct one of the two" in problem.message


def test_a_rate_that_lacks_is_asked_for_where_the_currency_stands(tmp_path: Path) -> None:
    for price, sold_for, column in (
        ("480 GBP", "450", "price"),
        ("480", "450 GBP", "sold_for"),
        ("", "9 GBP", "sold_for"),
    ):
        (problem,) = refused(reading(tmp_path, row(price, sold_for, currency="")))
        assert (problem.column, problem.code) == (column, "no_rate")


# ---- what a blank cell means ---------------------------------------------------------------------------------------

NOTHING = (
    "", " ", "-", "—", "?", "n/a", "unknown", "k. A.", "unbekannt", "no", "No", "nein", "unsold", "Not sold",
    "not  sold", "nicht verkauft", "unverkauft", "noch da", "Still there",
)  # fmt: skip


@pytest.mark.parametrize("text", NOTHING)
def test_without_an_amount_the_price_was_asked(tmp_path: Path, text: str) -> None:
    found = reading(tmp_path, row("480", text), row("500 VB", text, "asked"))
    assert [(one.price, one.price_kind) for one in found.rows_as_read] == [(480, "asked"), (500, "asked")]
    assert [one.row for one in warned(found, "negotiable")] == [3]
    assert not any("sold" in problem.code for problem in found.problems)
    assert not text.strip() or read_sold_for(text) is None


@pytest.mark.parametrize("text", ["", "nein", "?"])
def test_sold_without_an_amount_counts_as_asked_and_is_said_once(tmp_path: Path, text: str) -> None:
    rows = row("480", text, "sold"), row("500", "450", "sold"), row("500 VB", text, "SOLD"), row("510", text)
    found = reading(tmp_path, *rows)
    assert [one.price_kind for one in found.rows_as_read] == ["asked", "sold", "asked", "asked"]
    assert found.book is not None
    assert found.book.price_kind.tolist() == [0, 1, 0, 0]
    (warning,) = warned(found, "sold_without_amount")
    assert (warning.row, warning.column) == (None, "sold_for")
    assert "rows 2 and 4, where status says sold" in warning.message
    assert warning.message.endswith("fill in sold_for")
    (blank,) = warned(found, "blank_price_kind")
    assert "row 5:" in blank.message


def test_without_the_column_sold_means_sold(tmp_path: Path) -> None:
    head, rows = HEAD.replace("sold_for;", ""), row("480", "", "sold").replace("480;;", "480;")
    (one,) = read_rows(tmp_path, rows, header=head).rows_as_read
    assert one.price_kind == "sold"


# ---- rows of one kit -----------------------------------------------------------------------------------------------


def test_rows_of_one_kit_are_compared_by_what_counts(tmp_path: Path) -> None:
    """Asked alike and sold apart is no kit told twice; sold alike is one, whatever was asked."""
    assert warned(reading(tmp_path, row("480", "450"), row("480", "430")), "near_duplicate") == []
    (warning,) = warned(reading(tmp_path, row("480", "450"), row("500", "450")), "near_duplicate")
    assert "at the same price" in warning.message
    assert warned(reading(tmp_path, row("450", ""), row("480", "450")), "near_duplicate") == []


def test_the_latest_row_of_a_listing_tells_that_it_was_sold(tmp_path: Path) -> None:
    head = "date;series;pieces;condition;price;sold_for;ref"
    rows = "2024-04-03;Burren;4;3;480;;a1", "2024-05-03;Burren;4;3;480;450;a1"
    (one,) = read_rows(tmp_path, *rows, header=head).rows_as_read
    assert (one.row, one.price, one.price_kind) == (3, 450, "sold")


# ---- one book, written in two ways ---------------------------------------------------------------------------------

KITS = st.lists(
    st.tuples(
        st.sampled_from(["Burren", "Slane"]), st.integers(3, 6), st.sampled_from(["3", "good", "4.5"]),
        st.decimals(2, 999, places=2), st.none() | st.decimals(2, 999, places=2),
    ),
    min_size=1, max_size=8,
)  # fmt: skip


@given(kits=KITS)
def test_one_book_written_in_two_ways_is_one_book(
    tmp_path_factory: pytest.TempPathFactory, kits: list[tuple[str, int, str, Decimal, Decimal | None]]
) -> None:
    folder = tmp_path_factory.mktemp("ways")
    shop = shop_in(folder, SETTINGS.replace('price_kind = "status"', ""))
    one, two = ["note,series,pieces,condition,price,sold_for"], ["note,series,pieces,condition,price,price_kind"]
    for at, (series, pieces, condition, asked, sold) in enumerate(kits):
        kit = f"kit {at},{series},{pieces},{condition}"  # so that no row repeats another
        one.append(f"{kit},{asked if sold is None or at % 2 else ''},{'' if sold is None else sold}")
        two.append(f"{kit},{asked if sold is None else sold},{'asked' if sold is None else 'sold'}")
    books = []
    for lines in (one, two):
        (folder / "prices.csv").write_text("\n".join([*lines, ""]), encoding="utf-8")
        books.append(read_pricebook(folder / "prices.csv", shop, TODAY))
    first, second = books
    assert first.book is not None
    assert second.book is not None
    assert len(first.book) == len(kits)
    asked = [float(a) if sold is not None and at % 2 else np.nan for at, (*_, a, sold) in enumerate(kits)]
    np.testing.assert_array_equal(first.book.asked, asked)
    same_book(replace(first.book, asked=second.book.asked), second.book)


@pytest.mark.parametrize(
    ("price", "asked"),
    [("480", 480), ("500 VB", 500), ("", None), ("-", None), ("450-500", None), ("?", None), ("0", None), ("-5", None)],
)
def test_what_was_asked_is_kept_beside_what_was_paid(tmp_path: Path, price: str, asked: float | None) -> None:
    found = reading(tmp_path, row(price, "450"), row("520", ""), row("600", "550", currency="CHF"))
    assert [one.asked for one in found.rows_as_read] == [asked, None, 600]
    assert found.book is not None
    kept = [np.nan if asked is None else asked, np.nan, 600 * 1.05]
    np.testing.assert_allclose(found.book.asked, kept, rtol=1e-12)
    np.testing.assert_allclose(found.book.price, [450, 520, 550 * 1.05], rtol=1e-12)
    data = "\n".join([HEAD, row(price, "450"), row("520", ""), row("600", "550", currency="CHF"), ""]).encode()
    agree(data, tmp_path, shop_in(tmp_path, SETTINGS))


@given(cents=st.integers(1, 10**9), sign=st.sampled_from(",."))
def test_amounts_keep_their_cents(cents: int, sign: str) -> None:
    text = f"{cents // 100}{sign}{cents % 100:02d}"
    found = read_sold_for(text)
    assert isinstance(found, Amount)
    assert found.value == Decimal(cents) / 100


def two_ways(rows: int) -> tuple[str, str]:
    """A book with a sold_for column, and the same one with price_kind."""
    draw = random.Random(11)
    head = "note,date,series,pieces,condition,price"
    one, two = [f"{head},price_kind,sold_for"], [f"{head},price_kind"]
    for at in range(rows):
        asked = draw.randint(250, 900) + 60 * (at % 3)
        kit = (
            f"kit {at},2024-{at % 12 + 1:02d}-{at % 27 + 1:02d},{('Burren', 'Slane')[at % 2]},{at % 4 + 3},{at % 3 + 3}"
        )
        paid = round(asked * 0.9 + draw.random() * 9, 2) if at % 3 == 0 else None
        one.append(f"{kit},{asked},asked,{'' if paid is None else paid}")
        two.append(f"{kit},{asked if paid is None else paid},{'asked' if paid is None else 'sold'}")
    return "\n".join([*one, ""]), "\n".join([*two, ""])


def test_both_ways_give_one_fit_and_one_reading(tmp_path: Path) -> None:
    tmp_path.joinpath("shop.toml").write_text('[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n', encoding="utf-8")
    answers = []
    for text in two_ways(60):
        tmp_path.joinpath("prices.csv").write_text(text, encoding="utf-8")
        fitted, checked = run(tmp_path, "fit", "--json"), run(tmp_path, "check", "--rows", "--json")
        assert fitted.status == 0, fitted.err
        answers.append((fitted.data, checked.data["rows"]))
    (fit, rows), (other_fit, other_rows) = answers
    assert [one | {"asked": None} for one in rows] == other_rows
    assert any(one["asked"] is not None for one in rows if one["price_kind"] == "sold")
    assert all(one["asked"] is None for one in rows if one["price_kind"] == "asked")
    assert {one["price_kind"] for one in rows} == {"asked", "sold"}
    assert fit == other_fit


def test_a_tall_book_is_one_in_both_ways(tmp_path: Path) -> None:
    shop = shop_in(tmp_path, '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n')
    found = []
    for text in two_ways(6000):
        tmp_path.joinpath("prices.csv").write_text(text, encoding="utf-8")
        found.append(read_pricebook(tmp_path / "prices.csv", shop, TODAY))
    first, second = found
    assert first.counts == second.counts
    assert first.book is not None
    assert second.book is not None
    assert len(first.book) == 6000
    assert 0 < np.isnan(first.book.asked).sum() < 6000
    same_book(replace(first.book, asked=second.book.asked), second.book)


def test_every_column_says_what_it_has_to(tmp_path: Path) -> None:
    """Both signs in both columns of money, and each kind of row that must be said."""
    shop = shop_in(tmp_path, SETTINGS)
    tmp_path.joinpath("rates.csv").write_text(RATES, encoding="utf-8")
    rows = (
        row("480,50", "450.50", "sold"), row("480.50", "450,50"), row("480", "", "sold"), row("480 CHF", "450 €"),
        row("450-500 CHF", "450", currency=""), row("480", "450", "hammer"), row("480", "450 VB"), row("", "no"),
        row("VB", "450", "asked", currency=""), row("480 €", "nein", "", currency=""), row("480", "1"),
    )  # fmt: skip
    data = "\n".join([HEAD, *rows, ""]).encode()
    codes = [problem.code for problem in agree(data, tmp_path, shop).problems]
    assert codes.count("mixed_styles") == 2
    assert {"sold_without_amount", "hammer_and_sold_for", "negotiable", "placeholder", "currency_clash"} <= set(codes)
