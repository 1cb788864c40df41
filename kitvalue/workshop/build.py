"""A plan taken apart for costing: which drums are built, which donors that needs, and every charge of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.plan import DonorTable, Plan, SurplusTable
from kitvalue.intake.problems import Problem, shown
from kitvalue.intake.shop import SizeOrder, WorkTable
from kitvalue.workshop.charges import Charge, Group, Lever, Stated
from kitvalue.workshop.drums import NEW, Drum, drums_of
from kitvalue.workshop.faults import plan_problem, refuse
from kitvalue.workshop.labour import work_charges
from kitvalue.workshop.money import money_text
from kitvalue.workshop.quantities import Cutting, NotCounted, Quantity, buying_list, count, covered_drums, sheet_note


@dataclass(frozen=True, slots=True)
class Build:
    """What is built and what it is charged with. `notes` say which leftover drums are not credited."""

    plan: Plan
    drums: tuple[Drum, ...]
    donors: tuple[DonorTable, ...]
    surplus: tuple[SurplusTable, ...]
    charges: tuple[Charge, ...]
    quantities: tuple[Quantity, ...]
    cuttings: tuple[Cutting, ...]
    unknown: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def hours(self) -> Decimal:
        """Hours of the shop's own labour."""
        return sum((c.quantity for c in self.charges if c.group is Group.WORK), Decimal(0))


def build_of(plan: Plan, order: SizeOrder, work: WorkTable | None, pieces: int | None = None) -> Build:
    """The build of a plan's first `pieces` drums as written, all where None.

    A donor all of whose drums in the plan are cut goes, with its freight and surplus. The plan is taken as the reader
    of plans leaves it, its tables fitting together. Raises FileError with a problem for every fault beyond that: a
    sheet too small for a strip, hours or the hourly rate missing in shop.toml.
    """
    every = drums_of(plan, order)
    drums = every[:pieces] if pieces is not None else every
    donors = _donors_needed(plan, every, drums)
    kept = {donor.id for donor in donors}
    surplus = tuple(s for s in plan.surplus if s.from_ in kept)
    labour, faults = work_charges(plan, work, drums)
    parts = _part_charges(plan, drums)
    refuse([*_unknown_sources(plan), *faults, *parts.faults])
    charges = (
        *_donor_charges(donors),
        *labour,
        *_new_shells(drums),
        *parts.charges,
        *(_sold_off(s) for s in surplus),
        *(leftover for donor in donors if (leftover := _leftover(donor, drums)) is not None),
    )
    unknown = tuple(c.what for c in charges if c.amount is None)
    notes = tuple(note for donor in donors if (note := _not_credited(donor, drums)) is not None)
    quantities = (*buying_list(drums, covered_drums(plan, drums)), *parts.sheets)
    return Build(plan, drums, donors, surplus, charges, quantities, parts.cuttings, unknown, notes)


def _unknown_sources(plan: Plan) -> list[Problem]:
    """Drums and surplus from a donor that the plan has not; the reader of plans refuses them with their line."""
    known = {donor.id for donor in plan.donor}
    named = [(f"drum {i}.from", d.from_) for i, d in enumerate(plan.drum, 1) if d.from_ != NEW]
    named += [(f"surplus {i}.from", s.from_) for i, s in enumerate(plan.surplus, 1)]
    return [
        plan_problem(plan.name, place, "unknown_donor", f"there is no donor {shown(name)} in the plan", name)
        for place, name in named
        if name not in known
    ]


def _donors_needed(plan: Plan, every: Sequence[Drum], drums: Sequence[Drum]) -> tuple[DonorTable, ...]:
    """Donors of which a drum is built, and those bought for something else than their drums."""
    whole = {d.source for d in every}
    here = {d.source for d in drums}
    return tuple(d for d in plan.donor if d.id in here or d.id not in whole)


def _donor_charges(donors: Sequence[DonorTable]) -> list[Charge]:
    charges = []
    for donor in donors:
        # only a seller who shows VAT gives one to deduct; a private seller's freight is counted whole
        stated = Stated.GROSS if donor.bought_from == "trade" and donor.vat == "included" else Stated.NO_VAT
        one = Decimal(1)
        what = f"Donor {donor.id}: {donor.series}, {donor.pieces} drums"
        charges.append(
            Charge(what, Group.DONORS, one, "kit", donor.price, stated, Lever.DONOR_PRICE, donor.id, donor.bought_from)
        )
        charges.append(Charge(f"Freight of donor {donor.id}", Group.DONORS, one, "kit", donor.freight, stated))
    return charges


def _new_shells(drums: Sequence[Drum]) -> list[Charge]:
    return [
        Charge(f"New shell {d.name}", Group.PARTS, Decimal(1), "shell", d.price, _stated(d.vat))
        for d in drums
        if d.source == NEW
    ]


@dataclass(frozen=True, slots=True)
class _Parts:
    """What the [[part]] lines come to."""

    charges: tuple[Charge, ...]
    sheets: tuple[Quantity, ...]
    cuttings: tuple[Cutting, ...]
    faults: tuple[Problem, ...]


def _part_charges(plan: Plan, drums: Sequence[Drum]) -> _Parts:
    charges: list[Charge] = []
    sheets: list[Quantity] = []
    cuttings: list[Cutting] = []
    faults: list[Problem] = []
    for i, line in enumerate(plan.part, 1):
        counted = count(line, drums)
        if isinstance(counted, NotCounted):
            place = f"part {i} ({line.what}).{counted.key}"
            faults.append(plan_problem(plan.name, place, "no_quantity", counted.reason))
        elif counted.quantity > 0:
            lever = Lever.COVERING if counted.nesting is not None else Lever.NONE
            note = sheet_note(counted.nesting) if counted.nesting is not None else ""
            if counted.nesting is not None:
                sheets.append(Quantity(line.what, counted.quantity, f"sheet {line.sheet}", note))
                cuttings += counted.cuttings
            charges.append(
                Charge(
                    line.what, Group.PARTS, counted.quantity, counted.unit, line.each, _stated(line.vat), lever,
                    basis=note,
                )
            )  # fmt: skip
    return _Parts(tuple(charges), tuple(sheets), tuple(cuttings), tuple(faults))


def _sold_off(surplus: SurplusTable) -> Charge:
    basis = f"sold off for {money_text(surplus.value)} gross"
    return Charge(
        f"{surplus.what} (from {surplus.from_})", Group.SURPLUS, Decimal(1), "each", surplus.value, Stated.SOLD_OFF,
        donor=surplus.from_, basis=basis,
    )  # fmt: skip


def _left_over(donor: DonorTable, drums: Sequence[Drum]) -> int:
    return donor.pieces - sum(1 for d in drums if d.source == donor.id)


def _leftover(donor: DonorTable, drums: Sequence[Drum]) -> Charge | None:
    number = _left_over(donor, drums)
    if number == 0 or not donor.spare:
        return None
    what = f"Drums of donor {donor.id} left over"
    return Charge(
        what, Group.SURPLUS, Decimal(number), "drum", donor.spare, Stated.KEPT, donor=donor.id, basis="kept, at spare"
    )


def _not_credited(donor: DonorTable, drums: Sequence[Drum]) -> str | None:
    number = _left_over(donor, drums)
    if number == 0 or donor.spare is not None:
        return None
    drums_text = "1 drum" if number == 1 else f"{number} drums"
    return f"{drums_text} of donor {donor.id} left over, not credited (no spare given)"


def _stated(vat: str) -> Stated:
    return Stated.GROSS if vat == "included" else Stated.NET
