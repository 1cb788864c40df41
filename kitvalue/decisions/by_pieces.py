"""The build cut down to fewer drums, each size held against an original of that size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from kitvalue.decisions.crossings import Crossings, find_crossings
from kitvalue.decisions.original import as_money, landed, landed_sample, repair_of
from kitvalue.decisions.quote import Binding, Quote, quote_of
from kitvalue.intake.book import FloatArray
from kitvalue.intake.plan import Plan
from kitvalue.intake.shop import Shop
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.costing import CostSheet, cost_sheet
from kitvalue.workshop.money import cents


@dataclass(frozen=True, slots=True, eq=False)
class MarketAtPieces:
    """What the market says of kits with so many pieces.

    `original` and `finished` as `price` takes them; `draws` (n,) are typical prices of the original under n draws of
    the regression's coefficients, the same draw in the same place for every number of pieces.
    """

    pieces: int
    original: Outlook
    draws: FloatArray
    finished: Outlook


@dataclass(frozen=True, slots=True)
class PiecesRow:
    """One size. `build_at_cost`, `landed_at_price` and the original's prices are at the buyer's door.

    `build_at_price` is the webshop price at this size, `landed_at_price` that with freight. `chance_build_cheaper` is
    the share of originals that cost more at the door than the build at its price. `incomplete` names what of the
    build's cost is not known and therefore not in it; `binding` is what sets the webshop price.
    """

    pieces: int
    build_at_cost: Decimal
    build_at_price: Decimal
    landed_at_price: Decimal
    original_typical: Decimal
    original_low: Decimal | None
    original_high: Decimal | None
    chance_build_cheaper: float
    note: str
    incomplete: tuple[str, ...] = ()
    binding: Binding = "floor"


@dataclass(frozen=True, slots=True, eq=False)
class SizedBuild:
    """The build of one size with its price and its market. `repair` is the original's, in proportion to the size."""

    sheet: CostSheet
    quote: Quote
    market: MarketAtPieces
    repair: Decimal


def piece_counts(plan: Plan) -> range:
    """From the smallest sensible kit to the plan's own size; that alone where the plan is smaller."""
    size = len(plan.drum)
    return range(min(plan.smallest, size), size + 1)


def sized_builds(plan: Plan, shop: Shop, markets: Sequence[MarketAtPieces]) -> tuple[SizedBuild, ...]:
    """The build at each size, the plan's own last. `markets` must hold every one of `piece_counts`."""
    by_pieces = {market.pieces: market for market in markets}
    whole = repair_of(plan)
    builds = []
    for k in piece_counts(plan):
        market, sheet = by_pieces[k], cost_sheet(plan, shop, k)
        repair = whole * k / len(plan.drum)
        quote = quote_of(plan, sheet, market.original, market.finished, repair)
        builds.append(SizedBuild(sheet, quote, market, repair))
    return tuple(builds)


def row_of(plan: Plan, build: SizedBuild) -> PiecesRow:
    """One size in figures."""
    original = build.market.original

    def door(price: float | None) -> Decimal | None:
        return None if price is None else cents(landed(plan.original, as_money(price), build.repair))

    return PiecesRow(
        pieces=build.sheet.pieces,
        build_at_cost=landed_at_cost(build),
        build_at_price=build.quote.suggested,
        landed_at_price=build.quote.landed_at_price,
        original_typical=build.quote.original_landed,
        original_low=door(original.low),
        original_high=door(original.high),
        chance_build_cheaper=chance_build_cheaper(plan, build),
        note="; ".join(build.sheet.notes),
        incomplete=build.sheet.incomplete,
        binding=build.quote.binding,
    )


def chance_build_cheaper(plan: Plan, build: SizedBuild) -> float:
    """The share of the original's sample that costs more at the door than the build at its price."""
    sample = landed_sample(plan.original, build.market.original.sample, build.repair)
    return float(np.mean(sample > float(build.quote.landed_at_price)))


def crossings_of(plan: Plan, builds: Sequence[SizedBuild]) -> Crossings:
    """Where the build at cost meets the typical original, over all sizes."""
    draws = [landed_sample(plan.original, b.market.draws, b.repair) for b in builds]
    return find_crossings(
        [b.sheet.pieces for b in builds],
        np.array([float(landed_at_cost(b)) for b in builds]),
        np.array([float(b.quote.original_landed) for b in builds]),
        np.stack(draws, axis=1),
    )


def landed_at_cost(build: SizedBuild) -> Decimal:
    """The price of zero profit with freight."""
    cost = build.sheet.chosen.landed_at_cost
    assert cost is not None  # noqa: S101 - a sheet is only made where its route is open
    return cost
