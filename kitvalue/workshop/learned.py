"""What the hours of finished builds teach about the next ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.shop import Shop
from kitvalue.intake.tomltext import toml_key
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.outcome import JobOutcome, OperationOutcome
from kitvalue.workshop.shrink import NotShrunken, Shrunken, shrunken_means

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
