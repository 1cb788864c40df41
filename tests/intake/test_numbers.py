"""Amounts and numbers: one meaning is taken, two are told, the rest is refused with its reason."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.numbers import (
    Amount,
    ColumnStyle,
    TwoReadings,
    column_style,
    plain,
    read_amount,
    read_number,
    read_percent,
)
from kitvalue.intake.text.words import Refusal

NBSP, NARROW, THIN = "\u00a0", "\u202f", "\u2009"


@pytest.mark.parametrize(
    ("text", "value", "sign"),
    [
        ("480", "480", None), (" 480 ", "480", None), ("480,00", "480", ","), ("480.5", "480.5", "."),
        ("1.250,00", "1250", ","), ("1,250.00", "1250", "."), ("1.250.000", "1250000", ","), ("1,250,000",
        "1250000", "."),
        ("1'250.50", "1250.5", "."), ("1’250", "1250", None), (f"1{NBSP}250,50", "1250.5", ","),
        (f"1{NARROW}250", "1250", None), (f"12{THIN}500", "12500", None), ("1 250 000", "1250000", None),
        ("0,125", "0.125", ","), ("1250.125", "1250.125", "."), ("012.500", "12.5", "."), (",50", "0.5", ","),
        ("480.", "480", None), ("'480", "480", None), ("+480", "480", None), ("\uff14\uff18\uff10", "480", None),
        ("480\u200b", "480", None), ("\u200e480", "480", None), ("007", "7", None), ("1.250,000", "1250", ","),
    ],
)  # fmt: skip
def test_a_number_that_shows_its_style(text: str, value: str, sign: str | None) -> None:
    read = read_amount(text)
    assert isinstance(read, Amount)
    assert (read.value, read.sign) == (Decimal(value), sign)
    assert read_number(text) == read


@pytest.mark.parametrize(
    ("text", "value", "sign", "currency"),
    [
        ("€ 1.250,00", "1250", ",", "EUR"), (f"1.250,00{NBSP}€", "1250", ",", "EUR"), ("EUR 480", "480", None, "EUR"),
        ("480 Euro.", "480", None, "EUR"), ("480,- €", "480", ",", "EUR"), ("480,–", "480", ",", None),
        ("CHF 1'250.—", "1250", None, "CHF"), ("Fr.480.-", "480", None, "CHF"), ("1.250.-", "1250", ",", None),
        ("480:-", "480", None, None), ("480kr.", "480", None, "SEK"), ("US$1,250.00", "1250", ".", "USD"),
        ("480 zł", "480", None, "PLN"), ("12 500 Kč", "12500", None, "CZK"), ("£480", "480", None, "GBP"),
        ("480 EUR €", "480", None, "EUR"), ("¥48000", "48000", None, "JPY"), ("480 FP", "480", None, None),
        ("480 € Festpreis", "480", None, "EUR"), ("480 eur", "480", None, "EUR"), ("-€ 450", "-450", None, "EUR"),
    ],
)  # fmt: skip
def test_money_with_its_currency(text: str, value: str, sign: str | None, currency: str | None) -> None:
    read = read_amount(text)
    assert isinstance(read, Amount)
    assert (read.value, read.sign, read.negotiable) == (Decimal(value), sign, False)
    assert currency in read.currencies if currency else read.currencies == ()


@pytest.mark.parametrize(
    "text",
    ["500 VB", "VB 500", "VB: 500", "500 (VHB)", "500,- VHB", "500 v.b.", "500 ono", "500 o.n.o.", "500 OBO",
     "500 or best offer", "500€ VB", "Verhandlungsbasis 500", "500 neg.", "500 negotiable", "500/VB"],
)  # fmt: skip
def test_negotiable_is_marked(text: str) -> None:
    read = read_amount(text)
    assert isinstance(read, Amount)
    assert read.value == 500
    assert read.negotiable


@pytest.mark.parametrize(("text", "whole", "part"), [("1.250", "1250", "1.25"), ("1,250", "1250", "1.25"),
                                                     ("12.500 €", "12500", "12.5"), ("-1.250", "-1250",
                                                     "-1.25")])  # fmt: skip
def test_two_readings_are_given_back(text: str, whole: str, part: str) -> None:
    read = read_amount(text)
    assert isinstance(read, TwoReadings)
    assert (read.as_thousands, read.as_decimal) == (Decimal(whole), Decimal(part))
    other = "," if read.mark == "." else "."
    assert read.under(read.mark).value == Decimal(part)
    assert read.under(other).value == Decimal(whole)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "empty"), ("  ", "empty"), ("-", "no_amount"), ("—", "no_amount"), ("?", "no_amount"), ("VB", "no_amount"),
        ("sold", "word"), ("verkauft", "word"), ("auf Anfrage", "word"), ("five", "word"), ("TRUE", "word"),
        ("N/A", "word"),
        ("#REF!", "spreadsheet_error"), ("#N/A", "spreadsheet_error"), ("#NV", "spreadsheet_error"),
        ("#WERT!", "spreadsheet_error"), ("#NAME?", "spreadsheet_error"), ("#DIV/0!", "spreadsheet_error"),
        ("#¡VALOR!", "spreadsheet_error"), ("#¿NOMBRE?", "spreadsheet_error"), ("#BEZUG!", "spreadsheet_error"),
        ("#ÜBERLAUF!", "spreadsheet_error"), ("#NOM?", "spreadsheet_error"), ("#ИМЯ?", "spreadsheet_error"),
        ("Err:508", "spreadsheet_error"), ("Fehler:502", "spreadsheet_error"), ("###", "too_narrow"),
        ("########", "too_narrow"), ("450-500", "range"), ("450–500", "range"), ("450 bis 500", "range"),
        ("450 to 500", "range"), ("450 € - 500 €", "range"), ("450...500", "range"), ("between 400 and 500", "range"),
        ("450/420", "two_amounts"), ("450 or 420", "two_amounts"), ("450 statt 500", "two_amounts"), ("4+1", "sum"),
        ("2 x 250", "sum"), ("=450", "formula"), ("=SUM(A1:A3)", "formula"), ("450 inkl. Versand", "mixed"),
        ("450 plus shipping", "mixed"), ("450 sold", "mixed"), ("61O,00", "letter"), ("4l0", "letter"), ("48O",
        "letter"),
        ("1.2k", "shortened"), ("1,2 Tsd", "shortened"), ("4.8E+02", "shortened"), ("1,25E+03", "shortened"),
        ("~480", "about"), ("ca. 480", "about"), (">480", "about"), ("ab 480", "about"), ("480 each", "each"),
        ("480 pro Trommel", "each"), ("10%", "percent"), ("(450)", "negative"), ("450-", "two_readings"),
        ("1.250.00", "bad_grouping"), ("12 50", "bad_grouping"), ("1,25,000", "bad_grouping"), ("480,00,00",
        "bad_grouping"),
        ("480 EUR £", "currency_clash"), ("\u202e084", "direction"), ("480 â‚¬", "mangled"), ("9" * 30, "too_long"),
        ("9" * 500, "too_long"), ("EUR.50", "not_a_number"), ("480 EUR 50", "not_a_number"), ("500 VB 450",
        "not_a_number"),
    ],
)  # fmt: skip
def test_what_is_no_amount_says_why(text: str, code: str) -> None:
    read = read_amount(text)
    assert isinstance(read, Refusal)
    assert read.code == code
    assert read.reason


def test_percent_with_and_without_its_sign() -> None:
    for text in ("20", "20 %", "20,0%"):
        read = read_percent(text)
        assert isinstance(read, Amount)
        assert read.value == 20


def test_a_column_proves_its_sign_only_where_all_agree() -> None:
    assert column_style([read_amount("480,00"), read_amount("1.250"), read_amount("x")]).sign == ","
    assert column_style([read_amount("480"), read_amount("1.250")]) == ColumnStyle(0, 0)
    mixed = column_style([read_amount("480,00"), read_amount("480.50")])
    assert mixed.mixed
    assert mixed.sign is None


def _grouped(whole: str, mark: str) -> str:
    head = len(whole) % 3 or 3
    return mark.join([whole[:head], *(whole[at : at + 3] for at in range(head, len(whole), 3))])


@given(
    st.integers(1000, 10**9),
    st.integers(0, 99),
    st.sampled_from([(".", ","), (",", "."), ("'", "."), (" ", ","), (NBSP, ","), (NARROW, ","), ("’", ".")]),
    st.sampled_from(["{}", "€ {}", "{} EUR", " {} ", "{} VB", "EUR {}"]),
)
def test_every_written_style_comes_back_exactly(whole: int, cents: int, marks: tuple[str, str], around: str) -> None:
    text = around.format(f"{_grouped(str(whole), marks[0])}{marks[1]}{cents:02d}")
    read = read_amount(text)
    assert isinstance(read, Amount)
    assert read.value == Decimal(f"{whole}.{cents:02d}")
    assert read.sign == marks[1]


@given(st.one_of(st.text(max_size=40), st.text("0123456789.,' -€$VBOxk+/:()%#", max_size=16)))
def test_any_text_is_read_or_refused(text: str) -> None:
    for read in (read_amount, read_number, read_percent):
        found = read(text)
        assert isinstance(found, Amount | TwoReadings | Refusal)
        if isinstance(found, Amount):
            assert found.value.is_finite()
            digits = [c for c in text if c.isdecimal()]
            assert digits, "a number came out of a text without digits"


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=3))
def test_plain_digits_say_the_same_number(value: Decimal) -> None:
    assert Decimal(plain(value)) == value
    assert "E" not in plain(value)
