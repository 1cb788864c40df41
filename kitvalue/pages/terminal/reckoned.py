"""The settings of shop.toml that ceilings rest on, in words."""

from __future__ import annotations

from kitvalue.decisions.shortlist import ReckonedWith
from kitvalue.intake.words import listed
from kitvalue.pages.terminal.table import figure, money

ROUTES = {"full": "full VAT", "margin": "margin", "none": "no VAT"}


def reckoned_words(r: ReckonedWith) -> str:
    """The settings that decide more than the price book does, and where they stand."""
    vat = "no VAT" if r.route == "none" else f"VAT {r.vat_percent:g} % ({r.route})"
    parts, tables = [vat], ["[tax]", "[selling]"]
    if r.hourly_rate is not None:
        tables.insert(1, "[work]")
        more = f" with {r.contingency_percent:g} % contingency" if r.contingency_percent else ""
        parts.append(f"{money(r.hourly_rate, cents=True)} an hour{more}")
        parts += [
            f"{figure(hours)} h {what}"
            for hours, what in ((r.prepare_hours, "to prepare"), (r.part_out_hours, "to part out"))
            if hours is not None
        ]
    parts += [f"margin {r.margin_percent:g} %", f"fee {r.fee_percent:g} %"]
    whose = "a new shop's invented figures, until you write your own: " if r.invented else ""
    return f"Reckoned with {whose}{', '.join(parts)}: {listed(tables)} of shop.toml."
