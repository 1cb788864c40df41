"""Finished builds held against their plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.books.done import FinishedBuild
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.tomltext import toml_key
from kitvalue.workshop.build import Group, own_hours
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import ZERO, cents
from kitvalue.workshop.quantities import count
from kitvalue.workshop.shrink import shrunken_means
from kitvalue.workshop.tax import Sale, sale_at


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
    """One finished build against its plan. Money is net.

    `paid` is what was paid out (without the shop's own hours, and what a kit costs until it is sold), `net_cost` with
    these, hours at the shop's rate and the others as planned; the plan's own
    holds the contingency, which the job used up or not. `sale` is the sale at the actual cost, None where `sale_reason`
    says why; under the margin scheme the purchase prices are the plan's.
    """

    build: FinishedBuild
    planned: Planned
    operations: tuple[OperationOutcome, ...]
    hours: Against
    paid: Against
    net_cost: Against
    sale: Sale | None
    sale_reason: str | None
    planned_margin: Decimal  # percent of net revenue, as the shop's settings have it


def job_outcomes(builds: Sequence[FinishedBuild], plans: Mapping[str, Planned], shop: Shop) -> tuple[JobOutcome, ...]:
    """Each finished build against its plan, in the order of the file; builds whose plan is not in `plans` are left."""
    jobs = []
    for build in builds:
        if build.plan not in plans:
            continue
        planned, sheet = plans[build.plan], plans[build.plan].sheet
        operations = _operations(build, planned.plan, shop)
        hours = _hours(build, operations, sheet)
        paid, net_cost = _costs(build, hours, sheet, shop)
        sale, why = None, "not sold yet" if build.sold_for is None else net_cost.reason
        if build.sold_for is not None and net_cost.actual is not None:
            purchase, why = sheet.chosen.purchase, None
            sale = sale_at(cents(build.sold_for), net_cost.actual, purchase, sheet.terms, sheet.route)
        margin = sheet.terms.margin * 100
        jobs.append(JobOutcome(build, planned, operations, hours, paid, net_cost, sale, why, margin))
    return tuple(jobs)


def _operations(build: FinishedBuild, plan: Plan, shop: Shop) -> tuple[OperationOutcome, ...]:
    """The plan's operations, the lines of one together, then those that only the job had."""
    actual = {timed.operation: timed.hours for timed in build.operations}
    operations: dict[str, OperationOutcome] = {}
    for line in plan.work:
        name, counted, hours = line.operation, count(line, plan.drum), own_hours(line, shop.work)
        if name is None or hours is None or isinstance(counted, str) or counted.quantity == 0:
            continue
        unit = "" if line.per == "hour" else counted.unit  # none, either, where the lines count in several
        before = operations.get(name, OperationOutcome(name, unit, ZERO, Against(ZERO, None)))
        planned = (before.hours.planned or ZERO) + hours * counted.quantity
        reason = None if name in actual else "not written down"
        operations[name] = OperationOutcome(
            name, unit if unit == before.unit else "", before.quantity + counted.quantity,
            Against(planned, actual.get(name), reason),
        )  # fmt: skip
    for name, hours in actual.items():
        operations.setdefault(name, OperationOutcome(name, "", ZERO, Against(ZERO, hours, "not in the plan")))
    return tuple(operations.values())


def _hours(build: FinishedBuild, operations: Sequence[OperationOutcome], sheet: CostSheet) -> Against:
    """The hours of the whole job: as written, else those of all planned operations where each is written down."""
    if build.hours is not None:
        return Against(sheet.hours, build.hours)
    lacking = [each.operation for each in operations if each.hours.actual is None]
    if lacking:
        return Against(sheet.hours, None, f"not written down for {', '.join(lacking)}")
    if sum((each.hours.planned or ZERO for each in operations), ZERO) != sheet.hours:
        return Against(sheet.hours, None, "the plan has hours outside its operations; write the whole job's into hours")
    return Against(sheet.hours, sum((each.hours.actual or ZERO for each in operations), ZERO))


def _costs(build: FinishedBuild, hours: Against, sheet: CostSheet, shop: Shop) -> tuple[Against, Against]:
    """What was paid out, and that with the shop's own hours and what the plan has until it is sold. None as planned
    where some of its cost is not known."""
    nets = {sub.group: sub.net for sub in sheet.subtotals()}
    until_sold = nets.get(Group.UNTIL_SOLD, ZERO)
    own = nets.get(Group.WORK, ZERO) + nets.get(Group.CONTINGENCY, ZERO) + until_sold
    reasons = [f"the plan does not know {', '.join(sheet.incomplete)}"] if sheet.incomplete else []
    reasons += ["cost is not written down"] if build.cost is None else []
    paid = Against(None if sheet.incomplete else sheet.net_cost - own, build.cost, "; ".join(reasons) or None)
    planned = None if sheet.incomplete else sheet.net_cost
    reasons = [*([f"hours: {hours.reason}"] if hours.actual is None else []), *reasons]
    rate = shop.work.rate if shop.work is not None else None
    if hours.actual is None or build.cost is None:
        return paid, Against(planned, None, "; ".join(reasons))
    if rate is None and hours.actual > 0:
        return paid, Against(planned, None, "shop.toml has no [work] with the hourly rate")
    return paid, Against(
        planned, build.cost + cents(hours.actual * (rate or ZERO)) + until_sold, "; ".join(reasons) or None
    )


SEVERAL = "it is counted in different units, so hours for one cannot be told"
NO_SETTING = "[work.hours] has 0 for it, and nothing is a multiple of 0: write a first guess there"


@dataclass(frozen=True, slots=True)
class LearnedHours:
    """What the finished builds say of one operation: hours for one unit.

    `own` is the mean of its jobs, `learned` the shrunken mean with the range `low` to `high` that holds the true mean
    in 8 of 10 cases; `weight` is how much of the way from the common factor to its own it goes. None where `reason`
    says why.
    """

    operation: str
    unit: str
    jobs: int
    planned: Decimal
    own: Decimal | None
    learned: Decimal | None
    low: Decimal | None
    high: Decimal | None
    weight: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class LearnedOperations:
    """Every operation that was seen. `common` is by what factor all of them together ran over the settings, or None."""

    operations: tuple[LearnedHours, ...]
    common: float | None


def learned_hours(jobs: Sequence[JobOutcome], shop: Shop) -> LearnedOperations:
    """Hours for one unit of each operation, learned from the jobs in which both quantity and hours are known.

    Each job gives a ratio of its hours for one unit to the setting; the ratios of an operation are shrunk towards what
    all operations have in common (see `shrink`), so that one long afternoon does not overturn a setting. Every job
    counts the same, whatever its number of units.
    """
    settings = shop.work.hours if shop.work is not None else {}
    timed: dict[str, list[OperationOutcome]] = {}
    for operation in (operation for job in jobs for operation in job.operations):
        if operation.hours.actual is not None and operation.quantity > 0:
            timed.setdefault(operation.operation, []).append(operation)
    reasons = {
        name: SEVERAL if len({job.unit for job in jobs}) > 1 or not jobs[0].unit
        else None if settings.get(name) else NO_SETTING
        for name, jobs in timed.items()
    }  # fmt: skip
    for_one = {name: [(job.hours.actual or ZERO) / job.quantity for job in jobs] for name, jobs in timed.items()}
    usable = [name for name, reason in reasons.items() if reason is None]
    shrinkage = shrunken_means([[float(hours / settings[name]) for hours in for_one[name]] for name in usable])
    common, shrunken = None, {}
    if isinstance(shrinkage, str):
        reasons |= dict.fromkeys(usable, shrinkage)
    else:
        common, shrunken = shrinkage.common, dict(zip(usable, shrinkage.groups, strict=True))
    learned = []
    for name, same in timed.items():
        setting, group, hours = settings.get(name, ZERO), shrunken.get(name), for_one[name]
        figures = (None, None, None) if group is None else (group.mean, group.low, group.high)
        mean, low, high = (f if f is None else _rounded(max(ZERO, Decimal(repr(f))) * setting) for f in figures)
        own = None if reasons[name] == SEVERAL else _rounded(sum(hours, ZERO) / len(hours))
        weight = None if group is None else group.weight
        learned.append(
            LearnedHours(name, same[0].unit, len(same), setting, own, mean, low, high, weight, reasons[name])
        )
    return LearnedOperations(tuple(learned), common)


def _rounded(hours: Decimal) -> Decimal:
    """To a hundredth of an hour, small ones to a thousandth."""
    return hours.quantize(Decimal("0.001") if hours < Decimal("0.1") else Decimal("0.01"))


def settings_lines(learned: LearnedOperations) -> tuple[str, ...]:
    """Lines for [work.hours] in shop.toml, to be pasted by whoever wants them; nothing is changed for them."""
    return tuple(
        f"{toml_key(hours.operation)} = {hours.learned}  # was {hours.planned.normalize():f}; "
        f"{hours.jobs} job{'' if hours.jobs == 1 else 's'}, 8 in 10: {hours.low} to {hours.high}"
        for hours in learned.operations
        if hours.learned is not None
    )
