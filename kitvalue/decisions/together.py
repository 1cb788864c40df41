"""What to buy together of the offers of a shop: every use of each of them, drawn from one market."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from kitvalue.decisions.ceiling import PARTS, REBUILD, Use
from kitvalue.decisions.offered import Grounds, JudgedOffers
from kitvalue.decisions.original import finished_kit
from kitvalue.decisions.portfolio import Bought, Candidates, Portfolio, best_set
from kitvalue.decisions.shortlist import JudgedUse
from kitvalue.intake.books.book import FloatArray
from kitvalue.market.outlook import shared_draws

DRAWS: Final = 2000
MOST: Final = 60  # uses taken into account for a set to buy together, the most profitable ones
SEED: Final = 20260108


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


def portfolio_of(grounds: Grounds, answers: JudgedOffers) -> Portfolio:
    """The best set of the offers, each for one of its uses, within the shop's [buying] limits and its loss_chance."""
    plan, lots = grounds.plan, {lot.offer.offer: lot for lot in answers.lots}
    open_ones = [(lots[j.offer.offer], use) for j in answers.judged if j.best is not None for use in by_use(j.uses)]
    order = sorted((-(use.expected_profit or 0), at) for at, (_, use) in enumerate(open_ones))
    gaining = [open_ones[at] for at in sorted(at for minus, at in order[:MOST] if minus < 0)]
    beyond = sum(max(0.0, -minus) for minus, _ in order[MOST:])  # no set earns more of the uses left aside
    rebuilt = None if plan is None else finished_kit(plan, grounds.fit)
    kits = [rebuilt if use.use == REBUILD and rebuilt is not None else lot.sold for lot, use in gaining]
    profits = shared_draws(grounds.fit, kits, DRAWS) if kits else np.zeros((0, DRAWS))  # first what a sale brings
    rng = np.random.default_rng(SEED)
    for row, (lot, use) in enumerate(gaining):
        kind = (use.use, use.route)
        batch = next(b for b in answers.batches if (b.base.use, b.base.route) == kind and lot.place in b.places)
        at = batch.places.index(lot.place)
        outcomes = batch.outcomes[batch.at[at]]
        if use.use == PARTS:
            chances = None if batch.chances is None else batch.chances[batch.at[at]]
            profits[row] = rng.choice(outcomes, DRAWS, p=chances)
        else:
            profits[row] = at_its_ranks(profits[row], outcomes)
        deals = batch.deals(slice(at, at + 1), grounds.terms)
        profits[row] = deals.profit(profits[row : row + 1], np.array([lot.price]))[0]
    candidates = Candidates(
        uses=tuple(
            Bought(lot.offer.offer, use.use, plan.title if plan is not None and use.use == REBUILD else None)
            for lot, use in gaining
        ),
        expected=np.array([use.expected_profit for _, use in gaining], dtype=np.float64),
        profits=profits,
        spent=np.array([lot.spent for lot, _ in gaining]),
        hours=np.array([use.hours for _, use in gaining], dtype=np.float64),
    )
    limits = grounds.shop.buying
    budget = None if limits.budget is None else float(limits.budget)
    hours = None if limits.bench_hours is None else float(limits.bench_hours)
    best = best_set(candidates, budget, hours, grounds.loss_chance)
    return replace(best, bound=best.bound + beyond, gap=best.gap + beyond)
