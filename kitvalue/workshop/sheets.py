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

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal
from typing import Literal

from kitvalue.workshop.drums import Drum
from kitvalue.workshop.shelves import Piece, Sheet, fewest_sheets

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
