"""`price` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.decisions.pricing import PriceSheet
from kitvalue.pages.terminal.cost import ROUTE_WORDS
from kitvalue.pages.terminal.table import Column, bullets, facts, money, percent, table, wrapped
from kitvalue.workshop.costing import CostSheet


def price_text(sheet: CostSheet, p: PriceSheet, cautions: Sequence[str]) -> str:
    """What to ask, what it leaves, and what a buyer elsewhere pays at the door."""
    quote, sale = p.quote, p.sale
    asked = "At the suggested price" if sale.gross == quote.suggested else "At the price asked about"
    parts = [
        f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[p.route]} ({sheet.currency}, gross)\n",
        wrapped(p.headline) + "\n",
        facts(
            [
                ("floor, your margin met", money(quote.floor, cents=True)),
                ("cap, an original at the door less freight", money(quote.cap, cents=True)),
                ("resale, what the market pays for such a kit", money(quote.resale, cents=True)),
                ("market price, the smaller of these two", money(quote.market_price, cents=True)),
                ("profit at the market price", money(quote.profit_at_market, cents=True)),
                (f"suggested, set by the {quote.binding}", money(quote.suggested, cents=True)),
            ]
        )
        + "\n",
        f"{asked}\n"
        + facts(
            [
                ("price", money(sale.gross, cents=True)),
                ("VAT in it", money(sale.vat, cents=True)),
                ("net", money(sale.net, cents=True)),
                ("fee", money(sale.fee, cents=True)),
                ("profit", money(sale.profit, cents=True)),
                ("margin, profit of net revenue", percent(sale.margin, 1) if sale.margin is not None else "-"),
                ("markup, profit of net cost", percent(sale.markup, 1) if sale.markup is not None else "-"),
            ]
        )
        + "\n",
        bullets("Ways out", [w.text for w in p.ways_out]),
        "Delivered\n" + _places(p) + "\n" + wrapped(p.business_buyer) + "\n",
        bullets("Take care", cautions),
    ]
    return "\n".join(part for part in parts if part)


def _places(p: PriceSheet) -> str:
    columns = [
        Column("to", figures=False), Column("", figures=False), Column("the buyer pays"), Column("you get, net"),
        Column("", figures=False),
    ]  # fmt: skip
    rows = [
        (d.place, d.kind, money(d.buyer_pays, cents=True), money(d.seller_gets, cents=True), d.reason or "")
        for d in p.destinations
    ]
    return table(columns, rows)
