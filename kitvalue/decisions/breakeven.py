"""The build against the original: by pieces, where they cross, where they tie, and which unknown flips the answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Literal

import numpy as np

from kitvalue.decisions.against import Against, held_against
from kitvalue.decisions.named import OriginalNamed
from kitvalue.decisions.original import (
    Point,
    Quote,
    Situation,
    as_money,
    finished_kit,
    landed,
    landed_sample,
    like_for_like,
    of_asked,
    on_top,
    original_kit,
    quote_cautions,
    quote_of,
    share_dearer,
)
from kitvalue.decisions.unknowns import Solved, solve_all, unknowns_of
from kitvalue.decisions.verdict import ForThatMoney, Verdict, for_that_money, original_verdict, work_verdict
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.offers import Part
from kitvalue.intake.settings.plan import OriginalTable, Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import Caution
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook, outlook, outlooks, typical_draws
from kitvalue.workshop.costing import CostSheet, cost_sheet
from kitvalue.workshop.money import ZERO, cents, money_text, percent


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
class SizedBuild:
    """The build of one size with its quote, and the range of one sale of an original that size, at the buyer's door.

    `chance_build_cheaper` is the share of originals that cost more at the door than the build at its price.
    """

    sheet: CostSheet
    quote: Quote
    original_low: Decimal | None
    original_high: Decimal | None
    chance_build_cheaper: float

    @property
    def note(self) -> str:
        return "; ".join(self.sheet.notes)


DRAWS = 4000
MOST_WITHOUT = 0.20  # share of draws without a crossing beyond which no range is told
LOW, HIGH = 10.0, 90.0  # percentiles of the range


@dataclass(frozen=True, slots=True)
class Crossing:
    """One crossing, in pieces; `low` and `high` hold it in 80 of 100 draws and are None where `reason` says why.

    `build_cheaper` tells on which side of it the build costs less than the original.
    """

    pieces: float
    low: float | None
    high: float | None
    build_cheaper: Literal["below", "above"]
    reason: str | None


@dataclass(frozen=True, slots=True)
class Crossings:
    """All crossings. `chance_none` is the share of draws without any; `text` is the answer in words."""

    crossings: tuple[Crossing, ...]
    chance_none: float
    text: str


def find_crossings(pieces: Sequence[int], build: FloatArray, original: FloatArray, draws: FloatArray) -> Crossings:
    """Where `build` (K,) crosses `original` (K,), straight between the whole `pieces` (K,), all money at the door.

    `draws` (n, K) are the original's under n draws of the regression's coefficients, n above 0.
    """
    ks = np.asarray(pieces, dtype=np.float64)
    points, turns = _positions(ks, (build - original)[None, :])
    drawn, drawn_turns = _positions(ks, build[None, :] - draws)
    chance_none = float(np.mean(np.isnan(drawn).all(axis=1)))
    crossings = []
    for i in np.flatnonzero(~np.isnan(points[0])):
        alike = np.where(drawn_turns == turns[0, i], np.abs(drawn - points[0, i]), np.inf)
        nearest = drawn[np.arange(len(drawn)), alike.argmin(axis=1)][np.isfinite(alike.min(axis=1))]
        low, high, reason = None, None, None
        if chance_none > MOST_WITHOUT:
            reason = f"no range: {chance_none * 100:.0f} % of the draws have no crossing"
        elif 1 - len(nearest) / len(drawn) > MOST_WITHOUT:
            reason = "no range: too many draws lack a crossing of this kind"
        else:
            low, high = (float(end) for end in np.percentile(nearest, [LOW, HIGH]))
        crossings.append(Crossing(float(points[0, i]), low, high, "below" if turns[0, i] > 0 else "above", reason))
    return Crossings(tuple(crossings), chance_none, _text(pieces, build[0] > original[0], crossings))


def _positions(ks: FloatArray, gap: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Crossings of each row of `gap` (n, K): positions (n, K-1), NaN where a cell has none, and which way it turns.

    +1: the build becomes the dearer one. A gap of exactly 0 counts as not dearer.
    """
    left, right = gap[:, :-1], gap[:, 1:]
    turns = (right > 0).astype(np.float64) - (left > 0).astype(np.float64)
    step = np.where(turns != 0, left - right, 1.0)
    return ks[:-1] + np.where(turns != 0, left / step, np.nan) * np.diff(ks), turns


def _text(pieces: Sequence[int], is_dearer: bool, crossings: Sequence[Crossing]) -> str:
    dearer = "dearer" if is_dearer else "no dearer"
    if len(pieces) == 1:
        return f"At {pieces[0]} pieces, the only size compared, the build at cost is {dearer} than the original."
    if not crossings:
        span = f"{pieces[0]} to {pieces[-1]} pieces"
        return f"Never within {span}: the build at cost is {dearer} than the original at every size."
    told = [
        f"{c.build_cheaper} {c.pieces:.1f} pieces "
        + (f"({c.reason})" if c.low is None else f"(8 in 10: {c.low:.1f} to {c.high:.1f})")
        for c in crossings
    ]
    return f"The build at cost is the cheaper one {', and '.join(told)}."


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
    price = cents((build_landed - repair) / on_top(original) - original.freight)  # `landed` turned round
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
    verdict: Verdict  # at the webshop price; against the original that is named, if one is
    for_that_money: ForThatMoney | None  # at that price
    against: Against | None
    by_pieces: tuple[SizedBuild, ...]
    crossings: Crossings
    tie_at_cost: Tie
    tie_at_price: Tie
    priced_to_tie: bool
    chance_build_cheaper: float
    unknowns: tuple[Solved, ...]
    like_for_like: tuple[Point, ...]
    cautions: tuple[Caution, ...]


def piece_counts(plan: Plan) -> range:
    """From the smallest sensible kit to the plan's own size; that alone where the plan is smaller."""
    size = len(plan.drum)
    return range(min(plan.smallest, size), size + 1)


def compared(
    plan: Plan, shop: Shop, fit: Fit, parts: Sequence[Part] = (), named: OriginalNamed | None = None
) -> Comparison:
    """The comparison of one plan under a fit: the market at every number of pieces, then the arithmetic. `parts` say
    what drums left over bring, `named` which one original it is held against."""
    counts = list(piece_counts(plan))
    originals = [original_kit(plan, k) for k in counts]
    draws = typical_draws(fit, originals, DRAWS)
    finished = outlooks(fit, [finished_kit(plan, fit, k) for k in counts])
    markets = list(map(MarketAtPieces, counts, outlooks(fit, originals), draws.T, finished))

    def typical(grade: float) -> float:
        return outlook(fit, replace(originals[-1], condition=grade)).typical

    made = compare(plan, shop, markets, typical, parts)
    made = replace(made, for_that_money=for_that_money(plan, fit, made.quote.landed_at_price))
    if named is None:
        return made
    against = held_against(plan, fit, {b.sheet.pieces: b.quote.landed_at_price for b in made.by_pieces}, named)
    return replace(made, against=against, verdict=against.verdict, cautions=(*made.cautions, *against.cautions))


def compare(
    plan: Plan, shop: Shop, markets: Sequence[MarketAtPieces], original_typical: Callable[[float], float],
    parts: Sequence[Part] = (),
) -> Comparison:  # fmt: skip
    """The plan's build against what the customer could buy instead.

    `markets` holds one entry for every number of `piece_counts(plan)`, in that order; `original_typical` gives the
    original's typical price, money, at the plan's pieces and another bench grade. Raises what `cost_sheet` raises, and
    FileError where the plan lacks the original's repair.
    """
    builds, draws = [], []
    for market in markets:  # the last is the plan's own size
        sheet = cost_sheet(plan, shop, market.pieces, parts)
        repair = (plan.original.repair or ZERO) * market.pieces / len(plan.drum)
        quote = quote_of(plan, sheet, market.original, market.finished, repair)
        low, high = (
            None if end is None else cents(landed(plan.original, as_money(end), repair))
            for end in (market.original.low, market.original.high)
        )
        cheaper = share_dearer(plan.original, market.original.sample, repair, quote.landed_at_price)
        builds.append(SizedBuild(sheet, quote, low, high, cheaper))
        draws.append(landed_sample(plan.original, market.draws, repair))
    crossings = find_crossings(
        [build.sheet.pieces for build in builds],
        np.array([float(build.quote.landed_at_cost) for build in builds]),
        np.array([float(build.quote.original_landed) for build in builds]),
        np.stack(draws, axis=1),
    )
    sample = market.original.sample
    situation = Situation.planned(plan, sheet, market.original, market.finished, repair)
    build_door = of_asked(sheet, quote, quote.landed_at_price)
    return Comparison(
        sheet=sheet,
        quote=quote,
        verdict=work_verdict(quote.landed_at_price)
        if sheet.is_service
        else original_verdict(quote.landed_at_price, quote.original_landed),
        for_that_money=None,
        against=None,
        by_pieces=tuple(builds),
        crossings=crossings,
        tie_at_cost=tie_price(plan.original, quote.landed_at_cost, repair, sample),
        tie_at_price=tie_price(plan.original, quote.landed_at_price, repair, sample),
        priced_to_tie=quote.binding == "cap" and quote.asked == quote.suggested,
        chance_build_cheaper=builds[-1].chance_build_cheaper,
        unknowns=solve_all(unknowns_of(situation, plan.original.condition, original_typical)),
        like_for_like=like_for_like(plan, sheet.currency, build_door, quote.original_landed, repair),
        cautions=quote_cautions(plan, sheet, quote, market.original, market.finished),
    )
