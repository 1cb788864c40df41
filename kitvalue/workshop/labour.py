"""The work of a build: the shop's own hours, and what is sent out."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.intake.plan import Plan, WorkLine
from kitvalue.intake.problems import Problem, shown
from kitvalue.intake.shop import WorkTable
from kitvalue.workshop.charges import Charge, Group, Lever, Stated
from kitvalue.workshop.drums import Drum
from kitvalue.workshop.faults import plan_problem, shop_problem
from kitvalue.workshop.quantities import Counted, NotCounted, count


def work_charges(plan: Plan, work: WorkTable | None, drums: Sequence[Drum]) -> tuple[list[Charge], list[Problem]]:
    """A charge for each [[work]] line that these drums need, and the faults of the lines that give none."""
    charges: list[Charge] = []
    faults: list[Problem] = []
    for i, line in enumerate(plan.work, 1):
        made = _charge(plan.name, f"work {i} ({line.what})", line, work, drums)
        if isinstance(made, Problem):
            faults.append(made)
        elif made.quantity > 0:
            charges.append(made)
    own = [c for c in charges if c.group is Group.WORK]
    return own + [c for c in charges if c.group is not Group.WORK], faults


def _charge(name: str, place: str, line: WorkLine, work: WorkTable | None, drums: Sequence[Drum]) -> Charge | Problem:
    counted = count(line, drums)
    if isinstance(counted, NotCounted):
        return plan_problem(name, f"{place}.{counted.key}", "no_quantity", counted.reason)
    if line.each is not None:
        if line.hours is not None:
            return plan_problem(name, f"{place}.each", "hours_and_each", "give hours or each, not both")
        stated = Stated.GROSS if line.vat == "included" else Stated.NET
        return Charge(line.what, Group.SENT_OUT, counted.quantity, counted.unit, line.each, stated)
    hours = _hours_of_one(name, place, line, work)
    if isinstance(hours, Problem):
        return hours
    if work is None:
        return shop_problem("work", "no_table", "this build needs the shop's hourly rate: add [work] with rate")
    return Charge(
        line.what, Group.WORK, hours * counted.quantity, "hour", work.rate, Stated.NO_VAT, Lever.LABOUR,
        basis=_basis(counted, hours),
    )  # fmt: skip


def own_hours(line: WorkLine, work: WorkTable | None) -> Decimal | None:
    """Hours of the shop's own for one unit of a line: the line's, 1 for a line per hour, else its operation's.

    None where nobody gave them; they are never invented.
    """
    if line.each is not None:
        return None
    if line.hours is not None:
        return line.hours
    if line.per == "hour":
        return Decimal(1)
    return work.hours.get(line.operation) if work is not None and line.operation is not None else None


def _hours_of_one(name: str, place: str, line: WorkLine, work: WorkTable | None) -> Decimal | Problem:
    hours = own_hours(line, work)
    if hours is not None:
        return hours
    asked = line.operation or line.what
    message = f"{shown(asked)} has no hours; add them under [work.hours] in shop.toml, or give hours in this line"
    return plan_problem(name, f"{place}.operation", "no_hours", message, asked)


def _basis(counted: Counted, hours: Decimal) -> str:
    quantity = counted.quantity.quantize(Decimal("0.001")).normalize()
    unit = counted.unit if quantity == 1 or counted.unit == "m2" else f"{counted.unit}s"
    what = "" if counted.unit == "each" else f" {unit}"
    return f"{quantity:f}{what} at {hours.normalize():f} h"
