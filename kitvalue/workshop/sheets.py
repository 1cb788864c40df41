"""Strips of covering cut from whole sheets: how long and wide each is, and how few sheets hold them all.

Model: two-stage cutting. A sheet is cut into shelves along one of its sides, each shelf into strips side by side; no
strip is higher than its shelf. That is how covering is cut with a long straight edge, and the search is exact in it
(depth first over levels opened by their highest item: Lodi, Martello, Vigo 2004, "Models and bounds for two-dimensional
level packing problems", from memory). The order of strips and the equality of sheets are broken by symmetry rules.

A shell that a sheet is too short for is covered in two pieces, with one overlap a joint; a sheet too short for that is
too small. Two ways of dividing are tried for the whole line and the better kept: a whole sheet length with the rest
from another, and equal halves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal
from typing import Literal

from kitvalue.workshop.drums import Drum
from kitvalue.workshop.patterns import Lay, Way, sheets_by_patterns

NODE_LIMIT = 20_000  # about a second
MOST_SEARCHED = 80  # pieces, thirty strips and more; the search goes as deep as there are pieces


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


@dataclass(frozen=True, slots=True)
class Found:
    """`sheets` are enough and fewer than `least` never are."""

    sheets: int
    least: int


@dataclass(frozen=True, slots=True)
class _Slot:
    """One way to lay a kind of piece. `last`: its pieces have no later slot, so they must be laid now."""

    kind: int
    long: int
    high: int
    last: bool


@dataclass(frozen=True, slots=True, order=True)
class _Open:
    """A sheet begun: `rest` height not yet in shelves, `long` its length, `shelves` (rest length, height) sorted."""

    rest: int
    long: int
    shelves: tuple[tuple[int, int], ...]

    def free(self) -> int:
        """The area not yet laid."""
        return self.rest * self.long + sum(rest * high for rest, high in self.shelves)


_State = tuple[int, tuple[int, ...], tuple[_Open, ...]]


@dataclass(slots=True)
class _Search:
    """A depth-first search for a packing into `count` sheets."""

    slots: tuple[_Slot, ...]
    areas: tuple[int, ...]  # of one piece of each kind
    sheets: tuple[Sheet, ...]
    count: int
    nodes_left: int
    seen: set[_State] = field(default_factory=set)


def fewest_sheets(pieces: Sequence[Piece], sheets: Sequence[Sheet], node_limit: int = NODE_LIMIT) -> Found:
    """The fewest sheets for the pieces; `sheets` are the ways one and the same sheet may be shelved.

    Every piece must fit a sheet in some way. The bounds meet unless the search came to its limit of nodes.
    """
    if not pieces:
        return Found(0, 0)
    kinds = Counter(pieces)
    slots = _slots(tuple(kinds), sheets)
    areas = tuple(k.long * k.high for k in kinds)
    least = _lower_bound(pieces, sheets)
    enough = _first_fit(kinds, sheets)
    nodes_left = 0
    if least < enough and len(pieces) <= MOST_SEARCHED:
        nodes_left = node_limit
        found = sheets_by_patterns(_ways(tuple(kinds), sheets), tuple(kinds.values()))
        if found is not None:
            least, enough = max(least, found.least), min(enough, found.sheets)
    while least < enough and nodes_left > 0:
        search = _Search(slots, areas, tuple(sheets), least, nodes_left)
        fits = _fits(search, 0, tuple(kinds.values()), ())
        nodes_left = search.nodes_left
        if fits or nodes_left <= 0:
            return Found(least if fits else enough, least)
        least += 1
    return Found(enough, least)


def _ways(kinds: Sequence[Piece], sheets: Sequence[Sheet]) -> list[Way]:
    """Each way to shelve the sheet with the lays that fit it."""
    return [
        Way(sheet.long, sheet.high, tuple(sorted(Lay(h, w, i) for i, kind in enumerate(kinds) for h, w in _lays_of(kind)
                                                 if h <= sheet.high and w <= sheet.long)))
        for sheet in sheets
    ]  # fmt: skip


def _lays_of(kind: Piece) -> set[tuple[int, int]]:
    """The (height, length) of a kind lying, and standing where it may."""
    return {(kind.high, kind.long)} | ({(kind.long, kind.high)} if kind.turn else set())


def _slots(kinds: Sequence[Piece], sheets: Sequence[Sheet]) -> tuple[_Slot, ...]:
    """Every way to lay every kind that some sheet allows, highest first: the first in a shelf then sets its height."""
    ways: list[tuple[int, int, int]] = []
    for i, kind in enumerate(kinds):
        ways += [(h, w, i) for h, w in _lays_of(kind) if any(h <= s.high and w <= s.long for s in sheets)]
    ways.sort(reverse=True)
    last = {i: at for at, (_, _, i) in enumerate(ways)}
    return tuple(_Slot(i, w, h, last[i] == at) for at, (h, w, i) in enumerate(ways))


def _lower_bound(pieces: Sequence[Piece], sheets: Sequence[Sheet]) -> int:
    area = sum(p.long * p.high for p in pieces)
    by_area = -(-area // (sheets[0].long * sheets[0].high))
    bounds = [1, by_area, _too_large_to_share(pieces, sheets[0])]
    if not any(p.turn for p in pieces):
        line = [(p.long, p.high) for p in sorted(pieces, key=lambda p: -p.high)]
        bounds.append(-(-_shelf_heights(line, sheets[0].long) // sheets[0].high))
    return max(bounds)


def _too_large_to_share(pieces: Sequence[Piece], sheet: Sheet) -> int:
    """Pieces of which no two share a sheet: two on one sheet are apart along it or across it."""
    if any(p.turn for p in pieces):
        return sum(1 for p in pieces if 2 * min(p.long, p.high) > max(sheet.long, sheet.high))
    return sum(1 for p in pieces if 2 * p.long > sheet.long and 2 * p.high > sheet.high)


def _shelf_heights(line: Iterable[tuple[int, int]], long: int, on_shelves: int = 0) -> int:
    """A height that the new shelves of all sheets together cannot undercut, for pieces that do not turn.

    `line` holds (length, height) of the pieces, highest first, laid in one line; `on_shelves` is the length still free
    on shelves begun. These and the j highest new shelves hold `on_shelves` and j sheets' lengths at most, so the next
    shelf is as high as the piece that the line has reached there.
    """
    total = reached = 0
    held = on_shelves
    for piece_long, high in line:
        reached += piece_long
        while reached > held:
            total += high
            held += long
    return total


def _first_fit(kinds: Counter[Piece], sheets: Sequence[Sheet]) -> int:
    """Enough sheets: highest piece first onto the first shelf that takes it, lying or standing, by one way of sheet."""
    counts = [_first_fit_with(kinds, sheets, way, lying) for way in sheets for lying in (True, False)]
    return min(counts)


def _first_fit_with(kinds: Counter[Piece], sheets: Sequence[Sheet], way: Sheet, lying: bool) -> int:
    chosen: list[tuple[_Slot, Sheet]] = []
    for kind, count in kinds.items():
        fitting = [(h, w, s) for s in (way, *sheets) for h, w in sorted(_lays_of(kind)) if h <= s.high and w <= s.long]
        own = [lay for lay in fitting if lay[2] == way] or fitting
        high, long, sheet = min(own) if lying else max(own)
        chosen += [(_Slot(0, long, high, True), sheet)] * count
    opened: tuple[_Open, ...] = ()
    for slot, sheet in sorted(chosen, key=lambda c: (-c[0].high, -c[0].long)):
        opened = _lays(slot, opened, (sheet,))[0]
    return len(opened)


def _fits(search: _Search, at: int, todo: tuple[int, ...], opened: tuple[_Open, ...]) -> bool:
    """Whether the pieces `todo` (a count by kind) can be laid with the slots from `at` on."""
    if not any(todo):
        return True
    search.nodes_left -= 1
    if search.nodes_left <= 0 or _too_little_room(search, todo, opened):
        return False
    state = (at, todo, opened)
    if state in search.seen:
        return False
    search.seen.add(state)
    slot = search.slots[at]
    if todo[slot.kind] == 0:
        return _fits(search, at + 1, todo, opened)
    rest = (*todo[: slot.kind], todo[slot.kind] - 1, *todo[slot.kind + 1 :])
    more = search.sheets if len(opened) < search.count else ()
    if any(_fits(search, at, rest, after) for after in _lays(slot, opened, more)):
        return True
    return not slot.last and _fits(search, at + 1, todo, opened)


def _too_little_room(search: _Search, todo: tuple[int, ...], opened: tuple[_Open, ...]) -> bool:
    sheet, new = search.sheets[0], search.count - len(opened)
    free = sum(o.free() for o in opened) + new * sheet.long * sheet.high
    if sum(count * area for count, area in zip(todo, search.areas, strict=True)) > free:
        return True
    if len(search.sheets) > 1 or len(search.slots) > len(todo):  # heights along the shelves are not settled
        return False
    on_shelves = sum(rest for o in opened for rest, _ in o.shelves)
    height = sum(o.rest for o in opened) + new * sheet.high
    line = ((slot.long, slot.high) for slot in search.slots for _ in range(todo[slot.kind]))
    return _shelf_heights(line, sheet.long, on_shelves) > height


def _lays(slot: _Slot, opened: tuple[_Open, ...], more: Sequence[Sheet]) -> list[tuple[_Open, ...]]:
    """Every state after laying the slot: on a shelf, as a new shelf, or on a new sheet of one of the ways `more`.

    Equal sheets and equal shelves are tried once. Shelves come first: they use no further height.
    """
    shelved: list[tuple[_Open, ...]] = []
    begun: list[tuple[_Open, ...]] = []
    for i, sheet in enumerate(opened):
        if i and opened[i - 1] == sheet:
            continue
        others = opened[:i] + opened[i + 1 :]
        shelved += [_sorted(others, after) for after in _on_shelf(slot, sheet)]
        if slot.high <= sheet.rest and slot.long <= sheet.long:
            shelves = tuple(sorted((*sheet.shelves, (sheet.long - slot.long, slot.high))))
            begun.append(_sorted(others, _Open(sheet.rest - slot.high, sheet.long, shelves)))
    fresh = [_sorted(opened, _begin(slot, s)) for s in more if slot.long <= s.long and slot.high <= s.high]
    return shelved + begun + fresh


def _on_shelf(slot: _Slot, sheet: _Open) -> list[_Open]:
    after = []
    for shelf in dict.fromkeys(sheet.shelves):
        if slot.long <= shelf[0] and slot.high <= shelf[1]:
            shelves = list(sheet.shelves)
            shelves.remove(shelf)
            shelves.append((shelf[0] - slot.long, shelf[1]))
            after.append(_Open(sheet.rest, sheet.long, tuple(sorted(shelves))))
    return after


def _begin(slot: _Slot, sheet: Sheet) -> _Open:
    return _Open(sheet.high - slot.high, sheet.long, ((sheet.long - slot.long, slot.high),))


def _sorted(others: tuple[_Open, ...], one: _Open) -> tuple[_Open, ...]:
    return tuple(sorted((*others, one)))


Division = Literal["whole length", "equal halves"]
MOST_JOINTS = 2  # a third seam would show (common practice, no source)
MICROMETRES = Decimal(1000)  # a millimetre's; the search runs on whole numbers


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


@dataclass(frozen=True, slots=True)
class Nesting:
    """How many sheets are bought. `least` is the proven lower bound: equal to `sheets` where that is proven fewest.

    `division` is how strips of two pieces are divided for that many.
    """

    sheets: int
    least: int
    division: Division = field(default="whole length", compare=False)

    @property
    def proven(self) -> bool:
        """No cutting of this model needs fewer."""
        return self.sheets == self.least


@dataclass(frozen=True, slots=True)
class TooSmall:
    """The sheet cannot give a strip of a drum: `reason` says by how much."""

    drum: str
    reason: str


def strip_of(drum: Drum, covering: Covering) -> Strip | TooSmall:
    """The strip that covers a shell: pi * D and an overlap a joint long, the depth less two clearances wide."""
    width = drum.depth - 2 * covering.clearance
    if width <= 0:
        return TooSmall(drum.name, f"a clearance of {covering.clearance} mm at each edge leaves nothing to cover")
    whole = drum.circumference + covering.overlap
    longest = _longest(width, covering)
    if longest is None:
        sheet = f"the sheet is {_mm(covering.length)} x {_mm(covering.width)}{_direction(covering)}"
        return TooSmall(drum.name, f"its strip is {_mm(whole)} x {_mm(width)} mm, and {sheet}")
    joints = 1 if whole <= longest else MOST_JOINTS
    length = drum.circumference + joints * covering.overlap
    if length > joints * longest:
        return TooSmall(
            drum.name,
            f"its strip is {_mm(whole)} x {_mm(width)} mm, and two pieces of {_mm(longest)} mm do not reach around it"
            f"{_direction(covering)}",
        )
    return Strip(drum.name, length, width, joints)


def piece_lengths(strip: Strip, covering: Covering, division: Division) -> tuple[Decimal, ...]:
    """The lengths of the pieces of a strip, in millimetres: a sheet's length and the rest, or halves, where two."""
    return tuple(_lengths(strip, covering, division))


def nest(strips: Sequence[Strip], covering: Covering) -> Nesting:
    """The fewest whole sheets that give all the strips."""
    sheets = _sheets(covering)
    found = {way: fewest_sheets(_pieces(strips, covering, way), sheets) for way in _divisions(strips)}
    best = min(found, key=lambda way: found[way].sheets)
    return Nesting(found[best].sheets, min(f.least for f in found.values()), best)


def _divisions(strips: Sequence[Strip]) -> tuple[Division, ...]:
    return ("whole length", "equal halves") if any(s.joints > 1 for s in strips) else ("whole length",)


def _direction(covering: Covering) -> str:
    return "" if covering.turn else " (turn = false: strips lie along the sheet's first side)"


def _sheets(covering: Covering) -> tuple[Sheet, ...]:
    along = Sheet(_floor(covering.length), _floor(covering.width))
    return (along, Sheet(along.high, along.long)) if covering.turn and along.long != along.high else (along,)


def _pieces(strips: Sequence[Strip], covering: Covering, division: Division) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    for strip in strips:
        high = _ceil(strip.width)
        pieces += [Piece(_ceil(length), high, covering.turn) for length in _lengths(strip, covering, division)]
    return tuple(pieces)


def _lengths(strip: Strip, covering: Covering, division: Division) -> list[Decimal]:
    if strip.joints == 1:
        return [strip.length]
    if division == "equal halves":
        return [strip.length / strip.joints] * strip.joints
    longest = _longest(strip.width, covering)
    assert longest is not None  # noqa: S101 - a Strip is only made where the sheet gives it
    return [longest, strip.length - longest]


def _longest(width: Decimal, covering: Covering) -> Decimal | None:
    """The longest piece of this width that a sheet gives; None where it gives none."""
    along = [covering.length] if width <= covering.width else []
    across = [covering.width] if covering.turn and width <= covering.length else []
    return max(along + across, default=None)


def _ceil(mm: Decimal) -> int:
    return int((mm * MICROMETRES).to_integral_value(rounding=ROUND_CEILING))


def _floor(mm: Decimal) -> int:
    return int(mm * MICROMETRES)


def _mm(length: Decimal) -> str:
    return f"{length.quantize(Decimal(1)):f}"
