"""Donor kits on offer: what is asked against what such a kit sells for, and what it would fetch again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from kitvalue.decisions.shortlist import JudgedOffer, JudgedUse
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.text.problems import Level, Problem
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook
from kitvalue.market.value import Valuation, no_dealer
from kitvalue.pages.pictures.frame import Caption, Chart, Key, chart
from kitvalue.pages.pictures.originals import OffersPicture, OfferStrip, offers_figure
from kitvalue.pages.sections.builds import BuildSeen, cheaper_words, lead_words
from kitvalue.pages.sections.market import range_or_none
from kitvalue.pages.words import (
    DASH,
    Row,
    Table,
    amount,
    and_more,
    capital,
    change,
    count,
    exact,
    feature_words,
    figures,
    in_so_many,
    number,
    percent,
    sentences,
    sold_words,
    trimmed,
    with_currency,
    words,
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


@dataclass(frozen=True, slots=True)
class OffersView:
    """The section, ready to be laid out."""

    lead: str
    picture: Chart | None
    offers: Table | None
    bids: Table | None
    not_valued: Table | None


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
    found = [_judge(o, o.valuation) for o in offers if o.valuation is not None]
    return tuple(sorted(found, key=lambda j: (j.against, j.seen.offer)))


def _judge(seen: OfferSeen, valuation: Valuation) -> Judged:
    asked, view = float(seen.asked), valuation.buy_in
    return Judged(seen, valuation, 100 * (asked / view.typical - 1), float(np.mean(view.sample < asked)))


def offers_view(offers: Sequence[OfferSeen], currency: str, resale: str) -> OffersView:
    """The section for the offers read; `resale` says what the resale value is."""
    if not offers:
        return OffersView(
            "No offers are listed. Put kits you are being offered into offers.csv.", None, None, None, None
        )
    valued = judged(offers)
    without = [o for o in offers if o.valuation is None]
    lead = (
        "What is asked, against the buy-in value: the typical price of such a kit, as it stands, once it is sold in "
        "private. Freight comes on top."
    )
    return OffersView(
        lead,
        _picture(valued, currency) if valued else None,
        _offers_table(valued, currency, resale) if valued else None,
        _bids_table(valued, currency),
        _not_valued(without) if without else None,
    )


def offers_picture(valued: Sequence[Judged], currency: str) -> OffersPicture:
    """The first offers as strips."""
    return OffersPicture(currency, tuple(_strip(j) for j in valued[:MOST_DRAWN]))


def _strip(j: Judged) -> OfferStrip:
    view: Outlook = j.valuation.buy_in
    return OfferStrip(
        j.seen.offer, j.seen.series, float(j.seen.asked), view.typical, view.low, view.high,
        view.level_low, view.level_high, *_ceilings(j.seen.found),
    )  # fmt: skip


def _picture(valued: Sequence[Judged], currency: str) -> Chart:
    picture = offers_picture(valued, currency)
    left = len(valued) - len(picture.strips)
    any_bids = any(s.ceiling is not None for s in picture.strips)
    caption = Caption(
        id="offers-against-value",
        title="Asked against the buy-in value",
        description=f"{count(len(picture.strips), 'offer')} on a log scale of {currency}, from "
        f"{picture.strips[0].offer} at {change(picture.strips[0].against, 0)} to {picture.strips[-1].offer} at "
        f"{change(picture.strips[-1].against, 0)} against the buy-in value.",
        keys=(
            Key("asked", "asked"),
            Key("typical", "typical price"),
            Key("level", "market level, 80 %"),
            Key("range", "one sale, 80 %"),
            *((Key("ceiling", "ceiling, best use"), Key("safe", "safe ceiling: stop there")) if any_bids else ()),
        ),
        note=f"and {count(left, 'more', 'more')} in the table below" if left else "",
    )
    return chart(caption, offer_strips_table(picture), lambda at: offers_figure(picture, at))


def offer_strips_table(picture: OffersPicture) -> Table:
    """The numbers behind the strips."""
    any_bids = any(s.ceiling is not None for s in picture.strips)
    bids = (figures("Ceiling"), figures("Safe ceiling")) if any_bids else ()
    return Table(
        caption=f"The numbers of the picture, {picture.currency}",
        columns=(
            words("Offer"), figures("Asked"), figures("Buy-in value"), figures("Market level, 80 %"),
            figures("One sale, 80 %"), figures("Asked against value"), *bids,
        ),
        rows=tuple(
            Row((s.offer, amount(s.asked), amount(s.typical), range_or_none(s.level_low, s.level_high),
                 range_or_none(s.low, s.high), change(s.against, 0),
                 *((_exact(s.ceiling), _exact(s.safe)) if any_bids else ())))
            for s in picture.strips
        ),
    )  # fmt: skip


def resale_words(fit: Fit | None) -> str:
    """What the resale value is: a dealer's price, or a private one where the book cannot tell dealers."""
    if fit is None or fit.recipe.has("dealer"):
        return "Resale value: the typical price as a dealer sells it"
    return capital(no_dealer(fit))


def _offers_table(valued: Sequence[Judged], currency: str, resale: str) -> Table:
    told = any(j.seen.features for j in valued)
    sold = [sold_words(j.seen.finished, j.seen.hours) for j in valued]
    worked = any(sold)
    return Table(
        caption=f"Offers, the cheapest against their value first, {currency}",
        columns=(
            words("Offer"), words("Series"), figures("Pieces"), figures("Condition"),
            *((words("Features"),) if told else ()), *((words("Sold"),) if worked else ()), figures("Asked"),
            figures("Freight"), figures("Buy-in value"), figures("Against value"), figures("Such kits sold for less"),
            figures("Resale value"),
        ),
        rows=tuple(
            Row((j.seen.offer, j.seen.series, trimmed(j.seen.pieces), trimmed(j.seen.condition, 1),
                 *((feature_words(j.seen.features),) if told else ()), *((how or "as it is",) if worked else ()),
                 exact(j.seen.asked), _freight(j.seen.freight), amount(j.valuation.buy_in.typical),
                 change(j.against, 0), percent(100 * j.share_below, 0), amount(j.valuation.resale.typical)))
            for j, how in zip(valued[:MOST_LISTED], sold, strict=False)
        ),
        notes=(
            *and_more(len(valued) - MOST_LISTED, "more offers", "they are in offers.csv"),
            f"{resale}, " + ("in the condition it will be sold in." if worked else "in the condition it has now."),
        ),
    )  # fmt: skip


def _ceilings(found: JudgedOffer | None) -> tuple[float | None, float | None]:
    """The ceiling and the safe one of the best use."""
    best = found.best if found is not None else None
    return (None, None) if best is None else (best.ceiling, best.safe_ceiling)


def _bids_table(valued: Sequence[Judged], currency: str) -> Table | None:
    """The most profitable offers first; None where none was judged."""
    found = [j.seen.found for j in valued if j.seen.found is not None and j.seen.found.best is not None]
    if not found:
        return None
    rows = sorted(found, key=lambda f: -(f.best.expected_profit or 0.0) if f.best is not None else 0.0)
    return Table(
        caption=f"Up to what price they pay, the most profitable first, {currency}",
        columns=(
            words("Offer"), words("Best use"), figures("Likely to pay"), figures("Open at"), figures("Stop at"),
            figures("Ceiling"), figures("Expected profit"), figures("Chance of a loss"), figures("Profit an hour"),
        ),
        rows=tuple(_bid(f, f.best) for f in rows[:MOST_LISTED] if f.best is not None),
        notes=(
            *and_more(len(rows) - MOST_LISTED, "more offers", "kitvalue shortlist has them"),
            "Freight on top. Stop at: the highest price that leaves the margin on average and loses no oftener than "
            "the shop's loss_chance; a dash where no price does. Open at leaves room to haggle up to it. Sold on or in "
            "parts, by the shop's VAT route; kitvalue shortlist --plan NAME judges each as a donor of a build, too.",
        ),
    )  # fmt: skip


def _bid(found: JudgedOffer, best: JudgedUse) -> Row:
    return Row(
        (found.offer.offer, best.use, amount(found.paid.price), _exact(found.open_at), _exact(found.stop_at),
         _exact(best.ceiling), _whole(best.expected_profit), _chance(best.chance_of_loss), _whole(best.profit_per_hour))
    )  # fmt: skip


def _exact(price: float | None) -> str:
    return DASH if price is None else exact(Decimal(repr(price)))


def _whole(value: float | None) -> str:
    return DASH if value is None else number(value)


def _chance(share: float | None) -> str:
    return DASH if share is None else percent(100 * share, 0)


def kit_words(seen: OfferSeen) -> str:
    """`Burren, 4 pieces, condition 3, hardware yes, sold in condition 4 after 6 hours`."""
    pieces = f"{trimmed(seen.pieces)} {'piece' if seen.pieces == 1 else 'pieces'}"
    features = f", {feature_words(seen.features)}" if seen.features else ""
    sold = sold_words(seen.finished, seen.hours)
    return (
        f"{seen.series}, {pieces}, condition {trimmed(seen.condition, 1)}{features}{f', sold {sold}' if sold else ''}"
    )


def _freight(freight: Decimal | None) -> str:
    return "not known" if freight is None else exact(freight)


def _not_valued(offers: Sequence[OfferSeen]) -> Table:
    return Table(
        caption="Offers that cannot be valued",
        columns=(words("Offer"), words("Kit"), sentences("Why")),
        rows=tuple(Row((o.offer, kit_words(o), o.reason or "no reason is known")) for o in offers[:MOST_LISTED]),
        notes=and_more(len(offers) - MOST_LISTED, "more offers", "they are in offers.csv"),
    )


WELL_UNDER = -15.0  # percent against the buy-in value
MOST = 5
MOST_ROWS = 3


@dataclass(frozen=True, slots=True)
class Note:
    """One thing: its name, the figure that matters, a line on it, where to read on."""

    name: str
    figure: str
    text: str
    link: str


@dataclass(frozen=True, slots=True)
class NoteList:
    """One column of the section: notes, or a sentence where there are none; `more` counts those not shown."""

    title: str
    notes: tuple[Note, ...]
    nothing: str
    more: str


def today_view(
    builds: Sequence[BuildSeen], offers: Sequence[OfferSeen], fit: Fit | None, problems: Sequence[Problem],
    currency: str,
) -> tuple[NoteList, ...]:  # fmt: skip
    """The three columns."""
    return (_builds(builds), _offers(offers, currency), _rows(fit, problems, currency))


def _builds(builds: Sequence[BuildSeen]) -> NoteList:
    notes = [_build(b, f"build-{place}") for place, b in enumerate(builds[:MOST], start=1)]
    return NoteList("Builds", tuple(notes), "No build plans yet.", _more(len(builds), "build"))


def _build(b: BuildSeen, key: str) -> Note:
    if b.pricing is None or b.sheet is None:
        return Note(b.title, "no price", lead_words(b), key)
    text = lead_words(b)
    if b.comparison is not None:
        text += f" {cheaper_words(b.comparison)}"
    quote = b.pricing.quote
    figure = amount(quote.market_price) if quote.binding == "floor" else exact(quote.suggested)
    return Note(b.title, with_currency(figure, b.sheet.currency), text, key)


def _offers(offers: Sequence[OfferSeen], currency: str) -> NoteList:
    cheap = [j for j in judged(offers) if j.against <= WELL_UNDER or _pays(j.seen.found)]
    notes = [
        Note(
            j.seen.offer,
            change(j.against, 0),
            f"{kit_words(j.seen)}: asked {with_currency(exact(j.seen.asked), currency)}, worth about "
            f"{amount(j.valuation.buy_in.typical)} to buy in. "
            f"Such kits that sell for less: {in_so_many(j.share_below)}.{_bid_today(j.seen.found, currency)}",
            "offers",
        )
        for j in cheap[:MOST]
    ]
    nothing = "No offer is asked at 15 % or more under its buy-in value." if offers else "No offers are listed."
    return NoteList("Offers under their value", tuple(notes), nothing, _more(len(cheap), "offer"))


def _pays(found: JudgedOffer | None) -> bool:
    """Does the offer pay at the price that it will probably be had for?"""
    return found is not None and found.stop_at is not None and found.paid.price <= found.stop_at


def _bid_today(found: JudgedOffer | None, currency: str) -> str:
    """The price to open with and the price to stop at."""
    if found is None or found.best is None:
        return ""
    if found.stop_at is None or found.open_at is None:
        return f" At no price does it leave your margin ({found.best.use})."
    opening = with_currency(exact(Decimal(repr(found.open_at))), currency)
    stop = with_currency(exact(Decimal(repr(found.stop_at))), currency)
    if found.open_at == found.stop_at:
        return f" It pays up to {stop} ({found.best.use}): open there and stop there."
    return f" Open at {opening}, stop at {stop} ({found.best.use})."


def _rows(fit: Fit | None, problems: Sequence[Problem], currency: str) -> NoteList:
    unusual = fit.unusual if fit is not None else ()
    notes = [
        Note(
            f"Row {u.row}",
            with_currency(amount(u.observed), currency),
            f"{u.series}, where {amount(u.expected)} is expected" + (f": {u.hint}" if u.hint else "."),
            "unusual",
        )
        for u in unusual[:MOST_ROWS]
    ]
    refused = sum(p.level is not Level.WARNING for p in problems)
    if refused:
        notes.append(Note("Files", count(refused, "complaint"), "Cells that could not be read, each with a reason.",
                          "files"))  # fmt: skip
    nothing = "No row stands out." if fit is not None else "Which rows stand out cannot be computed without a fit."
    return NoteList("Rows to look at", tuple(notes), nothing, _more(len(unusual), "row", MOST_ROWS))


def _more(total: int, what: str, shown: int = MOST) -> str:
    return f"and {count(total - shown, f'more {what}')} below" if total > shown else ""
