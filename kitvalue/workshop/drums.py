"""The drums of a build: sizes read, and what follows from them (areas, circumference, edges, rods).

1 inch is 25.4 mm exactly. A shell is taken as a cylinder of its nominal size; its inside counts as its outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.settings.plan import Plan, Role, VatWord
from kitvalue.intake.text.sizes import Size, size_text

PI = Decimal("3.14159265358979323846264338")
MM2_PER_M2 = Decimal(1_000_000)
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
        return f"{size_text(self.size)} {self.role}"

    def answers_to(self, words: Sequence[str]) -> bool:
        """Whether `only` or `except` means this drum: by role, donor, "new" or its own id."""
        return any(word in (self.role, self.source, self.id) for word in words)


def drums_of(plan: Plan) -> tuple[Drum, ...]:
    """The plan's drums in its order."""
    return tuple(
        Drum(d.id, d.role, d.size, d.from_, d.positions, d.heads, d.holes, d.price, d.vat or "excluded")
        for d in plan.drum
    )
