"""A plan under a fit: the market's outlooks that its price and its comparison need."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.market.encoding import Kit
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlook, outlooks, typical_draws
from kitvalue.market.value import resale_kit

if TYPE_CHECKING:
    from kitvalue.decisions.breakeven import Comparison
    from kitvalue.decisions.pricing import PriceSheet


DRAWS = 4000


def priced(plan: Plan, shop: Shop, fit: Fit, at: Decimal | None = None) -> PriceSheet:
    """Cost and price of one plan under a fit."""
    from kitvalue.decisions.pricing import price
    from kitvalue.workshop.costing import cost_sheet

    size = len(plan.drum)
    original, finished = outlook(fit, original_kit(plan, size)), outlook(fit, finished_kit(plan, size, fit))
    return price(plan, shop, cost_sheet(plan, shop), original, finished, at)


def original_kit(plan: Plan, pieces: int) -> Kit:
    """What the customer could buy instead: sold, in the state and the channel that the plan says."""
    original = plan.original
    return Kit(original.series, pieces, float(original.condition), "sold", original.channel)


def finished_kit(plan: Plan, pieces: int, fit: Fit) -> Kit:
    """What is sold, as the market would see it: the share that a rebuild fetches is no part of it."""
    return resale_kit(fit, Kit(plan.finished.series, pieces, float(plan.finished.condition)))


def compared(plan: Plan, shop: Shop, fit: Fit) -> Comparison:
    """The comparison of one plan under a fit: the market at every number of pieces, then the arithmetic."""
    from kitvalue.decisions.breakeven import MarketAtPieces, compare, piece_counts

    counts = list(piece_counts(plan))
    originals = [original_kit(plan, k) for k in counts]
    draws = typical_draws(fit, originals, DRAWS)
    finished = outlooks(fit, [finished_kit(plan, k, fit) for k in counts])
    markets = list(map(MarketAtPieces, counts, outlooks(fit, originals), draws.T, finished))
    return compare(plan, shop, markets, lambda grade: outlook(fit, replace(originals[-1], condition=grade)).typical)
