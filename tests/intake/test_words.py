"""Cleaning and comparing texts."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.numbers import meanings, why_no_amount
from kitvalue.intake.text.problems import Level, Problem
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS, grade, likely_headers, likely_word, vocabulary
from kitvalue.intake.text.words import (
    SPACES,
    fold,
    is_dash,
    listed,
    look_alike,
    nearest,
    rows_phrase,
    trimmed,
)


def test_outer_spaces_case_and_composition_do_not_count_and_nothing_else() -> None:
    assert fold(" \u00a0BURREN\u200b ") == fold("burren")
    assert fold("Gebu\u0308hr") == fold("GEB\u00dcHR")
    assert fold("Bur ren") != fold("Burren")
    assert fold("Bu\u0301rren") != fold("Burren")


@given(st.text(max_size=20))
def test_folding_is_stable(text: str) -> None:
    assert fold(fold(text)) == fold(text)
    assert fold(f"  {text}\u00a0") == fold(text)
    assert fold(unicodedata.normalize("NFD", text)) == fold(unicodedata.normalize("NFC", text))
    assert trimmed(trimmed(text)) == trimmed(text)


@pytest.mark.parametrize(
    ("text", "name"),
    [("Corrib Burren", "Burren"), ("Buren", "Burren"), ("Burren?", "Burren"), ("Lissdoon", "Lisdoon"),
    ("zzz", None), ("", None),
     ("?", None), ("Inishmore rebuilt", "Inishmore rebuilt 84")],
)  # fmt: skip
def test_the_nearest_name(text: str, name: str | None) -> None:
    assert nearest(text, ["Burren", "Lisdoon", "Inishmore", "Inishmore rebuilt 84"]) == name


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [("Buren", "Burren", True), ("Burren?", "Burren", True), ("Corrib Burren", "Burren", True), ("Bur-ren",
    "Burren", True),
     ("burren ", "Burren", False), ("Slane 2", "Slane 3", False), ("Slane", "Burren", False), ("Slane 2",
     "Slane", False)],
)  # fmt: skip
def test_names_that_look_alike(one: str, other: str, alike: bool) -> None:
    assert look_alike(one, other) is alike
    assert look_alike(other, one) is alike


def test_phrases() -> None:
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"], last="or") == "a, b or c"
    assert listed("abcd", 2) == "a, b and 2 more"
    assert rows_phrase([4]) == "row 4"
    assert rows_phrase([4, 7]) == "rows 4 and 7"


def test_text_read_with_the_wrong_encoding() -> None:
    assert why_no_amount("BÃ¶rse").code == "mangled"
    assert why_no_amount("480 â‚¬").code == "mangled"
    assert why_no_amount("Börse € “ok”").code == "word"


@pytest.mark.parametrize(
    ("text", "value"),
    [("5", "5"), (" 3,5 ", "3.5"), ("3.5", "3.5"), ("3½", "3.5"), ("Mend", "3"), ("HARVEST ", "1"), ("5,0", "5"),
    ("0", None),
     ("5.5", None), ("3.7", None), ("3.4999", None), ("", None), ("good", None), ("3.5.5", None), ("1e0", None),
     ("5" * 99, None)],
)  # fmt: skip
def test_grades(text: str, value: str | None) -> None:
    found = grade(text)
    assert (None if found is None else str(found.normalize())) == value


def test_words_of_ours_and_of_the_shop() -> None:
    known = vocabulary(["sold", "asked"], {"Verkauft": "Sold", "weg": "sold"})
    assert [known.find(word) for word in ("SOLD", "verkauft ", "weg", "x")] == ["sold", "sold", "sold", None]
    cure = 'did you mean sold? Write it so, or map it under [prices.words.price_kind]: "solld?" = "sold"'
    assert known.refusal("solld?", "price_kind").cure == cure
    assert (
        known.refusal("not sold", "price_kind").cure == "write sold or asked, or map it under [prices.words.price_kind]"
    )


@pytest.mark.parametrize(
    ("column", "text", "word"),
    [("channel", "Forum Auktion", "auction"), ("channel", "Händler", "dealer"), ("channel", "dealer or private", None),
     ("price_kind", "sold?", "sold"), ("price_kind", "verkauft", "sold"), ("price_kind", "nicht verkauft", None),
     ("price_kind", "unsold", None), ("condition", "Teileträger", "harvest"), ("condition", "freshn", "freshen"),
     ("condition", "very good", None), ("yes-no", "ohne", "no"),
     ("yes-no", "stands incl", "yes"), ("yes-no", "no pedals, stands incl", None), ("yes-no", "x", None),
     ("channel", "?", None)],
)  # fmt: skip
def test_a_word_is_proposed_only_where_one_is_likely(column: str, text: str, word: str | None) -> None:
    own = {"condition": ("freshen", "harvest"), "channel": CHANNELS, "price_kind": PRICE_KINDS, "yes-no": ("yes", "no")}
    known = {name: name for name in own[column]} | ({"good": "freshen"} if column == "condition" else {})
    assert likely_word(column, text, known) == word


def test_headers_in_the_words_of_the_trade_find_their_columns() -> None:
    columns = ("series", "pieces", "condition", "price", "date", "channel", "price_kind", "freight", "note")
    german = ["Gesehen am", "Wo", "Serie / Modell", "Teile", "Zustand", "VK", "Versand €", "Bemerkung"]
    assert likely_headers(columns, german) == {
        "date": "Gesehen am", "channel": "Wo", "series": "Serie / Modell", "pieces": "Teile", "condition": "Zustand",
        "price": "VK", "freight": "Versand €", "note": "Bemerkung",
    }  # fmt: skip
    american = ["Seen", "Where", "Kit", "Pcs", "Cond.", "Asking", "Sold?"]
    assert likely_headers(columns, american) == {
        "date": "Seen", "channel": "Where", "series": "Kit", "pieces": "Pcs", "condition": "Cond.", "price": "Asking",
        "price_kind": "Sold?",
    }  # fmt: skip
    swedish = likely_headers(columns, ["Trummor", "Skick", "Pris", "Frakt"])
    assert swedish == {"pieces": "Trummor", "condition": "Skick", "price": "Pris", "freight": "Frakt"}
    assert likely_headers(columns, ["Bębny", "Stan", "Cena"]) == {
        "pieces": "Bębny",
        "condition": "Stan",
        "price": "Cena",
    }
    assert likely_headers(("series", "price"), ["Preisvorstellung", "Farbe", "Sreies"]) == {"price": "Preisvorstellung"}
    assert likely_headers(("series",), []) == {}


@pytest.mark.parametrize(("text", "dash"), [("-", True), (" – ", True), ("—", True), ("-1", False), ("", False)])
def test_a_lone_dash(text: str, dash: bool) -> None:
    assert is_dash(text) is dash


def test_what_a_currency_word_can_mean() -> None:
    assert meanings("€") == meanings("eur ") == meanings("Euro") == ("EUR",)
    assert "USD" in meanings("$")
    assert len(meanings("$")) > 1
    assert meanings("US$") == ("USD",)
    assert meanings("Euro?") == meanings("") == meanings("xyz") == ()


def test_a_problem_in_one_line() -> None:
    cell = Problem(
        "prices.csv", 14, "price", "450-500", "range", Level.REFUSED, '"450-500" is a range; write one amount'
    )
    assert cell.line() == 'prices.csv row 14, column price: "450-500" is a range; write one amount'
    key = Problem("shop.toml", 5, "tax.rate", "2300", "less_than", Level.FILE, "must be below 100")
    assert key.line() == "shop.toml line 5, tax.rate: must be below 100"


def test_the_spaces_are_those_of_unicode() -> None:
    """White space as Unicode 15 counts it, which is what Python's str.isspace goes by."""
    assert set(SPACES) == {chr(code) for code in range(0x110000) if chr(code).isspace()}
