"""How much of each line a build needs, the buying list, and the strips to cut.

A hoop holds a head and a bearing edge carries one: a drum with one head has one of each (common practice, no source).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.settings.plan import LineTable, PartLine, Per, Plan, Role
from kitvalue.intake.text.problems import shown
from kitvalue.intake.text.sizes import MM_PER_INCH
from kitvalue.workshop.drums import NEW, PI, Drum
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.sheets import Covering, Division, Nesting, Strip, TooSmall, nest, piece_lengths, strip_of

UNITS: dict[Per, str] = {"m2_outside": "m2", "m2_inside": "m2"}
COVER_HOOP = "cover_hoop"  # the operation
HEAD_WORDS: dict[Role, tuple[str, str]] = {  # the struck head of a drum, and its other one
    "bass": ("bass batter", "bass front"), "snare": ("snare batter", "snare side"),
    "rack": ("batter", "resonant"), "floor": ("batter", "resonant"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cutting:
    """One strip of covering to cut: millimetres and, of `area`, square metres. `pieces` are its lengths, one or two."""

    what: str
    drum: str
    length: Decimal
    width: Decimal
    pieces: tuple[Decimal, ...]
    area: Decimal


@dataclass(frozen=True, slots=True)
class Counted:
    """How much of a line is needed. `nesting` and `cuttings` are there for whole sheets."""

    quantity: Decimal
    unit: str
    nesting: Nesting | None = None
    cuttings: tuple[Cutting, ...] = ()


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
        case "edge" | "hoop" | "head":
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
    if line.sheet is None:
        return NotCounted("sheet", 'a line per = "sheet" needs a sheet such as "1370x610" (mm), and none is given')
    if line.sheet.length <= 0 or line.sheet.width <= 0:
        return NotCounted("sheet", f"{shown(str(line.sheet))}: both sides must be above 0 mm")
    covering = Covering(line.sheet.length, line.sheet.width, line.overlap, line.clearance, line.turn)
    made = [strip_of(drum, covering) for drum in drums]
    small = [one for one in made if isinstance(one, TooSmall)]
    if small:
        return NotCounted("sheet", _too_small(small))
    strips = [one for one in made if not isinstance(one, TooSmall)]
    nesting = nest(strips, covering)
    return Counted(
        Decimal(nesting.sheets),
        "sheet",
        nesting,
        tuple(_cutting(line.what, s, covering, nesting.division) for s in strips),
    )


def _too_small(small: Sequence[TooSmall]) -> str:
    """The first drum that the sheet is too small for, why, and for how many more it is."""
    others = len(small) - 1
    more = f"; so it is for {others} other drum{'s' if others > 1 else ''}" if others else ""
    return f"the sheet is too small for the {small[0].drum}: {small[0].reason}{more}"


def _cutting(what: str, strip: Strip, covering: Covering, division: Division) -> Cutting:
    return Cutting(what, strip.drum, strip.length, strip.width, piece_lengths(strip, covering, division), strip.area)


def sheet_note(nesting: Nesting) -> str:
    """Whether the number of sheets is proven the fewest that cutting in shelves can do with."""
    if nesting.proven:
        return "proven fewest, cut in shelves"
    return f"not proven fewest: {nesting.least} at least, cut in shelves"


def buying_list(drums: Sequence[Drum], covered: Sequence[Drum] = ()) -> tuple[Quantity, ...]:
    """What the drums need whatever the lines say: heads by diameter, rods, claws, hoops, edges, holes, areas.

    `covered` are the drums whose wooden hoops the plan has covered.
    """
    rows = [*_heads(drums)]
    totals: tuple[tuple[str, Per], ...] = (
        ("Tension rods", "rod"), ("Claws", "claw"), ("Hoops", "hoop"), ("Bearing edges", "edge"),
        ("Holes", "hole"), ("Shells", "shell"), ("Shell area, one side", "m2_outside"),
    )  # fmt: skip
    rows += [
        Quantity(what, sum((_of_drum(per, d) for d in drums), ZERO), UNITS.get(per, per), _note(per, drums))
        for what, per in totals
    ]
    rows += _covered_hoops(covered)
    new = Counter(d.name for d in drums if d.source == NEW)
    rows += [Quantity(f"New shell {name}", Decimal(n), "shell") for name, n in new.items()]
    return tuple(row for row in rows if row.quantity > 0)


def covered_drums(plan: Plan, drums: Sequence[Drum]) -> tuple[Drum, ...]:
    """The drums of which a line of work covers the hoops."""
    lines = [line for line in plan.work if line.operation == COVER_HOOP]
    meant = {id(drum) for line in lines for drum in chosen_drums(line, drums)}
    return tuple(drum for drum in drums if id(drum) in meant)


def _heads(drums: Sequence[Drum]) -> list[Quantity]:
    """Heads by diameter, largest first, with what each is for."""
    kinds: dict[Decimal, Counter[str]] = {}
    for drum in drums:
        count = kinds.setdefault(drum.size.diameter, Counter())
        batter, other = HEAD_WORDS[drum.role]
        count[batter] += 1
        count[other] += drum.heads - 1
    return [
        Quantity(
            f'Heads {diameter.normalize():f}"', Decimal(count.total()), "head",
            ", ".join(f"{n} {kind}" for kind, n in count.items() if n),
        )
        for diameter, count in sorted(kinds.items(), reverse=True)
    ]  # fmt: skip


def _note(per: Per, drums: Sequence[Drum]) -> str:
    """Rods by drum, since their length goes with it; whose claws."""
    if per == "rod" and len(drums) > 1:
        by_drum = Counter[str]()
        for drum in drums:
            by_drum[drum.name] += drum.rods
        return ", ".join(f"{n} for {name}" for name, n in by_drum.items())
    return "bass drum" if per == "claw" else ""


def _covered_hoops(drums: Sequence[Drum]) -> list[Quantity]:
    by_size = Counter[Decimal]()
    for drum in drums:
        by_size[drum.size.diameter] += drum.heads
    around = {d: (PI * d * MM_PER_INCH).quantize(Decimal(1)) for d in by_size}
    return [
        Quantity(
            f'Hoops to cover {d.normalize():f}"', Decimal(n), "hoop", f"each a strip of {around[d]} mm and its overlap"
        )
        for d, n in sorted(by_size.items(), reverse=True)
    ]
