"""Drum sizes."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.sizes import Size, bass_order_refusal, read_size
from kitvalue.intake.text.words import Refusal


@pytest.mark.parametrize(
    "text",
    ["22x16", "22 x 16", '22"x16"', '22" x 16"', "22/16", "22×16", "22”/16”", "22''x16''", "22 X 16", "22 by 16",
     "22 in x 16 in", "22 Zoll x 16 Zoll", "22\u00a0x\u00a016", "22*16", "22.0x16,0"],
)  # fmt: skip
def test_ways_to_write_one_size(text: str) -> None:
    assert read_size(text) == Size(Decimal(22), Decimal(16))
    assert read_size(text, "depth-diameter") == Size(Decimal(16), Decimal(22))


@pytest.mark.parametrize(
    "text", ["13x7.25", "13x7,25", "13 x 7 1/4", "13x7¼", '13" x 7 1/4"', "13 x 7-1/4", "13/7 1/4"]
)
def test_fractions(text: str) -> None:
    assert read_size(text) == Size(Decimal(13), Decimal("7.25"))


def test_an_inch_is_25_4_mm_exactly() -> None:
    size = read_size("13x7.25")
    assert isinstance(size, Size)
    assert (size.diameter_mm, size.depth_mm) == (Decimal("330.2"), Decimal("184.15"))


@pytest.mark.parametrize(
    "text",
    ["", "22", "22x", "x16", "22x16x3", "56x40 cm", "560 mm x 400 mm", "22x160", "220x16", "1x16", "22x0", "13x7 5/4",
     "13x7 1/3", "big", "22-16", "22x16 " * 50],
)  # fmt: skip
def test_what_is_no_size(text: str) -> None:
    assert isinstance(read_size(text), Refusal)


def test_a_bass_drum_deeper_than_wide_asks_for_the_order() -> None:
    why = bass_order_refusal(Size(Decimal(16), Decimal(22)), "diameter-depth")
    assert why is not None
    assert "size_order" in (why.cure or "")
    assert bass_order_refusal(Size(Decimal(22), Decimal(22)), "diameter-depth") is None


@given(st.integers(6, 28), st.integers(16, 160), st.sampled_from(["x", " x ", "×", "/", '"x']))
def test_a_written_size_comes_back(wide: int, eighths: int, sign: str) -> None:
    deep = Decimal(eighths) / 8
    if deep <= 30:
        assert read_size(f"{wide}{sign}{deep}") == Size(Decimal(wide), deep)


@given(st.one_of(st.text(max_size=20), st.text('0123456789x/ ."¼', max_size=12)))
def test_any_text_is_read_or_refused(text: str) -> None:
    assert isinstance(read_size(text), Size | Refusal)
