"""The offers of a shop under a fit: each kit's outlook once, then every use of every offer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import cache, partial
from typing import TypeAlias, TypeVar

import numpy as np

from kitvalue.decisions.ceiling import (
    NO_SIZES,
    PARTS,
    REBUILD,
    SELL_ON,
    DonorNeed,
    Landed,
    Paid,
    donor_needs,
    landed,
    own_route,
    paid_for,
    place_of,
    plain_bases,
    rebuild_bases,
    step_of,
    under_grade,
)
from kitvalue.decisions.doubt import rebuilt
from kitvalue.decisions.named import KitRead
from kitvalue.decisions.original import finished_kit
from kitvalue.decisions.shortlist import (
    JudgedOffer,
    JudgedUse,
    UseBatch,
    judged,
    judged_uses,
    no_verdict,
    part_sales,
    parts_of,
)
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.books.offers import Offer, Part
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.purchase import BoughtFrom, VatSaid
from kitvalue.intake.settings.shop import Shop, TaxTable
from kitvalue.intake.text.problems import Caution, RefusedError, shown
from kitvalue.intake.text.sizes import size_text
from kitvalue.intake.text.words import fold, listed
from kitvalue.market.encoding import FeatureRecipe, FeatureValue, Kit
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import KitSamples, kit_samples, known_cautions, resale_kit
from kitvalue.workshop.costing import settings_of
from kitvalue.workshop.money import ZERO, money_text, percent
from kitvalue.workshop.purchases import import_rates
from kitvalue.workshop.tax import MONTHS, Terms, scheme_of_item, terms_of

K = TypeVar("K")
Tell: TypeAlias = Callable[[float], None]  # told how much is done, 0 to 1


def kit_offered(offer: Offer, fit: Fit, on: date | None = None) -> KitRead:
    """The kit of an offer, sold on a day (None: the book's newest), with the features that the book knows too.

    Raises RefusedError for a word of a feature that no row of the book has.
    """
    known = {feature.name: feature for feature in fit.recipe.features if feature.kind != "word" or feature.words}
    given = tuple(FeatureValue(f.name, _value(f, known[f.name])) for f in offer.features if f.name in known)
    moving = {term.feature for term in fit.recipe.terms} - {f.name for f in given}
    unused = [f.name for f in offer.features if f.name not in known]
    average = [name for name in known if name in moving]
    cautions = []
    if unused:
        cautions.append(Caution("not_in_book", f"{listed(unused)} cannot be counted: prices.csv says nothing of it"))
    if average:
        count, each = ("is not known and counts", "it") if len(average) == 1 else ("are not known and count", "each")
        column = f"offers.csv takes a column for {each}"
        cautions.append(Caution("at_average", f"{listed(average)} {count} at the book's average: {column}"))
    kit = Kit(offer.series, float(offer.pieces), float(offer.condition), on=on, features=given)
    return KitRead(kit, float(offer.condition if offer.finished is None else offer.finished), tuple(cautions))


def _value(read: FeatureRead, book: FeatureRecipe) -> float | bool | str:
    """The value as the book has it: a word in the book's spelling."""
    if isinstance(read.value, Decimal | bool):
        return float(read.value) if isinstance(read.value, Decimal) else read.value
    text = str(read.value)
    for word in book.words:
        if fold(word) == fold(text):
            return word
    has = f"no row of the price book has {read.name} = {shown(text)}; it has {listed(book.words)}"
    raise RefusedError(f"{has}: write one of these, or leave the cell blank")


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
    step: Paid


def grounds_of(shop: Shop, fit: Fit, plan: Plan | None, parts: Sequence[Part] | None, on: date | None) -> Grounds:
    """Everything beside the offers. Raises FileError for tables of shop.toml that lack."""
    tax, selling = settings_of(shop)
    terms = terms_of(tax, selling)
    return Grounds(
        shop, fit, plan, None if parts is None else tuple(parts), on, terms,
        float(terms.holding), float(percent(selling.loss_chance)), step_of(fit),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Lot:
    """An offer that can be valued, and its uses as they are judged."""

    place: int  # among the lots
    offer: Offer
    paid: Paid | None  # None for a lot that has no price yet
    kit: Kit  # as it stands
    sold: Kit  # as a webshop sells it, in the grade that it will be sold in
    cautions: tuple[Caution, ...]
    bought: Landed
    uses: list[JudgedUse]

    @property
    def price(self) -> float:
        """The price expected."""
        return 0.0 if self.paid is None else self.paid.price

    @property
    def spent(self) -> float:
        """What goes out in cash for its kit at the price expected."""
        return self.bought.cash + self.bought.cash_slope * self.price


@dataclass(frozen=True, slots=True, eq=False)
class JudgedOffers:
    """Every offer judged, the most profitable first, and what they were judged from."""

    judged: tuple[JudgedOffer, ...]
    lots: tuple[Lot, ...]
    batches: tuple[UseBatch, ...]


def shortlisted(grounds: Grounds, offers: Sequence[Offer], tell: Tell | None = None) -> JudgedOffers:
    known = cache(partial(known_cautions, grounds.fit))
    answers: list[JudgedOffer] = []
    lots: list[Lot] = []
    tax, _ = settings_of(grounds.shop)
    usual, recipe = grounds.shop.buying.freight, grounds.fit.recipe
    seen = dict(zip(recipe.series, recipe.rows_by_series, strict=True))
    for told_of in offers:
        offer = replace(told_of, freight=usual) if told_of.freight is None else told_of
        paid = paid_for(offer, grounds.step)
        try:
            bought = kit_offered(offer, grounds.fit, grounds.on)
            sold = resale_kit(grounds.fit, replace(bought.kit, condition=bought.finished or bought.kit.condition))
            restored = known(sold) if sold.condition != bought.kit.condition else ()
            said = dict.fromkeys((*known(bought.kit), *bought.cautions, *restored))
        except RefusedError as error:
            answers.append(JudgedOffer(offer, paid, no_verdict(offer, error.message), reason=error.message))
        else:
            told = (*said, *_own_cautions(offer, grounds))
            if offer is not told_of:
                told = (*told, Caution("usual_freight", "freight not known: your usual one is counted"))
            lots.append(Lot(len(lots), offer, paid, bought.kit, sold, told, landed(offer, tax), []))
    batches: list[UseBatch] = []
    makers = (_sold_on, _rebuilt, _in_parts) if grounds.plan is not None else (_sold_on, _in_parts)
    for done, make in enumerate(makers, start=1):
        for batch in make(grounds, lots):
            prices = [paid.price if (paid := lots[place].paid) is not None else None for place in batch.places]
            batches.append(batch)
            judged_here = judged_uses(batch, prices, grounds.terms, grounds.loss_chance)
            for place, use in zip(batch.places, judged_here, strict=True):
                lots[place].uses.append(use)
        if tell is not None:
            tell(done / len(makers))
    rows = {kit: row for row, kit in enumerate(dict.fromkeys(lot.kit for lot in lots))}
    buy_in = kit_samples(grounds.fit, list(rows))
    ordered = np.sort(buy_in.sample, axis=1)
    for lot in lots:
        at, asked = rows[lot.kit], None if lot.offer.price is None else float(lot.offer.price * lot.offer.with_premium)
        rank = None if asked is None else float(np.searchsorted(ordered[at], asked)) / ordered.shape[1]
        worth = float(buy_in.typical[at])
        answers.append(
            judged(
                lot.offer,
                lot.paid,
                worth,
                rank,
                lot.uses,
                lot.cautions,
                grounds.shop.buying,
                seen.get(lot.kit.series, 0),
            )
        )
    return JudgedOffers(ranked(answers), tuple(lots), tuple(batches))


def ranked(answers: Sequence[JudgedOffer]) -> tuple[JudgedOffer, ...]:
    """The most profitable first; offers that cannot be valued last, in the file's order."""

    def key(answer: JudgedOffer) -> tuple[int, float]:
        if answer.best is not None and answer.best.expected_profit is not None:
            return 0, -answer.best.expected_profit
        return 1 if answer.reason is None else 2, answer.offer.row

    return tuple(sorted(answers, key=key))


def _own_cautions(offer: Offer, grounds: Grounds) -> list[Caution]:
    better = "finished better than it is bought, and" if (offer.finished or ZERO) > offer.condition else ""
    prepared = offer.hours is None and _hours(offer, grounds.shop) is not None
    recipe, tax = grounds.fit.recipe, settings_of(grounds.shop)[0]
    needs = () if grounds.plan is None else donor_needs(grounds.plan)
    place = place_of(offer, needs, grounds.shop.buying.worst)
    short = ZERO if isinstance(place, str) else place.short(offer)
    told = (
        (short, "under_grade", under_grade(short, grounds.shop)),
        (offer.price is None, "no_price", "it has no price yet, so only the most to pay is told"),
        (offer.freight is None, "freight_not_known",
         "freight not known: whatever it is comes off these prices and profits"),
        (offer.bought_from == "trade" and offer.vat is None, "vat_not_said",
         "bought from the trade, and offers.csv does not say how VAT stands: the price is counted whole, the margin "
         "scheme is closed"),
        (offer.bought_from == "union" and offer.vat == "included" and tax.deducts, "foreign_vat",
         "another state's VAT is in the price and is not deducted here: ask for an invoice without it"),
        (offer.bought_from == "import", "imported", _import_text(offer, tax)),
        (better and prepared, "hours_not_said",
         f"{better} only prepare's hours are counted: offers.csv gives none for it"),
        (better and offer.parts is None, "parts_not_said",
         f"{better} no parts are counted: offers.csv gives none, heads among them"),
        (recipe.sold_offset, "sold_step", f"these figures rest on {recipe.sold_basis}"),
    )  # fmt: skip
    return [Caution(code, text) for so, code, text in told if so]


def _import_text(offer: Offer, tax: TaxTable) -> str:
    """At what rates an import is reckoned."""
    duty, vat, clearance = import_rates(offer, tax)
    border = f" and {money_text(clearance)} of clearance" if clearance else ""
    comes_back = "paid at the border and deducted" if tax.deducts else "a cost too"
    taxed = f", and import VAT of {vat.normalize():f} % is {comes_back}" if vat else ""
    return f"imported: duty of {duty.normalize():f} %{border} {'are' if border else 'is'} counted{taxed}"


def _hours(offer: Offer, shop: Shop) -> Decimal | None:
    """Hours until a kit is sold whole: the shop's to prepare any and the offer's to restore it; None: neither said."""
    prepare = None if shop.work is None else shop.work.prepare
    return prepare if offer.hours is None else (prepare or ZERO) + offer.hours


def _grouped(lots: Iterable[Lot], key: Callable[[Lot], K]) -> dict[K, list[Lot]]:
    groups: dict[K, list[Lot]] = {}
    for lot in lots:
        groups.setdefault(key(lot), []).append(lot)
    return groups


def _sold_on(grounds: Grounds, lots: Sequence[Lot]) -> Iterator[UseBatch]:
    rows = {kit: row for row, kit in enumerate(dict.fromkeys(lot.sold for lot in lots))}
    resale, freight = kit_samples(grounds.fit, list(rows)), float(grounds.terms.freight)
    tied, kept = float(grounds.terms.tied), grounds.holding + float(grounds.terms.fee_fixed)
    groups = _grouped(lots, lambda lot: (lot.offer.bought_from, lot.offer.vat, _hours(lot.offer, grounds.shop)))
    for (_, _, hours), group in groups.items():
        at = np.array([rows[lot.sold] for lot in group])
        cost = np.array([float(lot.offer.parts or 0) + kept for lot in group])
        places, bought = [lot.place for lot in group], [lot.bought for lot in group]
        for base in plain_bases(grounds.shop, SELL_ON, hours, group[0].offer, "prepare"):
            yield UseBatch(base, places, bought, resale.sample, resale.clipped, at, cost, freight, tied=tied)


def _rebuilt(grounds: Grounds, lots: Sequence[Lot]) -> Iterator[UseBatch]:
    """The offers that have all the drums of one donor of the plan; of the others the reason is noted."""
    plan, shop = grounds.plan, grounds.shop
    if plan is None:
        return
    needs, tied = donor_needs(plan), float(grounds.terms.tied)

    def kind(lot: Lot) -> tuple[DonorNeed | str, Decimal, int, str, BoughtFrom, VatSaid | None]:
        offer, place = lot.offer, place_of(lot.offer, needs, shop.buying.worst)
        short = ZERO if isinstance(place, str) else place.short(offer)
        return place, short, offer.pieces, offer.series, offer.bought_from, offer.vat

    groups, sold = _grouped(lots, kind), None
    for (need, short, *_), group in groups.items():
        if isinstance(need, str):
            for lot in group:
                lot.uses.append(JudgedUse(REBUILD, own_route(shop, plan), reason=need))
            continue
        if sold is None:
            known_cautions(grounds.fit, finished_kit(plan, grounds.fit))  # refuses a series that the book does not have
            sold = rebuilds(plan, grounds.fit)
        at, places = np.zeros(len(group), dtype=np.int64), [lot.place for lot in group]
        bought, freight, nothing = [lot.bought for lot in group], float(grounds.terms.freight), np.zeros(len(group))
        for base in rebuild_bases(plan, shop, need.at, group[0].offer, short):
            yield UseBatch(base, places, bought, sold.sample, sold.clipped, at, nothing, freight, tied=tied)


def rebuilds(plan: Plan, fit: Fit) -> KitSamples:
    """What the plan's finished kit fetches: its share of what the market pays for such a kit."""
    return rebuilt(kit_samples(fit, [finished_kit(plan, fit)]), plan.finished.share)


@dataclass(frozen=True, slots=True)
class DonorCeiling:
    """What may be paid in a donor's place; None where even a gift would not leave the margin, or for the `reason`."""

    donor: str
    sizes: tuple[str, ...]  # of the drums that the plan takes from it
    freight: Decimal | None  # counted on top; None: comes off
    ceiling: float | None  # leaves the margin on average
    safe_ceiling: float | None  # and loses no more often than [buying] allows
    reason: str | None


def donor_ceilings(plan: Plan, shop: Shop, fit: Fit) -> tuple[DonorCeiling, ...]:
    """For each donor of the plan, up to what price another kit may take its place: by the plan's own VAT route, bought
    and sent as the plan's donor is."""
    grounds, sold = grounds_of(shop, fit, plan, None, None), rebuilds(plan, fit)
    tax, _ = settings_of(shop)
    nothing, freight, tied = np.zeros(1), float(grounds.terms.freight), float(grounds.terms.tied)
    ceilings = []
    for need in donor_needs(plan):
        donor = plan.donor[need.at]
        base = next(base for base in rebuild_bases(plan, shop, need.at, donor) if base.own)
        at, bought = np.zeros(1, dtype=np.int64), [landed(donor, tax)]
        batch = UseBatch(base, [0], bought, sold.sample, sold.clipped, at, nothing, freight, tied=tied)
        (use,) = judged_uses(batch, nothing, grounds.terms, grounds.loss_chance)
        sizes = tuple(size_text(size, shop.shop.size_order) for size in need.sizes)
        ceilings.append(DonorCeiling(donor.id, sizes, donor.freight, use.ceiling, use.safe_ceiling, use.reason))
    return tuple(ceilings)


def _in_parts(grounds: Grounds, lots: Sequence[Lot]) -> Iterator[UseBatch]:
    """The offers whose drums are known and all stand in parts.csv; of the others the reason is noted."""
    parts = grounds.parts or ()
    lacks = "there is no parts.csv" if grounds.parts is None else "parts.csv has no usable row"
    kinds = {sizes: parts_of(sizes, parts) for sizes in dict.fromkeys(lot.offer.sizes for lot in lots) if sizes}
    tax, whole = settings_of(grounds.shop)[0], list[Lot]()
    for lot in lots:
        kit = kinds.get(lot.offer.sizes)
        if not parts:
            reason = f"{lacks}: part, value, chance, weeks"
        elif kit is None:
            reason = NO_SIZES
        elif kit.unknown:
            reason = f"parts.csv has no row for a drum of {size_text(kit.unknown[0])}"
        else:
            whole.append(lot)
            continue
        lot.uses.append(JudgedUse(PARTS, scheme_of_item(lot.offer, tax), reason=reason))
    if not whole:
        return
    sales = {sizes: part_sales(kinds[sizes], parts) for sizes in dict.fromkeys(lot.offer.sizes for lot in whole)}
    work, selling = grounds.shop.work, grounds.shop.selling
    monthly, yearly = (0.0, 0.0) if selling is None else (float(selling.holding or 0), float(selling.capital) / 100)
    fixed = float(grounds.terms.fee_fixed)
    groups = _grouped(whole, lambda lot: (lot.offer.bought_from, lot.offer.vat, len(sales[lot.offer.sizes].outcomes)))
    for group in groups.values():
        row = {sizes: k for k, sizes in enumerate(dict.fromkeys(lot.offer.sizes for lot in group))}
        own, at = [sales[sizes] for sizes in row], np.array([row[lot.offer.sizes] for lot in group])
        months, places = np.array([kit.months for kit in own])[at], [lot.place for lot in group]
        tied, bought = yearly * months / MONTHS, [lot.bought for lot in group]
        cost = monthly * months + fixed * np.array([kit.sold for kit in own])[at]
        outcomes, values = np.array([kit.outcomes for kit in own]), np.array([kit.value for kit in own])
        chances = np.array([kit.chances for kit in own])
        hours = None if work is None else work.part_out
        for base in plain_bases(grounds.shop, PARTS, hours, group[0].offer, "part_out"):
            yield UseBatch(base, places, bought, outcomes, outcomes, at, cost, 0.0, values, chances, tied=tied)
