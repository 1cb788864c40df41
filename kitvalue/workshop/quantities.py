"""How much of each line a build needs, and the buying list."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.plan import LineTable, PartLine, Per
from kitvalue.intake.problems import shown
from kitvalue.workshop.drums import NEW, Drum
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.sheets import Covering, Nesting, TooSmall, nest, strip_of

SHEET = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", re.IGNORECASE)
UNITS: dict[Per, str] = {"m2_outside": "m2", "m2_inside": "m2"}


@dataclass(frozen=True, slots=True)
class Counted:
    """How much of a line is needed. `nesting` is there for whole sheets."""

    quantity: Decimal
    unit: str
    nesting: Nesting | None = None


@dataclass(frozen=True, slots=True)
class NotCounted:
    """Why a line's quantity cannot be told: the key to change and the reason."""

    key: str
    reason: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the buying list."""

    what: str
    quantity: Decimal
    unit: str
    note: str = ""


def chosen_drums(line: LineTable, drums: Sequence[Drum]) -> tuple[Drum, ...]:
    """The drums that a line is for: those `only` names (all where it names none) less those `except` names."""
    meant = [d for d in drums if not line.only or d.answers_to(line.only)]
    return tuple(d for d in meant if not d.answers_to(line.except_))


def count(line: LineTable, drums: Sequence[Drum]) -> Counted | NotCounted:
    """The quantity of a line by its `per`.

    A line per kit, hour or each is whole as long as one of its drums is built, and 0 where none is.
    """
    meant = chosen_drums(line, drums)
    unit = UNITS.get(line.per, line.per)
    if line.per in ("each", "hour"):
        if line.quantity is None:
            return NotCounted("quantity", f'a line per = "{line.per}" must say quantity')
        return Counted(line.quantity if meant else ZERO, unit)
    if line.quantity is not None:
        return NotCounted("quantity", f'quantity goes with per = "each" or "hour" only; per = "{line.per}" counts')
    if line.per == "kit":
        return Counted(Decimal(1 if meant else 0), unit)
    if line.per == "sheet":
        return _count_sheets(line, meant)
    return Counted(sum((_of_drum(line.per, drum) for drum in meant), ZERO), unit)


def _of_drum(per: Per, drum: Drum) -> Decimal:
    match per:
        case "drum" | "shell":
            return Decimal(1)
        case "edge" | "hoop":
            return Decimal(2)
        case "head":
            return Decimal(drum.heads)
        case "position" | "rod":
            return Decimal(drum.rods)
        case "claw":
            return Decimal(drum.rods if drum.role == "bass" else 0)
        case "hole":
            return Decimal(drum.holes)
        case "m2_outside" | "m2_inside":
            return drum.area
        case _:
            raise AssertionError(f"{per} is not counted by the drum")


def _count_sheets(line: LineTable, drums: Sequence[Drum]) -> Counted | NotCounted:
    if not isinstance(line, PartLine):
        return NotCounted("per", 'per = "sheet" goes with [[part]] only')
    read = SHEET.fullmatch(line.sheet or "")
    if read is None:
        found = f"{shown(line.sheet)} is not one" if line.sheet is not None else "none is given"
        return NotCounted("sheet", f'a line per = "sheet" needs a sheet such as "1370x610" (mm), and {found}')
    length, width = Decimal(read[1]), Decimal(read[2])
    if length <= 0 or width <= 0:
        return NotCounted("sheet", f"{shown(line.sheet or '')}: both sides must be above 0 mm")
    covering = Covering(length, width, line.overlap, line.clearance, line.turn)
    strips = [strip_of(drum, covering) for drum in drums]
    too_small = [s for s in strips if isinstance(s, TooSmall)]
    if too_small:
        return NotCounted("sheet", "; ".join(s.reason for s in too_small))
    nesting = nest([s for s in strips if not isinstance(s, TooSmall)], covering)
    return Counted(Decimal(nesting.sheets), "sheet", nesting)


def sheet_note(nesting: Nesting) -> str:
    """Whether the number of sheets is proven the fewest that cutting in shelves can do with."""
    if nesting.proven:
        return "proven fewest, cut in shelves"
    return f"not proven fewest: {nesting.least} at least, cut in shelves"


def buying_list(drums: Sequence[Drum]) -> tuple[Quantity, ...]:
    """What the drums need whatever the lines say: heads by diameter, rods, claws, hoops, edges, holes, areas."""
    heads = Counter[Decimal]()
    for drum in drums:
        heads[drum.size.diameter] += drum.heads
    rows = [Quantity(f'Heads {d.normalize():f}"', Decimal(n), "head") for d, n in sorted(heads.items(), reverse=True)]
    totals: tuple[tuple[str, Per], ...] = (
        ("Tension rods", "rod"), ("Claws", "claw"), ("Hoops", "hoop"), ("Bearing edges", "edge"),
        ("Holes", "hole"), ("Shells", "shell"), ("Shell area, one side", "m2_outside"),
    )  # fmt: skip
    rows += [Quantity(w, sum((_of_drum(p, d) for d in drums), ZERO), UNITS.get(p, p)) for w, p in totals]
    new = Counter(d.name for d in drums if d.source == NEW)
    rows += [Quantity(f"New shell {name}", Decimal(n), "shell") for name, n in new.items()]
    return tuple(row for row in rows if row.quantity > 0)
