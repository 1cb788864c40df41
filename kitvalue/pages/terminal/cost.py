"""`cost` as text for a terminal."""

from __future__ import annotations

from kitvalue.pages.terminal.table import Column, bullets, facts, figure, money, table, wrapped
from kitvalue.workshop.costing import CostSheet, RouteCost
from kitvalue.workshop.quantities import Quantity

ROUTE_WORDS = {"full": "full VAT", "margin": "margin scheme", "none": "no VAT"}


def cost_text(sheet: CostSheet) -> str:
    """The cost sheet line by line, the buying list, and what the build must sell for by each VAT route."""
    parts = [
        f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[sheet.route]} (net {sheet.currency})\n",
        _lines(sheet) + "\n",
        "To buy and to do\n" + _quantities(sheet.quantities) + "\n",
        "What it must sell for\n" + _routes(sheet) + "\n",
        bullets("Notes", sheet.notes),
        bullets("Take care", sheet.cautions),
    ]
    return "\n".join(p for p in parts if p)


def _lines(sheet: CostSheet) -> str:
    columns = [
        Column("", figures=False), Column("quantity"), Column("unit", figures=False), Column("each"), Column("net"),
    ]  # fmt: skip
    rows: list[tuple[str, ...]] = []
    for subtotal in sheet.subtotals():
        for line in (line for line in sheet.lines if line.group is subtotal.group):
            rows.append(
                (line.what, figure(line.quantity), line.unit, money(line.unit_price, True), money(line.net, True))
            )
        rows.append((f"= {subtotal.group.value}", "", "", "", money(subtotal.net, True)))
    rows.append(("= net cost", f"{figure(sheet.hours)}", "hours", "", sheet.total.text()))
    return table(columns, rows)


def _quantities(quantities: tuple[Quantity, ...]) -> str:
    return facts([(q.what, f"{figure(q.quantity)} {q.unit}" + (f"  ({q.note})" if q.note else "")) for q in quantities])


def _routes(sheet: CostSheet) -> str:
    columns = [
        Column("", figures=False), Column("net cost"), Column("bought in for"), Column("price of no profit"),
        Column("landed at cost"), Column("floor (margin met)"),
    ]  # fmt: skip
    open_routes = [r for r in sheet.routes if r.allowed]
    rows = [
        (
            ROUTE_WORDS[r.route] + (" *" if r.route == sheet.route else ""), money(r.net_cost, True),
            money(r.purchase, True), money(r.zero_profit_price, True), money(r.landed_at_cost, True),
            money(r.floor, True),
        )
        for r in open_routes
    ]  # fmt: skip
    text = table(columns, rows) + "\n  * the route of this plan; prices are gross"
    closed = "\n".join(wrapped(_closed(r)) for r in sheet.routes if not r.allowed)
    return f"{text}\n{closed}" if closed else text


def _closed(r: RouteCost) -> str:
    return f"{ROUTE_WORDS[r.route]} is not open: {r.reason}"
