"""A plan taken apart for costing: which drums are built, which donors that needs, and every charge of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from kitvalue.intake.settings.plan import NEW, DonorTable, DrumTable, Plan, VatWord, WorkLine
from kitvalue.intake.settings.shop import Route, WorkTable
from kitvalue.intake.text.problems import Problem, shown
from kitvalue.workshop.money import ZERO, money_text, plan_problem, refusal, shop_problem
from kitvalue.workshop.purchases import Stated, counted
from kitvalue.workshop.quantities import Counted, Cutting, Quantity, buying_list, count, sheet_note
from kitvalue.workshop.tax import Terms

ONE = Decimal(1)


class Group(StrEnum):
    """The parts of a cost sheet, in its order."""

    DONORS = "donors"
    WORK = "work"
    CONTINGENCY = "contingency"
    SENT_OUT = "sent-out work"
    PARTS = "parts"
    UNTIL_SOLD = "until sold"
    SURPLUS = "surplus"


STATED: dict[VatWord, Stated] = {"included": Stated.GROSS, "excluded": Stated.NET}


class Lever(StrEnum):
    """What of a charge a break-even may scale."""

    DONOR_PRICE = "donor price"
    LABOUR = "labour"
    COVERING = "covering"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Charge:
    """One line as stated. `amount` is money for one unit, None where unknown; a credit's is above 0 all the same."""

    what: str
    group: Group
    quantity: Decimal
    unit: str
    amount: Decimal | None
    stated: Stated
    lever: Lever = Lever.NONE
    donor: str | None = None
    basis: str = ""


def net_unit(charge: Charge, terms: Terms, route: Route) -> Decimal | None:
    """What one unit of a charge costs net by a VAT route, unrounded and below 0 for a credit; None where unknown.

    What is sold off brings value/(1+v) - f*value under full VAT. Under the margin scheme it has no margin, its value
    being taken out of the donor's purchase price, so it brings value - f*value, as it does where no VAT is charged.
    """
    if charge.amount is None:
        return None
    amount = charge.amount
    match charge.stated:
        case Stated.SOLD_OFF:
            brings = amount / (1 + terms.rate) if route == "full" else amount
            return -(brings - terms.fee * amount)
        case Stated.KEPT:
            return -amount
    return counted(amount, charge.stated, terms.rate, deducts=route != "none")


@dataclass(frozen=True, slots=True)
class Apportioned:
    """A donor's price, parted once: `price` = `sold_off` + `kept` + `kit`, gross money without its freight.

    `sold_off` is what its surplus brings, `kept` the worth of its drums that are left over, `kit` what remains for the
    kit; below 0 where the others are more than the price.
    """

    donor: str
    price: Decimal
    sold_off: Decimal
    kept: Decimal

    @property
    def kit(self) -> Decimal:
        return self.price - self.sold_off - self.kept


def apportioned(charges: Sequence[Charge], donors: Decimal = Decimal(1)) -> tuple[Apportioned, ...]:
    """Each donor's price between the kit and what is sold off or kept of it; `donors` scales the prices. Unrounded."""

    def total(donor: str, stated: Stated) -> Decimal:
        credits = (c for c in charges if c.donor == donor and c.stated is stated)
        return sum((c.quantity * c.amount for c in credits if c.amount is not None), ZERO)

    return tuple(
        Apportioned(c.donor, c.amount * donors, total(c.donor, Stated.SOLD_OFF), total(c.donor, Stated.KEPT))
        for c in charges
        if c.lever is Lever.DONOR_PRICE and c.donor is not None and c.amount is not None
    )


def purchase_price(charges: Sequence[Charge], donors: Decimal = Decimal(1)) -> Decimal:
    """P: for each donor its price times `donors` less what of it is sold off or kept, never below 0. Unrounded."""
    return sum((max(ZERO, donor.kit) for donor in apportioned(charges, donors)), ZERO)


def exact_cost(
    charges: Sequence[Charge], terms: Terms, route: Route, contingency: Decimal, factors: Mapping[Lever, Decimal]
) -> Decimal:
    """The build's net cost, nothing rounded and without charges of unknown amount. `contingency` is a fraction of
    labour; `factors` scale the charges of a lever, 1 as planned."""
    total = ZERO
    for charge in charges:
        unit = net_unit(charge, terms, route)
        if unit is not None:
            net = unit * charge.quantity * factors.get(charge.lever, 1)
            total += net * {Group.WORK: 1 + contingency, Group.DONORS: 1 + terms.tied}.get(charge.group, ONE)
    return total


def own_hours(line: WorkLine, work: WorkTable | None) -> Decimal | None:
    """The shop's own hours for one unit of a line: its own, 1 per hour, else its operation's; None where not given."""
    if line.each is not None:
        return None
    if line.hours is not None:
        return line.hours
    if line.per == "hour":
        return Decimal(1)
    return work.hours.get(line.operation) if work is not None and line.operation is not None else None


def _work_charge(
    name: str, at: int, line: WorkLine, work: WorkTable | None, drums: Sequence[DrumTable]
) -> Charge | Problem:
    """What a line of work is charged with; its quantity is 0 where none of its drums is built."""
    counted = count(line, drums)
    if isinstance(counted, str):
        raise AssertionError(f"work is not counted in sheets: {counted}")
    if line.each is not None:
        return Charge(line.what, Group.SENT_OUT, counted.quantity, counted.unit, line.each, STATED[line.vat])
    hours = own_hours(line, work)
    if hours is None:
        asked = line.operation or line.what
        message = f"{shown(asked)} has no hours; add them under [work.hours] in shop.toml, or give hours in this line"
        return plan_problem(name, f"work {at} ({line.what}).operation", "no_hours", message, asked)
    if work is None:
        return shop_problem("work", "no_table", "this build needs the shop's hourly rate: add [work] with rate")
    quantity = counted.quantity.quantize(Decimal("0.001")).normalize()
    unit = counted.unit if quantity == 1 or counted.unit == "m2" else f"{counted.unit}s"
    basis = f"{quantity:f}{'' if counted.unit == 'each' else f' {unit}'} at {hours.normalize():f} h"
    own = hours * counted.quantity
    return Charge(line.what, Group.WORK, own, "hour", work.rate, Stated.NO_VAT, Lever.LABOUR, basis=basis)


@dataclass(frozen=True, slots=True)
class Build:
    """What is built and what it is charged with. `unknown` names the charges of unknown amount, `notes` say which
    leftover drums are not credited."""

    drums: tuple[DrumTable, ...]
    donors: tuple[DonorTable, ...]
    charges: tuple[Charge, ...]
    quantities: tuple[Quantity, ...]
    cuttings: tuple[Cutting, ...]
    unknown: tuple[str, ...]
    notes: tuple[str, ...]


def build_of(plan: Plan, work: WorkTable | None, pieces: int | None = None) -> Build:
    """The build of a plan's first `pieces` drums as written, all where None.

    A donor all of whose drums in the plan are cut goes, with its freight and surplus. The plan is taken as the reader
    of plans leaves it, its tables fitting together. Raises FileError with a problem for every fault beyond that: a
    sheet too small for a strip, hours or the hourly rate missing in shop.toml.
    """
    drums = plan.drum[:pieces]
    whole, here = {d.from_ for d in plan.drum}, {d.from_ for d in drums}
    donors = tuple(d for d in plan.donor if d.id in here or d.id not in whole)  # also those bought for something else
    made = [_work_charge(plan.name, i, line, work, drums) for i, line in enumerate(plan.work, 1)]
    counts = [(i, line, count(line, drums)) for i, line in enumerate(plan.part, 1)]
    faults = [fault for fault in made if isinstance(fault, Problem)]
    faults += [
        plan_problem(plan.name, f"part {i} ({line.what}).sheet", "no_quantity", reason)
        for i, line, reason in counts
        if isinstance(reason, str)
    ]
    if faults:
        raise refusal(faults)
    parts = [(line, c) for _, line, c in counts if isinstance(c, Counted) and c.quantity > 0]
    credits, notes = _credits(plan, donors, drums)
    charges = (
        *(charge for donor in donors for charge in _donor_charges(donor)),
        *(charge for charge in made if isinstance(charge, Charge) and charge.quantity),
        *(
            Charge(f"New shell {d.name}", Group.PARTS, ONE, "shell", d.price, STATED[d.vat or "excluded"])
            for d in drums
            if d.from_ == NEW
        ),
        *(
            Charge(line.what, Group.PARTS, c.quantity, c.unit, line.each, STATED[line.vat],
                   Lever.COVERING if c.nesting else Lever.NONE, basis=sheet_note(c.nesting) if c.nesting else "")
            for line, c in parts
        ),
        *credits,
    )  # fmt: skip
    sheets = (
        Quantity(line.what, c.quantity, f"sheet {line.sheet}", sheet_note(c.nesting)) for line, c in parts if c.nesting
    )
    return Build(
        drums=drums,
        donors=donors,
        charges=charges,
        quantities=(*buying_list(drums, plan.work), *sheets),
        cuttings=tuple(cutting for _, c in parts for cutting in c.cuttings),
        unknown=tuple(c.what for c in charges if c.amount is None),
        notes=tuple(notes),
    )


def _donor_charges(donor: DonorTable) -> tuple[Charge, Charge]:
    # only a seller who shows VAT gives one to deduct; a private seller's freight is counted whole
    stated = Stated.GROSS if donor.bought_from == "trade" and donor.vat == "included" else Stated.NO_VAT
    what = f"Donor {donor.id}: {donor.series}, {donor.pieces} drums"
    return (
        Charge(what, Group.DONORS, ONE, "kit", donor.price, stated, Lever.DONOR_PRICE, donor.id, donor.bought_from),
        Charge(f"Freight of donor {donor.id}", Group.DONORS, ONE, "kit", donor.freight, stated),
    )


def _credits(plan: Plan, donors: Sequence[DonorTable], drums: Sequence[DrumTable]) -> tuple[list[Charge], list[str]]:
    """Credits for what is sold off and for drums that are not built, and what is said of drums without one."""
    credits, notes = [], []
    for s in plan.surplus:
        if s.from_ in {donor.id for donor in donors}:
            what, sold = f"{s.what} (from {s.from_})", f"sold off for {money_text(s.value)} gross"
            credit = Charge(what, Group.SURPLUS, ONE, "each", s.value, Stated.SOLD_OFF, donor=s.from_, basis=sold)
            credits.append(credit)
    for donor in donors:
        left, kept = Decimal(donor.pieces - sum(d.from_ == donor.id for d in drums)), "kept, at spare"
        if left and donor.spare:
            what = f"Drums of donor {donor.id} left over"
            credit = Charge(what, Group.SURPLUS, left, "drum", donor.spare, Stated.KEPT, donor=donor.id, basis=kept)
            credits.append(credit)
        elif left and donor.spare is None:
            drums_text = "1 drum" if left == 1 else f"{left} drums"
            notes.append(f"{drums_text} of donor {donor.id} left over, not credited (no spare given)")
    return credits, notes
