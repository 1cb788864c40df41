"""The worked case's market as records of the decisions."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from kitvalue.decisions.breakeven import Comparison, MarketAtPieces, compare, piece_counts
from kitvalue.decisions.pricing import PriceSheet, price
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.workshop.costing import cost_sheet
from tests import worked

FINISHED = float(worked.CASE["outlook"]["finished_typical"])
ORIGINAL = float(worked.CASE["outlook"]["original_typical_7_pieces"])
GRADE_STEP = 0.12  # what a bench grade moves the log of a price in these tests
DRAWS: FloatArray = np.exp(np.random.default_rng(20260104).normal(0, 0.04, 4000))


def at_pieces(pieces: int, draws: FloatArray = DRAWS, finished: float = FINISHED) -> MarketAtPieces:
    original = worked.original_typical(pieces)
    kit = worked.outlook(finished * (pieces / 7) ** 0.6)
    return MarketAtPieces(pieces, worked.outlook(original), original * draws, kit)


def typical(condition: float) -> float:
    """The original's typical price at another grade."""
    return ORIGINAL * float(np.exp(GRADE_STEP * (condition - 3)))


def comparison(plan: Plan, shop: Shop, draws: FloatArray = DRAWS, finished: float = FINISHED) -> Comparison:
    return compare(plan, shop, [at_pieces(k, draws, finished) for k in piece_counts(plan)], typical)


def priced(plan: Plan, shop: Shop, original: float = ORIGINAL, finished: float = FINISHED, at: str = "") -> PriceSheet:
    sheet = cost_sheet(plan, shop)
    given = Decimal(at) if at else None
    return price(plan, shop, sheet, worked.outlook(original), worked.outlook(finished), given)
