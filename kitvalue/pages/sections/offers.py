"""Donor kits on offer: up to what price each pays, and what such a kit sells for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np

from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.shortlist import JudgedOffer, JudgedUse, verdict_of_all
from kitvalue.decisions.verdict import bid_of
from kitvalue.intake.books.offers import Offer
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook, Valuation, no_dealer
from kitvalue.pages.figures import DASH, amount, count, exact, number, percent, trimmed
from kitvalue.pages.pictures.frame import Chart, Key, Section
from kitvalue.pages.pictures.market import RANGES, OfferStrip, offers_figure
from kitvalue.pages.sections.market import range_or_none
from kitvalue.pages.tables import Table, and_more, table
from kitvalue.pages.words import ROUTES, capital, feature_words, sold_words, source_words

LOTS = (
    "Of a lot at an auction every price is the hammer price, its premium and freight off already; against the buy-in "
    "value it counts with its premium, and in the picture that value stands less the premium."
)
DOING = {"buy": "buy", "buy_below": "buy below", "pass": "pass", "unknown": "unknown"}
BID_STEP = Decimal(5)  # where a shop says nothing else
MOST_DRAWN = 20
MOST_LISTED = 100


@dataclass(frozen=True, slots=True)
class OfferSeen:
    """One row of offers.csv and its valuation, or the reason why it has none."""

    offer: Offer
    valuation: Valuation | None
    reason: str | None
    judged: JudgedOffer | None = None  # up to what price it pays; None where the settings for that lack
    plan: str | None = None  # that its best use builds


@dataclass(frozen=True, slots=True, eq=False)
class ValuedOffer:
    """An offer with its valuation and its strip; `share_below` is the share of the market's own scatter that lies below
    what is asked; None where nothing is."""

    offer: Offer
    judged: JudgedOffer | None
    plan: str | None
    valuation: Valuation
    share_below: float | None
    strip: OfferStrip


def valued(offers: Sequence[OfferSeen]) -> tuple[ValuedOffer, ...]:
    """The offers that have a value: those to buy first, then by what they are expected to leave."""
    values = []
    for seen in offers:
        if seen.valuation is not None:
            offer, best = seen.offer, seen.judged and seen.judged.best
            view = _without_premium(seen.valuation.buy_in, float(offer.with_premium))
            asked = None if offer.price is None else float(offer.price)
            strip = OfferStrip(offer.offer, offer.series, asked, view, best.safe_ceiling if best else None)
            below = None if asked is None else float(np.mean(view.sample < asked))
            values.append(ValuedOffer(offer, seen.judged, seen.plan, seen.valuation, below, strip))
    order = ("buy", "buy_below", "pass", "unknown")

    def place(v: ValuedOffer) -> tuple[int, bool, float, int]:
        if v.judged is None:
            return len(order), False, 0.0, v.offer.row
        profit = None if v.judged.best is None else v.judged.best.expected_profit
        return order.index(v.judged.verdict.code), profit is None, -(profit or 0.0), v.offer.row

    return tuple(sorted(values, key=place))


def _without_premium(view: Outlook, up: float) -> Outlook:
    """What a kit sells for as the hammer prices that come to it."""
    names = ("typical", "mean", "low", "high", "level_low", "level_high", "sample")
    figures: dict[str, Any] = {name: getattr(view, name) for name in names}
    less: dict[str, Any] = {name: None if figure is None else figure / up for name, figure in figures.items()}
    return replace(view, **less)


def offers_section(
    offers: Sequence[OfferSeen], currency: str, fit: Fit, together: Portfolio | None = None, step: Decimal = BID_STEP
) -> Section:
    """The section for the offers read."""
    if not offers:
        return Section("No offers are listed. Put kits you are being offered into offers.csv.")
    values = valued(offers)
    bids = [(v.judged, v.judged.best, v.plan) for v in values if v.judged is not None and v.judged.best is not None]
    without = [o for o in offers if o.valuation is None]
    lots = any(v.offer.premium or v.offer.price_kind == "hammer" for v in values)
    not_valued = table(
        "Offers that cannot be valued",
        "Offer< | Kit< | Why<<",
        ((o.offer.offer, kit_words(o.offer), o.reason or "no reason is known") for o in without[:MOST_LISTED]),
        and_more(len(without) - MOST_LISTED, "more offers", "they are in offers.csv"),
    )
    judged = [o.judged for o in offers if o.judged is not None]
    untold = f"{count(len(offers), 'offer')}; shop.toml has no [tax] and [selling], so no price to stop at can be told."
    return Section(
        verdict_of_all(judged).sentence if judged else untold,
        offers_chart(values, currency, step) if values else None,
        (
            *([_bids_table(bids, currency, step)] if bids else []),
            *([_together_table(together, currency)] if together is not None and together.buy else []),
            *([_offers_table(values, currency, fit, LOTS if lots else "")] if values else []),
            *([not_valued] if without else []),
        ),
    )


def offers_chart(values: Sequence[ValuedOffer], currency: str, step: Decimal = BID_STEP) -> Chart:
    """The first offers as strips."""
    strips = [replace(v.strip, bid=bid_of(v.strip.stop_at, step)) for v in values[:MOST_DRAWN]]
    left = len(values) - len(strips)
    any_bids = any(s.stop_at is not None for s in strips)
    numbers = table(
        f"The numbers of the picture, {currency}",
        "Offer< | Asked | Buy-in value | Market level, 80 % | One sale, 80 %"
        f"{' | Stop at' if any_bids else ''}",
        (
            (s.offer, DASH if s.asked is None else amount(s.asked), amount(s.outlook.typical),
             range_or_none(s.outlook.level_low, s.outlook.level_high), range_or_none(s.outlook.low, s.outlook.high),
             *((bid_words(s.bid),) if any_bids else ()))
            for s in strips
        ),
    )  # fmt: skip
    bids = (Key("stop", "stop at, in the best use"),)
    return Chart(
        "offers-against-value",
        "What is asked, what such a kit sells for, and where to stop",
        f"{count(len(strips), 'offer')} on a log scale of {currency}, {strips[0].offer} first.",
        numbers,
        partial(offers_figure, strips, currency),
        (Key("asked", "asked"), *RANGES, *(bids if any_bids else ())),
        f"and {count(left, 'more', 'more')} in the table below" if left else "",
    )


def _offers_table(values: Sequence[ValuedOffer], currency: str, fit: Fit, lots_note: str) -> Table:
    told = any(v.offer.features for v in values)
    sold = [sold_words(v.offer.finished, v.offer.hours) for v in values]
    worked, lots = any(sold), any(v.offer.premium for v in values)
    resale = "Resale value: the typical price as a dealer sells it" if fit.recipe.has("dealer") else no_dealer(fit).text
    return table(
        f"Offers and what such kits sell for, {currency}",
        f"Offer< | Series< | Pieces | Condition{' | Features<' if told else ''}{' | Sold<' if worked else ''} | "
        f"Asked{' | Premium' if lots else ''} | Freight | Buy-in value | "
        "Resale value | Such kits sold for less | Asked against value",
        (
            (v.offer.offer, v.offer.series, trimmed(v.offer.pieces), trimmed(v.offer.condition, 1),
             *((feature_words(v.offer.features),) if told else ()), *((how or "as it is",) if worked else ()),
             bid_words(v.strip.asked),
             *((f"{trimmed(v.offer.premium)} %" if v.offer.premium else DASH,) if lots else ()),
             "not known" if v.offer.freight is None else exact(v.offer.freight),
             amount(v.valuation.buy_in.typical), amount(v.valuation.resale.typical),
             DASH if v.share_below is None else percent(100 * v.share_below, 0), v.strip.against_words)
            for v, how in zip(values[:MOST_LISTED], sold, strict=False)
        ),
        and_more(len(values) - MOST_LISTED, "more offers", "they are in offers.csv"),
        "Buy-in value: the typical price of such a kit, as it stands, once it is sold in private. Freight comes on "
        f"top. {lots_note}",
        f"{capital(resale)}, " + ("in the condition it will be sold in." if worked else "in the condition it has now."),
    )  # fmt: skip


def _bids_table(
    bids: Sequence[tuple[JudgedOffer, JudgedUse, str | None]], currency: str, step: Decimal
) -> Table:  # fmt: skip
    """The offers that have a use, the most profitable first; none is best where the verdict is to pass."""
    ranked = sorted(bids, key=lambda bid: (bid[1].expected_profit is None, -(bid[1].expected_profit or 0.0)))
    return table(
        f"Up to what price they pay, the most profitable first, {currency}",
        "Offer< | What to do< | Stop at | Open at | Likely to pay | Best use, VAT< | Expected profit | "
        "Chance of a loss | Profit an hour",
        (
            (j.offer.offer, DOING[j.verdict.code],
             f"{bid_words(bid_of(j.stop_at, step))}{' net' if j.net else ''}", bid_words(bid_of(j.open_at, step)),
             DASH if j.paid is None else amount(j.paid.price),
             DASH if j.verdict.code == "pass" else f"{best.use}{f' for {plan}' if plan else ''}, {ROUTES[best.route]}",
             DASH if best.expected_profit is None else number(best.expected_profit),
             DASH if best.chance_of_loss is None else percent(100 * best.chance_of_loss, 0),
             DASH if best.profit_per_hour is None else number(best.profit_per_hour))
            for j, best, plan in ranked[:MOST_LISTED]
        ),
        and_more(len(ranked) - MOST_LISTED, "more offers", "kitvalue shortlist has them"),
        "Freight on top. Stop at: the highest price that leaves the margin on average and loses no oftener than "
        "the shop's loss_chance; a dash where no price does in that use. Open at leaves room to haggle up to it. "
        "Each is judged sold on, in parts and as a donor of every plan, by the VAT route that plan and shop set."
        f"{' Net: without the VAT that the seller adds.' if any(j.net for j, _, _ in bids) else ''}",
    )  # fmt: skip


def _together_table(p: Portfolio, currency: str) -> Table:
    """The set of offers to buy and what it comes to."""
    how = "no set earns more" if p.exact else f"no set earns more than {number(p.bound)}"
    return table(
        "What to buy together",
        "Offer< | Use< | As donor<",
        ((one.offer, one.use if one.plan is None else f"{one.use}, {one.plan}", one.donor or DASH) for one in p.buy),
        f"Expected profit {number(p.expected_profit)} {currency}, chance of a loss over all "
        f"{percent(100 * p.chance_of_loss, 0)}; {number(p.spent)} {currency} to pay in all, VAT that is deducted later "
        f"with it, and {trimmed(p.hours, 1)} hours; {how}.",
    )


def bid_words(price: float | Decimal | None) -> str:
    """A price as set, or a dash."""
    return DASH if price is None else exact(Decimal(str(price)))


def kit_words(offer: Offer) -> str:
    """`Burren, 4 pieces, condition 3, hardware yes, sold in condition 4 after 6 hours`."""
    sold = sold_words(offer.finished, offer.hours)
    parts = (
        offer.series, f"{offer.pieces} {'piece' if offer.pieces == 1 else 'pieces'}",
        f"condition {trimmed(offer.condition, 1)}",
        f"premium {trimmed(offer.premium, 1)} %" if offer.premium else "",
        source_words(offer), feature_words(offer.features), f"sold {sold}" if sold else "",
    )  # fmt: skip
    return ", ".join(part for part in parts if part)
