"""Donor kits on offer: what is asked against what such a kit sells for, and what it would fetch again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from kitvalue.decisions.shortlist import JudgedOffer
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.market.fitted import Fit
from kitvalue.market.value import Valuation, no_dealer
from kitvalue.pages.pictures.frame import Chart, Key, Section, chart
from kitvalue.pages.pictures.market import OffersPicture, OfferStrip, offers_figure
from kitvalue.pages.sections.market import range_or_none
from kitvalue.pages.words import (
    DASH,
    Table,
    amount,
    and_more,
    capital,
    change,
    count,
    exact,
    feature_words,
    number,
    percent,
    sold_words,
    table,
    trimmed,
)

MOST_DRAWN = 20
MOST_LISTED = 100


@dataclass(frozen=True, slots=True)
class OfferSeen:
    """One row of offers.csv and its valuation, or the reason why it has none. `asked` and `freight` in the shop's
    currency, `freight` None where unknown."""

    offer: str
    series: str
    pieces: float
    condition: float
    asked: Decimal
    freight: Decimal | None
    valuation: Valuation | None
    reason: str | None
    found: JudgedOffer | None = None  # up to what price it pays; None where the settings for that lack
    features: tuple[FeatureRead, ...] = ()  # those that offers.csv tells
    finished: Decimal | None = None  # the condition that it will be sold in; None: as it is
    hours: Decimal | None = None  # the bench's until then; None: the shop's own


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """An offer with its valuation: `against` is asked over the buy-in value less 1, in percent; `share_below` the share
    of the market's own scatter that lies below what is asked."""

    seen: OfferSeen
    valuation: Valuation
    against: float
    share_below: float


def judged(offers: Sequence[OfferSeen]) -> tuple[Judged, ...]:
    """The offers that have a value, the cheapest against it first."""
    valued = []
    for offer in offers:
        if offer.valuation is not None:
            asked, view = float(offer.asked), offer.valuation.buy_in
            below = float(np.mean(view.sample < asked))
            valued.append(Judged(offer, offer.valuation, 100 * (asked / view.typical - 1), below))
    return tuple(sorted(valued, key=lambda j: (j.against, j.seen.offer)))


def offers_section(offers: Sequence[OfferSeen], currency: str, fit: Fit) -> Section:
    """The section for the offers read."""
    if not offers:
        return Section("No offers are listed. Put kits you are being offered into offers.csv.")
    valued = judged(offers)
    bids = [j.seen.found for j in valued if j.seen.found is not None and j.seen.found.best is not None]
    without = [o for o in offers if o.valuation is None]
    return Section(
        "What is asked, against the buy-in value: the typical price of such a kit, as it stands, once it is sold in "
        "private. Freight comes on top.",
        _chart(valued, currency) if valued else None,
        (
            *([_bids_table(bids, currency)] if bids else []),
            *([_offers_table(valued, currency, fit)] if valued else []),
            *([_not_valued(without)] if without else []),
        ),
    )


def offers_picture(valued: Sequence[Judged], currency: str) -> OffersPicture:
    """The first offers as strips."""
    strips = []
    for j in valued[:MOST_DRAWN]:
        best = j.seen.found.best if j.seen.found is not None else None
        bids = (None, None) if best is None else (best.ceiling, best.safe_ceiling)
        strips.append(OfferStrip(j.seen.offer, j.seen.series, float(j.seen.asked), j.valuation.buy_in, *bids))
    return OffersPicture(currency, tuple(strips))


def _chart(valued: Sequence[Judged], currency: str) -> Chart:
    picture = offers_picture(valued, currency)
    first, last, left = picture.strips[0], picture.strips[-1], len(valued) - len(picture.strips)
    bids = (Key("ceiling", "ceiling, best use"), Key("safe", "safe ceiling: stop there"))
    return chart(
        "offers-against-value",
        "Asked against the buy-in value",
        f"{count(len(picture.strips), 'offer')} on a log scale of {currency}, from {first.offer} at "
        f"{change(first.against, 0)} to {last.offer} at {change(last.against, 0)} against the buy-in value.",
        offer_strips_table(picture),
        lambda layout: offers_figure(picture, layout),
        (
            Key("asked", "asked"),
            Key("typical", "typical price"),
            Key("level", "market level, 80 %"),
            Key("range", "one sale, 80 %"),
            *(bids if any(s.ceiling is not None for s in picture.strips) else ()),
        ),
        f"and {count(left, 'more', 'more')} in the table below" if left else "",
    )


def offer_strips_table(picture: OffersPicture) -> Table:
    """The numbers behind the strips."""
    any_bids = any(s.ceiling is not None for s in picture.strips)
    bids = " | Ceiling | Safe ceiling" if any_bids else ""
    return table(
        f"The numbers of the picture, {picture.currency}",
        f"Offer< | Asked | Buy-in value | Market level, 80 % | One sale, 80 % | Asked against value{bids}",
        (
            (s.offer, amount(s.asked), amount(s.outlook.typical),
             range_or_none(s.outlook.level_low, s.outlook.level_high), range_or_none(s.outlook.low, s.outlook.high),
             change(s.against, 0), *((bid_words(s.ceiling), bid_words(s.safe)) if any_bids else ()))
            for s in picture.strips
        ),
    )  # fmt: skip


def _offers_table(valued: Sequence[Judged], currency: str, fit: Fit) -> Table:
    told = any(j.seen.features for j in valued)
    sold = [sold_words(j.seen.finished, j.seen.hours) for j in valued]
    worked = any(sold)
    resale = "Resale value: the typical price as a dealer sells it" if fit.recipe.has("dealer") else no_dealer(fit)
    return table(
        f"Offers, the cheapest against their value first, {currency}",
        f"Offer< | Series< | Pieces | Condition{' | Features<' if told else ''}{' | Sold<' if worked else ''} | "
        "Asked | Freight | Buy-in value | Against value | Such kits sold for less | Resale value",
        (
            (j.seen.offer, j.seen.series, trimmed(j.seen.pieces), trimmed(j.seen.condition, 1),
             *((feature_words(j.seen.features),) if told else ()), *((how or "as it is",) if worked else ()),
             exact(j.seen.asked), "not known" if j.seen.freight is None else exact(j.seen.freight),
             amount(j.valuation.buy_in.typical), change(j.against, 0), percent(100 * j.share_below, 0),
             amount(j.valuation.resale.typical))
            for j, how in zip(valued[:MOST_LISTED], sold, strict=False)
        ),
        and_more(len(valued) - MOST_LISTED, "more offers", "they are in offers.csv"),
        f"{capital(resale)}, " + ("in the condition it will be sold in." if worked else "in the condition it has now."),
    )  # fmt: skip


def _bids_table(found: Sequence[JudgedOffer], currency: str) -> Table:
    """The offers that have a best use, the most profitable first."""
    ranked = sorted(
        ((f, f.best) for f in found if f.best is not None), key=lambda pair: -(pair[1].expected_profit or 0.0)
    )
    return table(
        f"Up to what price they pay, the most profitable first, {currency}",
        "Offer< | Best use< | Likely to pay | Open at | Stop at | Ceiling | Expected profit | Chance of a loss | "
        "Profit an hour",
        (
            (f.offer.offer, best.use, amount(f.paid.price), bid_words(f.open_at), bid_words(f.stop_at),
             bid_words(best.ceiling), DASH if best.expected_profit is None else number(best.expected_profit),
             DASH if best.chance_of_loss is None else percent(100 * best.chance_of_loss, 0),
             DASH if best.profit_per_hour is None else number(best.profit_per_hour))
            for f, best in ranked[:MOST_LISTED]
        ),
        and_more(len(ranked) - MOST_LISTED, "more offers", "kitvalue shortlist has them"),
        "Freight on top. Stop at: the highest price that leaves the margin on average and loses no oftener than "
        "the shop's loss_chance; a dash where no price does. Open at leaves room to haggle up to it. Sold on or in "
        "parts, by the shop's VAT route; kitvalue shortlist --plan NAME judges each as a donor of a build, too.",
    )  # fmt: skip


def bid_words(price: float | None) -> str:
    """A price to bid as set, or a dash."""
    return DASH if price is None else exact(Decimal(repr(price)))


def kit_words(seen: OfferSeen) -> str:
    """`Burren, 4 pieces, condition 3, hardware yes, sold in condition 4 after 6 hours`."""
    pieces = f"{trimmed(seen.pieces)} {'piece' if seen.pieces == 1 else 'pieces'}"
    sold = sold_words(seen.finished, seen.hours)
    parts = (
        seen.series, pieces, f"condition {trimmed(seen.condition, 1)}", feature_words(seen.features),
        f"sold {sold}" if sold else "",
    )  # fmt: skip
    return ", ".join(part for part in parts if part)


def _not_valued(offers: Sequence[OfferSeen]) -> Table:
    return table(
        "Offers that cannot be valued",
        "Offer< | Kit< | Why<<",
        ((o.offer, kit_words(o), o.reason or "no reason is known") for o in offers[:MOST_LISTED]),
        and_more(len(offers) - MOST_LISTED, "more offers", "they are in offers.csv"),
    )
