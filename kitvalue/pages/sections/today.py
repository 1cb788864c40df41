"""What to look at today: each build's price, the offers under their value, the rows that stand out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitvalue.decisions.shortlist import JudgedOffer
from kitvalue.intake.text.problems import Level, Problem
from kitvalue.market.fitted import Fit
from kitvalue.pages.sections.builds import BuildSeen, cheaper_words, lead_words
from kitvalue.pages.sections.offers import OfferSeen, bid_words, judged, kit_words
from kitvalue.pages.words import amount, change, count, exact, in_so_many, with_currency

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
    builds: Sequence[BuildSeen], offers: Sequence[OfferSeen], fit: Fit, problems: Sequence[Problem], currency: str
) -> tuple[NoteList, ...]:
    """The three columns."""
    plans = [_build(b, f"build-{place}") for place, b in enumerate(builds[:MOST], start=1)]
    cheap = [j for j in judged(offers) if j.against <= WELL_UNDER or _pays(j.seen.found)]
    calls = [
        Note(
            j.seen.offer,
            change(j.against, 0),
            f"{kit_words(j.seen)}: asked {with_currency(exact(j.seen.asked), currency)}, worth about "
            f"{amount(j.valuation.buy_in.typical)} to buy in. "
            f"Such kits that sell for less: {in_so_many(j.share_below)}.{_bid(j.seen.found, currency)}",
            "offers",
        )
        for j in cheap[:MOST]
    ]
    none = "No offer is asked at 15 % or more under its buy-in value." if offers else "No offers are listed."
    rows = [
        Note(
            f"Row {u.row}",
            with_currency(amount(u.observed), currency),
            f"{u.series}, where {amount(u.expected)} is expected" + (f": {u.hint}" if u.hint else "."),
            "unusual",
        )
        for u in fit.unusual[:MOST_ROWS]
    ]
    complaints = sum(p.level is not Level.WARNING for p in problems)
    if complaints:
        text = "Cells that could not be read, each with a reason."
        rows.append(Note("Files", count(complaints, "complaint"), text, "files"))
    return (
        NoteList("Builds", tuple(plans), "No build plans yet.", _more(len(builds), "build")),
        NoteList("Offers under their value", tuple(calls), none, _more(len(cheap), "offer")),
        NoteList("Rows to look at", tuple(rows), "No row stands out.", _more(len(fit.unusual), "row", MOST_ROWS)),
    )


def _build(b: BuildSeen, key: str) -> Note:
    if b.pricing is None or b.sheet is None:
        return Note(b.title, "no price", lead_words(b), key)
    text = lead_words(b)
    if b.comparison is not None:
        text += f" {cheaper_words(b.comparison)}"
    quote = b.pricing.quote
    figure = amount(quote.market_price) if quote.binding == "floor" else exact(quote.suggested)
    return Note(b.title, with_currency(figure, b.sheet.currency), text, key)


def _pays(found: JudgedOffer | None) -> bool:
    """Does the offer pay at the price that it will probably be had for?"""
    return found is not None and found.stop_at is not None and found.paid.price <= found.stop_at


def _bid(found: JudgedOffer | None, currency: str) -> str:
    """The price to open with and the price to stop at."""
    if found is None or found.best is None:
        return ""
    if found.stop_at is None or found.open_at is None:
        return f" At no price does it leave your margin ({found.best.use})."
    opening, stop = (with_currency(bid_words(price), currency) for price in (found.open_at, found.stop_at))
    if found.open_at == found.stop_at:
        return f" It pays up to {stop} ({found.best.use}): open there and stop there."
    return f" Open at {opening}, stop at {stop} ({found.best.use})."


def _more(total: int, what: str, shown: int = MOST) -> str:
    return f"and {count(total - shown, f'more {what}')} below" if total > shown else ""
