"""What share of the original's price the shop's own rebuilds fetched, and what that says of the next one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from statistics import NormalDist

import numpy as np

from kitvalue.decisions.original import as_money
from kitvalue.intake.text.problems import Caution
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.money import HUNDRED, ZERO
from kitvalue.workshop.outcome import JobOutcome, Planned
from kitvalue.workshop.shrink import Shrinkage, Shrunken, shrunken_means

TENTH = Decimal("0.1")
OWN_SALES = Caution(
    "own_sales",
    "Put your own sales into the price book under a series of their own as well: with a few of them a plan can take "
    "that series at share = 100 instead of a share of the originals' price.",
)


@dataclass(frozen=True, slots=True, eq=False)
class SoldBuild:
    """One sale of a finished build and what the market said of it.

    `market` is the outlook, on the day of the sale, of the plan's finished series at the kit's pieces and condition,
    sold by a dealer: what `price` takes the plan's share of.
    """

    job: JobOutcome
    planned: Planned
    market: Outlook


@dataclass(frozen=True, slots=True)
class ShareOutcome:
    """One sale, its share of the market's `typical` price (money) and the plan's, in percent."""

    row: int
    plan: str
    series: str
    sold_on: dt.date
    sold_for: Decimal
    typical: float
    share: Decimal
    planned: Decimal


@dataclass(frozen=True, slots=True)
class LearnedShare:
    """What the sales of one plan say of its share, in percent.

    `own` is their mean, `learned` the shrunken one with the range `low` to `high` that holds the true share in 8 of 10
    cases; `weight` is how much of the way from all plans' common factor to its own it goes.
    """

    plan: str
    series: str
    sales: int
    planned: Decimal
    own: Decimal
    learned: Decimal
    low: Decimal
    high: Decimal
    weight: float
    line: str


@dataclass(frozen=True, slots=True)
class LearnedShares:
    """Every sale and what they teach, plan by plan. `reason` says why nothing is learned, else None."""

    sales: tuple[ShareOutcome, ...]
    learned: tuple[LearnedShare, ...]
    reason: str | None
    cautions: tuple[Caution, ...]


def learned_shares(builds: Sequence[SoldBuild]) -> LearnedShares:
    """The share that the finished builds fetched, learned as the hours are: shrunken means of fetched over planned.

    How much one sale scatters is taken from the market, so that a single sale already has a range: the variance as a
    multiple of the typical price, from the middle 8 in 10 of the outlook's sample as if normal (a slip in the price
    book must not widen what is learned here). Every build must have been sold, for a price on a day.
    """
    if not builds:
        return LearnedShares((), (), "no finished build was sold yet", ())
    sales = tuple(_outcome(build) for build in builds)
    reach = 2 * NormalDist().inv_cdf(0.9)
    ratios: dict[str, list[float]] = {}
    scatter = []
    for build, sale in zip(builds, sales, strict=True):
        ratio = float(sale.sold_for) / sale.typical / (float(sale.planned) / 100)
        low, high = np.quantile(build.market.sample / build.market.typical, [0.1, 0.9])
        scatter.append(float((high - low) / reach) ** 2 * ratio**2)
        ratios.setdefault(sale.plan, []).append(ratio)
    shrunken = shrunken_means(list(ratios.values()), sum(scatter) / len(scatter))
    groups = shrunken.groups if isinstance(shrunken, Shrinkage) else ()  # with a known scatter it always is
    learned = tuple(
        _learned([sale for sale in sales if sale.plan == plan], group)
        for plan, group in zip(ratios, groups, strict=True)
    )
    doubted = (
        Caution(
            "share_above",
            f"the sales of {share.plan} fetched {share.learned} % of what {share.series} fetches, more than the "
            "originals themselves: see that done.csv and prices.csv tell of the same kits before you take that share "
            "over",
        )
        for share in learned
        if share.low > HUNDRED
    )
    said = (caution for build in builds for caution in build.market.cautions)
    return LearnedShares(sales, learned, None, (*doubted, *dict.fromkeys((*said, OWN_SALES))))


def _outcome(build: SoldBuild) -> ShareOutcome:
    job, finished, typical = build.job, build.planned.plan.finished, build.market.typical
    if job.sold_for is None or job.sold_on is None:
        raise ValueError(f"row {job.row} was not sold")
    share = _tenths(job.sold_for * HUNDRED / as_money(typical))
    return ShareOutcome(
        job.row, job.plan, finished.series, job.sold_on, job.sold_for, typical, share, finished.share
    )  # fmt: skip


def _learned(sales: Sequence[ShareOutcome], group: Shrunken) -> LearnedShare:
    first, count = sales[0], len(sales)
    own, learned, low, high = (
        _tenths(max(ZERO, Decimal(repr(ratio)) * first.planned))
        for ratio in (group.own, group.mean, group.low, group.high)
    )
    times = "1 sale" if count == 1 else f"{count} sales"
    line = f"share = {learned}  # was {first.planned.normalize():f}; {times}, 8 in 10: {low} to {high}"
    return LearnedShare(first.plan, first.series, count, first.planned, own, learned, low, high, group.weight, line)


def _tenths(value: Decimal) -> Decimal:
    return value.quantize(TENTH, rounding=ROUND_HALF_UP)
