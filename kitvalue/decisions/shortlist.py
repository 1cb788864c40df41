"""Every offer for every use: ceilings, expected profit, the price to open with and the price to stop at."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from importlib import resources
from typing import Final

import numpy as np

from kitvalue.decisions.ceiling import (
    Base,
    Ceilings,
    Deals,
    Paid,
    Use,
    ceilings,
    chance_of_loss,
    make_up,
    mean_profit,
    opening,
)
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.intake.books.book import FloatArray, IntArray
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.books.parts import Part
from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.sizes import Size
from kitvalue.workshop.tax import Terms

MOST_AT_ONCE = 100_000  # outcomes held at a time: what fits a processor's cache


@dataclass(frozen=True, slots=True)
class MadeUp:
    """How a ceiling comes about, means in money: sells_for - vat - fee - costs - margin = leaves, what is left to pay
    for the kit; below 0 even a gift does not leave the margin."""

    sells_for: float
    vat: float
    fee: float
    costs: float  # work with its contingency, parts, other donors, freight, holding
    margin: float
    leaves: float


@dataclass(frozen=True, slots=True)
class JudgedUse:
    """One use of an offer by one route. Money; chances are shares of the sample; None beside a `reason`.

    `expected_profit` and `chance_of_loss` are at the price expected to be paid, `chance_at_ceiling` at the ceiling.
    """

    use: Use
    route: Route
    ceiling: float | None
    safe_ceiling: float | None
    expected_profit: float | None
    chance_of_loss: float | None
    chance_at_ceiling: float | None
    hours: float
    profit_per_hour: float | None
    reason: str | None
    made_up: MadeUp | None = None


@dataclass(frozen=True, slots=True)
class JudgedOffer:
    """One offer judged. `rank` is the share of the buy-in sample below the asked price. None beside a `reason`."""

    offer: Offer
    buy_in: float | None
    against_percent: float | None
    rank: float | None
    paid: Paid
    open_at: float | None
    stop_at: float | None
    best: JudgedUse | None
    uses: tuple[JudgedUse, ...]
    cautions: tuple[str, ...]
    reason: str | None

    @property
    def limited_by_loss(self) -> bool:
        """Is it the chance of a loss that stops it, not the margin?"""
        top = None if self.best is None else self.best.ceiling
        return top is not None and (self.stop_at is None or self.stop_at < top)

    @property
    def better_routes(self) -> tuple[JudgedUse, ...]:
        """The best use by other VAT routes that would let more be paid."""
        if self.best is None:
            return ()
        open_ones = [use for use in self.uses if use.use == self.best.use and use.safe_ceiling is not None]
        return tuple(use for use in open_ones if self.stop_at is None or (use.safe_ceiling or 0) > self.stop_at)


@dataclass(frozen=True, slots=True)
class ReckonedWith:
    """What the ceilings rest on beside the price book, as shop.toml sets it: the VAT, the bench's hourly rate (net
    money) with the contingency on it, hours, the channel's fee. None where it does not say. `invented` where these are
    still a new shop's."""

    vat_percent: float
    route: Route
    hourly_rate: float | None
    contingency_percent: float | None
    prepare_hours: float | None
    part_out_hours: float | None
    margin_percent: float
    fee_percent: float
    invented: bool


@dataclass(frozen=True, slots=True, eq=False)
class Shortlist:
    """The answer of `shortlist`. `holding` is what keeping one kit for `months`, until it is sold, costs, money;
    `loss_percent` and `margin_percent` are the shop's limits, `unread` the rows of offers.csv that are refused."""

    currency: str
    plan: str | None
    on: date | None
    as_of: date | None  # the day whose prices these are: `on`, else the newest of the book
    offers: tuple[JudgedOffer, ...]
    portfolio: Portfolio | None
    holding: float
    months: float | None
    loss_percent: float
    margin_percent: float
    cautions: tuple[str, ...]
    reckoned_with: ReckonedWith | None = None
    unread: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class UseBatch:
    """Offers of one use and route with what they bring: row `at[i]` of `outcomes` and `clipped` is offer
    `offers[i]`'s. `cost` (m,) is what comes on top of the base's: freight of the offer, holding."""

    base: Base
    offers: IntArray  # (m,) places in the list of offers
    outcomes: FloatArray  # (u, n)
    clipped: FloatArray  # (u, n)
    at: IntArray  # (m,)
    cost: FloatArray  # (m,)
    freight: float  # outward, charged to the buyer
    values: FloatArray | None = None  # (u,) for kits in parts


def judged_uses(batch: UseBatch, paid: FloatArray, terms: Terms, loss_chance: float) -> list[JudgedUse]:
    """The use for each offer of a batch; `paid` (m,) are the prices expected."""
    if batch.base.reason is not None:
        return [closed(batch.base)] * len(batch.offers)
    step = max(1, MOST_AT_ONCE // batch.outcomes.shape[1])
    found: list[JudgedUse] = []
    for start in range(0, len(batch.offers), step):
        part = slice(start, start + step)
        found += _found(deals_of(batch, part, terms), batch.base, paid[part], loss_chance)
    return found


def closed(base: Base) -> JudgedUse:
    """A use that is not open."""
    return JudgedUse(base.use, base.route, None, None, None, None, None, base.hours, None, base.reason)


def deals_of(batch: UseBatch, part: slice, terms: Terms) -> Deals:
    """Some of a batch's offers as purchases."""
    base, at = batch.base, batch.at[part]
    one = np.ones(len(at))
    return Deals(
        outcomes=batch.outcomes[at],
        clipped=batch.clipped[at],
        cost=base.cost + batch.cost[part],
        rate=0.0 if base.route == "none" else float(terms.rate),
        fee=float(terms.fee),
        margin=float(terms.margin),
        freight=batch.freight,
        on_margin=base.route == "margin",
        others=base.others * one,
        credit=base.credit * one,
        least=base.least * one,
        values=None if batch.values is None else batch.values[at],
    )


def _found(deals: Deals, base: Base, paid: FloatArray, loss_chance: float) -> list[JudgedUse]:
    tops = ceilings(deals, loss_chance)
    profit, chance = mean_profit(deals, paid), chance_of_loss(deals, paid)
    per_hour = (profit + base.labour) / base.hours if base.hours else np.full(len(profit), np.nan)
    rows = zip(
        tops.ceiling, tops.safe, profit, chance, tops.chance_at_ceiling, per_hour, _made_up(deals, tops), strict=True
    )
    return [
        JudgedUse(
            base.use, base.route, float(top) if top >= 0 else None, float(safe) if safe >= 0 else None,
            float(mean), float(lost), float(at_top) if top >= 0 else None, base.hours,
            float(hourly) if base.hours else None, None, made_up,
        )
        for top, safe, mean, lost, at_top, hourly, made_up in rows
    ]  # fmt: skip


def _made_up(deals: Deals, tops: Ceilings) -> list[MadeUp]:
    parts = make_up(deals, tops.leaves)
    columns = (parts.sells_for, parts.vat, parts.fee, parts.costs, parts.profit, tops.leaves)
    return [MadeUp(*map(float, row)) for row in zip(*columns, strict=True)]


def judged(
    offer: Offer, paid: Paid, buy_in: float, rank: float, uses: Sequence[JudgedUse], own: Sequence[Route],
    cautions: Sequence[str],
) -> JudgedOffer:  # fmt: skip
    """An offer with its uses. `own` (one for each use) is the route that the shop sets for it: the best use is taken
    among these, or among the others of the same use where that route is closed."""
    best = best_use(uses, own)
    asked = float(offer.price)
    stop = best.safe_ceiling if best is not None else None
    start = None if stop is None else opening(asked, paid.price, stop)
    return JudgedOffer(
        offer, buy_in, 100 * (asked / buy_in - 1), rank, paid, start, stop, best, tuple(uses), tuple(cautions), None
    )


def best_use(uses: Sequence[JudgedUse], own: Sequence[Route]) -> JudgedUse | None:
    """The most profitable of the uses, each by the shop's own route where that is open."""
    open_ones = [(u, u.route == route) for u, route in zip(uses, own, strict=True) if u.expected_profit is not None]
    ours = {u.use for u, is_own in open_ones if is_own}
    candidates = [u for u, is_own in open_ones if is_own or u.use not in ours]
    return max(candidates, key=lambda u: u.expected_profit or 0.0, default=None)


def without_value(offer: Offer, paid: Paid, reason: str) -> JudgedOffer:
    """An offer that cannot be valued."""
    return JudgedOffer(offer, None, None, None, paid, None, None, None, (), (), reason)


def reckoned_with(shop: Shop) -> ReckonedWith | None:
    """What a shop's shortlist rests on; None without [tax] and [selling], and then nothing is judged."""
    if shop.tax is None or shop.selling is None:
        return None
    work = shop.work
    starter = (resources.files("kitvalue") / "starter" / "shop.toml").read_text(encoding="utf-8")
    new = tomllib.loads(starter, parse_float=Decimal)
    ours = None if work is None else (work.rate, work.prepare, shop.selling.margin)
    return ReckonedWith(
        vat_percent=float(shop.tax.rate),
        route=shop.tax.route,
        hourly_rate=None if work is None else float(work.rate),
        contingency_percent=None if work is None else float(work.contingency),
        prepare_hours=None if work is None or work.prepare is None else float(work.prepare),
        part_out_hours=None if work is None or work.part_out is None else float(work.part_out),
        margin_percent=float(shop.selling.margin),
        fee_percent=float(shop.selling.fee),
        invented=ours == (new["work"]["rate"], new["work"]["prepare"], new["selling"]["margin"]),
    )


def ranked(found: Sequence[JudgedOffer]) -> tuple[JudgedOffer, ...]:
    """The most profitable first; offers that cannot be valued last, in the file's order."""

    def key(one: JudgedOffer) -> tuple[int, float]:
        if one.reason is not None:
            return (2, float(one.offer.row))
        profit = one.best.expected_profit if one.best is not None else None
        return (1, float(one.offer.row)) if profit is None else (0, -profit)

    return tuple(sorted(found, key=key))


SCENARIOS: Final = 400  # a chance in whole percent is a whole number of them
SEED: Final = 20260105
WEEKS_A_MONTH: Final = 365.25 / 12 / 7


@dataclass(frozen=True, slots=True, eq=False)
class PartSales:
    """m kits in parts; money, gross. `outcomes` are equally likely, a part's chance its share of them."""

    outcomes: FloatArray  # (m, SCENARIOS)
    values: FloatArray  # (m,) all parts sold
    months: FloatArray  # (m,) until the slowest is sold


@dataclass(frozen=True, slots=True)
class KitParts:
    """The parts of one kit: rows of parts.csv by place, a drum's row as often as the kit has such drums.

    `unknown` are the drums that no row means.
    """

    rows: tuple[int, ...]
    unknown: tuple[Size, ...]


def parts_of(sizes: Sequence[Size], parts: Sequence[Part]) -> KitParts:
    """Each drum by the row that means it most exactly, and once every part that is no drum."""
    rows, unknown = [], []
    for size in sizes:
        fits = [part.fits(size) for part in parts]
        best = max(fits, default=0)
        if best:
            rows.append(fits.index(best))
        else:
            unknown.append(size)
    rows += [i for i, part in enumerate(parts) if part.drum is None]
    return KitParts(tuple(rows), tuple(unknown))


def drum_value(size: Size, parts: Sequence[Part]) -> float:
    """What a single drum is expected to fetch, gross: value times chance; 0 where no row means it."""
    best = max(parts, key=lambda part: part.fits(size), default=None)
    return 0.0 if best is None or not best.fits(size) else float(best.value * best.chance)


def part_sales(kits: Sequence[KitParts], parts: Sequence[Part]) -> PartSales:
    """The sales of kits in parts. Every copy of a part has its own fixed draw, the same for all kits."""
    most = max((kit.rows.count(i) for kit in kits for i in set(kit.rows)), default=0)
    rng = np.random.default_rng(SEED)
    sold = np.zeros((len(parts), most + 1, SCENARIOS))  # how much the first c copies bring
    for i, part in enumerate(parts):
        hits = np.arange(SCENARIOS) < round(float(part.chance) * SCENARIOS)
        draws = np.array([hits[rng.permutation(SCENARIOS)] for _ in range(most)]).reshape(most, SCENARIOS)
        sold[i, 1:] = float(part.value) * draws.cumsum(axis=0)
    copies = np.array([[kit.rows.count(i) for i in range(len(parts))] for kit in kits], dtype=np.int64)
    outcomes = np.zeros((len(kits), SCENARIOS))
    for i in range(len(parts)):
        outcomes += sold[i, copies[:, i]]
    values = copies @ np.array([float(p.value) for p in parts])
    weeks = (copies > 0) * np.array([float(p.weeks) for p in parts])
    return PartSales(outcomes, values, weeks.max(axis=1) / WEEKS_A_MONTH)
