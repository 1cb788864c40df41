"""The offers of a shop under a fit: each kit's outlook once, then every use of every offer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial

import numpy as np

from kitvalue.decisions.haggling import Step, paid_for, step_of
from kitvalue.decisions.part_sales import KitParts, part_sales, parts_of
from kitvalue.decisions.shortlist import OfferFound, UseBatch, UseFound, judged, ranked, use_found, without_value
from kitvalue.decisions.uses import (
    NO_SIZES,
    PARTS,
    REBUILD,
    SELL_ON,
    DonorNeed,
    donor_needs,
    own_route,
    plain_bases,
    rebuild_bases,
    takes_place_of,
    why_no_place,
)  # fmt: skip
from kitvalue.intake.book import FloatArray
from kitvalue.intake.offers import BoughtFrom, Offer
from kitvalue.intake.parts import Part
from kitvalue.intake.plan import Plan
from kitvalue.intake.problems import RefusedError
from kitvalue.intake.shop import Shop
from kitvalue.market.fitted import Fit
from kitvalue.market.many import KitSamples, kit_samples
from kitvalue.market.outlook import known_cautions
from kitvalue.offered import KitOffered, kit_offered, resales, sold_condition
from kitvalue.plans import finished_kit
from kitvalue.workshop.asking import Terms, terms_of
from kitvalue.workshop.costing import settings_of
from kitvalue.workshop.holding import holding_cost
from kitvalue.workshop.money import ZERO, percent

Tell = Callable[[float], None]  # told how much is done, 0 to 1
NO_FREIGHT = "freight not known: whatever it is comes off these prices and profits"
NO_HOURS_SAID = "finished better than it is bought, and only prepare's hours are counted: offers.csv gives none for it"
NO_PARTS_SAID = "finished better than it is bought, and no parts are counted: offers.csv gives none, heads among them"
NO_VAT_SAID = "bought from the trade, and offers.csv does not say how VAT stands: the price is counted whole"


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
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
class Seen:
    """The offers that can be valued: offer `places[i]` is the kit of row `at[i]`, sold as that of row `sold_at[i]`."""

    places: tuple[int, ...]
    at: tuple[int, ...]
    sold_at: tuple[int, ...]
    cautions: tuple[tuple[str, ...], ...]  # of each offer's kit, as it is bought and as it is sold
    buy_in: KitSamples  # one row for each different kit
    resale: KitSamples  # one for each different kit and condition that it is sold in


def wanted(shop: Shop, fit: Fit, plan: Plan | None, parts: Sequence[Part] | None, on: date | None) -> Wanted:
    """Everything beside the offers. Raises FileError for tables of shop.toml that lack."""
    tax, selling = settings_of(shop)
    return Wanted(
        shop, fit, plan, None if parts is None else tuple(parts), on, terms_of(tax, selling),
        float(holding_cost(selling)), float(percent(selling.loss_chance)), step_of(fit),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Listed:
    """Every offer judged, the most profitable first, and what they were judged from."""

    found: tuple[OfferFound, ...]
    offers: tuple[Offer, ...]
    seen: Seen
    batches: tuple[UseBatch, ...]


def shortlisted(want: Wanted, offers: Sequence[Offer], tell: Tell | None = None) -> Listed:
    """Every offer judged."""
    paid = [paid_for(offer, want.step) for offer in offers]
    reasons: dict[int, str] = {}
    seen = _seen(want, offers, reasons)
    uses: list[list[UseFound]] = [[] for _ in offers]
    batches: list[UseBatch] = []
    makers = (_sold_on, _rebuilt, _in_parts) if want.plan is not None else (_sold_on, _in_parts)
    for done, make in enumerate(makers, start=1):
        for batch in make(want, offers, seen, uses):
            batches.append(batch)
            prices = np.array([paid[i].price for i in batch.offers])
            for i, use in zip(batch.offers, use_found(batch, prices, want.terms, want.loss_chance), strict=True):
                uses[i].append(use)
        if tell is not None:
            tell(done / len(makers))
    ranks = _ranks(seen, offers)
    own = {use: own_route(want.shop, want.plan, use) for use in (SELL_ON, REBUILD, PARTS)}
    found = [without_value(offers[i], paid[i], reason) for i, reason in reasons.items()]
    for i, at, rank, known in zip(seen.places, seen.at, ranks, seen.cautions, strict=True):
        said = (*known, *_own_cautions(offers[i], want))
        routes = [own[use.use] for use in uses[i]]
        found.append(judged(offers[i], paid[i], float(seen.buy_in.typical[at]), float(rank), uses[i], routes, said))
    return Listed(ranked(found), tuple(offers), seen, tuple(batches))


def _seen(want: Wanted, offers: Sequence[Offer], reasons: dict[int, str]) -> Seen:
    """Each different kit once. Offers without a value go into `reasons`."""
    rows: dict[KitOffered, int] = {}
    refused: dict[KitOffered, str] = {}
    places, at, cautions = [], [], []
    for i, offer in enumerate(offers):
        try:
            offered = kit_offered(offer, want.fit, want.on)
        except RefusedError as error:
            reasons[i] = error.message
            continue
        if offered not in rows and offered not in refused:
            try:
                cautions.append((*known_cautions(want.fit, offered.kit), *offered.cautions))
                rows[offered] = len(rows)
            except RefusedError as error:
                refused[offered] = error.message
        if offered in rows:
            places.append(i)
            at.append(rows[offered])
        else:
            reasons[i] = refused[offered]
    kits = [offered.kit for offered in rows]
    sold = resales(kits, at, [sold_condition(offers[i]) for i in places], want.fit)
    said = [tuple(dict.fromkeys((*cautions[a], *sold.cautions[s]))) for a, s in zip(at, sold.at, strict=True)]
    return Seen(
        tuple(places), tuple(at), sold.at, tuple(said), kit_samples(want.fit, kits), kit_samples(want.fit, sold.kits)
    )


def _ranks(seen: Seen, offers: Sequence[Offer]) -> FloatArray:
    """The share of each offer's buy-in sample that lies below what is asked."""
    ordered = np.sort(seen.buy_in.sample, axis=1)
    below = [np.searchsorted(ordered[at], float(offers[i].price)) for i, at in zip(seen.places, seen.at, strict=True)]
    shares: FloatArray = np.array(below, dtype=np.float64) / max(1, ordered.shape[1])
    return shares


def _own_cautions(offer: Offer, want: Wanted) -> tuple[str, ...]:
    found = []
    if offer.freight is None:
        found.append(NO_FREIGHT)
    if offer.bought_from == "trade":
        found.append(NO_VAT_SAID)
    if sold_condition(offer) > offer.condition and offer.hours is None and _hours(offer, want.shop) is not None:
        found.append(NO_HOURS_SAID)
    if sold_condition(offer) > offer.condition and offer.parts is None:
        found.append(NO_PARTS_SAID)
    if want.fit.recipe.sold_offset:
        found.append(f"these figures rest on {want.fit.recipe.sold_basis}")
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


def _sold_on(want: Wanted, offers: Sequence[Offer], seen: Seen, uses: list[list[UseFound]]) -> list[UseBatch]:
    groups: dict[tuple[BoughtFrom, Decimal | None], list[int]] = {}
    for position, i in enumerate(seen.places):
        groups.setdefault((offers[i].bought_from, _hours(offers[i], want.shop)), []).append(position)
    batches = []
    for (source, hours), positions in groups.items():
        places = [seen.places[p] for p in positions]
        at = np.array([seen.sold_at[p] for p in positions])
        cost = np.array([_freight(offers[i]) + float(offers[i].parts or 0) + want.holding for i in places])
        for base in plain_bases(want.shop, SELL_ON, hours, source, "prepare"):
            batches.append(
                UseBatch(
                    base, np.array(places), seen.resale.sample, seen.resale.clipped, at, cost,
                    float(want.terms.freight),
                )
            )  # fmt: skip
    return batches


def _rebuilt(want: Wanted, offers: Sequence[Offer], seen: Seen, uses: list[list[UseFound]]) -> list[UseBatch]:
    """The offers that have all the drums of one donor of the plan; of the others the reason is noted."""
    plan = want.plan
    if plan is None:
        return []
    needs = donor_needs(plan, want.shop)
    groups: dict[tuple[DonorNeed, int, BoughtFrom], list[int]] = {}
    for i in seen.places:
        need = takes_place_of(offers[i], needs)
        if need is None:
            uses[i].append(UseFound(REBUILD, own_route(want.shop, plan, REBUILD), None, None, None, None, None, 0.0,
                                    None, why_no_place(offers[i], needs)))  # fmt: skip
        else:
            groups.setdefault((need, offers[i].pieces, offers[i].bought_from), []).append(i)
    if not groups:
        return []
    known_cautions(want.fit, finished_kit(plan, len(plan.drum), want.fit))
    sold = kit_samples(want.fit, [finished_kit(plan, len(plan.drum), want.fit)])
    share = float(percent(plan.finished.share))
    return [
        UseBatch(
            base, np.array(places), share * sold.sample, share * sold.clipped, np.zeros(len(places), dtype=np.int64),
            np.array([_freight(offers[i]) + want.holding for i in places]), float(want.terms.freight),
        )
        for (need, pieces, source), places in groups.items()
        for base in rebuild_bases(plan, want.shop, need.at, pieces, source)
    ]  # fmt: skip


def _in_parts(want: Wanted, offers: Sequence[Offer], seen: Seen, uses: list[list[UseFound]]) -> list[UseBatch]:
    """The offers whose drums are known and all stand in parts.csv; of the others the reason is noted."""
    made: dict[object, KitParts] = {}
    open_ones: list[int] = []
    for i in seen.places:
        sizes = offers[i].sizes
        if want.parts and sizes and sizes not in made:
            made[sizes] = parts_of(sizes, want.parts)
        reason = _why_no_parts(want, offers[i], made.get(sizes))
        if reason is None:
            open_ones.append(i)
        else:
            route = own_route(want.shop, None, PARTS)
            uses[i].append(UseFound(PARTS, route, None, None, None, None, None, 0.0, None, reason))
    if not open_ones or want.parts is None:
        return []
    kinds = list(made)
    row = {sizes: k for k, sizes in enumerate(kinds)}
    sales = part_sales([made[sizes] for sizes in kinds], want.parts)
    work, monthly = want.shop.work, float(want.shop.selling.holding or 0) if want.shop.selling is not None else 0.0
    batch = partial(UseBatch, outcomes=sales.outcomes, clipped=sales.outcomes, freight=0.0, values=sales.values)
    batches = []
    for source, positions in _by_source(offers, open_ones).items():
        places = [open_ones[p] for p in positions]
        at = np.array([row[offers[i].sizes] for i in places])
        cost = np.array([_freight(offers[i]) for i in places]) + monthly * sales.months[at]
        for base in plain_bases(want.shop, PARTS, None if work is None else work.part_out, source, "part_out"):
            batches.append(batch(base, np.array(places), at=at, cost=cost))
    return batches


def _why_no_parts(want: Wanted, offer: Offer, parts: KitParts | None) -> str | None:
    if want.parts is None:
        return "there is no parts.csv: part, value, chance, weeks"
    if not want.parts:
        return "parts.csv has no usable row: part, value, chance, weeks"
    if parts is None:
        return NO_SIZES
    if parts.unknown:
        size = parts.unknown[0]
        return f"parts.csv has no row for a drum of {size.diameter.normalize():f}x{size.depth.normalize():f}"
    return None
