"""The shortlisted offers as candidates to be bought together, under draws of the market."""

from __future__ import annotations

import numpy as np

from kitvalue.decisions.portfolio import Candidates, Portfolio, best_set
from kitvalue.decisions.shortlist import UseBatch, deals_of
from kitvalue.decisions.uses import PARTS, REBUILD, SELL_ON
from kitvalue.intake.book import FloatArray
from kitvalue.market.kit import Kit
from kitvalue.market.many import shared_draws
from kitvalue.offered import kit_offered, kit_resold, sold_condition
from kitvalue.plans import finished_kit
from kitvalue.shortlisting import Listed, Wanted
from kitvalue.workshop.money import percent

DRAWS = 2000
MOST = 60  # offers taken into account, the most profitable ones
SEED = 20260108


def portfolio_of(want: Wanted, listed: Listed) -> Portfolio:
    """The best set of the offers for their best uses, within the shop's [buying] limits and its loss_chance."""
    limits = want.shop.buying
    budget = None if limits.budget is None else float(limits.budget)
    hours = None if limits.bench_hours is None else float(limits.bench_hours)
    return best_set(_candidates(want, listed), budget, hours, want.loss_chance)


def _candidates(want: Wanted, listed: Listed) -> Candidates:
    place = {offer.offer: i for i, offer in enumerate(listed.offers)}
    gaining = [o for o in listed.found if o.best is not None and (o.best.expected_profit or 0) > 0][:MOST]
    chosen = [(o, o.best) for o in gaining if o.best is not None]
    places = [place[o.offer.offer] for o, _ in chosen]
    kits = [_kit(want, listed, i, best.use) for i, (_, best) in zip(places, chosen, strict=True)]
    draws = shared_draws(want.fit, kits, DRAWS) if kits else np.zeros((0, DRAWS))
    rng = np.random.default_rng(SEED)
    profits = []
    for row, (i, (one, best)) in enumerate(zip(places, chosen, strict=True)):
        batch = next(
            b for b in listed.batches if b.base.use == best.use and b.base.route == best.route and i in b.offers
        )
        sold = draws[row]
        at = int(np.flatnonzero(batch.offers == i)[0])
        if best.use == REBUILD and want.plan is not None:
            sold = sold * float(percent(want.plan.finished.share))
        elif best.use == PARTS:
            sold = rng.choice(batch.outcomes[batch.at[at]], DRAWS)
        profits.append(_profits(want, batch, at, sold, one.paid.price))
    return Candidates(
        names=tuple(o.offer.offer for o, _ in chosen),
        expected=np.array([best.expected_profit for _, best in chosen], dtype=np.float64),
        profits=np.array(profits).reshape(len(chosen), DRAWS),
        spent=np.array([o.paid.price + float(o.offer.freight or 0) for o, _ in chosen]),
        hours=np.array([best.hours for _, best in chosen], dtype=np.float64),
    )


def _kit(want: Wanted, listed: Listed, place: int, use: str) -> Kit:
    """What is sold, as the market would see it."""
    offer = listed.offers[place]
    if use == REBUILD and want.plan is not None:
        return finished_kit(want.plan, len(want.plan.drum), want.fit)
    kit = kit_offered(offer, want.fit, want.on).kit
    return kit_resold(kit, sold_condition(offer), want.fit) if use == SELL_ON else kit


def _profits(want: Wanted, batch: UseBatch, at: int, sold: FloatArray, price: float) -> FloatArray:
    """(draws,) profit where a kit fetches `sold` (draws,)."""
    deals = deals_of(batch, slice(at, at + 1), want.terms)
    profit: FloatArray = deals.profit(sold[None, :], np.array([price]))[0]
    return profit
