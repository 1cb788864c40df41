"""The offers of a shop under a fit: each kit's outlook once, then every use of every offer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import partial

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
    plain_bases,
    rebuild_bases,
    step_of,
    takes_place_of,
    why_no_place,
)
from kitvalue.decisions.plans import finished_kit
from kitvalue.decisions.portfolio import Candidates, Portfolio, best_set
from kitvalue.decisions.shortlist import (
    JudgedOffer,
    JudgedUse,
    KitParts,
    UseBatch,
    deals_of,
    judged,
    judged_uses,
    part_sales,
    parts_of,
    ranked,
    without_value,
)
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.books.offers import BoughtFrom, Offer
from kitvalue.intake.books.parts import Part
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import RefusedError, shown
from kitvalue.intake.text.words import fold, listed
from kitvalue.market.encoding import FeatureRecipe, FeatureValue, Kit
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import KitSamples, kit_samples, known_cautions, shared_draws
from kitvalue.market.value import resale_kit
from kitvalue.workshop.costing import holding_cost, settings_of
from kitvalue.workshop.money import ZERO, percent
from kitvalue.workshop.tax import Terms, terms_of


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
    unknown = [f.name for f in offer.features if f.name not in known]
    told = {f.name for f in given}
    moving = [name for name in known if any(t.feature == name for t in fit.recipe.terms)]
    kit = Kit(offer.series, float(offer.pieces), float(offer.condition), on=on, features=given)
    return KitOffered(kit, (*_unused(unknown), *_average([name for name in moving if name not in told])))


def sold_condition(offer: Offer) -> Decimal:
    """The grade that the kit will be sold in: its own where the offer names no other."""
    return offer.condition if offer.finished is None else offer.finished


@dataclass(frozen=True, slots=True)
class Resales:
    """What bought kits are sold as: purchase i becomes `kits[at[i]]`. `cautions` are of each of these kits where it is
    sold in another condition than it is bought in."""

    kits: tuple[Kit, ...]
    at: tuple[int, ...]
    cautions: tuple[tuple[str, ...], ...]


def resales(bought: Sequence[Kit], at: Sequence[int], grades: Sequence[Decimal], fit: Fit) -> Resales:
    """Purchase i is the kit `bought[at[i]]`, to be sold in `grades[i]`; each different kit and grade comes once."""
    rows: dict[tuple[int, Decimal], int] = {}
    sold_at = tuple(rows.setdefault(sale, len(rows)) for sale in zip(at, grades, strict=True))
    kits = tuple(kit_resold(bought[row], grade, fit) for row, grade in rows)
    cautions = (
        () if kit.condition == bought[row].condition else known_cautions(fit, kit)
        for kit, (row, _) in zip(kits, rows, strict=True)
    )
    return Resales(kits, sold_at, tuple(cautions))


def kit_resold(kit: Kit, grade: Decimal, fit: Fit) -> Kit:
    """The kit of an offer as a webshop sells it, in the grade that it will be sold in."""
    return resale_kit(fit, replace(kit, condition=float(grade)))


def _value(read: FeatureRead, book: FeatureRecipe) -> float | bool | str:
    """The value as the book has it: a word in the book's spelling."""
    if isinstance(read.value, bool):
        return read.value
    if isinstance(read.value, Decimal):
        return float(read.value)
    word = next((word for word in book.words if fold(word) == fold(str(read.value))), None)
    if word is None:
        has = f"no row of the price book has {read.name} = {shown(str(read.value))}; it has {listed(book.words)}"
        raise RefusedError(f"{has}: write one of these, or leave the cell blank")
    return word


def _unused(names: Sequence[str]) -> list[str]:
    return [f"{listed(names)} cannot be counted: prices.csv says nothing of it"] if names else []


def _average(names: Sequence[str]) -> list[str]:
    if not names:
        return []
    if len(names) == 1:
        return [f"{names[0]} is not known and counts at the book's average: offers.csv takes a column for it"]
    return [f"{listed(names)} are not known and count at the book's average: offers.csv takes a column for each"]


Tell = Callable[[float], None]  # told how much is done, 0 to 1
NO_FREIGHT = "freight not known: whatever it is comes off these prices and profits"
NO_HOURS_SAID = "finished better than it is bought, and only prepare's hours are counted: offers.csv gives none for it"
NO_PARTS_SAID = "finished better than it is bought, and no parts are counted: offers.csv gives none, heads among them"
NO_VAT_SAID = "bought from the trade, and offers.csv does not say how VAT stands: the price is counted whole"


@dataclass(frozen=True, slots=True, eq=False)
class Grounds:
    """What a shortlist is made from. `parts` is None where there is no parts.csv."""

    shop: Shop
    fit: Fit
    plan: Plan | None
    parts: tuple[Part, ...] | None
    on: date | None
    terms: Terms
    holding: float  # for one kit until it is sold
    loss_chance: float  # a fraction
    step: Step


@dataclass(frozen=True, slots=True, eq=False)
class ValuedOffers:
    """The offers that can be valued: offer `places[i]` is the kit of row `at[i]`, sold as that of row `sold_at[i]`."""

    places: tuple[int, ...]
    at: tuple[int, ...]
    sold_at: tuple[int, ...]
    cautions: tuple[tuple[str, ...], ...]  # of each offer's kit, as it is bought and as it is sold
    buy_in: KitSamples  # one row for each different kit
    resale: KitSamples  # one for each different kit and condition that it is sold in


def grounds_of(shop: Shop, fit: Fit, plan: Plan | None, parts: Sequence[Part] | None, on: date | None) -> Grounds:
    """Everything beside the offers. Raises FileError for tables of shop.toml that lack."""
    tax, selling = settings_of(shop)
    return Grounds(
        shop, fit, plan, None if parts is None else tuple(parts), on, terms_of(tax, selling),
        float(holding_cost(selling)), float(percent(selling.loss_chance)), step_of(fit),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Listed:
    """Every offer judged, the most profitable first, and what they were judged from."""

    judged: tuple[JudgedOffer, ...]
    offers: tuple[Offer, ...]
    seen: ValuedOffers
    batches: tuple[UseBatch, ...]


def shortlisted(grounds: Grounds, offers: Sequence[Offer], tell: Tell | None = None) -> Listed:
    """Every offer judged."""
    paid = [paid_for(offer, grounds.step) for offer in offers]
    reasons: dict[int, str] = {}
    seen = _seen(grounds, offers, reasons)
    uses: list[list[JudgedUse]] = [[] for _ in offers]
    batches: list[UseBatch] = []
    makers = (_sold_on, _rebuilt, _in_parts) if grounds.plan is not None else (_sold_on, _in_parts)
    for done, make in enumerate(makers, start=1):
        for batch in make(grounds, offers, seen, uses):
            batches.append(batch)
            prices = np.array([paid[i].price for i in batch.offers])
            for i, use in zip(
                batch.offers, judged_uses(batch, prices, grounds.terms, grounds.loss_chance), strict=True
            ):
                uses[i].append(use)
        if tell is not None:
            tell(done / len(makers))
    ranks = _ranks(seen, offers)
    own = {use: own_route(grounds.shop, grounds.plan, use) for use in (SELL_ON, REBUILD, PARTS)}
    found = [without_value(offers[i], paid[i], reason) for i, reason in reasons.items()]
    for i, at, rank, known in zip(seen.places, seen.at, ranks, seen.cautions, strict=True):
        said = (*known, *_own_cautions(offers[i], grounds))
        routes = [own[use.use] for use in uses[i]]
        found.append(judged(offers[i], paid[i], float(seen.buy_in.typical[at]), float(rank), uses[i], routes, said))
    return Listed(ranked(found), tuple(offers), seen, tuple(batches))


def _seen(grounds: Grounds, offers: Sequence[Offer], reasons: dict[int, str]) -> ValuedOffers:
    """Each different kit once. Offers without a value go into `reasons`."""
    rows: dict[KitOffered, int] = {}
    refused: dict[KitOffered, str] = {}
    places, at, cautions = [], [], []
    for i, offer in enumerate(offers):
        try:
            offered = kit_offered(offer, grounds.fit, grounds.on)
        except RefusedError as error:
            reasons[i] = error.message
            continue
        if offered not in rows and offered not in refused:
            try:
                cautions.append((*known_cautions(grounds.fit, offered.kit), *offered.cautions))
                rows[offered] = len(rows)
            except RefusedError as error:
                refused[offered] = error.message
        if offered in rows:
            places.append(i)
            at.append(rows[offered])
        else:
            reasons[i] = refused[offered]
    kits = [offered.kit for offered in rows]
    sold = resales(kits, at, [sold_condition(offers[i]) for i in places], grounds.fit)
    said = [tuple(dict.fromkeys((*cautions[a], *sold.cautions[s]))) for a, s in zip(at, sold.at, strict=True)]
    return ValuedOffers(
        tuple(places),
        tuple(at),
        sold.at,
        tuple(said),
        kit_samples(grounds.fit, kits),
        kit_samples(grounds.fit, sold.kits),
    )


def _ranks(seen: ValuedOffers, offers: Sequence[Offer]) -> FloatArray:
    """The share of each offer's buy-in sample that lies below what is asked."""
    ordered = np.sort(seen.buy_in.sample, axis=1)
    below = [np.searchsorted(ordered[at], float(offers[i].price)) for i, at in zip(seen.places, seen.at, strict=True)]
    shares: FloatArray = np.array(below, dtype=np.float64) / max(1, ordered.shape[1])
    return shares


def _own_cautions(offer: Offer, grounds: Grounds) -> tuple[str, ...]:
    found = []
    if offer.freight is None:
        found.append(NO_FREIGHT)
    if offer.bought_from == "trade":
        found.append(NO_VAT_SAID)
    if sold_condition(offer) > offer.condition and offer.hours is None and _hours(offer, grounds.shop) is not None:
        found.append(NO_HOURS_SAID)
    if sold_condition(offer) > offer.condition and offer.parts is None:
        found.append(NO_PARTS_SAID)
    if grounds.fit.recipe.sold_offset:
        found.append(f"these figures rest on {grounds.fit.recipe.sold_basis}")
    return tuple(found)


def _freight(offer: Offer) -> float:
    return float(offer.freight) if offer.freight is not None else 0.0


def _by_source(offers: Sequence[Offer], places: Sequence[int]) -> dict[BoughtFrom, list[int]]:
    """Positions in `places`, by where the offers are bought."""
    groups: dict[BoughtFrom, list[int]] = {}
    for position, i in enumerate(places):
        groups.setdefault(offers[i].bought_from, []).append(position)
    return groups


def _hours(offer: Offer, shop: Shop) -> Decimal | None:
    """The hours until a kit is sold whole: the shop's to prepare any and the offer's own to restore it; None where
    neither says any.
    """
    prepare = None if shop.work is None else shop.work.prepare
    return prepare if offer.hours is None else (prepare or ZERO) + offer.hours


def _sold_on(
    grounds: Grounds, offers: Sequence[Offer], seen: ValuedOffers, uses: list[list[JudgedUse]]
) -> list[UseBatch]:
    groups: dict[tuple[BoughtFrom, Decimal | None], list[int]] = {}
    for position, i in enumerate(seen.places):
        groups.setdefault((offers[i].bought_from, _hours(offers[i], grounds.shop)), []).append(position)
    batches = []
    for (source, hours), positions in groups.items():
        places = [seen.places[p] for p in positions]
        at = np.array([seen.sold_at[p] for p in positions])
        cost = np.array([_freight(offers[i]) + float(offers[i].parts or 0) + grounds.holding for i in places])
        for base in plain_bases(grounds.shop, SELL_ON, hours, source, "prepare"):
            batches.append(
                UseBatch(
                    base, np.array(places), seen.resale.sample, seen.resale.clipped, at, cost,
                    float(grounds.terms.freight),
                )
            )  # fmt: skip
    return batches


def _rebuilt(
    grounds: Grounds, offers: Sequence[Offer], seen: ValuedOffers, uses: list[list[JudgedUse]]
) -> list[UseBatch]:
    """The offers that have all the drums of one donor of the plan; of the others the reason is noted."""
    plan = grounds.plan
    if plan is None:
        return []
    needs = donor_needs(plan, grounds.shop)
    groups: dict[tuple[DonorNeed, int, BoughtFrom], list[int]] = {}
    for i in seen.places:
        need = takes_place_of(offers[i], needs)
        if need is None:
            uses[i].append(JudgedUse(REBUILD, own_route(grounds.shop, plan, REBUILD), None, None, None, None, None, 0.0,
                                    None, why_no_place(offers[i], needs)))  # fmt: skip
        else:
            groups.setdefault((need, offers[i].pieces, offers[i].bought_from), []).append(i)
    if not groups:
        return []
    known_cautions(grounds.fit, finished_kit(plan, len(plan.drum), grounds.fit))
    sold = kit_samples(grounds.fit, [finished_kit(plan, len(plan.drum), grounds.fit)])
    share = float(percent(plan.finished.share))
    return [
        UseBatch(
            base, np.array(places), share * sold.sample, share * sold.clipped, np.zeros(len(places), dtype=np.int64),
            np.array([_freight(offers[i]) + grounds.holding for i in places]), float(grounds.terms.freight),
        )
        for (need, pieces, source), places in groups.items()
        for base in rebuild_bases(plan, grounds.shop, need.at, pieces, source)
    ]  # fmt: skip


def _in_parts(
    grounds: Grounds, offers: Sequence[Offer], seen: ValuedOffers, uses: list[list[JudgedUse]]
) -> list[UseBatch]:
    """The offers whose drums are known and all stand in parts.csv; of the others the reason is noted."""
    made: dict[object, KitParts] = {}
    open_ones: list[int] = []
    for i in seen.places:
        sizes = offers[i].sizes
        if grounds.parts and sizes and sizes not in made:
            made[sizes] = parts_of(sizes, grounds.parts)
        reason = _why_no_parts(grounds, offers[i], made.get(sizes))
        if reason is None:
            open_ones.append(i)
        else:
            route = own_route(grounds.shop, None, PARTS)
            uses[i].append(JudgedUse(PARTS, route, None, None, None, None, None, 0.0, None, reason))
    if not open_ones or grounds.parts is None:
        return []
    kinds = list(made)
    row = {sizes: k for k, sizes in enumerate(kinds)}
    sales = part_sales([made[sizes] for sizes in kinds], grounds.parts)
    work, monthly = (
        grounds.shop.work,
        float(grounds.shop.selling.holding or 0) if grounds.shop.selling is not None else 0.0,
    )
    batch = partial(UseBatch, outcomes=sales.outcomes, clipped=sales.outcomes, freight=0.0, values=sales.values)
    batches = []
    for source, positions in _by_source(offers, open_ones).items():
        places = [open_ones[p] for p in positions]
        at = np.array([row[offers[i].sizes] for i in places])
        cost = np.array([_freight(offers[i]) for i in places]) + monthly * sales.months[at]
        for base in plain_bases(grounds.shop, PARTS, None if work is None else work.part_out, source, "part_out"):
            batches.append(batch(base, np.array(places), at=at, cost=cost))
    return batches


def _why_no_parts(grounds: Grounds, offer: Offer, parts: KitParts | None) -> str | None:
    if grounds.parts is None:
        return "there is no parts.csv: part, value, chance, weeks"
    if not grounds.parts:
        return "parts.csv has no usable row: part, value, chance, weeks"
    if parts is None:
        return NO_SIZES
    if parts.unknown:
        size = parts.unknown[0]
        return f"parts.csv has no row for a drum of {size.diameter.normalize():f}x{size.depth.normalize():f}"
    return None


DRAWS = 2000
MOST = 60  # offers taken into account, the most profitable ones
SEED = 20260108


def portfolio_of(grounds: Grounds, listed: Listed) -> Portfolio:
    """The best set of the offers for their best uses, within the shop's [buying] limits and its loss_chance."""
    limits = grounds.shop.buying
    budget = None if limits.budget is None else float(limits.budget)
    hours = None if limits.bench_hours is None else float(limits.bench_hours)
    return best_set(_candidates(grounds, listed), budget, hours, grounds.loss_chance)


def _candidates(grounds: Grounds, listed: Listed) -> Candidates:
    place = {offer.offer: i for i, offer in enumerate(listed.offers)}
    gaining = [o for o in listed.judged if o.best is not None and (o.best.expected_profit or 0) > 0][:MOST]
    chosen = [(o, o.best) for o in gaining if o.best is not None]
    places = [place[o.offer.offer] for o, _ in chosen]
    kits = [_kit(grounds, listed, i, best.use) for i, (_, best) in zip(places, chosen, strict=True)]
    draws = shared_draws(grounds.fit, kits, DRAWS) if kits else np.zeros((0, DRAWS))
    rng = np.random.default_rng(SEED)
    profits = []
    for row, (i, (one, best)) in enumerate(zip(places, chosen, strict=True)):
        batch = next(
            b for b in listed.batches if b.base.use == best.use and b.base.route == best.route and i in b.offers
        )
        sold = draws[row]
        at = int(np.flatnonzero(batch.offers == i)[0])
        if best.use == REBUILD and grounds.plan is not None:
            sold = sold * float(percent(grounds.plan.finished.share))
        elif best.use == PARTS:
            sold = rng.choice(batch.outcomes[batch.at[at]], DRAWS)
        profits.append(_profits(grounds, batch, at, sold, one.paid.price))
    return Candidates(
        names=tuple(o.offer.offer for o, _ in chosen),
        expected=np.array([best.expected_profit for _, best in chosen], dtype=np.float64),
        profits=np.array(profits).reshape(len(chosen), DRAWS),
        spent=np.array([o.paid.price + float(o.offer.freight or 0) for o, _ in chosen]),
        hours=np.array([best.hours for _, best in chosen], dtype=np.float64),
    )


def _kit(grounds: Grounds, listed: Listed, place: int, use: str) -> Kit:
    """What is sold, as the market would see it."""
    offer = listed.offers[place]
    if use == REBUILD and grounds.plan is not None:
        return finished_kit(grounds.plan, len(grounds.plan.drum), grounds.fit)
    kit = kit_offered(offer, grounds.fit, grounds.on).kit
    return kit_resold(kit, sold_condition(offer), grounds.fit) if use == SELL_ON else kit


def _profits(grounds: Grounds, batch: UseBatch, at: int, sold: FloatArray, price: float) -> FloatArray:
    """(draws,) profit where a kit fetches `sold` (draws,)."""
    deals = deals_of(batch, slice(at, at + 1), grounds.terms)
    profit: FloatArray = deals.profit(sold[None, :], np.array([price]))[0]
    return profit
