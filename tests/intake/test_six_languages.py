"""Days and counts in English, German, French, Dutch, Italian and Spanish. Names of months and weekdays: Unicode CLDR,
as Babel has them; numbers of drums: common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import unicodedata

import pytest
from babel import Locale
from babel.dates import format_date
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.dates import Day, read_date
from kitvalue.intake.text.languages import spellings
from tests.intake.adverts.test_adverts import understood

LANGUAGES = ("en", "de", "fr", "nl", "it", "es")
DAYS = st.dates(dt.date(1970, 1, 1), dt.date(2026, 11, 25))
UMLAUTS = {"ä": "ae", "ö": "oe", "ü": "ue"}


def without_accents(text: str) -> str:
    """As people write who have no accents on their keyboard; German umlauts are written out."""
    for umlaut, pair in UMLAUTS.items():
        text = text.replace(umlaut, pair)
    return "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("width", ["wide", "abbreviated"])
@pytest.mark.parametrize("month", range(1, 13))
def test_every_month_is_read(language: str, width: str, month: int) -> None:
    name = Locale(language).months["format"][width][month]
    day = Day(dt.date(2023, month, 3))
    for spelt in {name, name.upper(), without_accents(name), name.rstrip(".")}:
        assert read_date(f"3 {spelt} 2023") == day
        assert read_date(f"3. {spelt} 23") == day


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("weekday", range(7))
def test_every_weekday_is_read(language: str, weekday: int) -> None:
    day = dt.date(2023, 4, 3) + dt.timedelta(weekday)  # a Monday and the days after it
    for width in ("wide", "abbreviated"):
        name = Locale(language).days["format"][width][weekday]
        for spelt in {name, without_accents(name)}:
            assert read_date(f"{spelt} {day:%d.%m.%Y}") == Day(day)


@given(DAYS, st.sampled_from(LANGUAGES), st.sampled_from(["medium", "long", "full"]))
def test_days_as_each_language_writes_them_come_back(day: dt.date, language: str, style: str) -> None:
    text = format_date(day, style, locale=language)
    assert read_date(text) == Day(day)
    assert read_date(without_accents(text)) == Day(day)


@pytest.mark.parametrize(
    "text", ["1er août 2024", "1 de agosto de 2024", "1º de agosto del 2024", "1° agosto 2024", "1 augustus 2024"]
)
def test_ordinals_and_little_words_around_a_month(text: str) -> None:
    assert read_date(text) == Day(dt.date(2024, 8, 1))


def test_a_month_that_is_also_a_weekday_of_another_language() -> None:
    assert read_date("Mar 3, 2026") == Day(dt.date(2026, 3, 3))
    assert read_date("mar. 3 nov. 2026") == Day(dt.date(2026, 11, 3))


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("five piece", "5"), ("fünfteilig", "5"), ("cinq fûts", "5"), ("5 futs", "5"), ("vijfdelig", "5"),
        ("5-delig", "5"), ("cinque pezzi", "5"), ("5 pezzi", "5"), ("cinco piezas", "5"), ("5 cuerpos", "5"),
        ("drie trommels", "3"), ("tre pezzi", "3"), ("tres piezas", "3"), ("trois fûts", "3"), ("four drums", "4"),
        ("viertlg", "4"),
        ("grosse caisse 22, deux toms 12 et 13, tom basse 16, caisse claire 14", "5"),
        ("bassdrum 22, twee hangtoms 12 en 13, floortom 16, snare 14", "5"),
        ("cassa 22, due tom 12 e 13, timpano 16, rullante 14", "5"),
        ("bombo 22, dos toms 12 y 13, goliat 16, caja 14", "5"), ("cassa 22, 2 tom da 13, timpano 16", "4"),
        ("grosse caisse 22 pouces, tom 12 pouces, tom basse 16 pouces", "3"),
        ("bombo de 22, tom de 12, tom base de 16", "3"),
    ],
)  # fmt: skip
def test_counts_of_drums(text: str, pieces: str) -> None:
    assert understood(f"Burren, {text}. 400 EUR").value("pieces") == pieces


@pytest.mark.parametrize(
    ("text", "found"),
    [("à débattre", 4), ("état", 2), ("à", 1), ("plain", 1), ("señal", 2), ("très abîmé", 8)],
)
def test_words_are_known_without_some_or_all_of_their_accents(text: str, found: int) -> None:
    assert len(spellings(text)) == found
    assert len(text) < 3 or spellings(text)[-1].isascii()  # the last is the plainest
