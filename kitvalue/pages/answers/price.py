"""`price` as a JSON object."""

from __future__ import annotations

from kitvalue.decisions.pricing import PriceSheet
from kitvalue.pages.answers.common import Answer, money, number
from kitvalue.workshop.costing import CostSheet


def price_answer(sheet: CostSheet, p: PriceSheet) -> Answer:
    """`price`. Prices are gross; `net` to `markup` are at `price`: the suggested one, or the one asked about."""
    quote, sale = p.quote, p.sale
    return {
        "plan": sheet.name, "title": sheet.title, "currency": sheet.currency, "route": p.route,
        "floor": money(quote.floor), "cap": money(quote.cap), "resale": money(quote.resale),
        "market_price": money(quote.market_price), "profit_at_market": money(quote.profit_at_market),
        "suggested": money(quote.suggested), "binding": quote.binding,
        "landed_at_cost": money(sheet.chosen.landed_at_cost), "landed_at_price": money(quote.landed_at_price),
        "original_landed": money(quote.original_landed),
        "price": money(sale.gross), "net": money(sale.net), "vat": money(sale.vat), "fee": money(sale.fee),
        "profit": money(sale.profit), "margin": number(sale.margin), "markup": number(sale.markup),
        "ways_out": [{"name": w.name, "value": number(w.value), "text": w.text} for w in p.ways_out],
        "destinations": [
            {
                "place": d.place, "kind": d.kind, "seller_gets": money(d.seller_gets),
                "buyer_pays": money(d.buyer_pays), "reason": d.reason,
                "parts": None if d.door is None else {
                    "goods": money(d.door.goods), "freight": money(d.door.freight), "duty": money(d.door.duty),
                    "vat": money(d.door.vat), "clearance": money(d.door.clearance),
                },
            }
            for d in p.destinations
        ],
        "business_buyer": p.business_buyer,
        "headline": p.headline,
        "incomplete": list(sheet.incomplete),
    }  # fmt: skip
