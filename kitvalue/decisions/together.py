"""What to buy together of the offers of a shop: every use of each of them and every plan, drawn from one market."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeAlias

import numpy as np

from kitvalue.decisions.builds import OF_OFFERS, BuildChoice, builds_of, expected_profits, left_out, sales_of
from kitvalue.decisions.ceiling import PARTS, REBUILD, Use
from kitvalue.decisions.offered import Grounds, JudgedOffers, Lot, grounds_of, rebuilds, shortlisted
from kitvalue.decisions.original import finished_kit
from kitvalue.decisions.portfolio import Bought, Candidates, Portfolio, best_set
from kitvalue.decisions.shortlist import JudgedUse
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.plan import DonorTable, Plan
from kitvalue.intake.text.problems import Caution, KitvalueError
from kitvalue.market.encoding import Kit
from kitvalue.market.outlook import known_cautions, shared_draws
from kitvalue.workshop.costing import settings_of
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.purchases import purchase_at

DRAWS: Final = 2000
MOST: Final = 60  # uses that are searched, the most profitable ones; the others count in the bound
SEED: Final = 20260108

Prices: TypeAlias = Mapping[str, FloatArray]  # (draws,) what each kit is sold for, by the name that it is drawn under


@dataclass(frozen=True, slots=True, eq=False)
class Competing:
    """One use of an offer, or one build. `sold` are the kits that its draws need, `profits` makes them of theirs."""

    buys: tuple[Bought, ...]
    expected: float
    cash: float
    hours: float
    sold: Mapping[str, Kit]
    profits: Callable[[Prices], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """What to buy together, and what is said of plans that are not among it."""

    portfolio: Portfolio
    cautions: tuple[Caution, ...]


def by_use(uses: Sequence[JudgedUse]) -> tuple[JudgedUse, ...]:
    """Each open use once: by the route that plan and shop set for it, or the most profitable where that is closed."""
    best: dict[Use, JudgedUse] = {}
    for use in uses:
        if use.reason is None and (use.use not in best or _weight(use) > _weight(best[use.use])):
            best[use.use] = use
    return tuple(best.values())


def _weight(use: JudgedUse) -> tuple[bool, float]:
    return use.own, use.expected_profit or 0.0


def at_its_ranks(draws: FloatArray, outcomes: FloatArray) -> FloatArray:
    """(draws,) each draw put at its rank among the offer's own outcomes: what moves all kits at once is the draws', and
    one offer by itself loses as often as its own row says (a rebuild with the doubt about its share)."""
    ranks = np.argsort(np.argsort(draws, kind="stable"), kind="stable")
    return np.asarray(np.sort(outcomes)[((ranks + 0.5) / len(draws) * len(outcomes)).astype(np.int64)])


def bought_together(grounds: Grounds, answers: JudgedOffers, plans: Sequence[Plan]) -> Together:
    """The best set within the shop's [buying] limits and its loss_chance: each offer sold on, in parts or for a build
    of one of the plans."""
    competing, cautions = _of_offers(grounds, answers), []
    for plan in plans:
        try:
            competing += _of_plan(plan, grounds, answers.lots)
        except KitvalueError as why:
            cautions.append(left_out(plan.name, why))
    order = sorted(range(len(competing)), key=lambda at: -competing[at].expected)
    drawn = [competing[at] for at in sorted(order[:MOST])]
    every = [*drawn, *(competing[at] for at in order[MOST:])]
    kits = {name: kit for one in drawn for name, kit in one.sold.items()}
    draws = shared_draws(grounds.fit, list(kits.values()), DRAWS) if kits else np.zeros((0, DRAWS))
    prices = dict(zip(kits, draws, strict=True))
    candidates = Candidates(
        uses=tuple(one.buys for one in every),
        expected=np.array([one.expected for one in every]),
        profits=np.array([one.profits(prices) for one in drawn]).reshape(len(drawn), DRAWS),
        spent=np.array([one.cash for one in every]),
        hours=np.array([one.hours for one in every]),
    )
    limits = grounds.shop.buying
    budget = None if limits.budget is None else float(limits.budget)
    hours = None if limits.bench_hours is None else float(limits.bench_hours)
    return Together(best_set(candidates, budget, hours, grounds.loss_chance), tuple(cautions))


def _of_offers(grounds: Grounds, answers: JudgedOffers) -> list[Competing]:
    """Each offer sold on and in parts, the most profitable offer first."""
    lots, made = {lot.offer.offer: lot for lot in answers.lots}, []
    for judged in answers.judged:
        if judged.paid is None or judged.reason is not None:
            continue
        lot = lots[judged.offer.offer]
        for use in by_use([use for use in judged.uses if use.use != REBUILD]):
            buys = (Bought(lot.offer.offer, use.use, None, use.route),)
            drawn = partial(_use_draws, lot, use, answers, grounds)
            kits = {_drawn_as(lot): lot.sold}
            made.append(Competing(buys, use.expected_profit or 0.0, lot.spent, use.hours, kits, drawn))
    return made


def _drawn_as(lot: Lot) -> str:
    return f"offer {lot.offer.offer}"


def _use_draws(lot: Lot, use: JudgedUse, answers: JudgedOffers, grounds: Grounds, prices: Prices) -> FloatArray:
    """(draws,) profit of one use of an offer at the price expected."""
    kind = (use.use, use.route)
    batch = next(b for b in answers.batches if (b.base.use, b.base.route) == kind and lot.place in b.places)
    at = batch.places.index(lot.place)
    outcomes = batch.outcomes[batch.at[at]]
    if use.use == PARTS:
        chances = None if batch.chances is None else batch.chances[batch.at[at]]
        brings = np.random.default_rng([SEED, *_drawn_as(lot).encode()]).choice(outcomes, DRAWS, p=chances)
    else:
        brings = at_its_ranks(prices[_drawn_as(lot)], outcomes)
    deals = batch.deals(slice(at, at + 1), grounds.terms)
    return np.asarray(deals.profit(brings[None, :], np.array([lot.price]))[0])


def _of_plan(plan: Plan, grounds: Grounds, lots: Sequence[Lot]) -> list[Competing]:
    """Every build of a plan. What it has in hand counts at what that would bring otherwise."""
    kit = finished_kit(plan, grounds.fit)
    known_cautions(grounds.fit, kit)  # refuses a series that the book does not have
    builds = builds_of(plan, grounds, lots)
    hands = _in_hand(plan, grounds) if builds else []
    lost = sum(hand.expected for hand in hands)
    sold = {f"plan {plan.name}": kit} | {name: one for hand in hands for name, one in hand.sold.items()}
    return [
        Competing(
            tuple(Bought(lot.offer.offer, REBUILD, plan.name, build.route, donor) for donor, lot in build.filled),
            float(profit) - lost, build.cash, build.hours, sold, partial(_build_draws, build, hands, grounds),
        )
        for build, profit in zip(builds, expected_profits(builds, grounds), strict=True)
    ]  # fmt: skip


def _build_draws(build: BuildChoice, hands: Sequence[Competing], grounds: Grounds, prices: Prices) -> FloatArray:
    """(draws,) what a build leaves over what it still costs, and over what is in hand sold otherwise."""
    brings = at_its_ranks(prices[f"plan {build.plan.name}"], rebuilds(build.plan, grounds.fit).sample[0])
    left = sales_of([build], brings, grounds.terms).profit(brings[None, :], np.zeros(1))[0]
    return np.asarray(left - sum(hand.profits(prices) for hand in hands))


def _in_hand(plan: Plan, grounds: Grounds) -> list[Competing]:
    """What each donor in hand would bring otherwise, sold on or in parts as it stands, its price being spent; one that
    would bring nothing, or of which nothing is known, counts as nothing."""
    tax, selling = settings_of(grounds.shop)
    shop = grounds.shop.model_copy(update={"selling": selling.model_copy(update={"capital": ZERO})})  # what is spent
    alone, hands = grounds_of(shop, grounds.fit, None, grounds.parts, grounds.on), []
    for donor in plan.donor:
        if not donor.in_hand:
            continue
        answers = shortlisted(alone, [_as_offer(plan, donor)])
        spent = float(purchase_at(donor.price, donor, tax).cost(tax))
        best = max(_of_offers(alone, answers), key=lambda one: one.expected, default=None)
        if best is not None and best.expected + spent > 0:
            gained = partial(_gained, best.profits, spent)
            hands.append(replace(best, expected=best.expected + spent, profits=gained))
    return hands


def _gained(profits: Callable[[Prices], FloatArray], spent: float, prices: Prices) -> FloatArray:
    return profits(prices) + spent


def _as_offer(plan: Plan, donor: DonorTable) -> Offer:
    """A donor in hand as if it were offered at what it cost."""
    told = {name: getattr(donor, name) for name in OF_OFFERS}
    return Offer(
        row=0, offer=f"{plan.name} {donor.id}", price=donor.price, freight=donor.freight or ZERO, sizes=donor.sizes,
        haggle="fixed", note=None, **told,
    )  # fmt: skip
