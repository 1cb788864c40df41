"""A cell with the sizes of a kit's drums, or with their diameters alone."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.sizes import Diameters, Size, SizesCell, bare_diameters, sizes_reader
from kitvalue.intake.text.words import Refusal

READ = sizes_reader("diameter-depth")


def meant(text: str, pieces: int | None) -> tuple[Size, ...] | Diameters | Refusal:
    cell = READ(text)
    return cell.meant(pieces) if isinstance(cell, SizesCell) else cell


@pytest.mark.parametrize(
    "text",
    [
        "22,12,16", "22/12/16", "22 12 16", "22;12;16", "22 + 12 + 16", "22 & 12, 16", '22" 12" 16"',
        "22'', 12'', 16''", "22\n12\n16", " 22,\u00a012 ,16 ", "22” / 12” / 16”", "22 inch, 12 inch, 16 inch",
    ],
)  # fmt: skip
def test_diameters_alone(text: str) -> None:
    assert bare_diameters(text) == (22, 12, 16)
    assert meant(text, 3) == meant(text, 5) == meant(text, None) == Diameters((22, 12, 16))


@pytest.mark.parametrize(
    "text",
    [
        "22", '22"', "22.12.16", "22,5,16", "22,29", "22x16 12", "22, 12, floor", "22--12", "222,12", "22,12.5,16",
        "22,,12", "22 cm, 12 cm", "",
    ],
)  # fmt: skip
def test_anything_else_is_no_list_of_diameters(text: str) -> None:
    assert bare_diameters(text) == ()
    assert isinstance(READ(text), Refusal)


def test_the_ends_of_what_a_diameter_can_be() -> None:
    assert bare_diameters("6 28") == (6, 28)
    assert bare_diameters("5 28") == bare_diameters("6 29") == ()


def test_two_numbers_with_a_slash_are_a_size_or_two_drums_as_the_pieces_say() -> None:
    sizes = (Size(Decimal(22), Decimal(16)), Size(Decimal(12), Decimal(10)))
    assert meant("22/16 12/10", 2) == meant("22/16 12/10", None) == meant("22/16 12/10", 3) == sizes
    assert meant("22/16 12/10", 4) == Diameters((22, 16, 12, 10))
    assert meant("22/16", 1) == sizes[:1]
    assert meant("22/16", 2) == Diameters((22, 16))


def test_what_would_be_deeper_than_wide_is_diameters_only_where_the_pieces_say_so() -> None:
    assert meant("12/22", 2) == Diameters((12, 22))
    for pieces in (1, 3, None):
        found = meant("12/22", pieces)
        assert isinstance(found, Refusal)
        assert found.code == "size_order"


@given(st.text("0123456789 ,/;+&x.\"'in\n", max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    found = bare_diameters(text)
    assert len(found) != 1
    assert all(6 <= one <= 28 for one in found)
    assert isinstance(READ(text), SizesCell | Refusal)


@given(st.lists(st.integers(6, 28), min_size=2, max_size=9), st.sampled_from(["/", ", ", " ", "; ", " + ", "&", '" ']))
def test_what_is_written_comes_back(inches: list[int], sign: str) -> None:
    assert bare_diameters(sign.join(map(str, inches))) == tuple(inches)
