"""The offers of a shop under a fit: each kit's outlook once, then every use of every offer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TypeAlias, TypeVar

import numpy as np

from kitvalue.decisions.ceiling import (
    NO_SIZES,
    PARTS,
    REBUILD,
    SELL_ON,
    DonorNeed,
    Step,
    donor_needs,
    own_route,
    paid_for,
    place_of,
    plain_bases,
    rebuild_bases,
    step_of,
)
from kitvalue.decisions.original import finished_kit
from kitvalue.decisions.portfolio import Candidates, Portfolio, best_set
from kitvalue.decisions.shortlist import (
    JudgedOffer,
    JudgedUse,
    KitParts,
    UseBatch,
    judged,
    judged_uses,
    part_sales,
    parts_of,
    ranked,
)
from kitvalue.intake.books.book import IntArray
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.books.parts import Part
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import RefusedError, shown
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.intake.text.words import fold, listed
from kitvalue.market.encoding import FeatureRecipe, FeatureValue, Kit
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import KitSamples, kit_samples, known_cautions, shared_draws
from kitvalue.market.value import resale_kit
from kitvalue.workshop.costing import holding_cost, settings_of
from kitvalue.workshop.money import ZERO, percent
from kitvalue.workshop.tax import Terms, terms_of

K = TypeVar("K")
Tell: TypeAlias = Callable[[float], None]  # told how much is done, 0 to 1
Uses: TypeAlias = list[list[JudgedUse]]  # of each offer, by its place

DRAWS = 2000
MOST = 60  # offers taken into account for a set to buy together, the most profitable ones
SEED = 20260108
NO_FREIGHT = "freight not known: whatever it is comes off these prices and profits"
NO_HOURS_SAID = "finished better than it is bought, and only prepare's hours are counted: offers.csv gives none for it"
NO_PARTS_SAID = "finished better than it is bought, and no parts are counted: offers.csv gives none, heads among them"
NO_VAT_SAID = "bought from the trade, and offers.csv does not say how VAT stands: the price is counted whole"


@dataclass(frozen=True, slots=True)
class KitOffered:
    """The kit as it stands, and what is to be said of the features that it counts with."""

    kit: Kit
    cautions: tuple[str, ...]


def kit_offered(offer: Offer, fit: Fit, on: date | None = None) -> KitOffered:
    """The kit of an offer, sold on a day (None: the book's newest), with the features that the book knows too.

    Raises RefusedError for a word of a feature that no row of the book has.
    """
    known = {feature.name: feature for feature in fit.recipe.features if feature.kind != "word" or feature.words}
    given = tuple(FeatureValue(f.name, _value(f, known[f.name])) for f in offer.features if f.name in known)
    moving = {term.feature for term in fit.recipe.terms} - {f.name for f in given}
    unused = [f.name for f in offer.features if f.name not in known]
    average = [name for name in known if name in moving]
    cautions = [f"{listed(unused)} cannot be counted: prices.csv says nothing of it"] if unused else []
    if len(average) == 1:
        column = "offers.csv takes a column for it"
        cautions.append(f"{average[0]} is not known and counts at the book's average: {column}")
    elif average:
        column = "offers.csv takes a column for each"
        cautions.append(f"{listed(average)} are not known and count at the book's average: {column}")
    kit = Kit(offer.series, float(offer.pieces), float(offer.condition), on=on, features=given)
    return KitOffered(kit, tuple(cautions))


def _value(read: FeatureRead, book: FeatureRecipe) -> float | bool | str:
    """The value as the book has it: a word in the book's spelling."""
    if isinstance(read.value, Decimal):
        return float(read.value)
    if isinstance(read.value, bool):
        return read.value
    text = str(read.value)
    for word in book.words:
        if fold(word) == fold(text):
            return word
    has = f"no row of the price book has {read.name} = {shown(text)}; it has {listed(book.words)}"
    raise RefusedError(f"{has}: write one of these, or leave the cell blank")


def sold_condition(offer: Offer) -> Decimal:
    """The grade that the kit will be sold in: its own where the offer names no other."""
    return offer.condition if offer.finished is None else offer.finished


@dataclass(frozen=True, slots=True, eq=False)
class Grounds:
    """What offers are judged by. `parts` is None where there is no parts.csv."""

    shop: Shop
    fit: Fit
    plan: Plan | None
    parts: tuple[Part, ...] | None
    on: date | None
    terms: Terms
    holding: float  # for one kit until it is sold
    loss_chance: float  # a fraction
    step: Step


def grounds_of(shop: Shop, fit: Fit, plan: Plan | None, parts: Sequence[Part] | None, on: date | None) -> Grounds:
    """Everything beside the offers. Raises FileError for tables of shop.toml that lack."""
    tax, selling = settings_of(shop)
    return Grounds(
        shop, fit, plan, None if parts is None else tuple(parts), on, terms_of(tax, selling),
        float(holding_cost(selling)), float(percent(selling.loss_chance)), step_of(fit),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class ValuedOffers:
    """The offers that can be valued: offer `places[i]` is the kit of row `at[i]`, sold as that of row `sold_at[i]`."""

    places: tuple[int, ...]
    at: tuple[int, ...]
    sold_at: tuple[int, ...]
    cautions: tuple[tuple[str, ...], ...]  # of each offer's kit, as it is bought and as it is sold
    buy_in: KitSamples  # one row for each different kit
    sold_kits: tuple[Kit, ...]  # each different kit and condition that it is sold in, as a webshop sells it
    resale: KitSamples  # of these


@dataclass(frozen=True, slots=True, eq=False)
class JudgedOffers:
    """Every offer judged, the most profitable first, and what they were judged from."""

    judged: tuple[JudgedOffer, ...]
    offers: tuple[Offer, ...]
    valued: ValuedOffers
    batches: tuple[UseBatch, ...]


def shortlisted(grounds: Grounds, offers: Sequence[Offer], tell: Tell | None = None) -> JudgedOffers:
    """Every offer judged."""
    paid = [paid_for(offer, grounds.step) for offer in offers]
    reasons: dict[int, str] = {}
    valued = _valued(grounds, offers, reasons)
    uses: Uses = [[] for _ in offers]
    batches: list[UseBatch] = []
    makers = (_sold_on, _rebuilt, _in_parts) if grounds.plan is not None else (_sold_on, _in_parts)
    for done, make in enumerate(makers, start=1):
        for batch in make(grounds, offers, valued, uses):
            batches.append(batch)
            prices = np.array([paid[i].price for i in batch.places])
            judged_here = judged_uses(batch, prices, grounds.terms, grounds.loss_chance)
            for i, use in zip(batch.places, judged_here, strict=True):
                uses[i].append(use)
        if tell is not None:
            tell(done / len(makers))
    ordered = np.sort(valued.buy_in.sample, axis=1)
    own = {use: own_route(grounds.shop, grounds.plan, use) for use in (SELL_ON, REBUILD, PARTS)}
    answers = [JudgedOffer(offers[i], paid[i], reason=reason) for i, reason in reasons.items()]
    for i, at, known in zip(valued.places, valued.at, valued.cautions, strict=True):
        rank = float(np.searchsorted(ordered[at], float(offers[i].price))) / ordered.shape[1]
        routes = [own[use.use] for use in uses[i]]
        cautions = (*known, *_own_cautions(offers[i], grounds))
        answers.append(judged(offers[i], paid[i], float(valued.buy_in.typical[at]), rank, uses[i], routes, cautions))
    return JudgedOffers(ranked(answers), tuple(offers), valued, tuple(batches))


def _valued(grounds: Grounds, offers: Sequence[Offer], reasons: dict[int, str]) -> ValuedOffers:
    """Each different kit once. Offers without a value go into `reasons`."""
    said: dict[KitOffered, tuple[str, ...]] = {}  # of each different kit as it is bought
    bought: dict[int, KitOffered] = {}
    for i, offer in enumerate(offers):
        try:
            offered = kit_offered(offer, grounds.fit, grounds.on)
            if offered not in said:
                said[offered] = (*known_cautions(grounds.fit, offered.kit), *offered.cautions)
            bought[i] = offered
        except RefusedError as error:
            reasons[i] = error.message
    rows = {offered: row for row, offered in enumerate(said)}
    sales: dict[tuple[KitOffered, Decimal], int] = {}
    sold_at = tuple(sales.setdefault((offered, sold_condition(offers[i])), len(sales)) for i, offered in bought.items())
    sold = tuple(resale_kit(grounds.fit, replace(o.kit, condition=float(grade))) for o, grade in sales)
    told = [
        said[offered] if kit.condition == offered.kit.condition else (*said[offered], *known_cautions(grounds.fit, kit))
        for kit, (offered, _) in zip(sold, sales, strict=True)
    ]
    return ValuedOffers(
        places=tuple(bought),
        at=tuple(rows[offered] for offered in bought.values()),
        sold_at=sold_at,
        cautions=tuple(tuple(dict.fromkeys(told[row])) for row in sold_at),
        buy_in=kit_samples(grounds.fit, [offered.kit for offered in said]),
        sold_kits=sold,
        resale=kit_samples(grounds.fit, sold),
    )


def _own_cautions(offer: Offer, grounds: Grounds) -> list[str]:
    better = sold_condition(offer) > offer.condition
    no_hours = better and offer.hours is None and _hours(offer, grounds.shop) is not None
    basis = f"these figures rest on {grounds.fit.recipe.sold_basis}"
    cautions = (
        (NO_FREIGHT, offer.freight is None),
        (NO_VAT_SAID, offer.bought_from == "trade"),
        (NO_HOURS_SAID, no_hours),
        (NO_PARTS_SAID, better and offer.parts is None),
        (basis, bool(grounds.fit.recipe.sold_offset)),
    )
    return [text for text, so in cautions if so]


def _hours(offer: Offer, shop: Shop) -> Decimal | None:
    """The hours until a kit is sold whole: the shop's to prepare any and the offer's own to restore it; None where
    neither says any.
    """
    prepare = None if shop.work is None else shop.work.prepare
    return prepare if offer.hours is None else (prepare or ZERO) + offer.hours


def _groups(keys: Iterable[K]) -> dict[K, IntArray]:
    """The positions of each different key."""
    groups: dict[K, list[int]] = {}
    for position, key in enumerate(keys):
        groups.setdefault(key, []).append(position)
    return {key: np.array(positions) for key, positions in groups.items()}


def _sold_on(grounds: Grounds, offers: Sequence[Offer], valued: ValuedOffers, uses: Uses) -> list[UseBatch]:
    """Every kit sold whole."""
    mine = [offers[i] for i in valued.places]
    cost = np.array([float(o.freight or 0) + float(o.parts or 0) + grounds.holding for o in mine])
    places, at, resale = np.array(valued.places), np.array(valued.sold_at), valued.resale
    return [
        UseBatch(base, places[p], resale.sample, resale.clipped, at[p], cost[p], float(grounds.terms.freight))
        for (source, hours), p in _groups((o.bought_from, _hours(o, grounds.shop)) for o in mine).items()
        for base in plain_bases(grounds.shop, SELL_ON, hours, source, "prepare")
    ]


def _rebuilt(grounds: Grounds, offers: Sequence[Offer], valued: ValuedOffers, uses: Uses) -> list[UseBatch]:
    """The offers that have all the drums of one donor of the plan; of the others the reason is noted."""
    plan, shop = grounds.plan, grounds.shop
    if plan is None:
        return []
    needs = donor_needs(plan)
    taken: dict[int, DonorNeed] = {}
    for i in valued.places:
        need = place_of(offers[i], needs)
        if isinstance(need, DonorNeed):
            taken[i] = need
        else:
            uses[i].append(JudgedUse(REBUILD, own_route(shop, plan, REBUILD), reason=need))
    if not taken:
        return []
    kit, share = finished_kit(plan, grounds.fit), float(percent(plan.finished.share))
    known_cautions(grounds.fit, kit)  # refuses a series that the book does not have
    sold = kit_samples(grounds.fit, [kit])
    places, at = np.array(list(taken)), np.zeros(len(taken), dtype=np.int64)
    cost = np.array([float(offers[i].freight or 0) + grounds.holding for i in taken])
    groups = _groups((need, offers[i].pieces, offers[i].bought_from) for i, need in taken.items())
    freight = float(grounds.terms.freight)
    return [
        UseBatch(base, places[p], share * sold.sample, share * sold.clipped, at[p], cost[p], freight)
        for (need, pieces, source), p in groups.items()
        for base in rebuild_bases(plan, shop, need.at, pieces, source)
    ]


def _in_parts(grounds: Grounds, offers: Sequence[Offer], valued: ValuedOffers, uses: Uses) -> list[UseBatch]:
    """The offers whose drums are known and all stand in parts.csv; of the others the reason is noted."""
    kinds: dict[tuple[Size, ...], KitParts] = {}
    places: list[int] = []
    for i in valued.places:
        sizes = offers[i].sizes
        if grounds.parts and sizes and sizes not in kinds:
            kinds[sizes] = parts_of(sizes, grounds.parts)
        reason = _why_no_parts(grounds, kinds.get(sizes))
        if reason is None:
            places.append(i)
        else:
            uses[i].append(JudgedUse(PARTS, own_route(grounds.shop, None, PARTS), reason=reason))
    if not places or grounds.parts is None:
        return []
    row = {sizes: k for k, sizes in enumerate(kinds)}
    sales = part_sales(list(kinds.values()), grounds.parts)
    work, selling = grounds.shop.work, grounds.shop.selling
    monthly = 0.0 if selling is None else float(selling.holding or 0)
    at = np.array([row[offers[i].sizes] for i in places])
    cost = np.array([float(offers[i].freight or 0) for i in places]) + monthly * sales.months[at]
    return [
        UseBatch(base, np.array(places)[p], sales.outcomes, sales.outcomes, at[p], cost[p], 0.0, sales.values)
        for source, p in _groups(offers[i].bought_from for i in places).items()
        for base in plain_bases(grounds.shop, PARTS, None if work is None else work.part_out, source, "part_out")
    ]


def _why_no_parts(grounds: Grounds, parts: KitParts | None) -> str | None:
    if grounds.parts is None:
        return "there is no parts.csv: part, value, chance, weeks"
    if not grounds.parts:
        return "parts.csv has no usable row: part, value, chance, weeks"
    if parts is None:
        return NO_SIZES
    if parts.unknown:
        return f"parts.csv has no row for a drum of {size_text(parts.unknown[0])}"
    return None


def portfolio_of(grounds: Grounds, answers: JudgedOffers) -> Portfolio:
    """The best set of the offers for their best uses, within the shop's [buying] limits and its loss_chance."""
    plan, valued = grounds.plan, answers.valued
    gaining = [(j, j.best) for j in answers.judged if j.best is not None and (j.best.expected_profit or 0) > 0][:MOST]
    place = {offer.offer: i for i, offer in enumerate(answers.offers)}
    places = [place[j.offer.offer] for j, _ in gaining]
    sold_at = dict(zip(valued.places, valued.sold_at, strict=True))
    kits = [
        finished_kit(plan, grounds.fit) if best.use == REBUILD and plan is not None else valued.sold_kits[sold_at[i]]
        for i, (_, best) in zip(places, gaining, strict=True)
    ]
    profits = shared_draws(grounds.fit, kits, DRAWS) if kits else np.zeros((0, DRAWS))  # first what a sale brings
    rng = np.random.default_rng(SEED)
    for row, (i, (offer, best)) in enumerate(zip(places, gaining, strict=True)):
        kind = (best.use, best.route)
        batch = next(b for b in answers.batches if (b.base.use, b.base.route) == kind and i in b.places)
        at = int(np.flatnonzero(batch.places == i)[0])
        if best.use == REBUILD and plan is not None:
            profits[row] *= float(percent(plan.finished.share))
        elif best.use == PARTS:
            profits[row] = rng.choice(batch.outcomes[batch.at[at]], DRAWS)
        deals = batch.deals(slice(at, at + 1), grounds.terms)
        profits[row] = deals.profit(profits[row : row + 1], np.array([offer.paid.price]))[0]
    candidates = Candidates(
        names=tuple(j.offer.offer for j, _ in gaining),
        expected=np.array([best.expected_profit for _, best in gaining], dtype=np.float64),
        profits=profits,
        spent=np.array([j.paid.price + float(j.offer.freight or 0) for j, _ in gaining]),
        hours=np.array([best.hours for _, best in gaining], dtype=np.float64),
    )
    limits = grounds.shop.buying
    budget = None if limits.budget is None else float(limits.budget)
    hours = None if limits.bench_hours is None else float(limits.bench_hours)
    return best_set(candidates, budget, hours, grounds.loss_chance)
