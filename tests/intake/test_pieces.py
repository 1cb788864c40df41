"""The number of drums."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.pieces import drums_listed, read_pieces
from kitvalue.intake.words import Refusal


@pytest.mark.parametrize(
    "text",
    ["5", " 5 ", "05", "5,0", "5tlg.", "5-tlg", "5 tlg.", "5-teilig", "5TEILIG", "5pc", "5 pcs", "5-piece", "5 Stück",
     "5 drums", "5\u2011teilig", "\uff15 pcs", "'5"],
)  # fmt: skip
def test_one_number_with_a_unit_or_without(text: str) -> None:
    assert read_pieces(text) == 5


@pytest.mark.parametrize(
    ("text", "digits"), [("five", 5), ("Vier", 4), ("five-piece", 5), ("vierteilig", 4), ("zwölf", 12), ("one", 1)]
)
def test_a_number_in_words_is_refused_with_its_digits(text: str, digits: int) -> None:
    assert read_pieces(text) == Refusal("word", "is a word", f"write the digits: {digits}")


@pytest.mark.parametrize(
    "text",
    ["5-6 tlg", "4+1 pcs", "1.5 pcs", "5 5 pcs", "tlg", "0 pcs", "-5 pcs", "5 pcs + snare", "1/2", "twenty", "5x",
     "4 or 5 drums", "5 pieces of wood", ""],
)  # fmt: skip
def test_what_is_no_single_number_is_refused(text: str) -> None:
    assert isinstance(read_pieces(text), Refusal)


@pytest.mark.parametrize(
    ("text", "drums"),
    [("22/12/16", 3), ("22,12,13,16", 4), ('20" 12" 14"', 3), ("20 12 14", 3), ("22x16 16x16 13x11 12x10", 4),
     ("22 x 16, 16 x 16", 2), ("16x22 + 16x16", 2), ('22"x16", 14"x6.5"', 2), ("10/12/14/16/20/22", 6),
     ("22 + 16 + 12", 3), ("22-10-12-16", 4), ("22 – 12 – 16", 3), ("13x7 1/4, 22 x 16", 2), ('13/7.25 22/16', 2)],
)  # fmt: skip
def test_a_list_of_sizes_gives_as_many_drums(text: str, drums: int) -> None:
    assert read_pieces(text) == drums
    assert drums_listed(text) == drums


@pytest.mark.parametrize(
    "text",
    ["22/16", "12/13", "22x16", "22.12.16", "1/2", "4+1", "4/5/6", "22/12/16/34", "22/12/16 snare", "2x22 16",
     "8/10/12", "22/16 16/16 13/11", "22/16, 16/16", "5/4 3/2", "22,124,000", "22//16", "", "5"],
)  # fmt: skip
def test_what_may_be_no_list_of_sizes_is_none(text: str) -> None:
    assert drums_listed(text) is None


@given(st.lists(st.integers(6, 28), min_size=3, max_size=9), st.sampled_from(["/", ",", " ", " + ", ", ", ";"]))
def test_every_list_of_diameters_with_a_large_drum_is_counted(diameters: list[int], sign: str) -> None:
    listed = sign.join(map(str, diameters))
    assert drums_listed(listed) == (len(diameters) if max(diameters) >= 14 else None)


@given(st.integers(1, 10**6), st.sampled_from(["", "tlg.", " pcs", "-piece", " Stk.", "-teilig"]))
def test_every_number_comes_back(number: int, unit: str) -> None:
    assert read_pieces(f"{number}{unit}") == number


@given(st.text(max_size=60))
def test_any_text_is_a_number_of_drums_or_refused(text: str) -> None:
    read = read_pieces(text)
    assert isinstance(read, Refusal) or read >= 1
