"""The build against the original: by pieces, at what price they tie, and which unknown flips the answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from kitvalue.decisions.original import (
    PRICED_TO_TIE,
    Binding,
    Point,
    Quote,
    as_money,
    landed,
    landed_sample,
    like_for_like,
    market_cautions,
    of_suggested,
    price_landing_at,
    quote_of,
    repair_of,
    situation_of,
)
from kitvalue.decisions.solve import Crossings, find_crossings
from kitvalue.decisions.unknowns import Solved, solve_all, unknowns_of
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.plan import OriginalTable, Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import Caution
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.costing import CostSheet, cost_sheet
from kitvalue.workshop.money import cents, money_text, percent


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


COUNTS = ("three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
NEAR = 0.005  # how near a share must be to be told as one in so many


@dataclass(frozen=True, slots=True)
class Tie:
    """A tie price, money. `hammer` is the bid that comes to it with the premium, None where none is paid.

    `share_below` is the share of the original's signed sample strictly below `price`.
    """

    price: Decimal
    hammer: Decimal | None
    share_below: float
    text: str


def tie_price(original: OriginalTable, build_landed: Decimal, repair: Decimal, sample: FloatArray) -> Tie:
    """The tie of a build that is `build_landed` at the door. `sample` (n,) are prices of originals, n above 0."""
    price = cents(price_landing_at(original, build_landed, repair))
    hammer = cents(price / (1 + percent(original.premium))) if original.premium > 0 else None
    below = float(np.mean(np.asarray(sample) < float(price)))
    return Tie(price, hammer, below, f"tie at {money_text(price)}: {below_text(below)}")


def below_text(share: float) -> str:
    """A share of originals in words: `one original in eight this size sells under it`."""
    if share == 0:
        return "no original this size sells under it"
    if share == 1:
        return "every original this size sells under it"
    near = Fraction(share).limit_denominator(len(COUNTS) + 2)
    if near.numerator == 1 and near.denominator > 2 and abs(share - float(near)) < NEAR:
        return f"one original in {COUNTS[near.denominator - 3]} this size sells under it"
    return f"{share * 100:.0f} % of originals this size sell under it"


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
    cautions: tuple[Caution, ...]


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
            of_suggested(whole.sheet, quote, quote.landed_at_price),
            quote.original_landed,
            whole.repair,
        ),
        cautions=tuple(dict.fromkeys((*said, *market.original.cautions, *market.finished.cautions))),
    )
