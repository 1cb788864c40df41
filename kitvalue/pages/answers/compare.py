"""`compare` as a JSON object."""

from __future__ import annotations

from kitvalue.decisions.breakeven import Comparison
from kitvalue.pages.answers.common import Answer, money, number


def compare_answer(c: Comparison) -> Answer:
    """`compare`. The original's figures are at the buyer's door."""
    quote = c.quote
    return {
        "plan": c.sheet.name,
        "title": c.sheet.title,
        "currency": c.sheet.currency,
        "by_pieces": [
            {
                "pieces": r.pieces, "build_at_cost": money(r.build_at_cost), "build_at_price": money(r.build_at_price),
                "landed_at_price": money(r.landed_at_price), "original_typical": money(r.original_typical),
                "original_low": money(r.original_low), "original_high": money(r.original_high),
                "chance_build_cheaper": number(r.chance_build_cheaper), "note": r.note or None,
                "incomplete": list(r.incomplete), "binding": r.binding,
            }
            for r in c.by_pieces
        ],
        "crossings": [
            {"pieces": number(x.pieces), "low": number(x.low), "high": number(x.high), "build_cheaper": x.build_cheaper,
             "reason": x.reason}
            for x in c.crossings.crossings
        ],
        "crossings_text": c.crossings.text,
        "chance_none": number(c.crossings.chance_none),
        "tie_price_at_cost": money(c.tie_at_cost.price),
        "tie_price_at_price": money(c.tie_at_price.price),
        "share_below_tie_at_cost": number(c.tie_at_cost.share_below),
        "share_below_tie_at_price": number(c.tie_at_price.share_below),
        "hammer_tie_at_cost": money(c.tie_at_cost.hammer),
        "hammer_tie_at_price": money(c.tie_at_price.hammer),
        "priced_to_tie": c.priced_to_tie,
        "chance_build_cheaper": number(c.chance_build_cheaper),
        "suggested": money(quote.suggested),
        "market_price": money(quote.market_price),
        "unknowns": [
            {
                "name": u.name, "unit": u.unit, "planned": number(u.planned), "break_even": number(u.break_even),
                "break_even_market": number(u.break_even_market), "reason": u.reason,
                "swing_down": money(u.swing_down), "swing_up": money(u.swing_up),
            }
            for u in c.unknowns
        ],
        "incomplete": list(c.sheet.incomplete),
        "like_for_like": [{"what": p.what, "build": p.build, "original": p.original} for p in c.like_for_like],
    }  # fmt: skip
