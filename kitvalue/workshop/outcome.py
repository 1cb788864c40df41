"""Finished builds held against their plans."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

from kitvalue.intake.books.done import FinishedBuild
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.tomltext import toml_key
from kitvalue.workshop.build import Group, own_hours
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.drums import drums_of
from kitvalue.workshop.money import ZERO, cents
from kitvalue.workshop.quantities import Counted, count
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
    drums = drums_of(plan)
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


RANGE_SHARE = 0.80  # of a range
_BISECTIONS = 80


@dataclass(frozen=True, slots=True)
class Shrunken:
    """One group: its `own` mean, the `mean` that leans on all groups, and the range that holds the group's true mean.

    `weight` says how much of the way from the common mean to its own the group goes, 0 to 1. `low` and `high` are None
    where the scatter inside groups is not known.
    """

    count: int
    own: float
    mean: float
    weight: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Shrinkage:
    """All groups, in order. `within` and `between` are variances, `common` the mean that groups lean on."""

    groups: tuple[Shrunken, ...]
    common: float
    within: float
    between: float


@dataclass(frozen=True, slots=True)
class NotShrunken:
    """Why nothing can be learned."""

    reason: str


def shrunken_means(groups: Sequence[Sequence[float]], known_within: float | None = None) -> Shrinkage | NotShrunken:
    """The shrunken mean of each group; no group is empty.

    `known_within` is the variance of one observation where it is known from elsewhere; else it is estimated from the
    groups with more than one observation, of which there must be one.
    """
    if not groups:
        return NotShrunken("nothing was written down yet")
    counts = [len(group) for group in groups]
    own = [sum(group) / len(group) for group in groups]
    freedom = sum(counts) - len(groups)
    if known_within is None and freedom == 0:
        return NotShrunken("each was seen once only, so how much one job differs from the next is not known yet")
    within = known_within if known_within is not None else _within(groups, own, freedom)
    between = _between(counts, own, within)
    variances = [between + within / n for n in counts]
    common, common_variance = _weighted(own, variances)
    reach = NormalDist().inv_cdf((1 + RANGE_SHARE) / 2)
    if known_within is None:
        reach = t_quantile((1 + RANGE_SHARE) / 2, freedom)
    made = [
        _shrunken(n, mean, within, between, common, common_variance, reach) for n, mean in zip(counts, own, strict=True)
    ]
    if len(groups) == 1:  # nothing to lean on
        sd = math.sqrt(within / counts[0])
        made = [Shrunken(counts[0], own[0], own[0], 1.0, own[0] - reach * sd, own[0] + reach * sd)]
    return Shrinkage(tuple(made), common, within, between)


def _within(groups: Sequence[Sequence[float]], own: Sequence[float], freedom: int) -> float:
    squares = ((value - mean) ** 2 for group, mean in zip(groups, own, strict=True) for value in group)
    return sum(squares) / freedom


def _between(counts: Sequence[int], own: Sequence[float], within: float) -> float:
    total = sum(counts)
    if len(counts) < 2:
        return 0.0
    grand = sum(n * mean for n, mean in zip(counts, own, strict=True)) / total
    squares = sum(n * (mean - grand) ** 2 for n, mean in zip(counts, own, strict=True))
    spread = total - sum(n * n for n in counts) / total
    return max(0.0, (squares - (len(counts) - 1) * within) / spread)


def _weighted(own: Sequence[float], variances: Sequence[float]) -> tuple[float, float]:
    """The mean of all groups by their precisions, and its variance."""
    if min(variances) == 0.0:  # observations that repeat exactly
        exact = [mean for mean, variance in zip(own, variances, strict=True) if variance == 0.0]
        return sum(exact) / len(exact), 0.0
    weights = [1 / variance for variance in variances]
    return sum(w * mean for w, mean in zip(weights, own, strict=True)) / sum(weights), 1 / sum(weights)


def _shrunken(
    count: int, own: float, within: float, between: float, common: float, common_variance: float, reach: float
) -> Shrunken:
    total = between + within / count
    weight = between / total if total > 0 else 1.0
    mean = common + weight * (own - common)
    sd = math.sqrt(weight * within / count + (1 - weight) ** 2 * common_variance)
    return Shrunken(count, own, mean, weight, mean - reach * sd, mean + reach * sd)


def t_quantile(probability: float, freedom: int) -> float:
    """The quantile of Student's t above its median, for whole degrees of freedom; by bisection of `t_inside`."""
    wanted = 2 * probability - 1
    low, high = 0.0, 1.0
    while t_inside(high, freedom) < wanted:
        low, high = high, 2 * high
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if t_inside(middle, freedom) < wanted else (low, middle)
    return (low + high) / 2


def t_inside(t: float, freedom: int) -> float:
    """The probability that Student's t lies within -t to t (Abramowitz and Stegun 1964, 26.7.3 and 26.7.4)."""
    angle = math.atan(t / math.sqrt(freedom))
    cosine, odd = math.cos(angle), freedom % 2 == 1
    term = total = cosine if odd else 1.0
    for j in range(2 if odd else 1, freedom - 1, 2):
        term *= j / (j + 1) * cosine**2
        total += term
    if not odd:
        return math.sin(angle) * total
    return 2 / math.pi * (angle + math.sin(angle) * (total if freedom > 1 else 0.0))


SEVERAL = "it is counted in different units, so hours for one cannot be told"


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
    seen: dict[str, list[OperationOutcome]] = {}
    for job in jobs:
        for one in job.operations:
            if one.hours.actual is not None and one.quantity > 0:
                seen.setdefault(one.operation, []).append(one)
    usable = {name: few for name, few in seen.items() if _why_not(few, settings.get(name)) is None}
    ratios = [[_ratio(one, settings[name]) for one in few] for name, few in usable.items()]
    found = shrunken_means(ratios)
    shrunk: dict[str, Shrunken] = {}
    if not isinstance(found, NotShrunken):
        shrunk = dict(zip(usable, found.groups, strict=True))
    learned = []
    for name, few in seen.items():
        reason = _why_not(few, settings.get(name))
        if reason is None and isinstance(found, NotShrunken):
            reason = found.reason
        learned.append(_learned(name, few, settings.get(name, ZERO), shrunk.get(name), reason))
    return LearnedOperations(tuple(learned), None if isinstance(found, NotShrunken) else found.common)


def _why_not(few: Sequence[OperationOutcome], setting: Decimal | None) -> str | None:
    if any(not one.unit for one in few) or len({one.unit for one in few}) > 1:
        return SEVERAL
    if not setting:
        return "[work.hours] has 0 for it, and nothing is a multiple of 0: write a first guess there"
    return None


def _per_unit(one: OperationOutcome) -> Decimal:
    return (one.hours.actual or ZERO) / one.quantity


def _ratio(one: OperationOutcome, setting: Decimal) -> float:
    return float(_per_unit(one) / setting)


def _learned(
    name: str, few: Sequence[OperationOutcome], setting: Decimal, found: Shrunken | None, reason: str | None
) -> LearnedHours:
    own = None if reason == SEVERAL else _hours_for_one(sum(map(_per_unit, few), ZERO) / len(few))
    if found is None:
        return LearnedHours(name, few[0].unit, len(few), setting, own, None, None, None, None, reason)

    def scaled(ratio: float) -> Decimal:
        return _hours_for_one(max(ZERO, Decimal(repr(ratio))) * setting)

    return LearnedHours(
        name, few[0].unit, len(few), setting, own, scaled(found.mean), scaled(found.low), scaled(found.high),
        found.weight, None,
    )  # fmt: skip


def _hours_for_one(hours: Decimal) -> Decimal:
    """To a hundredth of an hour, small ones to a thousandth."""
    return hours.quantize(Decimal("0.001") if hours < Decimal("0.1") else Decimal("0.01"))


def settings_lines(learned: LearnedOperations) -> tuple[str, ...]:
    """Lines for [work.hours] in shop.toml, to be pasted by whoever wants them; nothing is changed for them."""
    return tuple(
        f"{toml_key(one.operation)} = {one.learned}  # was {one.planned.normalize():f}; {_jobs(one.jobs)}, "
        f"8 in 10: {one.low} to {one.high}"
        for one in learned.operations
        if one.learned is not None
    )


def _jobs(number: int) -> str:
    return "1 job" if number == 1 else f"{number} jobs"
