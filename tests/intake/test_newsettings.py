"""shop.toml for a new spreadsheet: valid settings that say what the sheet says, and no more."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.marks import grades_by, read_grade
from kitvalue.intake.newsettings import FirstLook, SeriesSeen, new_settings, series_seen
from kitvalue.intake.pasting import PasteBlock
from kitvalue.intake.takeover import Incoming
from kitvalue.intake.tradewords import likely_word
from kitvalue.intake.vocabulary import CHANNELS
from kitvalue.intake.words import Refusal

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
    block = PasteBlock(("prices", "words", "condition"), ('"tatty" = ""  # 2 rows', '"mint" = "wipe"  # 1 row'))
    seen = (SeriesSeen("Burren", 5, {"Buren": 1}), SeriesSeen('Slane "2"', 3, {}))
    columns = {"series": "Model", "price": 'Price "£"', "pieces": "Pieces", "hardware": "hardware"}
    text = new_settings(STARTER, sheet(columns), seen, FirstLook((block,), ","), "GBP")
    values = tomllib.loads(text)
    assert values["shop"]["currency"] == "GBP"
    assert values["files"] == {"decimal": ","}
    assert values["prices"]["columns"] == {"series": "Model", "price": 'Price "£"'}  # the others have our names
    assert values["prices"]["words"]["condition"] == {"tatty": "", "mint": "wipe"}
    assert values["series"] == {"Burren": {}, 'Slane "2"': {}}
    assert '# also = ["Buren"]' in text
    assert {name: values[name] for name in ("tax", "work", "selling")} == {
        name: tomllib.loads(STARTER)[name] for name in ("tax", "work", "selling")
    }


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
