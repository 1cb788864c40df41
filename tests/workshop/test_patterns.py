"""The bound of the linear program and the best sheet, against trying everything."""

from __future__ import annotations

import itertools
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.workshop.patterns import Lay, Way, best_cut, every_cut, sheets_by_patterns
from kitvalue.workshop.sheets import Covering, Piece, Sheet, Strip, _ways, fewest_sheets, nest, strip_of
from tests.workshop.test_drums import drum
from tests.workshop.test_sheets import by_trying, one_sheet

SHEET = Sheet(10, 6)


def ways(pieces: list[Piece]) -> list[Way]:
    lays = sorted(Lay(p.high, p.long, i) for i, p in enumerate(pieces))
    return [Way(SHEET.long, SHEET.high, tuple(lays))]


kinds = st.lists(st.tuples(st.integers(1, 10), st.integers(1, 6)), min_size=1, max_size=4, unique=True)


@settings(max_examples=60)
@given(kinds, st.data())
def test_the_best_sheet_is_never_worth_less_than_one_that_can_be_cut(
    sides: list[tuple[int, int]], data: st.DataObject
) -> None:
    pieces = [Piece(long, high, False) for long, high in sides]
    worths = [data.draw(st.integers(0, 9)) for _ in pieces]
    demand = [data.draw(st.integers(1, 2)) for _ in pieces]
    found = best_cut(ways(pieces), worths, demand)
    assert found is not None
    assert found.worth == sum(n * worth for n, worth in zip(found.pieces, worths, strict=True))
    for counts in itertools.product(*(range(n + 1) for n in demand)):
        laid = [piece for piece, n in zip(pieces, counts, strict=True) for _ in range(n)]
        if one_sheet(laid, [SHEET]):
            assert found.worth >= sum(n * worth for n, worth in zip(counts, worths, strict=True))


@settings(max_examples=60)
@given(kinds, st.data(), st.booleans())
def test_every_cut_is_every_cut(sides: list[tuple[int, int]], data: st.DataObject, turn: bool) -> None:
    pieces = [Piece(long, high, turn) for long, high in sides]
    demand = [data.draw(st.integers(1, 2)) for _ in pieces][:3]
    pieces = pieces[:3]
    sheets = [SHEET, Sheet(6, 10)] if turn else [SHEET]
    found = every_cut(_ways(pieces, sheets), demand)
    assert found is not None
    listed = {tuple(int(n) for n in cut) for cut in found}
    for counts in itertools.product(*(range(n + 1) for n in demand)):
        laid = [piece for piece, n in zip(pieces, counts, strict=True) for _ in range(n)]
        assert (counts in listed) == one_sheet(laid, sheets)


@settings(max_examples=60)
@given(kinds, st.data())
def test_the_bounds_hold_the_fewest_sheets(sides: list[tuple[int, int]], data: st.DataObject) -> None:
    pieces = [Piece(long, high, False) for long, high in sides]
    demand = [data.draw(st.integers(1, 2)) for _ in pieces]
    every = [piece for piece, n in zip(pieces, demand, strict=True) for _ in range(n)][:5]
    counted = [every.count(piece) for piece in pieces]
    found = sheets_by_patterns(ways(pieces), counted)
    assert found is not None
    assert found.least <= by_trying(every, [SHEET]) <= found.sheets


def test_too_many_ways_to_fill_a_shelf_still_give_bounds_that_hold() -> None:
    pieces = [Piece(10_000 + 7 * i * i, 10 + i, False) for i in range(30)]
    shelf = Sheet(200_000, 40)
    assert every_cut(_ways(pieces, [shelf]), [1] * 30) is None
    found = sheets_by_patterns(_ways(pieces, [shelf]), [1] * 30)
    assert found is not None
    area = sum(piece.long * piece.high for piece in pieces) / (shelf.long * shelf.high)
    assert area <= found.sheets <= 30
    assert found.least <= fewest_sheets(pieces, [shelf], node_limit=1).sheets


SIZES = (
    "22x16", "22x14", "24x14", "20x16", "18x16", "16x16", "14x14", "13x11", "12x10", "10x9", "14x12", "10x8", "14x6.5",
)  # fmt: skip


@pytest.mark.parametrize("turn", [True, False])
@pytest.mark.parametrize("sheet", [(1370, 610, 50, 6), (2440, 1220, 150, -10)])
def test_thirty_shells(sheet: tuple[int, int, int, int], turn: bool) -> None:
    """An order for many kits: proven, and no less than the area asks for."""
    long, wide, overlap, clearance = (Decimal(side) for side in sheet)
    covering = Covering(long, wide, overlap, clearance, turn)
    made = [strip_of(drum(SIZES[i % len(SIZES)]), covering) for i in range(30)]
    strips = [strip for strip in made if isinstance(strip, Strip)]
    assert len(strips) == 30
    found = nest(strips, covering)
    assert found.proven
    assert found.least >= sum(strip.area for strip in strips) / (long * wide / 1_000_000)


def test_a_sheet_is_filled_to_its_last_unit() -> None:
    found = best_cut(ways([Piece(5, 3, False)]), [1], [4])
    assert found is not None
    assert found.pieces == (4,)  # two by two: 10 long and 6 high


def test_of_several_ways_to_shelve_the_sheet_the_best_counts() -> None:
    """By hand: of 5 by 3 four lie on 10 by 6, and three, one on each shelf, on the same sheet turned."""
    lays = (Lay(3, 5, 0),)
    for both in ([Way(10, 6, lays), Way(6, 10, lays)], [Way(6, 10, lays), Way(10, 6, lays)]):
        found = best_cut(both, [1], [4])
        assert found is not None
        assert (found.worth, found.pieces) == (4, (4,))
