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
from kitvalue.workshop.shrink import NotShrunken, Shrunken, shrunken_means

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


def learned_shares(seen: Sequence[SoldBuild]) -> LearnedShares:
    """The share that the finished builds fetched, learned as the hours are: shrunken means of fetched over planned.

    How much one sale scatters is taken from the market (the sample of the outlook around its typical price), so that
    a single sale already has a range. Sales without a price or a day teach nothing and must not be among `seen`.
    """
    if not seen:
        return LearnedShares((), (), "no finished build was sold yet", ())
    sales = tuple(_outcome(one) for one in seen)
    ratios = [float(sale.sold_for) / sale.typical / (float(sale.planned) / 100) for sale in sales]
    plans = list(dict.fromkeys(sale.plan for sale in sales))
    groups = [[r for r, sale in zip(ratios, sales, strict=True) if sale.plan == plan] for plan in plans]
    scatter = [_relative_variance(one.market) * r**2 for one, r in zip(seen, ratios, strict=True)]
    found = shrunken_means(groups, sum(scatter) / len(scatter))
    cautions = tuple(dict.fromkeys((*(caution for one in seen for caution in one.market.cautions), OWN_SALES)))
    if isinstance(found, NotShrunken):  # groups are never empty here
        return LearnedShares(sales, (), found.reason, cautions)
    learned = tuple(
        _learned(plan, [sale for sale in sales if sale.plan == plan], group)
        for plan, group in zip(plans, found.groups, strict=True)
    )
    return LearnedShares(sales, learned, None, (*(_above(one) for one in learned if one.low > HUNDRED), *cautions))


def _above(one: LearnedShare) -> Caution:
    return Caution(
        "share_above",
        f"the sales of {one.plan} fetched {one.learned} % of what {one.series} fetches, more than the originals "
        "themselves: see that done.csv and prices.csv tell of the same kits before you take that share over",
    )


def _outcome(seen: SoldBuild) -> ShareOutcome:
    job, plan = seen.job, seen.planned.plan
    if job.sold_for is None or job.sold_on is None:
        raise ValueError(f"row {job.row} was not sold")
    share = job.sold_for * HUNDRED / as_money(seen.market.typical)
    return ShareOutcome(
        job.row, job.plan, plan.finished.series, job.sold_on, job.sold_for, seen.market.typical, _tenths(share),
        plan.finished.share,
    )  # fmt: skip


def _relative_variance(market: Outlook) -> float:
    """The variance of one sale as a multiple of the typical price.

    From the middle 8 in 10 of the sample, as if normal: a slip in the price book must not widen what is learned here.
    """
    low, high = np.quantile(market.sample / market.typical, [0.1, 0.9])
    return float((high - low) / (2 * NormalDist().inv_cdf(0.9))) ** 2


def _learned(plan: str, sales: Sequence[ShareOutcome], group: Shrunken) -> LearnedShare:
    planned, series = sales[0].planned, sales[0].series

    def scaled(ratio: float) -> Decimal:
        return _tenths(max(ZERO, Decimal(repr(ratio)) * planned))

    learned, low, high = scaled(group.mean), scaled(group.low), scaled(group.high)
    times = "1 sale" if len(sales) == 1 else f"{len(sales)} sales"
    line = f"share = {learned}  # was {planned.normalize():f}; {times}, 8 in 10: {low} to {high}"
    return LearnedShare(plan, series, len(sales), planned, scaled(group.own), learned, low, high, group.weight, line)


def _tenths(value: Decimal) -> Decimal:
    return value.quantize(TENTH, rounding=ROUND_HALF_UP)
