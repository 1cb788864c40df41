"""Every offer for every use: ceilings, expected profit, the price to open with and the price to stop at."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from importlib import resources
from typing import Final

import numpy as np

from kitvalue.decisions.ceiling import (
    Base,
    Deals,
    Landed,
    MadeUp,
    Paid,
    Use,
    ceilings,
    chance_of_loss,
    mean_profit,
    opening,
)
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.verdict import Verdict, bid_of, whole
from kitvalue.intake.books.book import FloatArray, IntArray
from kitvalue.intake.books.offers import Offer, Part, part_for
from kitvalue.intake.settings.shop import BuyingTable, Route, SellingTable, Shop, TaxTable, WorkTable
from kitvalue.intake.text.problems import Caution
from kitvalue.intake.text.sizes import Size
from kitvalue.workshop.costing import settings_of
from kitvalue.workshop.money import HUNDRED, down_to_step
from kitvalue.workshop.tax import Terms

FEW_SEEN = 10  # sightings of a series below which a verdict says how many there are
MOST_AT_ONCE = 100_000  # outcomes held at a time: what fits a processor's cache


@dataclass(frozen=True, slots=True)
class JudgedUse:
    """One use of an offer by one route. Money; chances are shares of the sample; None beside a `reason`.

    `expected_profit` and `chance_of_loss` are at the price expected to be paid, None where none is; `chance_at_ceiling`
    is at the ceiling. Ceilings are as they are bid: of a lot at an auction hammer prices. `own`: it is by the route
    that plan and shop set for it.
    """

    use: Use
    route: Route
    own: bool = True
    ceiling: float | None = None
    safe_ceiling: float | None = None
    expected_profit: float | None = None
    chance_of_loss: float | None = None
    chance_at_ceiling: float | None = None
    hours: float = 0.0
    profit_per_hour: float | None = None
    reason: str | None = None
    made_up: MadeUp | None = None


@dataclass(frozen=True, slots=True)
class JudgedOffer:
    """One offer judged. `rank` is the share of the buy-in sample below the asked price, with its premium as in
    `against_percent`. None beside a `reason`; a lot without a price has neither, and `paid` None."""

    offer: Offer
    paid: Paid | None
    verdict: Verdict
    buy_in: float | None = None
    against_percent: float | None = None
    rank: float | None = None
    open_at: float | None = None
    stop_at: float | None = None
    best: JudgedUse | None = None
    uses: tuple[JudgedUse, ...] = ()
    cautions: tuple[Caution, ...] = ()
    reason: str | None = None

    @property
    def expected_paid(self) -> float | None:
        return None if self.paid is None else self.paid.price

    @property
    def pays(self) -> bool:
        """Does it pay at the price that it will probably be had for?"""
        return self.stop_at is not None and self.paid is not None and self.paid.price <= self.stop_at

    @property
    def net(self) -> bool:
        """Are its prices net, VAT coming on top?"""
        return self.offer.vat == "excluded"

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


def offer_verdict(
    offer: Offer, paid: Paid | None, best: JudgedUse | None, uses: Sequence[JudgedUse], buying: BuyingTable, seen: int
) -> Verdict:
    """What to do about an offer, or a kit that somebody asks about (its name is then blank). `seen` is how often its
    series was seen. One whose freight is not known is never simply bought.
    """
    name, thin = offer.offer, f", from {seen} sighting{'s' * (seen != 1)}" if seen < FEW_SEEN else ""
    if best is None:
        return no_verdict(offer, next((use.reason for use in uses if use.reason is not None), "no use of it is open"))
    short = "" if offer.freight is not None else ", less the freight"
    bid, asked = bid_of(best.safe_ceiling, buying.bid_step), offer.price
    on = f" on {name}" if name else ""
    if bid is None:
        too_often = best.ceiling is not None and best.ceiling >= buying.bid_step
        why = f"at {'any price it loses money too often' if too_often else 'no price does it leave your margin'}"
        return Verdict("pass", f"Pass{on}{thin}: {why}.", None, why)
    likely = None if paid is None else f"it will probably cost {whole(paid.price)}"
    if asked is not None and bid * HUNDRED < asked * buying.worth_a_call:
        call = whole(down_to_step(bid * HUNDRED / buying.worth_a_call, buying.bid_step))
        why = f"it pays up to {whole(bid)}, and {whole(asked)} is asked"
        return Verdict("pass", f"Pass{on}{thin}: {why}; a call is worth it from {call} down{short}.", bid, why)
    what, most = name or "it", f"up to {whole(bid)}{' net' if offer.vat == 'excluded' else ''}{thin}"
    stop = best.safe_ceiling or 0.0
    if paid is not None and paid.price <= stop and offer.freight is not None:
        return Verdict("buy", f"Buy {what}, {most}: {likely}.", bid, likely)
    because = "" if likely is None else f": {likely}"
    return Verdict("buy_below", f"Buy {what} only {most}{because}{short}.", bid, likely)


def no_verdict(offer: Offer, reason: str) -> Verdict:
    return Verdict("unknown", f"No verdict{f' on {offer.offer}' if offer.offer else ''}: {reason}.", None, reason)


@dataclass(frozen=True, slots=True)
class ReckonedWith:
    """The tables of shop.toml that the ceilings rest on beside the price book: [tax], [selling] and, where it is there,
    [work]. `invented` where hourly rate, hours to prepare a kit and margin are still a new shop's."""

    tax: TaxTable
    selling: SellingTable
    work: WorkTable | None
    invented: bool
    bid_step: Decimal


@dataclass(frozen=True, slots=True, eq=False)
class Shortlist:
    """The answer of `shortlist`. `holding` is what keeping one kit until it is sold costs, money; `unread` are the rows
    of offers.csv that are refused."""

    currency: str
    plan: str | None
    on: date | None
    as_of: date | None  # the day whose prices these are: `on`, else the newest of the book
    offers: tuple[JudgedOffer, ...]
    portfolio: Portfolio
    holding: float
    reckoned_with: ReckonedWith
    cautions: tuple[Caution, ...]
    unread: int = 0

    @property
    def best(self) -> JudgedOffer | None:
        return nearest(self.offers)

    @property
    def verdict(self) -> Verdict:
        """That of the best offer; where none is to be bought as it stands, of all of them."""
        return verdict_of_all(self.offers)


def nearest(offers: Sequence[JudgedOffer]) -> JudgedOffer | None:
    """The offer to buy, else the one nearest to it: by its verdict, then as they are ranked."""
    order = ("buy", "buy_below", "pass", "unknown")
    return min(offers, key=lambda one: order.index(one.verdict.code), default=None)


def verdict_of_all(offers: Sequence[JudgedOffer]) -> Verdict:
    """That of the best offer; where none is to be bought as it stands, of all of them."""
    best, n = nearest(offers), len(offers)
    if best is None:
        return Verdict("unknown", "No verdict: there is no offer.", None, "there is no offer")
    own = best.verdict
    more = sum(one.verdict.code == "buy" for one in offers) - 1
    if more > 0:
        return replace(own, sentence=f"{own.sentence} {more} more {'pay' if more > 1 else 'pays'}.")
    if own.code != "buy_below" or n == 1 or own.reason is None:
        return own
    short = ", less the freight" if best.offer.freight is None else ""
    what = f"the nearest is {best.offer.offer}, up to {whole(own.price or 0)}, {own.reason}{short}"
    return replace(own, sentence=f"Buy none of the {n} as they stand: {what}.")


@dataclass(frozen=True, slots=True, eq=False)
class UseBatch:
    """Offers of one use and route with what they bring: row `at[i]` of `outcomes` and `clipped` is offer
    `places[i]`'s, bought in terms of `bought[i]`. `cost` (m,) is what comes on top of the base's and of these: holding,
    parts. `tied`: `Deals`' own."""

    base: Base
    places: Sequence[int]  # in the list of offers
    bought: Sequence[Landed]
    outcomes: FloatArray  # (u, n)
    clipped: FloatArray  # (u, n)
    at: IntArray  # (m,)
    cost: FloatArray  # (m,)
    freight: float  # outward, charged to the buyer
    values: FloatArray | None = None  # (u,) for kits in parts
    chances: FloatArray | None = None  # (u, n) of outcomes that are not equally likely
    tied: FloatArray | float = 0.0

    def deals(self, part: slice, terms: Terms) -> Deals:
        """Some of the offers as purchases."""
        base, at = self.base, self.at[part]
        one, tied = np.ones(len(at)), (self.tied * np.ones(len(self.at)))[part]
        start, slope, purchase, into, back, _, _ = np.array(self.bought[part]).T
        return Deals(
            outcomes=self.outcomes[at],
            clipped=self.clipped[at],
            cost=base.cost + self.cost[part] + start * (1 + tied),
            rate=0.0 if base.route in ("none", "sales") else float(terms.rate),
            fee=float(terms.fee * (1 + terms.rate if base.route == "sales" else 1)),  # of all that the buyer pays
            margin=float(terms.margin),
            freight=self.freight,
            on_margin=base.route == "margin",
            others=base.others * one,
            credit=(base.credit - purchase) / into,
            least=(base.least - purchase) / into,
            values=None if self.values is None else self.values[at],
            chances=None if self.chances is None else self.chances[at],
            slope=slope,
            into=base.part * into,
            back=back,
            reserve=float(terms.reserve),
            tied=tied,
        )


def judged_uses(
    batch: UseBatch, paid: Sequence[float | None] | FloatArray, terms: Terms, loss_chance: float
) -> list[JudgedUse]:
    """The use for each offer of a batch; `paid` are the prices expected, as they are bid."""
    base, m = batch.base, len(batch.places)
    if base.reason is not None:
        return [JudgedUse(base.use, base.route, base.own, hours=base.hours, reason=base.reason)] * m
    step = max(1, MOST_AT_ONCE // batch.outcomes.shape[1])
    uses: list[JudgedUse] = []
    for start in range(0, m, step):
        part = slice(start, start + step)
        deals = batch.deals(part, terms)
        tops = ceilings(deals, loss_chance)
        prices = np.array([price or 0.0 for price in paid[part]])
        profits, losses = mean_profit(deals, prices), chance_of_loss(deals, prices)
        figures = np.column_stack([tops.ceiling, tops.safe, profits, losses, tops.chance_at_ceiling]).tolist()
        for price, (top, safe, profit, loss, at_top), made in zip(paid[part], figures, tops.made_up, strict=True):
            by_hour = (profit + base.labour) / base.hours if base.hours else None
            uses.append(
                JudgedUse(
                    base.use, base.route, base.own, top if top >= 0 else None, safe if safe >= 0 else None,
                    None if price is None else profit, None if price is None else loss, at_top if top >= 0 else None,
                    base.hours, None if price is None else by_hour, None, made,
                )
            )  # fmt: skip
    return uses


def judged(
    offer: Offer, paid: Paid | None, buy_in: float, rank: float | None, uses: Sequence[JudgedUse],
    cautions: Sequence[Caution], buying: BuyingTable, seen: int,
) -> JudgedOffer:  # fmt: skip
    """An offer with its uses. The best one is the most profitable by the routes that plan and shop set, or by the
    others of the same use where that route is closed; without a price the one for which the most may be paid."""

    def gain(use: JudgedUse) -> tuple[bool, float]:
        if use.expected_profit is not None or use.safe_ceiling is not None:
            return True, use.safe_ceiling or 0.0 if use.expected_profit is None else use.expected_profit
        return False, 0.0 if use.made_up is None else use.made_up.leaves

    open_ones = [use for use in uses if use.reason is None]
    ours = {use.use for use in open_ones if use.own}
    candidates = [use for use in open_ones if use.own or use.use not in ours]
    best = max(candidates, key=gain) if candidates else None
    asked, stop = None if offer.price is None else float(offer.price), None if best is None else best.safe_ceiling
    return JudgedOffer(
        offer=offer,
        paid=paid,
        verdict=offer_verdict(offer, paid, best, uses, buying, seen),
        buy_in=buy_in,
        against_percent=None if asked is None else 100 * (asked * float(offer.with_premium) / buy_in - 1),
        rank=rank,
        open_at=None if stop is None or asked is None or paid is None else opening(asked, paid.price, stop),
        stop_at=stop,
        best=best,
        uses=tuple(uses),
        cautions=tuple(cautions),
    )


def reckoned_with(shop: Shop) -> ReckonedWith:
    """What a shop's shortlist rests on. Raises FileError for tables of shop.toml that lack."""
    (tax, selling), work = settings_of(shop), shop.work
    starter = (resources.files("kitvalue") / "starter" / "shop.toml").read_text(encoding="utf-8")
    new = tomllib.loads(starter, parse_float=Decimal)
    invented = (new["work"]["rate"], new["work"]["prepare"], new["selling"]["margin"])
    as_new = work is not None and (work.rate, work.prepare, selling.margin) == invented
    return ReckonedWith(tax, selling, work, as_new, shop.buying.bid_step)


MOST_OUTCOMES: Final = 4096  # 2^12: what up to twelve parts can bring in all is told exactly
SCENARIOS: Final = 4000  # draws beyond that; a chance in whole percent is a whole number of them
WEEKS_A_MONTH: Final = 365.25 / 12 / 7


@dataclass(frozen=True, slots=True, eq=False)
class PartSales:
    """One kit in parts; money, gross."""

    outcomes: FloatArray  # (n,) what its parts bring in all
    chances: FloatArray  # (n,) of each outcome
    value: float  # all parts sold
    months: float  # until the slowest is sold
    sold: float  # how many are sold on average


@dataclass(frozen=True, slots=True)
class KitParts:
    """The parts of one kit: rows of parts.csv by place, a drum's row as often as the kit has such drums.

    `unknown` are the drums that no row means.
    """

    rows: tuple[int, ...]
    unknown: tuple[Size, ...]


def parts_of(sizes: Sequence[Size], parts: Sequence[Part]) -> KitParts:
    """Each drum by the row that means it most exactly, and once every part that is no drum."""
    drums = [(size, part_for(size, parts)) for size in sizes]
    others = [i for i, part in enumerate(parts) if part.drum is None]
    rows = [parts.index(part) for _, part in drums if part is not None]
    return KitParts((*rows, *others), tuple(size for size, part in drums if part is None))


def drum_value(size: Size, parts: Sequence[Part]) -> float:
    """What a single drum is expected to fetch, gross: value times chance; 0 where no row means it."""
    part = part_for(size, parts)
    return 0.0 if part is None else float(part.value * part.chance)


def part_sales(kit: KitParts, parts: Sequence[Part]) -> PartSales:
    """What one kit brings in parts, each sold or not by its own chance: exactly up to `MOST_OUTCOMES` different sums of
    money, else by draws. It hangs on the kit alone, in whatever order its drums are listed."""
    own = sorted((parts[row] for row in kit.rows), key=lambda part: part.part)
    outcomes: FloatArray = np.zeros(1)
    chances: FloatArray = np.ones(1)
    for part in own:
        sums = np.round(np.concatenate([outcomes, outcomes + float(part.value)]), 6)
        halves = np.concatenate([chances * (1.0 - float(part.chance)), chances * float(part.chance)])
        outcomes, at = np.unique(sums, return_inverse=True)
        chances = np.bincount(at.ravel(), weights=halves).astype(np.float64)
        if len(outcomes) > MOST_OUTCOMES:
            outcomes, chances = _drawn(own), np.full(SCENARIOS, 1.0 / SCENARIOS)
            break
    return PartSales(
        outcomes=outcomes,
        chances=chances,
        value=float(sum(part.value for part in own)),
        months=max((float(part.weeks) for part in own), default=0.0) / WEEKS_A_MONTH,
        sold=float(sum(part.chance for part in own)),
    )


def _drawn(own: Sequence[Part]) -> FloatArray:
    """(SCENARIOS,) what parts bring; each is sold in its chance of them. The kit's own parts seed the draws."""
    rng = np.random.default_rng(list("\n".join(part.part for part in own).encode()))
    outcomes = np.zeros(SCENARIOS)
    for part in own:
        hits = np.arange(SCENARIOS) < round(float(part.chance) * SCENARIOS)
        outcomes += float(part.value) * hits[rng.permutation(SCENARIOS)]
    return outcomes
