"""What a new offer is called."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.adverts.jot import next_name
from kitvalue.intake.text.words import fold

OTHERS = ("Corrib Inishmore", "Corrib Burren", "Lisdoon")


@pytest.mark.parametrize(
    ("names", "series", "name"),
    [
        (["D1", "D12"], "Corrib Slane", "D13"), (["D09", "D12", "D13"], None, "D14"), (["D09"], "Slane", "D10"),
        (["1", "2"], "Corrib Slane", "3"), (["kit 7"], None, "kit 8"), (["A1", "B4", "A2", "A3"], None, "A4"),
        ([], "Corrib Slane", "slane"), (["slane"], "Corrib Slane", "slane2"), (["Slane1"], "Corrib Slane", "slane2"),
        (["slane1", "slane7", "burren3"], "Corrib Slane", "slane8"), (["burren2"], "Corrib Slane", "slane"),
        (["burren1", "lisdoon2"], "Corrib Slane", "slane"), (["lis1"], "Corrib Slane", "slane"),
        (["the red one"], "The Slane", "slane"), ([], "22", "k1"),
        (["harbour2"], "Corrib Slane", "slane"), (["harbour1", "harbour2"], None, "k1"),
        (["D3", "harbour7"], None, "D4"),
        (["ebay 304455667"], "Corrib Slane", "slane"), (["1968"], None, "k1"), (["Anna 4", "lot 12"], None, "k1"),
        ([], None, "k1"), (["k1", "burren2"], None, "k2"), (["burren2"], None, "k1"),
    ],
)  # fmt: skip
def test_a_count_goes_on_and_a_series_names_its_own_offers(names: list[str], series: str | None, name: str) -> None:
    assert next_name(names, series, OTHERS) == name


def test_a_word_that_all_series_share_still_names_a_kit() -> None:
    assert next_name([], "Corrib", ["Corrib Burren"]) == "corrib"


@given(st.lists(st.sampled_from(["D1", "D2", "slane", "slane2", "Slane3", "burren1", "k1", "x", "", "9", "007"])))
def test_a_name_is_free(names: list[str]) -> None:
    for series in ("Corrib Slane", None):
        assert fold(next_name(names, series, OTHERS)) not in {fold(name) for name in names}
