"""How much of each line a build needs, the buying list, and the strips to cut.

A hoop holds a head and a bearing edge carries one: a drum with one head has one of each (common practice, no source).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.settings.plan import NEW, DrumTable, LineTable, PartLine, WorkLine
from kitvalue.intake.settings.plancells import Per, Role, Sheet
from kitvalue.intake.text.problems import shown
from kitvalue.intake.text.sizes import MM_PER_INCH, PI, size_text
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.sheets import Covering, Nesting, Strip, nest, piece_lengths, strip_of

UNITS: dict[Per, str] = {"m2_outside": "m2", "m2_inside": "m2"}
COVER_HOOP = "cover_hoop"  # the operation
HEAD_WORDS: dict[Role, tuple[str, str]] = {  # the struck head of a drum, and its other one
    "bass": ("bass batter", "bass front"), "snare": ("snare batter", "snare side"),
    "rack": ("batter", "resonant"), "floor": ("batter", "resonant"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cutting:
    """One strip of covering to cut; `pieces` are its lengths in millimetres, one or two."""

    what: str
    strip: Strip
    pieces: tuple[Decimal, ...]


@dataclass(frozen=True, slots=True)
class Counted:
    """How much of a line is needed. `nesting` and `cuttings` are there for whole sheets."""

    quantity: Decimal
    unit: str
    nesting: Nesting | None = None
    cuttings: tuple[Cutting, ...] = ()


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the buying list."""

    what: str
    quantity: Decimal
    unit: str
    note: str = ""


def count(line: LineTable, drums: Sequence[DrumTable]) -> Counted | str:
    """The quantity of a line by its `per`, or why its sheets cannot be told.

    A line per kit, hour or each is whole as long as one of its drums is built, and 0 where none is.
    """
    meant = line.chosen(drums)
    if isinstance(line, PartLine) and line.per == "sheet" and line.sheet is not None:
        return _count_sheets(line, line.sheet, meant)
    if line.per in ("each", "hour", "kit"):
        quantity = (line.quantity or Decimal(1)) if meant else ZERO
    else:
        quantity = sum((_of_drum(line.per, drum) for drum in meant), ZERO)
    return Counted(quantity, UNITS.get(line.per, line.per))


def _of_drum(per: Per, drum: DrumTable) -> Decimal:
    heads, rods, area = drum.heads, drum.rods, drum.size.area_m2
    numbers: dict[Per, Decimal | int] = {
        "drum": 1, "shell": 1, "edge": heads, "hoop": heads, "head": heads, "position": rods, "rod": rods,
        "claw": rods if drum.role == "bass" else 0, "hole": drum.holes, "m2_outside": area, "m2_inside": area,
    }  # fmt: skip
    return Decimal(numbers[per])


def _count_sheets(line: PartLine, sheet: Sheet, drums: Sequence[DrumTable]) -> Counted | str:
    if sheet.length <= 0 or sheet.width <= 0:
        return f"{shown(str(sheet))}: both sides must be above 0 mm"
    covering = Covering(sheet.length, sheet.width, line.overlap, line.clearance, line.turn)
    made = [(drum.name, strip_of(drum, covering)) for drum in drums]
    small = [(name, reason) for name, reason in made if isinstance(reason, str)]
    if small:
        others = len(small) - 1
        more = f"; so it is for {others} other drum{'s' if others > 1 else ''}" if others else ""
        return f"the sheet is too small for the {small[0][0]}: {small[0][1]}{more}"
    strips = [strip for _, strip in made if isinstance(strip, Strip)]
    nesting = nest(strips, covering)
    cuttings = tuple(Cutting(line.what, s, piece_lengths(s, covering, nesting.division)) for s in strips)
    return Counted(Decimal(nesting.sheets), "sheet", nesting, cuttings)


def sheet_note(nesting: Nesting) -> str:
    """Whether the number of sheets is proven the fewest that cutting in shelves can do with."""
    said = "proven fewest" if nesting.proven else f"not proven fewest: {nesting.least} at least"
    return f"{said}, cut in shelves"


def buying_list(drums: Sequence[DrumTable], work: Sequence[WorkLine] = ()) -> tuple[Quantity, ...]:
    """What the drums need whatever the lines say: heads by diameter, rods, claws, hoops, edges, holes, areas; and
    strips for the hoops that a line of `work` covers."""
    rods, hoops = Counter[str](), Counter[Decimal]()  # rods by drum: their length goes with it
    heads: dict[Decimal, Counter[str]] = {}  # by diameter, what they are for
    for drum in drums:
        rods[drum.name] += drum.rods
        kinds, (batter, other) = heads.setdefault(drum.size.diameter, Counter()), HEAD_WORDS[drum.role]
        kinds[batter] += 1
        kinds[other] += drum.heads - 1
    for drum in {id(d): d for line in work if line.operation == COVER_HOOP for d in line.chosen(drums)}.values():
        hoops[drum.size.diameter] += drum.heads
    totals: tuple[tuple[str, Per, str], ...] = (
        ("Tension rods", "rod", ", ".join(f"{n} for {name}" for name, n in rods.items()) if len(drums) > 1 else ""),
        ("Claws", "claw", "bass drum"), ("Hoops", "hoop", ""), ("Bearing edges", "edge", ""), ("Holes", "hole", ""),
        ("Shells", "shell", ""), ("Shell area, one side", "m2_outside", ""),
    )  # fmt: skip
    new = Counter(d.name for d in drums if d.from_ == NEW)
    cut = Counter((d.name, d.cut_from) for d in drums if d.cut_from is not None)
    rows = [
        *(
            Quantity(f'Heads {d.normalize():f}"', Decimal(kinds.total()), "head",
                     ", ".join(f"{n} {kind}" for kind, n in kinds.items() if n))
            for d, kinds in sorted(heads.items(), reverse=True)
        ),
        *(
            Quantity(what, sum((_of_drum(per, d) for d in drums), ZERO), UNITS.get(per, per), note)
            for what, per, note in totals
        ),
        *(
            Quantity(f'Hoops to cover {d.normalize():f}"', Decimal(n), "hoop",
                     f"each a strip of {PI * d * MM_PER_INCH:.0f} mm and its overlap")
            for d, n in sorted(hoops.items(), reverse=True)
        ),
        *(Quantity(f"New shell {name}", Decimal(n), "shell") for name, n in new.items()),
        *(Quantity(f"Shell of {size_text(old)} to cut down", Decimal(n), "shell", f"for the {name}")
          for (name, old), n in cut.items()),
    ]  # fmt: skip
    return tuple(row for row in rows if row.quantity > 0)
