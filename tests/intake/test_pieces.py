"""The number of drums."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.sizes import drums_listed, read_pieces, says_pieces
from kitvalue.intake.text.words import Refusal


@pytest.mark.parametrize(
    "text",
    ["5", " 5 ", "05", "5,0", "5tlg.", "5-tlg", "5 tlg.", "5-teilig", "5TEILIG", "5pc", "5 pcs", "5-piece", "5 Stück",
     "5 drums", "5\u2011teilig", "\uff15 pcs", "'5"],
)  # fmt: skip
def test_one_number_with_a_unit_or_without(text: str) -> None:
    assert read_pieces(text) == 5


@pytest.mark.parametrize(
    "text",
    ["5pc w/ hardware", "5 pc + hardware", "5 pc shells", "5 piece shell pack", "5tlg. mit Hardware",
     "5pc with hardware", "5 pcs incl. stands", "5 pc, with hardware", "5-piece drum kit",
     "5 piece kit with hardware and stands",
     "5 piece set", "5tlg. Kesselsatz", "5-teiliges Set inkl. Ständer", "5pc+hardware", "5 drum kit",
     "5 pcs w/hardware"],
)  # fmt: skip
def test_a_remark_that_changes_no_number_is_read_over(text: str) -> None:
    assert read_pieces(text) == 5
    assert says_pieces(text)


@pytest.mark.parametrize(
    "text",
    ["4+2", "5 pc + 2 cymbals", "5 pc and snare", "5 pc + snare", "5 pc with", "5 pc with hardware + snare", "5 kit",
     "5 with hardware", "5 + hardware", "5 pc 22/10/12/16 + snare", "4+1 pc shells", "5 pc + 2 stands", "0 pc kit",
     "five piece with hardware", "5 pc kit kit"],
)  # fmt: skip
def test_a_remark_that_may_change_it_is_refused(text: str) -> None:
    assert isinstance(read_pieces(text), Refusal)
    assert not says_pieces(text)


@pytest.mark.parametrize(
    ("text", "says"), [("5 pc", True), ("5-teilig", True), ("4 drums", True), ("5", False), ("22/12/16", False),
                       ("1 Stück", False), ("5 Stk.", False), ("", False)],
)  # fmt: skip
def test_a_word_says_that_it_is_drums_that_are_counted(text: str, says: bool) -> None:
    assert says_pieces(text) is says


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


@given(
    st.one_of(st.integers(1, 20), st.integers(1, 10**6)),
    st.sampled_from(["", "tlg.", " pcs", "-piece", " Stk.", "-teilig"]),
)
def test_every_number_comes_back(number: int, unit: str) -> None:
    read = read_pieces(f"{number}{unit}")
    assert read == number if number <= 20 else isinstance(read, Refusal)


@given(st.text(max_size=60))
def test_any_text_is_a_number_of_drums_or_refused(text: str) -> None:
    read = read_pieces(text)
    assert isinstance(read, Refusal) or read >= 1
