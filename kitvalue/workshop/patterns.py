"""The fewest sheets for many strips: a linear program over ways to cut one sheet, its bound exact, its answer whole.

Column generation (Gilmore and Gomory 1965, Operations Research 13:94-120, two-stage cutting; citation from memory). Any
non-negative worths v of the pieces give a bound: no sheet holds more worth than the best one, so all pieces together
need sum(d v) / best sheets or more. The best sheet is found in whole numbers, among all that can be cut where these can
be listed, so the bound does not rest on how well the linear program was solved. The pieces are then laid by diving: the
sheet that the program uses most is cut, and the program solved again for what is left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import count
from math import ceil

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SCALE = 10**9  # worths are whole numbers of this
MOST_CUTS = 60_000  # half-laid sheets, beyond which the cuts of a sheet are not all listed
MOST_STATES = 400  # of a shelf's knapsack, beyond which no bound is told
MOST_ROUNDS = 250
MOST_CALLS = 1000  # linear programs' rounds in all: a second or two
DEAREST = 4.0  # sheets that one piece may count for on the way to a solution; in one it is 1 at most
TINY = 1e-9
DIVES = (0.0, 1.0, 10.0, 0.3, 3.0)  # how much a full sheet counts against one that the program uses often


@dataclass(frozen=True, slots=True, order=True)
class Lay:
    """One way to lay a kind of piece on a shelf: `high` across it, `long` along it."""

    high: int
    long: int
    kind: int


@dataclass(frozen=True, slots=True)
class Way:
    """One way to shelve a sheet, `long` by `high`, with the lays that fit it, lowest first."""

    long: int
    high: int
    lays: tuple[Lay, ...]


@dataclass(frozen=True, slots=True)
class Cut:
    """What one sheet gives: its worth and how many pieces of each kind."""

    worth: int
    pieces: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Bounds:
    """`sheets` are enough, fewer than `least` never are."""

    sheets: int
    least: int


@dataclass(frozen=True, slots=True)
class _Shelf:
    """A shelf of a height: its length used, its worth, the kinds on it."""

    long: int
    worth: int
    kinds: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Program:
    """A solved linear program: columns (kinds, columns), how often each is cut, and the bound it proves."""

    columns: FloatArray
    times: FloatArray
    least: int


Cutter = Callable[[Sequence[int], IntArray], Cut | None]  # the best sheet for these worths and what is left


def sheets_by_patterns(ways: Sequence[Way], demand: Sequence[int]) -> Bounds | None:
    """Bounds on the sheets for `demand` pieces of each kind; None where a sheet holds too many pieces to tell."""
    every = every_cut(ways, demand)
    best: Cutter = partial(best_cut, ways) if every is None else partial(_best_of, every)
    cutter = _until_tired(best)
    try:
        first = _solve(cutter, np.array(demand, dtype=np.int64))
        return None if first is None else Bounds(_dives(cutter, ways, demand, first.least), first.least)
    except np.linalg.LinAlgError:  # a basis that rounding has made singular proves nothing
        return None


def _dives(cutter: Cutter, ways: Sequence[Way], demand: Sequence[int], least: int) -> int:
    """The fewest sheets of several dives; never fewer than `least`, where they stop."""
    area = np.zeros(len(demand))
    for lay in (lay for way in ways for lay in way.lays):
        area[lay.kind] = lay.high * lay.long
    fewest = sum(demand)
    for weight in DIVES:
        if fewest > least:
            fewest = min(fewest, _dive(cutter, demand, area, weight, fewest))
    return fewest


def _until_tired(cutter: Cutter) -> Cutter:
    """The same, for `MOST_CALLS` calls: an order of many kits must not keep a workshop waiting."""
    calls = count()

    def cut(worths: Sequence[int], left: IntArray) -> Cut | None:
        return cutter(worths, left) if next(calls) < MOST_CALLS else None

    return cut


def _dive(cutter: Cutter, demand: Sequence[int], area: FloatArray, weight: float, fewest: int) -> int:
    """Enough sheets, by cutting one after the other; `fewest` where that many do not suffice this way."""
    left = np.array(demand, dtype=np.int64)
    used = 0
    while left.any():
        program = _solve(cutter, left)
        if program is None or used + program.least >= fewest:
            return fewest
        covered = np.minimum(np.rint(program.columns), left[:, None])
        fill = area @ covered
        cut = int(np.argmax(np.round(program.times, 6) + weight * fill / fill.max()))
        left = left - covered[:, cut].astype(np.int64)
        used += 1
    return used


def _solve(cutter: Cutter, left: IntArray) -> _Program | None:
    """The linear program for what is left, by the revised simplex method."""
    kinds = len(left)
    basis = np.eye(kinds)
    wanted = left + 1e-7 * np.arange(1, kinds + 1)  # apart, so that no basis is degenerate
    least = 0
    for _ in range(MOST_ROUNDS):
        duals = np.linalg.solve(basis.T, np.ones(kinds))
        worths = [int(min(max(0.0, dual), DEAREST) * SCALE) if n else 0 for dual, n in zip(duals, left, strict=True)]
        cut = cutter(worths, left)
        if cut is None:
            if least == 0:
                return None
            break
        if cut.worth > 0:
            total = sum(int(n) * worth for n, worth in zip(left, worths, strict=True))
            least = max(least, ceil(Fraction(total, cut.worth)))
        if cut.worth <= SCALE * (1 + TINY) + kinds:
            break
        column = np.array([n if worth > 0 else 0 for n, worth in zip(cut.pieces, worths, strict=True)], dtype=float)
        enters = np.linalg.solve(basis, column)
        times = np.linalg.solve(basis, wanted)
        ratios = np.where(enters > TINY, times / np.where(enters > TINY, enters, 1.0), np.inf)
        basis[:, int(np.argmin(ratios))] = column
    return _Program(basis, np.asarray(np.linalg.solve(basis, wanted), dtype=np.float64), least)


def every_cut(ways: Sequence[Way], demand: Sequence[int]) -> IntArray | None:
    """All that one sheet can give, (cuts, kinds), never more of a kind than is wanted; None where that is too much."""
    found: set[tuple[int, ...]] = set()
    for way in ways:
        todo: list[_Laid] = [_Laid(0, way.high, (), (0,) * len(demand))]
        seen = set(todo)
        lays = way.lays[::-1]  # highest first: the first lay of a shelf sets its height
        while todo:
            laid = todo.pop()
            found.add(laid.pieces)
            if laid.at == len(lays):
                continue
            more = [after for after in _one_more(laid, lays[laid.at], way, demand) if after not in seen]
            todo += more
            seen.update(more)
            if len(seen) > MOST_CUTS:
                return None
    return np.array(sorted(found), dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Laid:
    """A sheet half laid: the lays up to `at` are done with; `shelves` are the lengths still free on them."""

    at: int
    rest: int
    shelves: tuple[int, ...]
    pieces: tuple[int, ...]


def _one_more(laid: _Laid, lay: Lay, way: Way, demand: Sequence[int]) -> Iterator[_Laid]:
    yield _Laid(laid.at + 1, laid.rest, laid.shelves, laid.pieces)
    if laid.pieces[lay.kind] == demand[lay.kind]:
        return
    pieces = (*laid.pieces[: lay.kind], laid.pieces[lay.kind] + 1, *laid.pieces[lay.kind + 1 :])
    for i, free in enumerate(laid.shelves):
        if free >= lay.long:
            shelves = tuple(sorted((*laid.shelves[:i], free - lay.long, *laid.shelves[i + 1 :])))
            yield _Laid(laid.at, laid.rest, shelves, pieces)
    if laid.rest >= lay.high:
        yield _Laid(laid.at, laid.rest - lay.high, tuple(sorted((*laid.shelves, way.long - lay.long))), pieces)


def _best_of(every: IntArray, worths: Sequence[int], left: IntArray) -> Cut:
    """The best of all cuts; what is not left any more of a kind is not cut."""
    usable = np.minimum(every, left)
    worth = usable @ np.array(worths, dtype=np.int64)
    best = int(np.argmax(worth))
    return Cut(int(worth[best]), tuple(int(n) for n in usable[best]))


def best_cut(ways: Sequence[Way], worths: Sequence[int], left: Sequence[int] | IntArray) -> Cut | None:
    """The sheet of greatest worth, exactly; None where there are too many ways to tell.

    On one shelf no kind is laid more often than is left of it; over the shelves of a sheet it may be, which can only
    make the sheet worth more and the bound lower.
    """
    found = [_best_of_way(way, worths, left) for way in ways]
    known = [cut for cut in found if cut is not None]
    return max(known, key=lambda cut: cut.worth) if len(known) == len(found) else None


def _best_of_way(way: Way, worths: Sequence[int], left: Sequence[int] | IntArray) -> Cut | None:
    states = [_Shelf(0, 0, ())]
    shelves: dict[int, _Shelf] = {}
    for lay in way.lays:
        if worths[lay.kind] == 0 or not left[lay.kind]:
            continue
        states = _with(states, lay, worths[lay.kind], int(left[lay.kind]), way.long)
        if len(states) > MOST_STATES:
            return None
        shelves[lay.high] = states[-1]  # worth grows with length
    heights = _undominated(shelves)
    stack = _best_stack(heights, way.high)
    pieces = [0] * len(worths)
    for shelf in stack:
        for kind in shelf.kinds:
            pieces[kind] += 1
    return Cut(sum(shelf.worth for shelf in stack), tuple(pieces))


def _with(states: list[_Shelf], lay: Lay, worth: int, most: int, long: int) -> list[_Shelf]:
    """The undominated shelves once up to `most` of a lay may be on them, by length."""
    found = list(states)
    for state in states:
        for n in range(1, min(most, (long - state.long) // lay.long) + 1):
            found.append(_Shelf(state.long + n * lay.long, state.worth + n * worth, (*state.kinds, *[lay.kind] * n)))
    found.sort(key=lambda shelf: (shelf.long, -shelf.worth))
    kept: list[_Shelf] = []
    for shelf in found:
        if not kept or shelf.worth > kept[-1].worth:
            kept.append(shelf)
    return kept


def _undominated(shelves: dict[int, _Shelf]) -> list[tuple[int, _Shelf]]:
    kept: list[tuple[int, _Shelf]] = []
    for high in sorted(shelves):
        if not kept or shelves[high].worth > kept[-1][1].worth:
            kept.append((high, shelves[high]))
    return kept


def _best_stack(shelves: Sequence[tuple[int, _Shelf]], high: int) -> tuple[_Shelf, ...]:
    """The shelves of greatest worth that fit one over the other, any shelf any number of times."""
    states: list[tuple[int, int, tuple[_Shelf, ...]]] = [(0, 0, ())]
    best: dict[int, tuple[int, tuple[_Shelf, ...]]] = {0: (0, ())}
    at = 0
    while at < len(states):
        used, worth, stack = states[at]
        at += 1
        if best[used][0] > worth:
            continue
        for shelf_high, shelf in shelves:
            total, value = used + shelf_high, worth + shelf.worth
            if total <= high and (total not in best or best[total][0] < value):
                best[total] = (value, (*stack, shelf))
                states.append((total, value, (*stack, shelf)))
    return max(best.values(), key=lambda found: found[0])[1]
