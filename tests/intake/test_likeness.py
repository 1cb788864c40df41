"""Which series an unknown name may stand for."""

from __future__ import annotations

import pytest

from kitvalue.intake.settings.words import SeriesNames
from kitvalue.intake.text.words import fold, likeness


def names(**also: tuple[str, ...]) -> SeriesNames:
    return SeriesNames({fold(one): name for name, more in also.items() for one in (name, *more)})


SHOP = names(Inishmore=("Corrib Inishmore", "inish more"), Burren=(), Slane=())


@pytest.mark.parametrize(
    ("text", "series"),
    [("Buren", "Burren"), ("Corrib Burren", "Burren"), ("Corrib Buren", "Burren"), ("Inishmore 84", "Inishmore"),
     ("Inishmore Corrib", "Inishmore"), ("Corrib Inishmor", "Inishmore"), ("slane?", "Slane")],
)  # fmt: skip
def test_a_telling_name_is_suggested(text: str, series: str) -> None:
    assert likeness(text, SHOP.spellings).names == (series,)
    assert SHOP.advice(text).startswith(f"did you mean {series}? Write it so, or add this spelling to also")


@pytest.mark.parametrize("text", ["Corrib", "corrib?", "Inish", "more"])
def test_a_part_of_a_further_spelling_tells_nothing(text: str) -> None:
    advice = SHOP.advice(text)
    assert advice.startswith("it is only a part of a spelling of Inishmore: write which series it is")
    for cure in ("[series.NAME]", "leave the kit out"):
        assert cure in advice
    assert "did you mean" not in advice
    assert "also under" not in advice


@pytest.mark.parametrize("text", ["Corrib Inver", "Corrib Kilbeg", "Corrib Rossbeg", "Qqq"])
def test_a_shared_maker_makes_no_two_series_alike(text: str) -> None:
    assert likeness(text, SHOP.spellings).names == ()
    assert SHOP.advice(text) == "write one of Inishmore, Burren and Slane, or add the line [series.NAME] to shop.toml"


def test_of_several_that_fit_alike_none_is_suggested() -> None:
    makers = SeriesNames({"corrib inishmore": "Corrib Inishmore", "corrib slane": "Corrib Slane", "slane 2": "Slane 2"})
    assert makers.advice("Corrib").startswith("it can be Corrib Inishmore or Corrib Slane: write which series it is")
    assert makers.advice("Slane").startswith("it can be Corrib Slane or Slane 2: ")
    assert SHOP.advice("Burren or Slane").startswith("it can be Burren or Slane: ")
    assert likeness("Bann", {"Banna": "Banna", "Banno": "Banno"}).names == ("Banna", "Banno")
    assert makers.advice("Inishmore").endswith('under [series."Corrib Inishmore"]')


@pytest.mark.parametrize("text", ["", "?", " - "])
def test_without_a_letter_nothing_is_like_it(text: str) -> None:
    assert likeness(text, SHOP.spellings).names == ()
