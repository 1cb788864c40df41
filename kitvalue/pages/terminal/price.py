"""`price` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.decisions.destinations import PlacePrice
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.decisions.quote import asked
from kitvalue.pages.terminal.care import first_of_all, take_care
from kitvalue.pages.terminal.cost import ROUTE_WORDS, partly
from kitvalue.pages.terminal.table import Column, bullets, facts, money, percent, table, wrapped
from kitvalue.workshop.costing import CostSheet


def price_text(sheet: CostSheet, p: PriceSheet, cautions: Sequence[str]) -> str:
    """What to ask, what it leaves, and what a buyer elsewhere pays at the door."""
    quote, sale = p.quote, p.sale
    at = "At the suggested price" if sale.gross == quote.suggested else "At the price asked about"
    parts = [
        first_of_all(cautions),
        wrapped(f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[p.route]} ({sheet.currency}, gross)", "") + "\n",
        wrapped(_lead(sheet, p)) + "\n",
        facts(
            [
                ("floor, your margin met", partly(sheet, quote.floor)),
                ("cap, an original at the door less freight", money(quote.cap, cents=True)),
                ("resale, what the market pays for such a kit", money(quote.resale, cents=True)),
                ("market price, the smaller of these two", money(quote.market_price, cents=True)),
                ("profit at the market price", _profit(sheet, quote.profit_at_market)),
                (
                    f"suggested, set by the {quote.binding}",
                    asked(sheet, quote, quote.suggested).text(),
                ),
                ("landed at the suggested price", asked(sheet, quote, quote.landed_at_price).text()),
                ("an original at the door", money(quote.original_landed, cents=True)),
            ]
        )
        + "\n",
        f"{at}\n"
        + facts(
            [
                ("price", money(sale.gross, cents=True)),
                ("VAT in it", money(sale.vat, cents=True)),
                ("net", money(sale.net, cents=True)),
                ("fee", money(sale.fee, cents=True)),
                ("profit", _profit(sheet, sale.profit)),
                ("margin, profit of net revenue", _percent(sheet, sale.margin)),
                ("markup, profit of net cost", _percent(sheet, sale.markup)),
            ]
        )
        + "\n",
        bullets(f"Ways out{_aside(sheet)}", [w.text for w in p.ways_out]),
        "Delivered\n" + _places(p) + "\n" + wrapped(p.business_buyer) + "\n",
        take_care(cautions),
    ]
    return "\n".join(part for part in parts if part)


def _lead(sheet: CostSheet, p: PriceSheet) -> str:
    """The answer in a few words, first of all on the price asked about; of one above the market, that hardly anybody
    will pay it."""
    quote, sale = p.quote, p.sale
    said = p.headline
    if sale.gross != quote.suggested:
        said = f"At {money(sale.gross, cents=True)} {_left(sheet, p)}. {said}"
    if sale.gross > quote.market_price:
        above = 100 * (sale.gross / quote.market_price - 1) if quote.market_price > 0 else None
        far = f"{percent(above, 0 if above >= 1 else 1)} above" if above is not None else "above"
        said += f" At {money(sale.gross, cents=True)}, {far} the market, expect hardly a buyer."
    return said


def _left(sheet: CostSheet, p: PriceSheet) -> str:
    """`you lose 1,684.30`, `you keep 200.00, a margin of 9.5 %`."""
    profit = p.sale.profit
    if profit < 0:
        return f"you lose {sheet.resting(-profit).text()}"
    return f"you keep {sheet.resting(profit).text_of_profit()}, a margin of {_percent(sheet, p.sale.margin)}"


def _profit(sheet: CostSheet, profit: Decimal) -> str:
    return sheet.resting(profit).text_of_profit()


def _percent(sheet: CostSheet, value: Decimal | None) -> str:
    return "-" if value is None else f"{percent(value, 1)}{_aside(sheet)}"


def _aside(sheet: CostSheet) -> str:
    """For figures that have no sum to which the unknown could be added."""
    return f" ({len(sheet.incomplete)} unknown not in it)" if sheet.incomplete else ""


def _places(p: PriceSheet) -> str:
    columns = [
        Column("to", figures=False), Column("", figures=False), Column("the kit"), Column("freight"), Column("duty"),
        Column("VAT"), Column("clearance"), Column("the buyer pays"), Column("you get, net"),
    ]  # fmt: skip
    rows = [
        (d.place, d.kind if d.kind != d.place else "", *_door(d), money(d.seller_gets, cents=True))
        for d in p.destinations
    ]
    return table(columns, rows, under=[d.reason or "" for d in p.destinations])


def _door(place: PlacePrice) -> tuple[str, ...]:
    if place.door is None:
        return ("", "", "", "", "", "?")
    door = place.door
    parts = (door.goods, door.freight, door.duty, door.vat, door.clearance)
    return (*(money(part, cents=True) if part else "-" for part in parts), money(place.buyer_pays, cents=True))
