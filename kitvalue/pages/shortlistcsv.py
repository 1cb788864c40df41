"""The shortlist as CSV for a spreadsheet: one row an offer."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.decisions.shortlist import OfferFound, Shortlist, UseFound
from kitvalue.intake.csvout import csv_text
from kitvalue.pages.words import feature_words
from kitvalue.workshop.money import cents

HEADER = (
    "offer", "series", "pieces", "condition", "asked", "freight", "buy_in", "asked_against_percent", "rank",
    "expected_paid", "open_at", "stop_at", "best_use", "route", "ceiling", "safe_ceiling", "expected_profit",
    "chance_of_loss", "hours", "profit_per_hour", "reason", "features",
    "finished", "finished_hours", "finished_parts",
)  # fmt: skip


def shortlist_csv(found: Shortlist) -> str:
    """The offers in the shortlist's order; what cannot be told is blank."""
    return csv_text(HEADER, (_row(one) for one in found.offers))


def _row(one: OfferFound) -> list[str | Decimal | int | None]:
    offer, best = one.offer, one.best
    return [
        offer.offer, offer.series, offer.pieces, offer.condition, cents(offer.price),
        None if offer.freight is None else cents(offer.freight), _money(one.buy_in), _money(one.against_percent),
        _share(one.rank), _money(one.paid.price), _money(one.open_at), _money(one.stop_at), *_best(best), one.reason,
        feature_words(offer.features) or None, offer.finished, None if offer.hours is None else cents(offer.hours),
        offer.parts,
    ]  # fmt: skip


def _best(best: UseFound | None) -> list[str | Decimal | int | None]:
    if best is None:
        return [None] * 8
    return [
        best.use, best.route, _money(best.ceiling), _money(best.safe_ceiling), _money(best.expected_profit),
        _share(best.chance_of_loss), _money(best.hours), _money(best.profit_per_hour),
    ]  # fmt: skip


def _money(value: float | None) -> Decimal | None:
    return None if value is None else cents(Decimal(repr(value)))


def _share(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{value:.4f}")
