"""Where build and original cross: none, one, two, the range from draws and when there is none."""

from __future__ import annotations

import numpy as np
import pytest

from kitvalue.decisions.breakeven import Crossings, find_crossings

PIECES = [3, 4, 5, 6, 7]
BUILD = np.array([100.0, 200.0, 300.0, 400.0, 500.0])


def crossings(original: list[float], draws: np.ndarray | None = None) -> Crossings:
    typical = np.array(original)
    return find_crossings(PIECES, BUILD, typical, typical[None, :] if draws is None else draws)


def test_one_crossing_is_straight_between_whole_pieces() -> None:
    found = crossings([150.0, 230.0, 310.0, 390.0, 470.0])  # apart by -10 at 5 pieces and +10 at 6
    (one,) = found.crossings
    assert one.pieces == pytest.approx(5.5)
    assert one.build_cheaper == "below"
    assert found.text.startswith("The build at cost is the cheaper one below 5.5 pieces")


def test_the_other_way_round() -> None:
    (one,) = crossings([50.0, 150.0, 290.0, 420.0, 600.0]).crossings
    assert one.pieces == pytest.approx(5 + 10 / 30)
    assert one.build_cheaper == "above"


@pytest.mark.parametrize(("shift", "word"), [(60.0, "no dearer"), (-60.0, "dearer")])
def test_never_is_an_answer(shift: float, word: str) -> None:
    found = crossings(list(BUILD + shift))
    assert found.crossings == ()
    assert found.chance_none == 1.0
    assert found.text == f"Never within 3 to 7 pieces: the build at cost is {word} than the original at every size."


def test_two_crossings_are_both_told() -> None:
    found = crossings([90.0, 210.0, 330.0, 410.0, 480.0])
    assert [c.build_cheaper for c in found.crossings] == ["above", "below"]
    assert found.crossings[0].pieces == pytest.approx(3.5)
    assert found.crossings[1].pieces == pytest.approx(6 + 10 / 30)
    assert "above 3.5 pieces" in found.text
    assert "below 6.3 pieces" in found.text


def test_a_tie_at_a_whole_number_is_one_crossing() -> None:
    (one,) = crossings([120.0, 210.0, 300.0, 390.0, 480.0]).crossings
    assert one.pieces == 5.0


def test_the_range_holds_the_middle_eight_of_ten_draws() -> None:
    shifts = np.linspace(-10.0, 10.0, 4001)
    base = np.array([120.0, 210.0, 300.0, 390.0, 480.0])
    found = crossings(list(base), base[None, :] + shifts[:, None])
    (one,) = found.crossings
    assert found.chance_none == 0.0
    # the gap is 10 (k - 5) less the shift, so the crossing lies at 5 + shift / 10 for each draw
    assert (one.low, one.high) == (pytest.approx(5 - 0.8, abs=1e-3), pytest.approx(5 + 0.8, abs=1e-3))


@pytest.mark.parametrize(("without", "ranged"), [(20, True), (21, False)])
def test_no_range_past_one_draw_in_five_without_a_crossing(without: int, ranged: bool) -> None:
    base = np.array([120.0, 210.0, 300.0, 390.0, 480.0])
    draws = np.vstack([np.tile(base, (100 - without, 1)), np.tile(base + 1000, (without, 1))])
    found = crossings(list(base), draws)
    assert found.chance_none == pytest.approx(without / 100)
    (one,) = found.crossings
    assert (one.low is not None) == ranged
    assert (one.reason is None) == ranged
    if not ranged:
        assert one.reason == "no range: 21 % of the draws have no crossing"


@pytest.mark.parametrize(("other_way", "ranged"), [(20, True), (21, False)])
def test_no_range_past_one_draw_in_five_that_crosses_the_other_way(other_way: int, ranged: bool) -> None:
    base = np.array([120.0, 210.0, 300.0, 390.0, 480.0])
    turned = 2 * BUILD - base
    found = crossings(list(base), np.vstack([np.tile(base, (100 - other_way, 1)), np.tile(turned, (other_way, 1))]))
    assert found.chance_none == 0.0
    (one,) = found.crossings
    assert (one.pieces, one.build_cheaper) == (5.0, "below")
    assert (one.low, one.high) == ((5.0, 5.0) if ranged else (None, None))
    assert one.reason == (None if ranged else "no range: too many draws lack a crossing of this kind")


def test_one_size_alone_cannot_cross() -> None:
    found = find_crossings([7], np.array([500.0]), np.array([480.0]), np.array([[470.0], [490.0]]))
    assert found.crossings == ()
    assert found.text == "At 7 pieces, the only size compared, the build at cost is dearer than the original."


def test_sizes_that_are_not_next_to_each_other() -> None:
    """Straight from 3 pieces (10 under) to 7 (30 over): a quarter of the way."""
    original = np.array([110.0, 170.0])
    (one,) = find_crossings([3, 7], np.array([100.0, 200.0]), original, original[None, :]).crossings
    assert one.pieces == pytest.approx(4.0)
