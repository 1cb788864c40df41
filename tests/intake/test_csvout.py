"""CSV that a spreadsheet opens safely: no text is a formula, numbers stay numbers, reading back changes nothing."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.tables.csvout import csv_line, csv_text, is_number, safe_text
from tests.intake.shops import read_bytes

RISKY = ("=", "+", "-", "@", "\t", "\r")
TEXTS = st.one_of(
    st.text(st.characters(codec="utf-8"), max_size=20),
    st.sampled_from(["=1+1", "+49 171", "-x", "@a", "\tx", "\rx", "'=1", '"', "a;b", "a,b", " x ", "-", "", "a\nb"]),
)


@given(TEXTS)
def test_no_text_is_a_formula_and_a_second_time_changes_nothing(text: str) -> None:
    once = safe_text(text)
    assert not once.startswith(RISKY)
    assert once.isprintable()
    if text.isprintable():
        assert once in (text, f"'{text}")
    assert safe_text(once) == once


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("a\nb\tc", "a b c"), ("\x1b[31mred\x07", "<U+001B>[31mred<U+0007>"), ("450\u202f€", "450 €"),
        ("\u202e084", "<U+202E>084"), ("Bur\u200bren", "Burren"), ("\u200b=1+1", "'=1+1"), ("\t=1+1", "' =1+1"),
    ],
)  # fmt: skip
def test_signs_that_steer_or_hide_reach_no_cell(text: str, cell: str) -> None:
    """Common practice, no source: what a reader of the table cannot see must not be in it."""
    assert safe_text(text) == cell


@given(st.lists(st.lists(TEXTS, min_size=2, max_size=4), max_size=6), st.sampled_from([",", ";", "\t"]))
def test_a_round_trip_adds_no_second_apostrophe(rows: list[list[str]], sign: str) -> None:
    """Written, read by another reader (the standard library's), written again: the same bytes."""
    width = max((len(row) for row in rows), default=1)
    header = [f"c{n}" for n in range(width)]
    full = [row + [""] * (width - len(row)) for row in rows]
    first = csv_text(header, full, sign)
    assert first.startswith("\ufeff")
    back = list(csv.reader(io.StringIO(first.removeprefix("\ufeff"), newline=""), delimiter=sign))
    kept = [row for row in back[1:] if row]
    assert csv_text(back[0], kept, sign) == csv_text(header, [row for row in full if any(row) or width > 1], sign)
    assert not any(cell.startswith(RISKY) for row in back for cell in row)


@given(st.decimals(allow_nan=False, allow_infinity=False, places=2, min_value=-(10**9), max_value=10**9))
def test_numbers_keep_their_sign(number: Decimal) -> None:
    assert csv_line([number]) == f"{number:f}"
    assert csv_line([number], ";", ",") == f"{number:f}".replace(".", ",")


@pytest.mark.parametrize(
    ("text", "number"), [("-450", True), ("+1,5", True), ("-1+1", False), ("", False), ("=1", False)]
)
def test_numbers_in_text(text: str, number: bool) -> None:
    assert is_number(text) is number


def test_the_program_reads_what_it_writes(tmp_path: Path) -> None:
    header = ["series", "pieces", "condition", "price", "note"]
    rows = [
        ["Burren", 4, Decimal("3.5"), Decimal("480.50"), "=1+1"],
        ["Slane", 5, Decimal(3), Decimal(350), 'a;"b"\nc'],
    ]
    reading = read_bytes(tmp_path, csv_text(header, rows, ";", ",").encode())
    assert [row.price for row in reading.rows_as_read] == [Decimal("480.5"), 350]
    assert [row.note for row in reading.rows_as_read] == ["'=1+1", 'a;"b" c']
