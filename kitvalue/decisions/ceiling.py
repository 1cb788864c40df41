"""Up to what price a purchase pays: ceilings counted from the market's own sample, for many purchases at once.

Profit falls steadily in the price paid, so that every outcome has one price at which it breaks even and the mean has
one price at which it leaves the margin. Both are closed forms; only a mean whose outcomes lie on both sides of the
margin scheme's "no VAT on a loss" is solved.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.book import FloatArray

BoolArray = NDArray[np.bool_]

CENT_SLACK = 1e-6  # of a cent: what rounding errors may take from a price that is whole cents
NO_LOSS = 1e-6  # money: a profit above minus this is no loss
MOST_STEPS = 100
STEP_END = 1e-9  # money


@dataclass(frozen=True, slots=True, eq=False)
class Deals:
    """m purchases of one use by one VAT route, n equally likely outcomes of each. Money; fractions.

    `outcomes` are gross selling prices, `clipped` those from which means are taken. `cost` is all net cost but the
    price. Under the margin scheme P = `others` + max(0, price - `credit`), and `least` is the lowest price that the
    scheme allows; the VAT of an outcome is k * `part` * max(0, `taxed` - P) - k * freight, where a kit has part 1 and
    taxed = outcome + freight, and a kit sold in parts the sold part of its value and that value.
    """

    outcomes: FloatArray  # (m, n)
    clipped: FloatArray  # (m, n)
    cost: FloatArray  # (m,)
    rate: float
    fee: float
    margin: float
    freight: float
    on_margin: bool  # the VAT route is the margin scheme; else `rate` is on the whole price
    others: FloatArray  # (m,)
    credit: FloatArray  # (m,)
    least: FloatArray  # (m,)
    values: FloatArray | None = None  # (m,) what all parts of a kit sold in parts fetch together; None for whole kits

    @property
    def k(self) -> float:
        """The VAT inside a gross price."""
        return self.rate / (1.0 + self.rate)

    def part(self, outcomes: FloatArray) -> FloatArray:
        """(m, n) the share of the purchase that an outcome sells; (1, 1) where each sells all of it."""
        if self.values is None:
            return np.ones((1, 1))
        return np.divide(outcomes, self.values[:, None], where=self.values[:, None] > 0, out=np.zeros_like(outcomes))

    def taxed(self, outcomes: FloatArray) -> FloatArray:
        """(m, n) the selling price that the purchase price is held against under the margin scheme."""
        if self.values is None:
            return outcomes + self.freight
        return np.broadcast_to(self.values[:, None], outcomes.shape)

    def purchase(self, price: FloatArray) -> FloatArray:
        """(m, 1) P at a price (m,) paid."""
        paid: FloatArray = (self.others + np.maximum(0.0, price - self.credit))[:, None]
        return paid

    def revenue(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) net revenue: outcomes less their VAT."""
        if not self.on_margin:
            return outcomes * (1.0 - self.k)
        due = self.part(outcomes) * np.maximum(0.0, self.taxed(outcomes) - self.purchase(price))
        return outcomes - self.k * (due - self.freight)

    def profit(self, outcomes: FloatArray, price: FloatArray) -> FloatArray:
        """(m, n) profit of each outcome where `price` (m,) is paid."""
        spent = (self.cost + price)[:, None] + self.fee * (outcomes + self.freight)
        return self.revenue(outcomes, price) - spent


@dataclass(frozen=True, slots=True, eq=False)
class Ceilings:
    """(m,) each; a price is below 0 where there is none. Chances are shares of the sample. `leaves` is the price that
    leaves the margin as it comes out, before it is rounded and whatever its sign."""

    ceiling: FloatArray
    safe: FloatArray
    chance_at_ceiling: FloatArray
    leaves: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MakeUp:
    """What the mean selling price goes into at one price paid for the kit, each (m,), money.

    sells_for - vat - fee - costs - profit = the price paid. `costs` is work, parts, freight and holding.
    """

    sells_for: FloatArray
    vat: FloatArray
    fee: FloatArray
    costs: FloatArray
    profit: FloatArray


def make_up(deals: Deals, price: FloatArray) -> MakeUp:
    """Where the money goes at prices paid (m,)."""
    sells_for, net = deals.clipped.mean(axis=1), deals.revenue(deals.clipped, price).mean(axis=1)
    fee = deals.fee * (sells_for + deals.freight)
    return MakeUp(sells_for, sells_for - net, fee, deals.cost, net - fee - deals.cost - price)


def mean_profit(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) expected profit at prices paid."""
    mean: FloatArray = deals.profit(deals.clipped, price).mean(axis=1)
    return mean


def chance_of_loss(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) share of the sample that loses money at prices paid."""
    share: FloatArray = (deals.profit(deals.outcomes, price) < -NO_LOSS).mean(axis=1)
    return share


def surplus_over_margin(deals: Deals, price: FloatArray) -> FloatArray:
    """(m,) mean profit less the margin on mean net revenue: 0 at the ceiling, above it below."""
    over: FloatArray = mean_profit(deals, price) - deals.margin * deals.revenue(deals.clipped, price).mean(axis=1)
    return over


def ceilings(deals: Deals, loss_chance: float) -> Ceilings:
    """The highest price that leaves the margin on average, and the highest at or below it that loses no oftener than
    `loss_chance` (a fraction). Both rounded down to the cent."""
    leaves = _margin_price(deals)
    top = down_to_cent(leaves)
    top = np.where(top >= np.maximum(0.0, deals.least), top, -1.0)
    even = break_even_prices(deals)
    allowed = min(int(np.floor(loss_chance * even.shape[1] + 1e-9)), even.shape[1] - 1)
    limit = down_to_cent(np.partition(even, allowed, axis=1)[:, allowed])
    safe = np.minimum(top, limit)
    safe = np.where((safe >= np.maximum(0.0, deals.least)) & (top >= 0), safe, -1.0)
    return Ceilings(top, safe, chance_of_loss(deals, np.maximum(top, 0.0)), leaves)


def break_even_prices(deals: Deals) -> FloatArray:
    """(m, n) the price at which each outcome leaves nothing; below 0 where it loses even as a gift."""
    if not deals.on_margin:
        return deals.profit(deals.outcomes, np.zeros(len(deals.cost)))
    start = deals.credit[:, None]
    at_start = deals.profit(deals.outcomes, deals.credit)
    slope = 1.0 - deals.k * deals.part(deals.outcomes)
    room = np.maximum(0.0, deals.taxed(deals.outcomes) - deals.others[:, None])  # until no VAT is due any more
    taxed = np.minimum(at_start / slope, room)
    untaxed = at_start - slope * taxed
    return np.where(at_start < 0, start + at_start, start + taxed + untaxed)


def _margin_price(deals: Deals) -> FloatArray:
    """(m,) the price at which the mean profit is the margin of the mean net revenue."""
    zero = np.zeros(len(deals.cost))
    if not deals.on_margin:
        return surplus_over_margin(deals, zero)  # one more paid is one less kept
    at_start = surplus_over_margin(deals, deals.credit)
    slope = 1.0 - deals.k * (1.0 - deals.margin) * deals.part(deals.clipped).mean(axis=1)
    straight = deals.credit + np.where(at_start < 0, at_start, at_start / slope)
    bent = (deals.taxed(deals.clipped).min(axis=1) < deals.purchase(straight)[:, 0]) & (at_start > 0)
    if bent.any():
        straight[bent] = _solved(_some(deals, bent), straight[bent])
    return straight


def _some(deals: Deals, rows: BoolArray) -> Deals:
    """Some of the purchases."""
    arrays = ("outcomes", "clipped", "cost", "others", "credit", "least")
    values = None if deals.values is None else deals.values[rows]
    return replace(deals, values=values, **{name: getattr(deals, name)[rows] for name in arrays})


def _solved(deals: Deals, price: FloatArray) -> FloatArray:
    """The same by Newton's steps from above: the surplus is concave and straight between the outcomes' own prices, so
    that each step stays at or above the root and the last one meets it."""
    for _ in range(MOST_STEPS):
        bought = deals.part(deals.clipped) * (deals.taxed(deals.clipped) > deals.purchase(price))
        slope = 1.0 - deals.k * (1.0 - deals.margin) * bought.mean(axis=1)
        step = surplus_over_margin(deals, price) / slope
        price = price + step
        if np.abs(step).max() < STEP_END:
            break
    return price


def down_to_cent(price: FloatArray) -> FloatArray:
    """The prices rounded down to whole cents."""
    whole: FloatArray = np.floor(price * 100 + CENT_SLACK) / 100
    return whole
