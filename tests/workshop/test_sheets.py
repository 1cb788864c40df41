"""Strips and whole sheets: lengths a shop knows, the worked case, and the search against trying everything."""

from __future__ import annotations

import itertools
import random
import subprocess
import sys
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.workshop import sheets as packing
from kitvalue.workshop.sheets import (
    Covering,
    Nesting,
    Piece,
    Sheet,
    Strip,
    fewest_sheets,
    nest,
    strip_of,
)
from tests import worked
from tests.workshop.test_drums import drum

WRAP = Covering(Decimal(1370), Decimal(610), Decimal(50), Decimal(6), turn=False)
LONG = Covering(Decimal(2440), Decimal(1220), Decimal(50), Decimal(6), turn=False)


def strip(size: str, covering: Covering) -> Strip:
    made = strip_of(drum(size), covering)
    assert isinstance(made, Strip)
    return made


# common practice, no source: wrap of a 22x14 shell, and of a 16x16 that one sheet still covers
def test_the_strip_of_a_22x14() -> None:
    one = strip("22x14", LONG)
    assert round(one.length) == 1806
    assert round(one.width) == 344
    assert round(one.area, 2) == Decimal("0.62")
    assert one.joints == 1


def test_the_strip_of_a_16x16_fits_a_traditional_sheet() -> None:
    one = strip("16x16", WRAP)
    assert (round(one.length), one.joints) == (1327, 1)


def test_a_shell_longer_than_the_sheet_has_two_joints() -> None:
    one = strip("22x14", WRAP)
    assert one.joints == 2
    assert abs(one.length - strip("22x14", LONG).length - 50) < Decimal("1e-9")
    assert nest([one], WRAP) == Nesting(2, 2)  # 344 mm of 610: no second shelf


def test_two_shells_share_the_sheet_their_second_pieces_come_from() -> None:
    # two full sheets, and both rests (about 486 mm) on one shelf of a third; four equal pieces would take four
    assert nest([strip("22x14", WRAP)] * 2, WRAP) == Nesting(3, 3)


def test_equal_pieces_are_taken_where_they_save_a_sheet() -> None:
    covering = Covering(Decimal(1370), Decimal(610), Decimal(50), Decimal(6), turn=True)
    sides = [(508, 486, 1), (1347, 473, 1), (1735, 212, 2)]
    strips = [Strip(str(i), Decimal(long), Decimal(wide), joints) for i, (long, wide, joints) in enumerate(sides)]
    assert nest(strips, covering).sheets == 2
    whole = [(508, 486), (1347, 473), (1370, 212), (365, 212)]
    ways = [Sheet(1370, 610), Sheet(610, 1370)]
    assert fewest_sheets([Piece(long, high, True) for long, high in whole], ways).sheets == 3


@pytest.mark.parametrize(
    ("sheet", "overlap", "clearance", "words"),
    [
        ((1370, 300), 50, 6, "its strip is 1806 x 344 mm, and the sheet is 1370 x 300 (turn = false"),
        ((40, 610), 50, 6, "two pieces of 40 mm do not reach around it"),
        ((927, 610), 50, 6, "two pieces of 927 mm do not reach around it"),  # 1,855.6 mm with two joints
        ((1370, 610), 50, 178, "leaves nothing to cover"),
        ((1370, 610), 50, "177.8", "leaves nothing to cover"),  # half of 355.6 mm at each edge
    ],
)
def test_a_sheet_too_small_says_so(sheet: tuple[int, int], overlap: int, clearance: int | str, words: str) -> None:
    covering = Covering(Decimal(sheet[0]), Decimal(sheet[1]), Decimal(overlap), Decimal(clearance), turn=False)
    made = strip_of(drum("22x14"), covering)
    assert isinstance(made, str)
    assert words in made


def test_turning_may_save_what_a_direction_forbids() -> None:
    tall = [Strip(name, Decimal(1000), Decimal(600), 1) for name in "abc"]
    along = Covering(Decimal(2000), Decimal(1000), Decimal(0), Decimal(0), turn=False)
    assert nest(tall, along) == Nesting(2, 2)
    assert nest(tall, Covering(Decimal(2000), Decimal(1000), Decimal(0), Decimal(0), turn=True)) == Nesting(1, 1)


@pytest.mark.parametrize(("pieces", "sheets"), [(3, 1), (4, 1), (5, 1), (6, 2), (7, 2)])
def test_the_worked_case(pieces: int, sheets: int) -> None:
    veneer = Covering(Decimal(2440), Decimal(1220), Decimal(150), Decimal(-10), turn=False)
    words = [word.split() for word in worked.CASE["drum"][0]["order"]]
    strips = [strip(word[1], veneer) for word in words[:pieces]]
    assert nest(strips, veneer) == Nesting(sheets, sheets)
    assert f"{['1', '1', '1', '2', '2'][pieces - 3]}" == str(sheets)
    assert "1 1 1 2 2 sheets" in worked.CASE["parts"]["veneer"]


# --- against trying everything ---------------------------------------------------------------------------------------


def shelves_fit(lays: tuple[tuple[int, int], ...], sheet: Sheet) -> bool:
    """Whether rectangles (long, high) fit one sheet in shelves: by every way to part them into shelves."""
    for parts in partitions(list(range(len(lays)))):
        if any(sum(lays[i][0] for i in part) > sheet.long for part in parts):
            continue
        if sum(max(lays[i][1] for i in part) for part in parts) <= sheet.high:
            return True
    return not lays


def partitions(items: list[int]) -> list[list[list[int]]]:
    if not items:
        return [[]]
    first, rest = items[0], items[1:]
    found = []
    for smaller in partitions(rest):
        found.append([[first], *smaller])
        found += [[*smaller[:i], [first, *part], *smaller[i + 1 :]] for i, part in enumerate(smaller)]
    return found


def one_sheet(pieces: list[Piece], ways: list[Sheet]) -> bool:
    lays = [[(p.long, p.high), (p.high, p.long)] if p.turn else [(p.long, p.high)] for p in pieces]
    return any(shelves_fit(lay, way) for lay in itertools.product(*lays) for way in ways)


def by_trying(pieces: list[Piece], ways: list[Sheet]) -> int:
    return min(
        len(parts)
        for parts in partitions(list(range(len(pieces))))
        if all(one_sheet([pieces[i] for i in part], ways) for part in parts)
    )


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(1, 10), st.integers(1, 6)), min_size=1, max_size=5), st.booleans())
def test_the_search_finds_what_trying_everything_finds(sides: list[tuple[int, int]], turn: bool) -> None:
    ways = [Sheet(10, 6), Sheet(6, 10)] if turn else [Sheet(10, 6)]
    pieces = [Piece(long, high, turn) for long, high in sides]
    best = by_trying(pieces, ways)
    assert fewest_sheets(pieces, ways) == Nesting(best, best)


def test_a_sheet_filled_to_the_last_millimetre_is_found() -> None:
    # longest first leaves a third shelf: 5+4, 4+3+2, 2; the two shelves 5+3+2 and 4+4+2 fill the sheet
    pieces = [Piece(long, 3, False) for long in (5, 4, 4, 3, 2, 2)]
    assert fewest_sheets(pieces, [Sheet(10, 6)]) == Nesting(1, 1)
    assert fewest_sheets([*pieces, Piece(1, 1, False)], [Sheet(10, 6)]) == Nesting(2, 2)


def test_a_program_too_large_or_out_of_time_states_its_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    pieces = [Piece(long, 3, False) for long in (5, 4, 4, 3, 2, 2)]
    for limit in ("MOST_ARCS", "TIME_LIMIT"):
        with monkeypatch.context() as change:
            change.setattr(packing, limit, 2 if limit == "MOST_ARCS" else 0)
            assert fewest_sheets(pieces, [Sheet(10, 6)]) == Nesting(2, 1), limit
    assert fewest_sheets(pieces, [Sheet(10, 6)]) == Nesting(1, 1)


def test_nothing_to_cover_takes_no_sheet() -> None:
    assert fewest_sheets([], [Sheet(10, 6)]) == Nesting(0, 0)


# --- where first-fit misses the lower bound --------------------------------------------------------------------------


@pytest.mark.parametrize("turn", [True, False])
def test_the_program_finds_what_trying_everything_finds(monkeypatch: pytest.MonkeyPatch, turn: bool) -> None:
    rng = random.Random(20261125)
    ways = [Sheet(10, 6), Sheet(6, 10)] if turn else [Sheet(10, 6)]
    solved = 0
    for _ in range(120):
        pieces = [Piece(rng.randint(2, 7), rng.choice([2, 3, 4, 4, 6]), turn) for _ in range(rng.randint(3, 6))]
        with monkeypatch.context() as change:
            change.setattr(packing, "MOST_ARCS", 2)
            if fewest_sheets(pieces, ways).proven:
                continue  # nothing to solve
        solved += 1
        best = by_trying(pieces, ways)
        assert fewest_sheets(pieces, ways) == Nesting(best, best), pieces
    assert solved >= 10


@pytest.mark.parametrize("turn", [True, False])
def test_the_program_alone_needs_no_first_fit(monkeypatch: pytest.MonkeyPatch, turn: bool) -> None:
    """Whatever first-fit finds, also where it is the fewest: the program packs as well, and proves as much."""
    monkeypatch.setattr(packing, "_first_fit", lambda pieces, *way: len(pieces) + 1)
    monkeypatch.setattr(packing, "_lower_bound", lambda *pieces: 1)
    rng = random.Random(20261126)
    ways = [Sheet(10, 6), Sheet(6, 10)] if turn else [Sheet(10, 6)]
    for _ in range(40):
        sides = [(rng.randint(1, 10), rng.randint(1, 6)) for _ in range(rng.randint(1, 3))]
        pieces = [Piece(*rng.choice(sides), turn) for _ in range(rng.randint(1, 5))]
        best = by_trying(pieces, ways)
        assert fewest_sheets(pieces, ways) == Nesting(best, best), pieces


def test_a_kit_that_first_fit_packs_needs_no_scipy() -> None:
    code = (
        "import sys; from kitvalue.workshop.sheets import *; "
        "print(fewest_sheets([Piece(5, 3, False)] * 5, [Sheet(10, 6)]).sheets, 'scipy' in sys.modules)"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "2 False\n"
    )


@pytest.mark.parametrize(
    ("long", "high", "count", "sheets"),
    [(6, 3, 2, 1), (5, 4, 2, 1), (6, 4, 2, 2), (5, 3, 4, 1), (5, 3, 5, 2), (10, 6, 2, 2), (10, 2, 3, 1), (2, 6, 5, 1)],
)
def test_halves_share_a_sheet_and_more_than_halves_do_not(long: int, high: int, count: int, sheets: int) -> None:
    """Exact divisions of a sheet of 10 by 6, counted by hand."""
    assert fewest_sheets([Piece(long, high, False)] * count, [Sheet(10, 6)]) == Nesting(sheets, sheets)


def test_pieces_by_the_hundred_stand_where_that_takes_fewer() -> None:
    """By area: 300 pieces of 4 by 3 fill 100 sheets of 9 by 4 exactly, three standing on each; lying, two fit."""
    assert fewest_sheets([Piece(4, 3, True)] * 300, [Sheet(9, 4)]) == Nesting(100, 100)


def test_of_pieces_by_the_hundred_the_fewest_sheets_are_proven() -> None:
    """By hand: two of 4 beside each other in 9, no second shelf of 3 over 3 in 5; by area 972 / 45 would do."""
    assert fewest_sheets([Piece(4, 3, False)] * 81, [Sheet(9, 5)]) == Nesting(41, 41)


def test_too_many_ways_to_fill_a_shelf_still_give_bounds_that_hold() -> None:
    pieces = [Piece(10_000 + 7 * i * i, 10 + i, False) for i in range(30)]
    shelf = Sheet(200_000, 40)
    area = sum(piece.long * piece.high for piece in pieces) / (shelf.long * shelf.high)
    nesting = fewest_sheets(pieces, [shelf])
    assert area <= nesting.least <= nesting.sheets <= 30


SIZES = (
    "22x16", "22x14", "24x14", "20x16", "18x16", "16x16", "14x14", "13x11", "12x10", "10x9", "14x12", "10x8", "14x6.5",
)  # fmt: skip


@pytest.mark.parametrize("turn", [True, False])
@pytest.mark.parametrize("sheet", [(1370, 610, 50, 6), (2440, 1220, 150, -10)])
def test_thirty_shells(sheet: tuple[int, int, int, int], turn: bool) -> None:
    """An order for many kits: proven, and no less than the area asks for."""
    long, wide, overlap, clearance = (Decimal(side) for side in sheet)
    covering = Covering(long, wide, overlap, clearance, turn)
    strips = [strip(SIZES[i % len(SIZES)], covering) for i in range(30)]
    nesting = nest(strips, covering)
    assert nesting.proven
    assert nesting.least >= sum(strip.area for strip in strips) / (long * wide / 1_000_000)
