"""The number of drums."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.pieces import read_pieces
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


@given(st.integers(1, 10**6), st.sampled_from(["", "tlg.", " pcs", "-piece", " Stk.", "-teilig"]))
def test_every_number_comes_back(number: int, unit: str) -> None:
    assert read_pieces(f"{number}{unit}") == number


@given(st.text(max_size=60))
def test_any_text_is_a_number_of_drums_or_refused(text: str) -> None:
    read = read_pieces(text)
    assert isinstance(read, Refusal) or read >= 1
