"""What share of the original's price the shop's own rebuilds fetched, and what that says of the next one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from statistics import NormalDist

import numpy as np

from kitvalue.decisions.original import as_money
from kitvalue.intake.settings.plan import FinishedTable
from kitvalue.intake.text.problems import Caution
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.money import HUNDRED, ZERO
from kitvalue.workshop.outcome import JobOutcome
from kitvalue.workshop.shrink import Shrinkage, shrunken_means

OWN_SALES = Caution(
    "own_sales",
    "Put your own sales into the price book under a series of their own as well: with a few of them a plan can take "
    "that series at share = 100 instead of a share of the originals' price.",
)


@dataclass(frozen=True, slots=True, eq=False)
class SoldBuild:
    """One finished build that was sold for a price on a day, and what the market said of it.

    `market` is the outlook, on the day of the sale, of the plan's finished series at the kit's pieces and condition,
    sold by a dealer: what `price` takes the plan's share of.
    """

    job: JobOutcome
    market: Outlook

    @property
    def finished(self) -> FinishedTable:
        """The plan's own share and what it is a share of."""
        return self.job.planned.plan.finished

    @property
    def share(self) -> Decimal:
        """Percent of the market's typical price."""
        return _tenths((self.job.build.sold_for or ZERO) * HUNDRED / as_money(self.market.typical))


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

    sales: tuple[SoldBuild, ...]
    learned: tuple[LearnedShare, ...]
    reason: str | None
    cautions: tuple[Caution, ...]


def learned_shares(sales: Sequence[SoldBuild]) -> LearnedShares:
    """The share that the finished builds fetched, learned as the hours are: shrunken means of fetched over planned.

    How much one sale scatters is taken from the market, so that a single sale already has a range: the variance as a
    multiple of the typical price, from the middle 8 in 10 of the outlook's sample as if normal (a slip in the price
    book must not widen what is learned here).
    """
    if not sales:
        return LearnedShares((), (), "no finished build was sold yet", ())
    reach = 2 * NormalDist().inv_cdf(0.9)
    ratios: dict[str, list[float]] = {}
    scatter = []
    for sale in sales:
        market = sale.market
        ratio = float(sale.job.build.sold_for or 0) / market.typical / (float(sale.finished.share.middle) / 100)
        low, high = np.quantile(market.sample / market.typical, [0.1, 0.9])
        scatter.append(float((high - low) / reach) ** 2 * ratio**2)
        ratios.setdefault(sale.job.build.plan, []).append(ratio)
    shrunken = shrunken_means(list(ratios.values()), sum(scatter) / len(scatter))
    groups = shrunken.groups if isinstance(shrunken, Shrinkage) else ()  # with a known scatter it always is
    learned = []
    for plan, group in zip(ratios, groups, strict=True):
        of_plan = [sale for sale in sales if sale.job.build.plan == plan]
        finished, times = of_plan[0].finished, "1 sale" if len(of_plan) == 1 else f"{len(of_plan)} sales"
        own, mean, low, high = (
            _tenths(max(ZERO, Decimal(repr(ratio)) * finished.share.middle))
            for ratio in (group.own, group.mean, group.low, group.high)
        )
        planned = finished.share.middle
        taught = f"[{low}, {high}]  # was {finished.share}; {times}, {mean} in the middle"
        if low <= 0:
            taught = f"{mean}  # was {finished.share}; {times}, 8 in 10: {low} to {high}"
        line = f"share = {taught}"
        learned.append(
            LearnedShare(plan, finished.series, len(of_plan), planned, own, mean, low, high, group.weight, line)
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
    said = (caution for sale in sales for caution in sale.market.cautions)
    return LearnedShares(tuple(sales), tuple(learned), None, (*doubted, *dict.fromkeys((*said, OWN_SALES))))


def _tenths(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.1"), rounding=ROUND_HALF_UP)
