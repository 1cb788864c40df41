"""What to buy together of the offers of a shop: every use of each of them, drawn from one market."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from kitvalue.decisions.ceiling import PARTS, REBUILD, SELL_ON, Use, own_route
from kitvalue.decisions.doubt import fetched_in_draws
from kitvalue.decisions.offered import Grounds, JudgedOffers
from kitvalue.decisions.original import finished_kit
from kitvalue.decisions.portfolio import Bought, Candidates, Portfolio, best_set
from kitvalue.decisions.shortlist import JudgedUse
from kitvalue.intake.settings.shop import Route
from kitvalue.market.outlook import shared_draws

DRAWS: Final = 2000
MOST: Final = 60  # uses that are searched, the most profitable ones; the others count in the bound
SEED: Final = 20260108


def by_use(uses: Sequence[JudgedUse], own: Mapping[Use, Route]) -> tuple[JudgedUse, ...]:
    """Each open use once: by the route that the shop sets for it, or the most profitable where that route is closed."""
    best: dict[Use, JudgedUse] = {}
    for use in uses:
        if use.reason is None and (use.use not in best or _weight(use, own) > _weight(best[use.use], own)):
            best[use.use] = use
    return tuple(best.values())


def _weight(use: JudgedUse, own: Mapping[Use, Route]) -> tuple[bool, float]:
    return use.route == own[use.use], use.expected_profit or 0.0


def portfolio_of(grounds: Grounds, answers: JudgedOffers) -> Portfolio:
    """The best set of the offers, each for one of its uses, within the shop's [buying] limits and its loss_chance."""
    plan, lots = grounds.plan, {lot.offer.offer: lot for lot in answers.lots}
    own = {use: own_route(grounds.shop, plan, use) for use in (SELL_ON, REBUILD, PARTS)}
    open_ones = [
        (lots[j.offer.offer], use) for j in answers.judged if j.paid is not None for use in by_use(j.uses, own)
    ]
    order = sorted(range(len(open_ones)), key=lambda at: -(open_ones[at][1].expected_profit or 0.0))
    drawn = [open_ones[at] for at in sorted(order[:MOST])]
    every = [*drawn, *(open_ones[at] for at in order[MOST:])]
    rebuilt = None if plan is None else finished_kit(plan, grounds.fit)
    kits = [rebuilt if use.use == REBUILD and rebuilt is not None else lot.sold for lot, use in drawn]
    profits = shared_draws(grounds.fit, kits, DRAWS) if kits else np.zeros((0, DRAWS))  # first what a sale brings
    rng = np.random.default_rng(SEED)
    for row, (lot, use) in enumerate(drawn):
        kind = (use.use, use.route)
        batch = next(b for b in answers.batches if (b.base.use, b.base.route) == kind and lot.place in b.places)
        at = batch.places.index(lot.place)
        if use.use == REBUILD and plan is not None:
            profits[row] = fetched_in_draws(profits[row], plan.finished.share)
        elif use.use == PARTS:
            own_row = batch.at[at]
            profits[row] = rng.choice(
                batch.outcomes[own_row], DRAWS, p=None if batch.chances is None else batch.chances[own_row]
            )
        deals = batch.deals(slice(at, at + 1), grounds.terms)
        profits[row] = deals.profit(profits[row : row + 1], np.array([lot.spent - lot.freight]))[0]
    candidates = Candidates(
        uses=tuple(
            (
                Bought(
                    lot.offer.offer, use.use, plan.name if plan is not None and use.use == REBUILD else None, use.route
                ),
            )
            for lot, use in every
        ),
        expected=np.array([use.expected_profit for _, use in every], dtype=np.float64),
        profits=profits,
        spent=np.array([lot.spent for lot, _ in every]),
        hours=np.array([use.hours for _, use in every], dtype=np.float64),
    )
    limits = grounds.shop.buying
    budget = None if limits.budget is None else float(limits.budget)
    hours = None if limits.bench_hours is None else float(limits.bench_hours)
    return best_set(candidates, budget, hours, grounds.loss_chance)
