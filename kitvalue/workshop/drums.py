"""The drums of a build: sizes read, and what follows from them (areas, circumference, edges, rods).

1 inch is 25.4 mm exactly. A shell is taken as a cylinder of its nominal size; its inside counts as its outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.settings.plan import DrumTable, Plan, Role, VatWord
from kitvalue.intake.settings.shop import SizeOrder
from kitvalue.intake.text.problems import shown
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal
from kitvalue.workshop.money import plan_problem, refuse

PI = Decimal("3.14159265358979323846264338")
MM2_PER_M2 = Decimal(1_000_000)
SIZE_CURE = 'write diameter and depth in inches, such as "22x16"'
NEW = "new"  # the source of a drum that no donor gives


@dataclass(frozen=True, slots=True)
class Drum:
    """One drum of the build. `source` is a donor's id or "new"; `positions` are tension points a head."""

    id: str | None
    role: Role
    size: Size  # inches
    source: str
    positions: int
    heads: int
    holes: int
    price: Decimal | None  # of a new shell, money
    vat: VatWord

    @property
    def diameter(self) -> Decimal:
        """Millimetres."""
        return self.size.diameter_mm

    @property
    def depth(self) -> Decimal:
        """Millimetres."""
        return self.size.depth_mm

    @property
    def circumference(self) -> Decimal:
        """Millimetres."""
        return PI * self.diameter

    @property
    def area(self) -> Decimal:
        """The shell's outside, square metres."""
        return self.circumference * self.depth / MM2_PER_M2

    @property
    def rods(self) -> int:
        """Tension rods: one a position and head."""
        return self.positions * self.heads

    @property
    def name(self) -> str:
        """`22x16 bass`."""
        return f"{_plain(self.size.diameter)}x{_plain(self.size.depth)} {self.role}"

    def answers_to(self, words: Sequence[str]) -> bool:
        """Whether `only` or `except` means this drum: by role, donor, "new" or its own id."""
        return any(word in (self.role, self.source, self.id) for word in words)


def drums_of(plan: Plan, order: SizeOrder) -> tuple[Drum, ...]:
    """The plan's drums in its order. Raises FileError with a problem for each size that cannot be read."""
    sizes = [read_size(table.size, order) for table in plan.drum]
    refuse(
        [
            plan_problem(plan.name, f"drum {i}.size", size.code, size.message(shown(table.size), SIZE_CURE), table.size)
            for i, (table, size) in enumerate(zip(plan.drum, sizes, strict=True), start=1)
            if isinstance(size, Refusal)
        ]
    )
    read = [size for size in sizes if not isinstance(size, Refusal)]
    return tuple(_drum(table, size) for table, size in zip(plan.drum, read, strict=True))


def _drum(table: DrumTable, size: Size) -> Drum:
    return Drum(
        id=table.id,
        role=table.role,
        size=size,
        source=table.from_,
        positions=table.positions,
        heads=table.heads,
        holes=table.holes,
        price=table.price,
        vat=table.vat or "excluded",
    )


def _plain(inches: Decimal) -> str:
    return f"{inches.normalize():f}"
