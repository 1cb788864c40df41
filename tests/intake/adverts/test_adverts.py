"""Pasted adverts: what is understood, in whose words, what stays open, and what is no offer of one kit."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.adverts.read import understand
from kitvalue.intake.adverts.record import Understood
from kitvalue.intake.adverts.text import LONGEST, advert_text
from kitvalue.intake.problems import FileError, KitvalueError, RefusedError
from kitvalue.intake.shop import JotTable, PricesTable, SeriesTable, Shop, ShopTable

ADVERTS: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "adverts.toml").read_text(encoding="utf-8"))[
    "advert"
]
TODAY = dt.date(2026, 11, 25)
WORDS = {
    "good": "freshen", "gut": "freshen", "fair": "mend", "as new": "wipe", "wie neu": "wipe", "bastlerkit": "harvest",
    "gebraucht": "mend",
}  # fmt: skip
SHOP = Shop(
    shop=ShopTable(name="Dock Road Drums", currency="EUR"),
    prices=PricesTable(words={"condition": WORDS}, features={"hardware": "yes-no"}),
    jot=JotTable(words={"with stands": "hardware=yes", "mit Hardware": "hardware=yes", "Gebot": "negotiable"}),
    series={name: SeriesTable() for name in ("Burren", "Slane", "Inishmore", "Lisdoon", "Kilbeg")},
)


def understood(text: str, shop: Shop = SHOP) -> Understood:
    return understand(text, shop, {name: name for name in shop.series}, TODAY)


def test_there_are_at_least_twenty() -> None:
    assert len(ADVERTS) >= 20
    assert len({one["name"] for one in ADVERTS}) == len(ADVERTS)


@pytest.mark.parametrize("advert", ADVERTS, ids=lambda one: one["name"])
def test_advert(advert: dict[str, Any]) -> None:
    if "refused" in advert:
        with pytest.raises(RefusedError, match=advert["refused"]):
            understood(advert["text"])
        return
    found = understood(advert["text"])
    assert {name: found.value(name) for name in advert["row"]} == advert["row"]
    reasons = {one.field: one.reason for one in found.unknown}
    for name, words in advert.get("open", {}).items():
        assert words in reasons[name]
        assert found.value(name) is None
    assert {"series", "pieces", "condition", "price", "freight", "date", "ref"} <= {
        *reasons, *(one.field for one in found.taken)
    }  # fmt: skip
    for part in advert.get("note", ()):
        assert part in (found.value("note") or "")
    if "remark" in advert:
        assert any(advert["remark"] in remark for remark in found.remarks)


@pytest.mark.parametrize("advert", [one for one in ADVERTS if "row" in one], ids=lambda one: one["name"])
def test_every_value_comes_from_words_of_the_advert(advert: dict[str, Any]) -> None:
    flat = " ".join(advert["text"].split())
    for one in understood(advert["text"]).taken:
        if one.field not in ("note", "pieces"):
            assert one.words in flat, one
        for part in one.words.split(", ") if one.field == "pieces" else ():
            assert part.split(" x ")[-1] in flat, one


@pytest.mark.parametrize("mark", ['"', "''", "”", " inch", " Zoll", "", " in."])
@pytest.mark.parametrize("cross", ["x", " x ", "X", "×", " by "])
def test_sizes_with_any_inch_mark(mark: str, cross: str) -> None:
    sizes = [(22, 16), (16, 16), (13, 9), (12, 8)]
    text = ", ".join(f"{a}{mark}{cross}{b}{mark}" for a, b in sizes)
    found = understood(f"Burren, {text}, 400 EUR")
    assert found.value("pieces") == "4"
    assert [(size.diameter, size.depth) for size in found.sizes] == sizes


@pytest.mark.parametrize(
    ("words", "price", "haggle"),
    [
        ("480 VB", "480", "negotiable"), ("VB 480 Euro", "480", "negotiable"), ("480,- VHB", "480", "negotiable"),
        ("480.50 EUR ono", "480.5", "negotiable"), ("EUR 1.250,00 obo", "1250", "negotiable"),
        ("1 250 € Festpreis", "1250", "fixed"), ("480€ FP", "480", "fixed"), ("€480 fixed price", "480", "fixed"),
        ("asking 480", "480", None), ("1'250 Euro", "1250", None), ("1,250 EUR", "1250", None), ("480 EUR Gebot",
        "480", "negotiable"),
    ],
)  # fmt: skip
def test_prices(words: str, price: str, haggle: str | None) -> None:
    found = understood(f"Burren 22/16/13/12, {words}.")
    assert (found.value("price"), found.haggle) == (price, haggle)


@pytest.mark.parametrize(
    "number",
    [
        "0171 1234567", "+49 171 2345678", "0049171234567", "(0171) 234567", "087-123-4567", "089/1234567",
        "555-123-4567",
    ],
)  # fmt: skip
def test_a_telephone_number_is_no_price(number: str) -> None:
    for text in (f"Burren 22/16/13/12, 480 EUR {number}", f"Burren 22/16/13/12, {number}, 480 EUR"):
        assert understood(text).value("price") == "480"


def test_the_kind_of_the_shops_own_words_is_used() -> None:
    shop = SHOP.model_copy(update={"jot": JotTable(words={"Trommel": "rack", "Ankaufgesuch": "wanted"})})
    with pytest.raises(RefusedError, match="seeks"):
        understood("Ankaufgesuch: Burren 22/16/13, 400 EUR", shop)


def test_texts_that_are_none() -> None:
    for text in ("", " \n ", "x" * (LONGEST + 1)):
        with pytest.raises(FileError):
            understood(text)


PIECES = st.sampled_from(
    [
        "Burren", "Slane", "22x16", "16/16", '13"', "22/16/13/12", "+ snare", "480 €", "VB", "je", "Suche", "sold",
        "0171 1234567", "03.11.2026", "3/4/26", "https://example.org/1", "Becken", "Versand", "25 EUR", "Zustand 3",
        "-", "\n", ",",
        "5-piece", "FP", "statt", "cases", "20 %", "no", "tausche", "inkl.", "£", "1.250,-", "=1+1", "\u202e", "½",
        "bass", "2 toms",
    ]
)  # fmt: skip


def answer(text: str) -> Understood | str:
    """What is understood, or the words of the refusal."""
    try:
        return understood(text)
    except KitvalueError as error:
        return error.message


@given(st.one_of(st.text(max_size=200), st.lists(PIECES, max_size=30).map(" ".join)))
def test_any_text_is_understood_or_refused(text: str) -> None:
    found = answer(text)
    if isinstance(found, str):
        assert found
        assert "\n" not in found
        return
    fields = [one.field for one in (*found.taken, *found.unknown)]
    assert len(set(fields)) == len(fields)
    assert all(one.value and one.words for one in found.taken)
    assert all(one.reason for one in found.unknown)


@given(st.text(max_size=300))
def test_the_cleaned_text_keeps_every_place(text: str) -> None:
    advert = advert_text(text)
    assert len(advert.plain) == len(advert.original)


@pytest.mark.parametrize(
    "text",
    ["22x16 ", "16/16 ", '22" ', "50-", "1", "and 12 ", "12 + ", "a-", "Anzeige", "0171 ", "good ", "(", "1.", "\x00"],
)
def test_a_long_text_takes_no_long_time(text: str) -> None:
    """Repeated to the longest length that is read: no pattern may take more than straight through it."""
    assert answer((text * LONGEST)[:LONGEST])


def test_a_row_of_digits_takes_no_long_time() -> None:
    assert answer("Burren 480," + "1" * 60 + "6x16, 13x9, 1,x8 + Snare, 22/16/13 VB, 480," + "1" * 60)
