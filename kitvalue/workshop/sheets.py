"""Strips of covering cut from whole sheets: how long and wide each is, and how few sheets hold them all.

Model: two-stage cutting. A sheet is cut into shelves along one of its sides, each shelf into strips side by side; no
strip is higher than its shelf. That is how covering is cut with a long straight edge. Where first-fit does not reach
the lower bound, an integer program over flows does (Macedo, Alves, Valério de Carvalho 2010, "Arc-flow model for the
two-dimensional guillotine cutting stock problem", Computers & Operations Research 37:991-1001, from memory).

A shell that a sheet is too short for is covered in two pieces, with one overlap a joint; a sheet too short for that is
too small. Two ways of dividing are tried for the whole line and the better kept: a whole sheet length with the rest
from another, and equal halves.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import chain, islice
from typing import Literal

from kitvalue.intake.settings.plan import DrumTable

MOST_ARCS = 20_000  # of the integer program; beyond it the first bounds stand
TIME_LIMIT = 10.0  # seconds; then what it has proven until there
SAFE = 1e-4  # by which the program's lower bound may be too high

Division = Literal["whole length", "equal halves"]
MOST_JOINTS = 2  # a third seam would show (common practice, no source)
MICROMETRES = Decimal(1000)  # a millimetre's; sheets are packed in whole numbers


@dataclass(frozen=True, slots=True, order=True)
class Sheet:
    """A sheet with its shelves running along `long`."""

    long: int
    high: int


@dataclass(frozen=True, slots=True, order=True)
class Piece:
    """A rectangle to be cut: `long` along the shelf and `high` across it, or the other way where it may `turn`."""

    long: int
    high: int
    turn: bool

    def lays(self, sheet: Sheet) -> list[tuple[int, int]]:
        """Each (height, length) that it can have on a sheet, the lowest first."""
        both = {(self.high, self.long)} | ({(self.long, self.high)} if self.turn else set())
        return sorted((high, long) for high, long in both if high <= sheet.high and long <= sheet.long)


@dataclass(frozen=True, slots=True)
class Nesting:
    """How many sheets are enough. `least` is the proven lower bound: equal to `sheets` where that is proven fewest.

    `division` is how strips of two pieces are divided for that many.
    """

    sheets: int
    least: int
    division: Division = field(default="whole length", compare=False)

    @property
    def proven(self) -> bool:
        """No cutting of this model needs fewer."""
        return self.sheets == self.least


def fewest_sheets(pieces: Sequence[Piece], sheets: Sequence[Sheet]) -> Nesting:
    """The fewest sheets for the pieces; `sheets` are the ways one and the same sheet may be shelved.

    Every piece must fit a sheet in some way. The bounds meet unless the integer program grew too large.
    """
    if not pieces:
        return Nesting(0, 0)
    kinds = Counter(pieces)
    least = _lower_bound(kinds, sheets)
    enough = min(_first_fit(pieces, sheets, way, lying) for way in sheets for lying in (True, False))
    return Nesting(enough, least) if least == enough else _by_program(kinds, sheets, Nesting(enough, least))


def _lower_bound(kinds: Counter[Piece], sheets: Sequence[Sheet]) -> int:
    """By area, by pieces of which no two share a sheet and, where none turns, by the heights of the shelves."""
    long, high = sheets[0].long, sheets[0].high
    bounds = [-(-sum(p.long * p.high * n for p, n in kinds.items()) // (long * high)), _most_apart(kinds, sheets)]
    if not any(p.turn for p in kinds):
        # Pieces in one line, highest first: j shelves hold j lengths, so the next is as high as the piece there.
        heights = reached = shelves = 0
        for piece in sorted(kinds.elements(), key=lambda p: -p.high):
            reached += piece.long
            while reached > shelves * long:
                heights += piece.high
                shelves += 1
        bounds.append(-(-heights // high))
    return max(bounds)


def _most_apart(kinds: Counter[Piece], sheets: Sequence[Sheet]) -> int:
    """Many pieces of which no two share a sheet, where they would be beside or over each other."""
    apart = {
        one: {
            other
            for other in kinds
            if all(a[0] + b[0] > s.high and a[1] + b[1] > s.long
                   for s in sheets for a in one.lays(s) for b in other.lays(s))
        }
        for one in kinds
    }  # fmt: skip
    lonely = sorted(kinds, key=lambda kind: -len(apart[kind]))
    most = 0
    for first in lonely:
        chosen = {first}
        for kind in lonely:
            if chosen <= apart[kind] | {kind}:
                chosen.add(kind)
        most = max(most, sum(kinds[kind] if kind in apart[kind] else 1 for kind in chosen))
    return most


@dataclass(slots=True, order=True)
class _Open:
    """A sheet begun: `rest` height not yet in shelves, `long` its length, `shelves` (rest length, height)."""

    rest: int
    long: int
    shelves: list[tuple[int, int]]


def _first_fit(pieces: Sequence[Piece], sheets: Sequence[Sheet], way: Sheet, lying: bool) -> int:
    """Enough sheets: highest piece first onto the fullest shelf that takes it, lying or standing, by one way of sheet
    (pieces that fit it only otherwise: by another)."""
    chosen: list[tuple[int, int, Sheet]] = []
    for piece in pieces:
        lays = [(*lay, way) for lay in piece.lays(way)] or [(*lay, s) for s in sheets for lay in piece.lays(s)]
        chosen.append(min(lays) if lying else max(lays))
    begun: list[_Open] = []
    for high, long, sheet in sorted(chosen, key=lambda lay: (-lay[0], -lay[1])):
        shelved = ((o, s) for o in begun for s in o.shelves if long <= s[0] and high <= s[1])
        one, shelf = next(shelved, (None, (0, 0)))
        if one is not None:
            one.shelves.remove(shelf)
        else:
            one = next((o for o in begun if high <= o.rest and long <= o.long), None)
            if one is None:
                one = _Open(sheet.high, sheet.long, [])
                begun.append(one)
            one.rest -= high
            shelf = (one.long, high)
        one.shelves.append((shelf[0] - long, shelf[1]))
        one.shelves.sort()
        begun.sort()
    return len(begun)


_Node = tuple[str, Sheet, int, int]  # "stack" or "shelf" of a way of sheet, the next step, the length left
_Step = tuple[int, int, _Node | Piece]  # a size, how often it may be taken, the node or kind of piece each gives one to
_Arc = dict[_Node | Piece, int]  # what it brings to nodes (below 0: takes from one), and how many pieces of a kind


def _by_program(kinds: Counter[Piece], sheets: Sequence[Sheet], known: Nesting) -> Nesting:
    """The bounds drawn together by an integer program: how often each arc is used, every node giving what it gets."""
    arcs = _arcs(kinds, sheets)
    if len(arcs) > MOST_ARCS:
        return known
    import numpy as np
    from scipy.optimize import LinearConstraint, milp
    from scipy.sparse import csr_array

    row = {node: i for i, node in enumerate(dict.fromkeys(node for arc in arcs for node in arc))}
    rows, columns, values = np.array([(row[node], j, n) for j, arc in enumerate(arcs) for node, n in arc.items()]).T
    flows = csr_array((values, (rows, columns)), (len(row), len(arcs)))
    wanted = np.array([kinds[node] if isinstance(node, Piece) else 0 for node in row])
    begun = (np.arange(len(arcs)) < len(sheets)).astype(float)
    result = milp(
        begun, integrality=np.ones(len(arcs), dtype=np.int64), options={"time_limit": TIME_LIMIT},
        constraints=[LinearConstraint(flows, wanted, np.inf), LinearConstraint(begun, known.least, np.inf)],
    )  # fmt: skip
    least, enough = known.least, known.sheets
    if result.x is not None and (flows @ (times := np.rint(result.x).astype(int)) >= wanted).all():
        enough = min(enough, int(begun @ times))
    if result.mip_dual_bound is not None:
        least = max(least, math.ceil(result.mip_dual_bound - SAFE))
    return Nesting(enough, min(least, enough))


def _arcs(kinds: Counter[Piece], sheets: Sequence[Sheet]) -> list[_Arc]:
    """First one for each way to begin a sheet, then those of stacks and shelves, up to one more than `MOST_ARCS`.

    A stack takes shelves of one height after the other, the highest first, each as often as there are pieces for it. A
    shelf begins at the lays of its height and takes one lay after the other, as often as there are pieces of it.
    """
    arcs: list[_Arc] = [{("stack", sheet, 0, sheet.high): 1} for sheet in sheets]
    for sheet in sheets:
        lays = sorted(((*lay, kind) for kind in kinds for lay in kind.lays(sheet)), reverse=True)
        first = {high: at for at, (high, _, _) in reversed(list(enumerate(lays)))}
        most = Counter(high for high, _, kind in lays for _ in range(kinds[kind]))
        stack: list[_Step] = [(high, n, ("shelf", sheet, first[high], sheet.long)) for high, n in sorted(most.items())]
        shelf: list[_Step] = [(long, kinds[kind], kind) for _, long, kind in lays]
        ways = chain(_walk("stack", sheet, sheet.high, [0], stack[::-1]),
                     _walk("shelf", sheet, sheet.long, first.values(), shelf))  # fmt: skip
        arcs += islice(ways, MOST_ARCS + 1 - len(arcs))
    return arcs


def _walk(name: str, sheet: Sheet, room: int, begins: Iterable[int], steps: Sequence[_Step]) -> Iterator[_Arc]:
    """Every step from the nodes (step, length that can be filled) reached from those where one `begins`."""
    fills: list[Sequence[int]] = [[0]]  # what the steps from each on can fill: rooms that fill alike are one node
    for size, most, _ in reversed(steps):
        taken = range(0, min(room, most * size) + 1, size)
        few = len(fills[0]) <= MOST_ARCS
        fills.insert(0, sorted({a + b for a in fills[0] for b in taken if a + b <= room}) if few else range(room + 1))
    todo = [(at, room) for at in begins]
    reached = set(todo)
    while todo:
        at, left = todo.pop()
        size, most, gives = steps[at]
        for n in range(min(most, left // size) + 1):
            then = at + 1
            rest = fills[then][bisect_right(fills[then], left - n * size) - 1]
            while rest and steps[then][0] > rest:
                then += 1
            arc: _Arc = {(name, sheet, at, left): -1}
            if n:
                arc[gives] = n
            if rest:
                arc[name, sheet, then, rest] = 1
                if (then, rest) not in reached:
                    reached.add((then, rest))
                    todo.append((then, rest))
            if n or rest:
                yield arc


@dataclass(frozen=True, slots=True)
class Covering:
    """How a line's covering is cut: all in millimetres. `turn`: a strip may lie across the sheet."""

    length: Decimal
    width: Decimal
    overlap: Decimal
    clearance: Decimal  # at each edge; negative where the covering stands over
    turn: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """The covering of one shell, in millimetres: `length` around it over all its pieces, one overlap a joint."""

    drum: str
    length: Decimal
    width: Decimal
    joints: int

    @property
    def area(self) -> Decimal:
        """Square metres of covering."""
        return self.length * self.width / 1_000_000


def strip_of(drum: DrumTable, covering: Covering) -> Strip | str:
    """The strip that covers a shell: pi * D and an overlap a joint long, the depth less two clearances wide. Or why and
    by how much the sheet cannot give one."""
    width = drum.size.depth_mm - 2 * covering.clearance
    if width <= 0:
        return f"a clearance of {covering.clearance} mm at each edge leaves nothing to cover"
    whole = drum.size.circumference_mm + covering.overlap
    longest = _longest(width, covering)
    joints = 1 if longest is not None and whole <= longest else MOST_JOINTS
    length = drum.size.circumference_mm + joints * covering.overlap
    if longest is not None and length <= joints * longest:
        return Strip(drum.name, length, width, joints)
    said = f"its strip is {whole:.0f} x {width:.0f} mm, and "
    if longest is None:
        said += f"the sheet is {covering.length:.0f} x {covering.width:.0f}"
    else:
        said += f"two pieces of {longest:.0f} mm do not reach around it"
    along = "" if covering.turn else " (turn = false: strips lie along the sheet's first side)"
    return said + along


def piece_lengths(strip: Strip, covering: Covering, division: Division) -> tuple[Decimal, ...]:
    """The lengths of the pieces of a strip, in millimetres: a sheet's length and the rest, or halves, where two."""
    longest = _longest(strip.width, covering)
    if strip.joints == 1 or longest is None:  # a strip is only made where the sheet gives it
        return (strip.length,)
    if division == "equal halves":
        return (strip.length / MOST_JOINTS,) * MOST_JOINTS
    return (longest, strip.length - longest)


def nest(strips: Sequence[Strip], covering: Covering) -> Nesting:
    """The fewest whole sheets that give all the strips."""
    long, high = int(covering.length * MICROMETRES), int(covering.width * MICROMETRES)
    sheets = [Sheet(long, high), Sheet(high, long)] if covering.turn and long != high else [Sheet(long, high)]
    divisions: list[Division] = ["whole length", "equal halves"]
    nestings = []
    for division in divisions if any(s.joints > 1 for s in strips) else divisions[:1]:
        pieces = [
            Piece(math.ceil(length * MICROMETRES), math.ceil(strip.width * MICROMETRES), covering.turn)
            for strip in strips
            for length in piece_lengths(strip, covering, division)
        ]
        nestings.append(replace(fewest_sheets(pieces, sheets), division=division))
    best = min(nestings, key=lambda nesting: nesting.sheets)
    return replace(best, least=min(nesting.least for nesting in nestings))


def _longest(width: Decimal, covering: Covering) -> Decimal | None:
    """The longest piece of this width that a sheet gives; None where it gives none."""
    along = [covering.length] if width <= covering.width else []
    across = [covering.width] if covering.turn and width <= covering.length else []
    return max(along + across, default=None)
