"""A plan under a fit: the market's outlooks that its price and its comparison need."""

from __future__ import annotations

from dataclasses import dataclass, replace
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
    from kitvalue.workshop.costing import CostSheet


DRAWS = 4000


@dataclass(frozen=True, slots=True, eq=False)
class Priced:
    """Cost and price of one plan."""

    sheet: CostSheet
    pricing: PriceSheet


def priced(plan: Plan, shop: Shop, fit: Fit, at: Decimal | None = None) -> Priced:
    """Cost and price of one plan under a fit."""
    from kitvalue.decisions.pricing import price
    from kitvalue.workshop.costing import cost_sheet

    sheet = cost_sheet(plan, shop)
    size = len(plan.drum)
    original = outlook(fit, original_kit(plan, size))
    return Priced(sheet, price(plan, shop, sheet, original, outlook(fit, finished_kit(plan, size, fit)), at))


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
    seen = outlooks(fit, originals)
    sold = outlooks(fit, [finished_kit(plan, k, fit) for k in counts])
    markets = [MarketAtPieces(k, seen[j], draws[:, j], sold[j]) for j, k in enumerate(counts)]
    return compare(plan, shop, markets, lambda grade: outlook(fit, replace(originals[-1], condition=grade)).typical)
