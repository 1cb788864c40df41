"""shop.toml for a new spreadsheet: valid settings that say what the sheet says, and no more."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.arrival.settings import (
    FirstLook,
    Guess,
    SeriesSeen,
    guess_for,
    guessed_grade,
    new_settings,
    series_seen,
)
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.settings.pasting import PasteBlock
from kitvalue.intake.settings.words import grades_by, read_grade
from kitvalue.intake.text.vocabulary import CHANNELS, likely_word
from kitvalue.intake.text.words import Refusal

STARTER = (resources.files("kitvalue") / "starter" / "shop.toml").read_text(encoding="utf-8")


def sheet(columns: dict[str, str] | None = None, *conditions: str, day_first: bool | None = None) -> Incoming:
    return Incoming(b"", ",", 0, columns or {}, (), (), (), day_first, {"condition": conditions})


def test_series_are_counted_by_their_commonest_spelling() -> None:
    seen = series_seen(["Burren", "burren ", "Burren", "Slane", "Slane", "Total", "", "?", "unknown"])
    assert seen == (SeriesSeen("Burren", 3, {}), SeriesSeen("Slane", 2, {}))


def test_a_spelling_like_a_more_frequent_one_is_its_owners_to_judge() -> None:
    seen = series_seen(["Inishmore"] * 4 + ["Inishmor"] + ["Corrib Inishmore"] * 2 + ["Slane"] * 3)
    assert seen == (SeriesSeen("Inishmore", 4, {"Corrib Inishmore": 2, "Inishmor": 1}), SeriesSeen("Slane", 3, {}))


def test_a_makers_name_before_each_series_makes_none_alike() -> None:
    cells = [f"Corrib {name}" for name in ("Inishmore", "Burren", "Slane") for _ in range(3)]
    assert [one.alike for one in series_seen(cells)] == [{}, {}, {}]


def test_a_column_of_descriptions_names_no_series() -> None:
    assert series_seen([f"Burren kit number {n} in red" for n in range(30)]) == ()


def test_what_the_sheet_says_stands_in_the_settings() -> None:
    block = PasteBlock(("prices", "words", "condition"), ('"zzz" = ""  # 2 rows', '"mint" = "wipe"  # 1 row'))
    seen = (SeriesSeen("Burren", 5, {"Buren": 1}), SeriesSeen('Slane "2"', 3, {}))
    columns = {"series": "Model", "price": 'Price "£"', "pieces": "Pieces", "hardware": "hardware"}
    text = new_settings(STARTER, sheet(columns), seen, FirstLook((block,), ","), "GBP")
    values = tomllib.loads(text)
    assert values["shop"]["currency"] == "GBP"
    assert values["files"] == {"decimal": ","}
    assert values["prices"]["columns"] == {"series": "Model", "price": 'Price "£"'}  # the others have our names
    assert values["prices"]["words"]["condition"] == {"zzz": "", "mint": "wipe"}
    assert values["series"] == {"Burren": {}, 'Slane "2"': {}}
    assert '# also = ["Buren"]' in text
    assert {name: values[name] for name in ("work", "selling")} == {
        name: tomllib.loads(STARTER)[name] for name in ("work", "selling")
    }


def test_a_common_word_has_its_likely_grade_written_in_as_a_guess() -> None:
    lines = (
        '"good" = ""  # 12 rows',
        '"Très bon" = ""  # 1 row',
        '"zzz" = ""  # 2 rows',
        '"parts" = "harvest"  # 1 row',
    )
    block = PasteBlock(("prices", "words", "condition"), lines, words=("zzz", "parts", "good", "très bon"))
    seen = FirstLook((block,))
    text = new_settings(STARTER, sheet(), (), seen, None)
    assert '"good" = "freshen"  # 12 rows; a guess: is it so?\n' in text
    assert '"Très bon" = "wipe"  # 1 row; a guess: is it so?\n"zzz" = ""  # 2 rows\n' in text
    assert '"parts" = "harvest"  # 1 row\n' in text
    words = tomllib.loads(text)["prices"]["words"]["condition"]
    assert words == {"good": "freshen", "Très bon": "wipe", "zzz": "", "parts": "harvest"}
    assert seen.guesses == (Guess("good", "freshen", 12), Guess("Très bon", "wipe", 1))


def test_only_words_of_conditions_are_guessed() -> None:
    block = PasteBlock(("prices", "words", "hardware"), ('"good" = ""  # 12 rows',))
    assert FirstLook((block,)).guesses == ()
    text = new_settings(STARTER, sheet({"hardware": "Stands?"}), (), FirstLook((block,)), None)
    assert '"good" = ""  # 12 rows\n' in text


def test_a_guess_keeps_the_signs_of_its_word() -> None:
    line = '"good = \\"\\"  # 3 rows" = ""  # 4 rows'
    assert guess_for(line) is None
    assert guess_for('"\\"good\\"" = ""  # 4 rows') == Guess('"good"', "freshen", 4)


def test_examples_go_where_the_sheet_has_words_of_its_own() -> None:
    block = PasteBlock(("prices", "words", "condition"), ('"tatty" = ""  # 2 rows',))
    text = new_settings(STARTER, sheet({"series": "Model"}), (), FirstLook((block,)), None)
    assert '# "very good" = "wipe"' in STARTER
    for gone in ('# "very good"', '# "used"', '# pieces = "No. of drums"'):
        assert gone in STARTER
        assert gone not in text
    assert "by what the bench must do" in text
    for stays in ('# "wanted" = "asked"', '# "shop" = "dealer"'):  # nothing of the sheet's stands there
        assert stays in text
    assert '# "1" = "wipe"' in new_settings(STARTER, sheet(None, "1", "2"), (), FirstLook(), None)


def test_a_feature_without_a_column_is_a_remark() -> None:
    values = tomllib.loads(new_settings(STARTER, sheet({"series": "Model"}), (), FirstLook(), None))
    assert values["prices"]["features"] == {}
    assert "hardware" not in values["prices"]["words"]
    assert values["jot"]["words"] == {}
    text = new_settings(STARTER, sheet({"hardware": "Stands?"}), (), FirstLook(), None)
    assert tomllib.loads(text)["prices"]["features"] == {"hardware": "yes-no"}
    assert tomllib.loads(text)["jot"] == tomllib.loads(STARTER)["jot"]
    assert "hardware" in tomllib.loads(text)["prices"]["words"]


@pytest.mark.parametrize(
    ("currency", "rate"),
    [("GBP", "20"), ("CHF", "8.1"), ("SEK", "25"), ("NOK", "25"), ("DKK", "25"), ("PLN", "23"), ("CZK", "21"),
     ("HUF", "27")],
)  # fmt: skip
def test_the_usual_vat_of_a_currency_from_memory(currency: str, rate: str) -> None:
    text = new_settings(STARTER, sheet(), (), FirstLook(), currency)
    assert tomllib.loads(text, parse_float=Decimal)["tax"]["rate"] == Decimal(rate)
    assert f"The usual rate with {currency}; check it." in text


@pytest.mark.parametrize("currency", ["EUR", "USD", None])
def test_no_vat_is_guessed_where_a_currency_does_not_tell_it(currency: str | None) -> None:
    text = new_settings(STARTER, sheet(), (), FirstLook(), currency)
    assert tomllib.loads(text)["tax"] == tomllib.loads(STARTER)["tax"]
    assert "usual rate" not in text


@pytest.mark.parametrize(
    ("word", "grade"),
    [
        ("as new", "wipe"), ("V. good", "wipe"), ("Sehr gut", "wipe"), ("comme neuf", "wipe"), ("ottimo", "wipe"),
        ("Gut", "freshen"), ("goed", "freshen"), ("buen estado", "freshen"), ("fair", "mend"), ("moyen", "mend"),
        ("rough", "remake"), ("needs work", "remake"), ("à refaire", "remake"), ("épave", "harvest"),
        ("bit rough", "remake"), ("a bit rough", "remake"), ("very rough", "remake"), ("quite good", "freshen"),
        ("Really good", "freshen"), ("very good", "wipe"), ("etwas ranzig", "remake"), ("ziemlich gut", "freshen"),
        ("assez bon", "mend"), ("un peu moyen", "mend"), ("assez mauvais", "remake"), ("vrij goed", "freshen"),
        ("een beetje slecht", "remake"), ("really very good", "wipe"), ("quite", None), ("a bit", None),
        ("quite a find", None), ("bit", None),
        ("shells ok", None), ("not good", None), ("good/fair", None), ("3", None), ("", None),
    ],
)  # fmt: skip
def test_grades_of_common_words(word: str, grade: str | None) -> None:
    assert guessed_grade(word) == grade


def test_numbers_the_other_way_round_stand_ready_as_remarks() -> None:
    text = new_settings(STARTER, sheet(None, "1", "2-", "fair"), (), FirstLook(), None)
    assert tomllib.loads(text)["prices"]["words"]["condition"] == {}
    turned = text.replace('# "1" =', '"1" =').replace('# "5" =', '"5" =')
    assert tomllib.loads(turned)["prices"]["words"]["condition"] == {"1": "wipe", "5": "harvest"}
    assert "If 1 is your best" not in new_settings(STARTER, sheet(), (), FirstLook(), None)


def test_a_scale_to_ten_is_halved() -> None:
    marks = ("10", "9", "8,5", "7", "5", "1", "0", "fair", "7")
    words = tomllib.loads(new_settings(STARTER, sheet(None, *marks), (), FirstLook(), None))["prices"]["words"]
    assert words["condition"] == {
        "10": "5", "9": "4.5", "8,5": "4.5", "7": "3.5", "5": "2.5", "1": "1", "0": "1",
    }  # fmt: skip
    assert read_grade("7", grades_by(words["condition"])) == Decimal("3.5")
    assert isinstance(read_grade("6", grades_by(words["condition"])), Refusal)
    assert isinstance(read_grade("4", grades_by(words["condition"])), Refusal), "ours, or one of ten?"


@pytest.mark.parametrize(("order", "written"), [(True, {"day_first": True}), (False, {"day_first": False}), (None, {})])
def test_the_order_of_days_that_the_rows_show(order: bool | None, written: dict[str, bool]) -> None:
    assert tomllib.loads(new_settings(STARTER, sheet(day_first=order), (), FirstLook(), None))["files"] == written


def test_names_of_places_count_as_private_until_their_owner_says_else() -> None:
    block = PasteBlock(("prices", "words", "channel"), ('"club" = ""  # 2 rows', '"shop" = "dealer"  # 1 row'))
    words = tomllib.loads(new_settings(STARTER, sheet(), (), FirstLook((block,)), None))["prices"]["words"]
    assert words["channel"] == {"club": "private", "shop": "dealer"}


@pytest.mark.parametrize("series", [(), (SeriesSeen("Burren", 1, {}),)])
def test_the_invented_series_are_gone(series: tuple[SeriesSeen, ...]) -> None:
    text = new_settings(STARTER, sheet(), series, FirstLook(), None)
    assert set(tomllib.loads(text).get("series", {})) == {one.name for one in series}
    assert tomllib.loads(text)["shop"]["currency"] == "EUR"


@given(
    st.lists(st.text(min_size=1, max_size=20).filter(str.strip), unique_by=str.casefold, max_size=5),
    st.text(min_size=1, max_size=20),
)
def test_any_name_and_header_gives_settings_that_can_be_read(names: list[str], header: str) -> None:
    seen = tuple(SeriesSeen(name.strip(), 2, {name + "x": 1}) for name in names)
    values = tomllib.loads(new_settings(STARTER, sheet({"series": header}), seen, FirstLook(), None))
    assert list(values.get("series", {})) == list(dict.fromkeys(name.strip() for name in names))
    assert values["prices"]["columns"] == ({"series": header} if header.strip().casefold() != "series" else {})


@pytest.mark.parametrize(
    ("cell", "word"),
    [("Music shop", "dealer"), ("Shop trade-in", None), ("Inzahlungnahme Laden", None), ("online auction", "auction")],
)
def test_what_a_shop_took_in_is_no_dealers_price(cell: str, word: str | None) -> None:
    assert likely_word("channel", cell, {one: one for one in CHANNELS}) == word
