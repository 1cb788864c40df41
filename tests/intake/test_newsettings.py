"""shop.toml for a new spreadsheet: valid settings that say what the sheet says, and no more."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.arrival.country import country_of
from kitvalue.intake.arrival.guesses import (
    SeriesSeen,
    WordMeant,
    guessed_grade,
    guessed_truth,
    series_seen,
    words_meant,
)
from kitvalue.intake.arrival.settings import Said, new_settings
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.settings.pasting import UnknownWord
from kitvalue.intake.settings.words import grades_by, read_grade, scale_of
from kitvalue.intake.text.languages import word_file
from kitvalue.intake.text.vocabulary import CHANNELS, likely_word
from kitvalue.intake.text.words import Refusal
from tests.shops import book_shop, run

STARTER = (resources.files("kitvalue") / "starter" / "shop.toml").read_text(encoding="utf-8")


def sheet(columns: dict[str, str] | None = None, *conditions: str, day_first: bool | None = None) -> Incoming:
    scale = scale_of("", conditions)
    return Incoming(b"", ",", 0, columns or {}, (), (), (), day_first, {"condition": conditions}, scale=scale)


def test_series_are_counted_by_their_commonest_spelling() -> None:
    seen = series_seen(["Burren", "burren ", "Burren", "Slane", "Slane", "Total", "", "?", "unknown"])
    assert seen == (SeriesSeen("Burren", 3, {}, {}), SeriesSeen("Slane", 2, {}, {}))


def test_a_spelling_like_a_more_frequent_one_is_its_owners_to_judge() -> None:
    seen = series_seen(["Inishmore"] * 4 + ["Inishmor"] + ["Corrib Inishmore"] * 2 + ["Slane"] * 3)
    assert seen == (
        SeriesSeen("Inishmore", 4, {"Corrib Inishmore": 2, "Inishmor": 1}, {}),
        SeriesSeen("Slane", 3, {}, {}),
    )


def test_a_makers_name_before_each_series_makes_none_alike() -> None:
    cells = [f"Corrib {name}" for name in ("Inishmore", "Burren", "Slane") for _ in range(3)]
    assert [one.alike for one in series_seen(cells)] == [{}, {}, {}]


def test_a_column_of_descriptions_names_no_series() -> None:
    assert series_seen([f"Burren kit number {n} in red" for n in range(30)]) == ()


def test_what_the_sheet_says_stands_in_the_settings() -> None:
    words = (WordMeant("condition", "zzz", 2, ""), WordMeant("condition", "mint", 1, "wipe", guess=True))
    seen = (SeriesSeen("Burren", 5, {"Buren": 1}, {"Burrens": 2}), SeriesSeen('Slane "2"', 3, {}, {}))
    columns = {
        "series": "Model",
        "price": 'Price "£"',
        "pieces": "Pieces",
        "hardware": "hardware",
        "condition": "State",
    }
    text = new_settings(STARTER, sheet(columns), Said(seen, words, country_of("GBP", "en"), ","))
    values = tomllib.loads(text)
    assert values["shop"]["currency"] == "GBP"
    assert values["files"] == {"decimal": ","}
    assert values["prices"]["columns"] == {  # the others have our names
        "series": "Model", "price": 'Price "£"', "condition": "State",
    }  # fmt: skip
    assert values["prices"]["words"]["condition"] == {"zzz": "", "mint": "wipe"}
    assert values["series"] == {"Burren": {"also": ["Burrens"]}, 'Slane "2"': {}}
    assert '"zzz" = ""  # 2 rows\n"mint" = "wipe"  # 1 row; a guess: is it so?\n' in text
    assert '# If these are the same series, too ("Buren": 1 row), write them between the brackets' in text
    assert {name: values[name] for name in ("work", "selling")} == {
        name: tomllib.loads(STARTER)[name] for name in ("work", "selling")
    }


def meant(kind: str, *words: tuple[str, str]) -> dict[str, tuple[str, bool]]:
    unknown = {kind: [UnknownWord(word, 3, likely) for word, likely in words]}
    found = words_meant(unknown, {"hardware": "yes-no"}, None, (), {(kind, "zzz"): "said"})
    return {one.word: (one.means, one.guess) for one in found}


def test_what_is_beyond_doubt_is_no_guess_and_an_answer_goes_before_one() -> None:
    words = meant("condition", ("good", ""), ("Très bon", ""), ("odd", ""), ("parts", "harvest"), ("zzz", ""))
    assert words == {
        "good": ("freshen", True), "Très bon": ("wipe", True), "odd": ("", False), "parts": ("harvest", False),
        "zzz": ("said", False),
    }  # fmt: skip
    assert meant("hardware", ("good", ""), ("x", ""), ("–", "")) == {
        "good": ("", False), "x": ("yes", True), "–": ("no", True),
    }  # fmt: skip
    assert meant("channel", ("club", ""), ("shop", "dealer")) == {"club": ("private", True), "shop": ("dealer", False)}


def test_a_cross_beside_ticks_is_a_no() -> None:
    assert guessed_truth("x", ["x", "-"]) == "yes"
    assert guessed_truth("x", ["x", "✓"]) == "no"
    assert guessed_truth("maybe", ["x"]) is None


@pytest.mark.parametrize(
    ("spelling", "same"),
    [
        ("Inish-more", True), ("inish more", True), ("Inishmores", True), ("Inishmore (60s)", True),
        ("Inishmor", False), ("Corrib Inishmore", False), ("Inishmore 2", False),
    ],
)  # fmt: skip
def test_spellings_of_one_series(spelling: str, same: bool) -> None:
    """Common practice, no source: hyphens, endings and remarks in brackets make no other series."""
    seen = series_seen([*["Inishmore"] * 6, *["Slane"] * 6, spelling])
    assert ("Inishmore" in [one.name for one in seen if spelling in one.same]) is same


def test_remarks_in_brackets_without_a_bare_name_stay_apart() -> None:
    seen = series_seen([*["Slane (small)"] * 6, *["Slane (big)"] * 5])
    assert [one.same for one in seen] == [{}] * len(seen)


def test_examples_go_where_the_sheet_has_words_of_its_own() -> None:
    words = (WordMeant("condition", "tatty", 2, ""),)
    text = new_settings(STARTER, sheet({"series": "Model"}), Said(words=words))
    assert '# "very good" = "wipe"' in STARTER
    for gone in ('# "very good"', '# "used"', '# pieces = "No. of drums"'):
        assert gone in STARTER
        assert gone not in text
    assert "by what the bench must do" in text
    for stays in ('# "wanted" = "asked"', '# "shop" = "dealer"'):  # nothing of the sheet's stands there
        assert stays in text
    assert '# "1" = "wipe"' in new_settings(STARTER, sheet(None, "1", "2"), Said())


def test_a_feature_without_a_column_is_a_remark() -> None:
    values = tomllib.loads(new_settings(STARTER, sheet({"series": "Model"}), Said()))
    assert values["prices"]["features"] == {}
    assert "hardware" not in values["prices"]["words"]
    assert values["jot"]["words"] == {}
    text = new_settings(STARTER, sheet({"hardware": "Stands?"}), Said())
    assert tomllib.loads(text)["prices"]["features"] == {"hardware": "yes-no"}
    assert tomllib.loads(text)["jot"] == tomllib.loads(STARTER)["jot"]
    assert "hardware" in tomllib.loads(text)["prices"]["words"]


@pytest.mark.parametrize(
    ("currency", "rate"),
    [("GBP", "20"), ("CHF", "8.1"), ("SEK", "25"), ("NOK", "25"), ("DKK", "25"), ("PLN", "23"), ("CZK", "21"),
     ("HUF", "27")],
)  # fmt: skip
def test_the_usual_vat_of_a_currency_from_memory(currency: str, rate: str) -> None:
    home = country_of(currency, "en")
    assert home is not None
    text = new_settings(STARTER, sheet(), Said(home=home))
    assert tomllib.loads(text, parse_float=Decimal)["tax"]["rate"] == Decimal(rate)
    assert f"The usual rate in {home.code}; check it." in text


def test_no_vat_is_guessed_where_nothing_tells_the_country() -> None:
    text = new_settings(STARTER, sheet(), Said())
    assert tomllib.loads(text)["tax"] == tomllib.loads(STARTER)["tax"]
    assert "usual rate" not in text


@pytest.mark.parametrize("home", word_file("countries.toml"))
def test_a_shop_is_laid_out_for_its_country(home: str) -> None:
    said = word_file("countries.toml")[home]
    country = country_of(said["currency"], said.get("words", "en"))
    assert country is not None
    assert country.code == home
    values = tomllib.loads(new_settings(STARTER, sheet(), Said(home=country)))
    assert values["shop"]["currency"] == said["currency"]
    assert values["tax"]["kind"] == ("vat" if "vat" in said else "sales")
    assert values["tax"]["union"] is said.get("union", False)
    places = values["tax"]["destinations"]
    assert home not in places
    assert ("union" in [place["kind"] for place in places.values()]) is said.get("union", False)


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
    text = new_settings(STARTER, sheet(None, "1", "2", "fair"), Said())
    assert tomllib.loads(text)["prices"]["words"]["condition"] == {}
    turned = text.replace('# "1" =', '"1" =').replace('# "5" =', '"5" =')
    assert tomllib.loads(turned)["prices"]["words"]["condition"] == {"1": "wipe", "5": "harvest"}
    assert "If 1 is your best" not in new_settings(STARTER, sheet(), Said())


def conditions(header: str, *cells: str) -> dict[str, str]:
    """The words of conditions of a sheet, as a new shop.toml has them."""
    words = words_meant({}, {}, scale_of(header, cells), cells, {})
    return {one.word: one.means for one in words}


def test_a_scale_to_ten_is_halved() -> None:
    words = conditions("", "10", "9", "8,5", "7", "5", "1", "0", "fair", "7")
    assert words == {
        "10": "5", "9": "4.5", "8,5": "4.5", "7": "3.5", "5": "2.5", "1": "1", "0": "1",
    }  # fmt: skip
    assert read_grade("7", grades_by(words)) == Decimal("3.5")
    assert isinstance(read_grade("6", grades_by(words)), Refusal)
    assert isinstance(read_grade("4", grades_by(words)), Refusal), "ours, or one of ten?"


@pytest.mark.parametrize("header", ["Cond (out of 10)", "Zustand 1-10", "état sur dix", "Look /10"])
def test_a_header_that_says_ten_is_enough(header: str) -> None:
    assert conditions(header, "5", "4") == {"5": "2.5", "4": "2"}


@pytest.mark.parametrize(("header", "mark"), [("Schulnote", "2"), ("Zustand (1 = top)", "2"), ("State", "2-")])
def test_school_marks_are_turned(header: str, mark: str) -> None:
    """Common practice: 1 is the best, what is below 5 is worth its parts."""
    words = conditions(header, "1", mark, "1,5", "3+", "6")
    assert words == {"1": "wipe", "1,5": "4.5", mark: "freshen", "3+": "mend", "6": "harvest"}


@pytest.mark.parametrize(
    ("cell", "grade"),
    [("7/10", "3.5"), ("9 out of 10", "4.5"), ("8 von 10", "4"), ("7,5 / 10", "4"), ("10/10", "5"), ("1/10", "1")],
)
def test_a_mark_that_says_ten_itself_is_halved_by_every_reader(cell: str, grade: str) -> None:
    assert read_grade(cell, grades_by({})) == Decimal(grade)


@pytest.mark.parametrize(("order", "written"), [(True, {"day_first": True}), (False, {"day_first": False}), (None, {})])
def test_the_order_of_days_that_the_rows_show(order: bool | None, written: dict[str, bool]) -> None:
    assert tomllib.loads(new_settings(STARTER, sheet(day_first=order), Said()))["files"] == written


@pytest.mark.parametrize("series", [(), (SeriesSeen("Burren", 1, {}, {}),)])
def test_the_invented_series_are_gone(series: tuple[SeriesSeen, ...]) -> None:
    text = new_settings(STARTER, sheet(), Said(series))
    assert set(tomllib.loads(text).get("series", {})) == {one.name for one in series}
    assert tomllib.loads(text)["shop"]["currency"] == "EUR"


@given(
    st.lists(st.text(min_size=1, max_size=20).filter(str.strip), unique_by=str.casefold, max_size=5),
    st.text(min_size=1, max_size=20),
)
def test_any_name_and_header_gives_settings_that_can_be_read(names: list[str], header: str) -> None:
    seen = tuple(SeriesSeen(name.strip(), 2, {name + "x": 1}, {name + "y": 1}) for name in names)
    values = tomllib.loads(new_settings(STARTER, sheet({"series": header}), Said(seen)))
    assert list(values.get("series", {})) == list(dict.fromkeys(name.strip() for name in names))
    named = {"series": header} if header.strip().casefold() != "series" else {}
    assert {name: said for name, said in values["prices"]["columns"].items() if said} == named


@pytest.mark.parametrize(
    ("cell", "word"),
    [("Music shop", "dealer"), ("Shop trade-in", None), ("Inzahlungnahme Laden", None), ("online auction", "auction")],
)
def test_what_a_shop_took_in_is_no_dealers_price(cell: str, word: str | None) -> None:
    assert likely_word("channel", cell, {one: one for one in CHANNELS}) == word


def test_a_header_that_says_ten_is_asked_about_where_nothing_is_mapped(tmp_path: Path) -> None:
    rows = [{"series": "Burren", "pieces": 4, "Look (of 10)": 3 + n % 3, "price": 400 + n} for n in range(14)]
    settings = '[prices.columns]\ncondition = "Look (of 10)"\n'
    ran = run(book_shop(tmp_path / "shop", settings, rows[0], rows), "check")
    assert '"10" = "5", "9" = "4.5"' in ran.err
    assert "are right are enough" not in ran.out
