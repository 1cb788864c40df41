"""The build against the original: by pieces, at what price they tie, and which unknown flips the answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from kitvalue.decisions.by_pieces import (
    MarketAtPieces,
    PiecesRow,
    chance_build_cheaper,
    crossings_of,
    landed_at_cost,
    row_of,
    sized_builds,
)
from kitvalue.decisions.cautions import PRICED_TO_TIE, market_cautions
from kitvalue.decisions.crossings import Crossings
from kitvalue.decisions.like_for_like import Point, like_for_like
from kitvalue.decisions.quote import Quote, asked
from kitvalue.decisions.situation import situation_of
from kitvalue.decisions.tie import Tie, tie_price
from kitvalue.decisions.unknowns import Solved, solve_all
from kitvalue.decisions.vary import unknowns_of
from kitvalue.intake.plan import Plan
from kitvalue.intake.shop import Shop
from kitvalue.workshop.costing import CostSheet


@dataclass(frozen=True, slots=True)
class Comparison:
    """The answer of `compare`. `tie_at_cost` and `tie_at_price` tie with the build at cost and at its webshop price.

    `priced_to_tie`: an original at the door is what sets the webshop price. `chance_build_cheaper` is the last row's.
    """

    sheet: CostSheet
    quote: Quote
    by_pieces: tuple[PiecesRow, ...]
    crossings: Crossings
    tie_at_cost: Tie
    tie_at_price: Tie
    priced_to_tie: bool
    chance_build_cheaper: float
    unknowns: tuple[Solved, ...]
    like_for_like: tuple[Point, ...]
    cautions: tuple[str, ...]


def compare(
    plan: Plan, shop: Shop, markets: Sequence[MarketAtPieces], original_typical: Callable[[float], float]
) -> Comparison:
    """The plan's build against what the customer could buy instead.

    `markets` holds one entry for every number of `piece_counts(plan)`; `original_typical` gives the original's typical
    price, money, at the plan's pieces and another bench grade. Raises what `cost_sheet` raises, and FileError where the
    plan lacks the original's repair.
    """
    builds = sized_builds(plan, shop, markets)
    whole = builds[-1]
    quote, market = whole.quote, whole.market
    situation = situation_of(plan, whole.sheet, market.original, market.finished, whole.repair)
    sample = market.original.sample
    tied = quote.binding == "cap"
    said = (*whole.sheet.cautions, *market_cautions(plan), *((PRICED_TO_TIE,) if tied else ()))
    return Comparison(
        sheet=whole.sheet,
        quote=quote,
        by_pieces=tuple(row_of(plan, build) for build in builds),
        crossings=crossings_of(plan, builds),
        tie_at_cost=tie_price(plan.original, landed_at_cost(whole), whole.repair, sample),
        tie_at_price=tie_price(plan.original, quote.landed_at_price, whole.repair, sample),
        priced_to_tie=tied,
        chance_build_cheaper=chance_build_cheaper(plan, whole),
        unknowns=solve_all(unknowns_of(situation, plan.original.condition, original_typical)),
        like_for_like=like_for_like(
            plan,
            whole.sheet.currency,
            asked(whole.sheet, quote, quote.landed_at_price),
            quote.original_landed,
            whole.repair,
        ),
        cautions=tuple(dict.fromkeys((*said, *market.original.cautions, *market.finished.cautions))),
    )
