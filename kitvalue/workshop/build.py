"""A plan taken apart for costing: which drums are built, which donors that needs, and every charge of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from kitvalue.intake.books.offers import Part, part_for
from kitvalue.intake.settings.plan import NEW, DonorTable, DrumTable, Plan, WorkLine
from kitvalue.intake.settings.plancells import VatWord
from kitvalue.intake.settings.shop import Route, Shop, SizeOrder, TaxTable, WorkTable
from kitvalue.intake.text.drums import drum_sold
from kitvalue.intake.text.problems import Problem, shown
from kitvalue.intake.text.sizes import size_text
from kitvalue.workshop.money import ZERO, cents, money_text, plan_problem, refusal, shop_problem
from kitvalue.workshop.purchases import Purchase, Stated, counted, is_open, purchase_at
from kitvalue.workshop.quantities import Counted, Cutting, Quantity, buying_list, count, sheet_note
from kitvalue.workshop.shares import Parted, Resale, in_cents, places, weights
from kitvalue.workshop.tax import Terms, scheme_of_item

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
    """One line as stated. `amount` is money for one unit, None where unknown, and `moves` what of it moves with the
    price of the donor; of what is sold off (`resale`) it is the gross price received."""

    what: str
    group: Group
    quantity: Decimal
    unit: str
    amount: Decimal | None
    stated: Stated
    lever: Lever = Lever.NONE
    basis: str = ""
    moves: Decimal = ZERO
    resale: Resale | None = None


def net_unit(charge: Charge, terms: Terms, route: Route, donors: Decimal = ONE) -> Decimal | None:
    """What one unit of a charge costs net by a VAT route, unrounded and below 0 for what is sold off; None where
    unknown. `donors` scales the donors' prices."""
    if charge.amount is None:
        return None
    if charge.resale is not None:
        return -charge.resale.brings(charge.amount, terms.rate, terms.fee, route, donors)
    amount = charge.amount + (donors - 1) * charge.moves
    if route == "sales":
        return amount  # what is bought for resale bears no sales tax
    return counted(amount, charge.stated, terms.rate, deducts=route != "none")


def exact_cost(
    charges: Sequence[Charge], terms: Terms, route: Route, contingency: Decimal, factors: Mapping[Lever, Decimal]
) -> Decimal:
    """The build's net cost, nothing rounded and without charges of unknown amount. `contingency` is a fraction of
    labour; `factors` scale the charges of a lever, 1 as planned."""
    total, donors = ZERO, factors.get(Lever.DONOR_PRICE, ONE)
    for charge in charges:
        unit = net_unit(charge, terms, route, donors)
        if unit is not None:
            own = ONE if charge.lever is Lever.DONOR_PRICE else factors.get(charge.lever, ONE)
            net = unit * charge.quantity * own
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
    """What is built and what it is charged with. `parted` says where the donors' prices go, `unknown` names the charges
    of unknown amount, `notes` say which leftover drums are not credited."""

    drums: tuple[DrumTable, ...]
    donors: tuple[DonorTable, ...]
    charges: tuple[Charge, ...]
    bought: tuple[Purchase, ...]
    parted: tuple[Parted, ...]
    quantities: tuple[Quantity, ...]
    cuttings: tuple[Cutting, ...]
    unknown: tuple[str, ...]
    notes: tuple[str, ...]


def build_of(plan: Plan, shop: Shop, tax: TaxTable, pieces: int | None = None, parts: Sequence[Part] = ()) -> Build:
    """The build of a plan's first `pieces` drums as written, all where None; `parts` say what drums left over bring.

    A donor all of whose drums in the plan are cut goes, with its freight and surplus. The plan is taken as the reader
    of plans leaves it, its tables fitting together. Raises FileError with a problem for every fault beyond that: a
    sheet too small for a strip, hours or the hourly rate missing in shop.toml, pieces said to bring more than was paid.
    """
    drums = plan.drum[:pieces]
    whole, here = {d.from_ for d in plan.drum}, {d.from_ for d in drums}
    donors = tuple(d for d in plan.donor if d.id in here or d.id not in whole)  # also those bought for something else
    made = [_work_charge(plan.name, i, line, shop.work, drums) for i, line in enumerate(plan.work, 1)]
    counts = [(i, line, count(line, drums)) for i, line in enumerate(plan.part, 1)]
    faults = [fault for fault in made if isinstance(fault, Problem)]
    faults += [
        plan_problem(plan.name, f"part {i} ({line.what}).sheet", "no_quantity", reason)
        for i, line, reason in counts
        if isinstance(reason, str)
    ]
    bought = {donor.id: purchase_at(donor.price, donor, tax) for donor in donors if donor.owner == "shop"}
    split = [
        _split(plan, donor, bought[donor.id], _scheme(donor, tax), drums, parts, shop.shop.size_order)
        for donor in donors
        if donor.id in bought
    ]
    faults += [fault for one in split for fault in one.faults]
    if faults:
        raise refusal(faults)
    lines = [(line, c) for _, line, c in counts if isinstance(c, Counted) and c.quantity > 0]
    charges = (
        *(charge for donor in donors for charge in _donor_charges(donor, bought.get(donor.id), tax)),
        *(charge for charge in made if isinstance(charge, Charge) and charge.quantity),
        *(
            Charge(f"New shell {d.name}", Group.PARTS, ONE, "shell", d.price, STATED[d.vat or "excluded"])
            for d in drums
            if d.from_ == NEW
        ),
        *(
            Charge(line.what, Group.PARTS, c.quantity, c.unit, line.each, STATED[line.vat],
                   Lever.COVERING if c.nesting else Lever.NONE, basis=sheet_note(c.nesting) if c.nesting else "")
            for line, c in lines
        ),
        *(credit for one in split for credit in one.credits),
    )  # fmt: skip
    sheets = (
        Quantity(line.what, c.quantity, f"sheet {line.sheet}", sheet_note(c.nesting)) for line, c in lines if c.nesting
    )
    return Build(
        drums=drums,
        donors=donors,
        charges=charges,
        bought=tuple(bought.values()),
        parted=tuple(one.parted for one in split),
        quantities=(*buying_list(drums, plan.work), *sheets),
        cuttings=tuple(cutting for _, c in lines for cutting in c.cuttings),
        unknown=tuple(c.what for c in charges if c.amount is None),
        notes=tuple(note for one in split for note in one.notes),
    )


def _donor_charges(donor: DonorTable, bought: Purchase | None, tax: TaxTable) -> Iterator[Charge]:
    """Every amount of the purchase a line: import VAT where it is borne, freight also where it is not known. Of a
    customer's own kit freight alone, where there is any."""
    amounts = {} if bought is None else {amount.what: amount for amount in bought.amounts}
    for what in ("price", "premium", "freight", "duty", "clearance", "import VAT"):
        amount, text, basis, lever = (
            amounts.get(what),
            f"{what[0].upper()}{what[1:]} of donor {donor.id}",
            "",
            Lever.NONE,
        )
        if what == "price":
            text, basis = f"Donor {donor.id}: {donor.series}, {donor.pieces} drums", donor.bought_from
            lever = Lever.DONOR_PRICE
        if amount is None and what == "freight" and (bought is not None or donor.freight):
            yield Charge(text, Group.DONORS, ONE, "kit", donor.freight, Stated.NO_VAT)
        elif amount is not None and not (what == "import VAT" and tax.deducts):
            yield Charge(text, Group.DONORS, ONE, "kit", amount.money, amount.stated, lever, basis, amount.moves)


@dataclass(frozen=True, slots=True)
class _Split:
    """What becomes of a donor: how its price is parted, what is sold off of it, what is said, what is refused."""

    parted: Parted
    credits: tuple[Charge, ...]
    notes: tuple[str, ...]
    faults: tuple[Problem, ...]


def _scheme(donor: DonorTable, tax: TaxTable) -> Route | None:
    """The scheme of what is sold off of a donor. Where the shop has the old word `route` alone, which knows nothing of
    it, the build's own (None), as before."""
    scheme = scheme_of_item(donor, tax)
    return None if tax.route is not None and scheme in ("full", "margin") and is_open(donor, tax) else scheme


def _split(
    plan: Plan, donor: DonorTable, bought: Purchase, scheme: Route | None, drums: Sequence[DrumTable],
    parts: Sequence[Part], order: SizeOrder,
) -> _Split:  # fmt: skip
    """A donor's price between the kit and what is over: first the values that the plan states, the rest in proportion
    to parts.csv's. `scheme` is that of what is sold off."""
    paid, spare = cents(bought.purchase_price), donor.spare
    surplus = [(one, drum_sold(one.what, order)) for one in plan.surplus if one.from_ == donor.id]
    own = places(donor, drums, [drum for _, drum in surplus if drum is not None])
    rows = [None if place.size is None else part_for(place.size, parts) for place in own]
    left = [at for at, place in enumerate(own) if not place.used]
    sharing = [at for at, place in enumerate(own) if place.used or spare is None]
    values = [None if (row := rows[at]) is None else row.value for at in sharing]
    weight = dict(zip(sharing, weights(values), strict=True))
    sold_off = sum((one.value for one, _ in surplus), ZERO)
    stated = sold_off + (spare or ZERO) * len(left)
    share = dict(zip(sharing, in_cents(max(ZERO, paid - stated), [*weight.values()]), strict=True))
    in_kit = sum((share[at] for at in sharing if own[at].used), ZERO) if stated <= paid else paid - stated
    fixed = donor.freight or ZERO if donor.freight_by == "seller" else ZERO
    credits = [
        Charge(f"{one.what} (from {donor.id})", Group.SURPLUS, ONE, "each", one.value, Stated.NO_VAT,
               basis=f"sold off for {money_text(one.value)} gross", resale=Resale(scheme, one.value))
        for one, _ in surplus
    ]  # fmt: skip
    if left and spare:
        what, each = f"Drums of donor {donor.id} left over", f"sold off for {money_text(spare)} gross each, spare"
        credits.append(Charge(what, Group.SURPLUS, Decimal(len(left)), "drum", spare, Stated.NO_VAT, basis=each,
                              resale=Resale(scheme, spare)))  # fmt: skip
    valued = [(row, own[at].size, at) for at in left if spare is None and (row := rows[at]) is not None]
    for row, size, at in valued:
        what = f"{size_text(size, order) if size else ''} of donor {donor.id} left over"
        told = f"parts.csv: {money_text(row.value)} gross, {(row.chance * 100).normalize():f} % sure"
        resale = Resale(scheme, share[at], weight[at] * (paid - fixed), row.chance)
        credits.append(Charge(what, Group.SURPLUS, ONE, "drum", row.value, Stated.NO_VAT, basis=told, resale=resale))
    notes, faults = [], []
    if (silent := len(left) - len(valued)) and spare is None:
        drums_text = "1 drum" if silent == 1 else f"{silent} drums"
        notes.append(f"{drums_text} of donor {donor.id} left over, not credited (no spare given)")
    if stated > paid and scheme == "margin":
        where, much = f"donor {donor.id}", (money_text(stated), money_text(paid))
        message = (
            f"what is sold off and left over of donor {shown(donor.id)} is said to bring {much[0]}, more than the "
        )
        message += f"{much[1]} paid for it, and no share can be above that: correct surplus, spare or price"
        faults.append(plan_problem(plan.name, where, "stated_above_price", message, much[0]))
    part = sum((weight[at] for at in sharing if own[at].used), ZERO)
    parted = Parted(donor.id, paid, sold_off, paid - sold_off - in_kit, in_kit, paid - fixed, stated, part)
    return _Split(parted, tuple(credits), tuple(notes), tuple(faults))
