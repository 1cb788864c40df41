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
from kitvalue.intake.adverts.text import LONGEST, Understood, advert_text
from kitvalue.intake.settings.shop import JotTable, PricesTable, SeriesTable, Shop, ShopTable
from kitvalue.intake.text.problems import FileError, KitvalueError, RefusedError

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
    ("text", "words"),
    [
        ("bit rough, 1998ish, he wants 350, 40 min drive", "wants 350"), ("he asks 350", "asks 350"),
        ("looking for about 350", "looking for about 350"), ("350 wanted for it", "350 wanted for it"),
        ("350 wanted", "350 wanted"), ("will dafür 350", "will dafür 350"), ("er möchte 350", "möchte 350"),
        ("verlangt 350", "verlangt 350"), ("350 verlangt", "350 verlangt"), ("il demande 350", "demande 350"),
        ("hij vraagt 350", "vraagt 350"), ("was 600, wants 350", "wants 350"),
    ],
)  # fmt: skip
def test_what_somebody_wants_for_it_is_the_price(text: str, words: str) -> None:
    found = understood(f"5 piece Burren, {text}")
    assert (found.value("price"), found.value("price_kind")) == ("350", "asked")
    assert [one.words for one in found.taken if one.field == "price"] == [words]


@pytest.mark.parametrize(
    "text",
    [
        "price drop from 600 to 480", "price drop from 600 EUR to 480 EUR", "reduced from 600 to 480 EUR",
        "from 600 to 480 EUR", "down from 600 to 480", "Preis von 600 auf 480 gesenkt", "price drop: 600 -> 480",
        "price dropped to 480", "reduced to 480", "600 € → 480 €",
    ],
)  # fmt: skip
def test_a_price_that_came_down_is_the_lower_one(text: str) -> None:
    found = understood(f"5 piece Burren, {text}")
    assert found.value("price") == "480"
    assert found.remarks == tuple(one for one in found.remarks if "600" in one and "earlier" in one)
    assert bool(found.remarks) == ("600" in text)


@pytest.mark.parametrize("text", ["from 400 to 480 EUR", "from 600 to 480", "asking 480 to 600"])
def test_what_did_not_come_down_is_no_price(text: str) -> None:
    assert understood(f"5 piece Burren, {text}").value("price") is None


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("22x16 16x16 13x9, 14 x 5 wood snare available separately", "3"), ("22x16 16x16 13x9, 14x5 maple snare", "4"),
        ("22x16 16x16 13x9, 14 x 5 steel snare not included", "3"), ('22, 16, 13, 14" brass snare sold separately',
        "3"),
        ('22/16/13, 14" steel snare for 80 extra', "3"), ('22/16/13, 14" steel snare', "4"),
        ("22, 16, 13, 12 missing", "3"), ("22/16/13, 12/13/16/22 Fellsatz", "3"),
        ("5-teilig, 12/13/16/22 Fellsatz neu", "5"), ("12/13/16/22 neue Fellsätze", None),
        ("22x16 16x16 13x9, snare missing", "3"),
    ],
)  # fmt: skip
def test_drums_that_do_not_come_with_it_and_heads_are_not_counted(text: str, pieces: str | None) -> None:
    assert understood(f"Burren {text}, 400 EUR").value("pieces") == pieces


@pytest.mark.parametrize(
    ("text", "phrases"),
    [
        ("shells ok but hoops gone, 400 EUR", ["hoops gone"]), ("missing 2 lugs, 400 EUR", ["missing 2 lugs"]),
        ("400 EUR no badge", ["no badge"]), ("bit rough, 1998ish, wants 400", ["bit rough", "1998ish"]),
        ("ein Böckchen fehlt; 400 EUR, Floortom ohne Füße", ["ein Böckchen fehlt", "Floortom ohne Füße"]),
        ("14 x 5 wood snare available separately, 400 EUR", ["14 x 5 wood snare available separately"]),
        ('22" bass, 12, 13, 16, 14x5 snare, 20" ride, 400 EUR', ['20" ride']), ("400 EUR, no snare", ["no snare"]),
        ("statt 600 € jetzt 400 € VB, guter Zustand, call 0171 1234567, https://example.org/77", []),
        ("1. lovely kit. 400 EUR or 450 EUR, we ship, 2 owners", ["2 owners"]), ("450-500 EUR, posted 3/4/26", []),
    ],
)  # fmt: skip
def test_what_is_said_of_the_kit_and_not_used_is_told(text: str, phrases: list[str]) -> None:
    assert list(understood(f"5 piece Burren, {text}").not_used) == phrases


def test_drums_that_are_listed_twice_and_counted_are_used() -> None:
    assert understood("Burren 22/16/13/12 top set! Bassdrum 22x16, Toms 13x9 und 12x8. 400 EUR").not_used == ()


@pytest.mark.parametrize("text", ["he wants 4 new heads", "he wants 350-400", "350 wanted: more", "wants it gone, 350"])
def test_what_is_wanted_beside_is_no_price(text: str) -> None:
    assert understood(f"5 piece Burren, {text}").value("price") is None


@pytest.mark.parametrize("words", ["Looking for 350", "looking for £350 ono", "Looking for 350 for it"])
def test_looking_for_a_sum_offers_a_kit(words: str) -> None:
    assert understood(f"Burren 5 piece. {words}").value("price") == "350"


@pytest.mark.parametrize(
    "text",
    [
        "Looking for 350 EUR Burren kit", "Looking for 5 piece Burren, 350", "Wanted: Burren, wants 350",
        "Looking for 22/16/13 Burren, 400 EUR", "Suche Burren 5-teilig, will 350 zahlen", "Burren. Wanted: 350",
    ],
)  # fmt: skip
def test_a_buyers_advert_stays_one(text: str) -> None:
    with pytest.raises(RefusedError, match="seeks a kit"):
        understood(text)


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


DIAMETERS = st.lists(st.integers(8, 28), min_size=3, max_size=7).filter(lambda found: max(found) >= 18)


@given(DIAMETERS, st.sampled_from([" ", "/", ", ", " / ", "-", " + "]))
def test_a_row_of_diameters_is_counted_in_full_or_left_open(diameters: list[int], sign: str) -> None:
    found = understood(f"Burren {sign.join(map(str, diameters))}, 400 EUR")
    pieces = found.value("pieces")
    assert pieces in (str(len(diameters)), None)
    if sign not in ("/", " "):
        assert pieces is not None
    assert found.value("price") == "400"
    assert found.value("date") is None or (sign == "/" and len(diameters) == 3)


@given(
    st.integers(18, 26), st.integers(14, 17),
    st.lists(st.tuples(st.sampled_from([10, 12, 13, 14, 16, 18]), st.integers(0, 4)), min_size=2, max_size=5),
    st.booleans(),
)  # fmt: skip
def test_sizes_with_nothing_between_are_never_counted_as_diameters(
    wide: int, deep: int, toms: list[tuple[int, int]], turned: bool
) -> None:
    sizes = [(wide, deep), *((width, width - less) for width, less in toms)]
    row = " ".join(f"{b} {a}" if turned else f"{a} {b}" for a, b in sizes)
    assert understood(f"Burren {row}, 400 EUR").value("pieces") is None


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("4-piece, 22/13/16/12, kick is 22x14", "4"), ("6-teilig, 22/16/13/12/14 snare", "6"),
        ("5-teilig, 22/16/13/12/14 snare", "5"), ("7pc, 22/16/13/12/14 snare", None),
        ("4tlg, BD 22 18, TT 12 8, 13 9, FT 16 16", "4"), ("2-piece, 22 16 16 16 12 8 13 9 10 7", "2"),
        ("5-piece: 22x16, 16x16, 13x9, 12x8", None), ("3-piece: 22x16, 16x16, 13x9, 12x8", None),
        ("4-piece, bass 22, two toms, floor tom 16", "4"), ("9-piece, bass 22, two toms, floor tom 16", None),
    ],
)  # fmt: skip
def test_a_stated_number_stands_where_the_list_allows_it(text: str, pieces: str | None) -> None:
    """Where every reading of the list contradicts it, both are told and the cell stays blank."""
    found = understood(f"Burren {text}, 400 EUR")
    assert found.value("pieces") == pieces
    if pieces is None:
        assert any(one.field == "pieces" and " and lists " in one.reason for one in found.unknown)


@pytest.mark.parametrize(
    "text",
    [
        "20/12/14 Kessel", "Kesselsatz 20/12/14", "kit (20/12/14)", "20/12/14 + Snare", "Größen: 20/12/14",
        "4-piece 20/12/14 and snare", "bass, tom, floor 20/12/14", "20/12/14 great jazz kit",
    ],
)  # fmt: skip
def test_diameters_beside_drums_are_no_day(text: str) -> None:
    found = understood(f"Burren, {text}, 400 EUR")
    assert found.value("date") is None
    assert found.value("pieces") in ("3", "4")


@pytest.mark.parametrize("words", ["posted", "seen on", "verkauft am", "Stand", "eingestellt", "sold", "Datum:"])
def test_a_day_that_is_said_to_be_one_is_no_row_of_drums(words: str) -> None:
    found = understood(f"Burren 4-piece, 400 EUR, {words} 20/12/25")
    assert (found.value("date"), found.value("pieces")) == ("2025-12-20", "4")


def test_a_row_that_may_be_a_day_is_neither_without_a_word_beside_it() -> None:
    reasons = {one.field: one.reason for one in understood("Burren, 20/12/14, 400 EUR").unknown}
    assert reasons["pieces"] == reasons["date"] == "20/12/14 can be a day or three drums"


@pytest.mark.parametrize(
    ("own", "words", "currency"),
    [
        ("USD", "$425", "USD"), ("USD", "425 dollars", "USD"), ("CAD", "425$ firm", "CAD"), ("GBP", "£425", "GBP"),
        ("SEK", "4250 kr", "SEK"), ("EUR", "$425", None), ("EUR", "£425", None), ("USD", "C$425", "CAD"),
        ("USD", "£425", None), ("AUD", "US$425", "USD"), ("EUR", "VB 425 DM", "DEM"),
    ],
)  # fmt: skip
def test_a_sign_is_the_shops_own_currency_where_it_can_be(own: str, words: str, currency: str | None) -> None:
    shop = SHOP.model_copy(update={"shop": ShopTable(name="Dock Road Drums", currency=own)})
    found = understood(f"Burren 22/16/13, asking {words}", shop)
    assert found.value("price") in ("425", "4250")
    assert found.value("currency") == currency
    if currency is None:
        assert any(one.field == "currency" and "can be" in one.reason for one in found.unknown)


@pytest.mark.parametrize(
    ("own", "text", "freight"),
    [
        ("USD", "$425, shipping $40", "40"), ("USD", "425 VB, shipping $40", "40"), ("USD", "$425, shipping £40", None),
        ("EUR", "$425, shipping $40", "40"), ("EUR", "VB 425, shipping $40", None), ("USD", "C$425, shipping $40",
        None),
        ("EUR", "425 EUR, shipping 40", "40"),
    ],
)  # fmt: skip
def test_freight_is_in_the_prices_currency_or_open(own: str, text: str, freight: str | None) -> None:
    shop = SHOP.model_copy(update={"shop": ShopTable(name="Dock Road Drums", currency=own)})
    assert understood(f"Burren 22/16/13, {text}", shop).value("freight") == freight


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
        "bass", "2 toms", "22 13 16", "20/12/14", "(", ")", "12/13", "2x12", "22er", "10/10", "snare", "kit", "on",
        "16 14",
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
    [
        "22x16 ",
        "16/16 ",
        '22" ',
        "50-",
        "1",
        "and 12 ",
        "12 + ",
        "a-",
        "Anzeige",
        "0171 ",
        "good ",
        "(",
        "1.",
        "\x00",
        "16 ",
        "12x8/",
        "2x12, ",
        "20/12/14 ",
        "Toms 12/13 ",
        "bass 22 ",
        "two toms ",
        "22er und ",
        "wants about ",
        ". looking for 350 ",
        "from 600 to 480 ",
        "600 -> ",
        "14 wood brass ",
        "no badge, ",
        "lug ",
        "12 lugs gone; ",
        '14, 13" ',
    ],
)
@pytest.mark.parametrize("length", [LONGEST // 5, pytest.param(LONGEST, marks=pytest.mark.thorough)])
def test_a_long_text_takes_no_long_time(text: str, length: int) -> None:
    """Repeated to the longest length that is read: no pattern may take more than straight through it."""
    assert answer((text * length)[:length])


def test_a_row_of_digits_takes_no_long_time() -> None:
    assert answer("Burren 480," + "1" * 60 + "6x16, 13x9, 1,x8 + Snare, 22/16/13 VB, 480," + "1" * 60)
