"""Finished builds held against their plans."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.done import FinishedBuild
from kitvalue.intake.plan import Plan
from kitvalue.intake.shop import Shop
from kitvalue.workshop.asking import Sale, sale_at
from kitvalue.workshop.charges import Group
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.drums import drums_of
from kitvalue.workshop.labour import own_hours
from kitvalue.workshop.money import ZERO, cents
from kitvalue.workshop.quantities import Counted, count


@dataclass(frozen=True, slots=True)
class Planned:
    """A build as planned: its plan and its whole cost sheet."""

    plan: Plan
    sheet: CostSheet


@dataclass(frozen=True, slots=True)
class Against:
    """One figure as planned and as it came out, hours or money; None where `reason` says why."""

    planned: Decimal | None
    actual: Decimal | None
    reason: str | None = None

    @property
    def more(self) -> Decimal | None:
        """Actual less planned."""
        return None if self.planned is None or self.actual is None else self.actual - self.planned


@dataclass(frozen=True, slots=True)
class OperationOutcome:
    """An operation in one job: `quantity` units, planned and actual hours of all of them."""

    operation: str
    unit: str
    quantity: Decimal
    hours: Against


@dataclass(frozen=True, slots=True)
class JobOutcome:
    """One finished build against its plan. Money is net but for `sold_for`.

    `paid` is what was paid out (without the shop's own hours), `net_cost` with these at the shop's rate; the plan's own
    holds the contingency, which the job used up or not. `sale` is the sale at the actual cost, None where `sale_reason`
    says why; under the margin scheme the purchase prices are the plan's.
    """

    row: int
    plan: str
    title: str
    finished_on: dt.date
    operations: tuple[OperationOutcome, ...]
    hours: Against
    paid: Against
    net_cost: Against
    sold_on: dt.date | None
    sold_for: Decimal | None
    sale: Sale | None
    sale_reason: str | None
    planned_margin: Decimal  # percent of net revenue, as the shop's settings have it
    note: str | None


@dataclass(frozen=True, slots=True)
class _PlannedOperation:
    operation: str
    unit: str
    quantity: Decimal
    hours: Decimal
    mixed: bool  # counted in more than one unit


def job_outcomes(builds: Sequence[FinishedBuild], plans: Mapping[str, Planned], shop: Shop) -> tuple[JobOutcome, ...]:
    """Each finished build against its plan, in the order of the file; builds whose plan is not in `plans` are left."""
    return tuple(_outcome(build, plans[build.plan], shop) for build in builds if build.plan in plans)


def _outcome(build: FinishedBuild, planned: Planned, shop: Shop) -> JobOutcome:
    sheet = planned.sheet
    operations = _operations(build, planned.plan, shop)
    hours = _hours(build, operations, sheet)
    paid = _paid(build, sheet)
    net_cost = _net_cost(hours, paid, sheet, shop)
    sale, why = _sale(build, net_cost, sheet)
    return JobOutcome(
        row=build.row,
        plan=build.plan,
        title=planned.plan.title,
        finished_on=build.finished_on,
        operations=operations,
        hours=hours,
        paid=paid,
        net_cost=net_cost,
        sold_on=build.sold_on,
        sold_for=build.sold_for,
        sale=sale,
        sale_reason=why,
        planned_margin=sheet.terms.margin * 100,
        note=build.note,
    )


def _paid(build: FinishedBuild, sheet: CostSheet) -> Against:
    nets = {sub.group: sub.net for sub in sheet.subtotals()}
    own = nets.get(Group.WORK, ZERO) + nets.get(Group.CONTINGENCY, ZERO)
    reasons = [*_not_planned(sheet), *(["cost is not written down"] if build.cost is None else [])]
    return Against(_whole(sheet, sheet.net_cost - own), build.cost, "; ".join(reasons) or None)


def _whole(sheet: CostSheet, figure: Decimal) -> Decimal | None:
    """A figure of the plan, None where something of its cost is not known."""
    return None if sheet.incomplete else figure


def _not_planned(sheet: CostSheet) -> list[str]:
    return [f"the plan does not know {', '.join(sheet.incomplete)}"] if sheet.incomplete else []


def _operations(build: FinishedBuild, plan: Plan, shop: Shop) -> tuple[OperationOutcome, ...]:
    actual = {one.operation: one.hours for one in build.operations}
    planned = {one.operation: one for one in _planned_operations(plan, shop)}
    made = []
    for name in dict.fromkeys((*planned, *actual)):
        one, hours = planned.get(name), actual.get(name)
        reason = None if hours is not None else "not written down"
        if one is None:
            made.append(OperationOutcome(name, "", ZERO, Against(ZERO, hours, "not in the plan")))
        else:
            unit = "" if one.mixed else one.unit
            made.append(OperationOutcome(name, unit, one.quantity, Against(one.hours, hours, reason)))
    return tuple(made)


def _planned_operations(plan: Plan, shop: Shop) -> list[_PlannedOperation]:
    """The plan's operations with their units and hours, the lines of one operation together."""
    drums = drums_of(plan, shop.shop.size_order)
    found: dict[str, _PlannedOperation] = {}
    for line in plan.work:
        counted = count(line, drums)
        hours = own_hours(line, shop.work)
        if line.operation is None or hours is None or not isinstance(counted, Counted) or counted.quantity == 0:
            continue
        before = found.get(line.operation, _PlannedOperation(line.operation, counted.unit, ZERO, ZERO, False))
        mixed = before.mixed or before.unit != counted.unit or line.per == "hour"
        found[line.operation] = _PlannedOperation(
            line.operation, counted.unit, before.quantity + counted.quantity, before.hours + hours * counted.quantity,
            mixed,
        )  # fmt: skip
    return list(found.values())


def _hours(build: FinishedBuild, operations: Sequence[OperationOutcome], sheet: CostSheet) -> Against:
    """The hours of the whole job: as written, else those of all planned operations where each is written down."""
    if build.hours is not None:
        return Against(sheet.hours, build.hours)
    lacking = [one.operation for one in operations if one.hours.actual is None]
    in_operations = sum((one.hours.planned or ZERO for one in operations), ZERO)
    if lacking:
        return Against(sheet.hours, None, f"not written down for {', '.join(lacking)}")
    if in_operations != sheet.hours:
        return Against(sheet.hours, None, "the plan has hours outside its operations; write the whole job's into hours")
    return Against(sheet.hours, sum((one.hours.actual or ZERO for one in operations), ZERO))


def _net_cost(hours: Against, paid: Against, sheet: CostSheet, shop: Shop) -> Against:
    planned = _whole(sheet, sheet.net_cost)
    rate = shop.work.rate if shop.work is not None else None
    reasons = [f"hours: {hours.reason}"] if hours.actual is None else []
    reasons += [paid.reason] if paid.reason is not None else []
    if hours.actual is None or paid.actual is None:
        return Against(planned, None, "; ".join(reasons))
    if rate is None and hours.actual > 0:
        return Against(planned, None, "shop.toml has no [work] with the hourly rate")
    return Against(planned, paid.actual + cents(hours.actual * (rate or ZERO)), "; ".join(reasons) or None)


def _sale(build: FinishedBuild, net_cost: Against, sheet: CostSheet) -> tuple[Sale | None, str | None]:
    if build.sold_for is None:
        return None, "not sold yet"
    if net_cost.actual is None:
        return None, net_cost.reason
    return sale_at(cents(build.sold_for), net_cost.actual, sheet.purchase, sheet.terms, sheet.route), None
