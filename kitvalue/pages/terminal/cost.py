"""`cost` as text for a terminal."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.pages.terminal.table import Column, bullets, figure, money, table, wrapped
from kitvalue.workshop.costing import CostSheet, RouteCost
from kitvalue.workshop.quantities import Cutting, Quantity

ROUTE_WORDS = {"full": "full VAT", "margin": "margin scheme", "none": "no VAT"}


def cost_text(sheet: CostSheet) -> str:
    """The cost sheet line by line, the buying list, and what the build must sell for by each VAT route."""
    parts = [
        wrapped(f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[sheet.route]} (net {sheet.currency})", "") + "\n",
        _lines(sheet) + "\n",
        "Where the donors' prices go\n" + _apportioned(sheet) + "\n" if sheet.apportioned else "",
        "To buy and to do\n" + _quantities(sheet.quantities) + "\n",
        "Strips to cut, millimetres\n" + _cuttings(sheet.cuttings) + "\n" if sheet.cuttings else "",
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
        rows.append((f"= {subtotal.group.value}", "", "", "", subtotal.total.text()))
    rows.append(("= net cost", f"{figure(sheet.hours)}", "hours", "", sheet.total.text()))
    return table(columns, rows)


def _quantities(quantities: tuple[Quantity, ...]) -> str:
    columns = [
        Column("", figures=False), Column("quantity"), Column("unit", figures=False),
        Column("", figures=False, most=56),
    ]  # fmt: skip
    return table(columns, [(q.what, figure(q.quantity), q.unit, q.note) for q in quantities])


def _apportioned(sheet: CostSheet) -> str:
    columns = [
        Column("donor", figures=False), Column("price"), Column("sold off"), Column("kept"), Column("in the kit"),
    ]  # fmt: skip
    rows = [
        (a.donor, money(a.price, True), money(a.sold_off, True), money(a.kept, True), money(a.kit, True))
        for a in sheet.apportioned
    ]
    return table(columns, rows)


def _cuttings(cuttings: tuple[Cutting, ...]) -> str:
    columns = [
        Column("", figures=False), Column("length"), Column("width"), Column("in pieces of", figures=False),
        Column("m2"),
    ]  # fmt: skip
    rows = [
        (
            f"{c.drum}: {c.what}", f"{c.length:,.0f}", f"{c.width:,.0f}",
            " + ".join(f"{piece:,.0f}" for piece in c.pieces) if len(c.pieces) > 1 else "one", f"{c.area:.2f}",
        )
        for c in cuttings
    ]  # fmt: skip
    return table(columns, rows)


def _routes(sheet: CostSheet) -> str:
    """A column a route, a line a price: from what it costs up to what leaves the margin."""
    found = [r for r in sheet.routes if r.allowed]
    names = [ROUTE_WORDS[r.route] + (" *" if r.route == sheet.route else "") for r in found]
    columns = [Column("", figures=False), *map(Column, names)]
    rows = [
        ("net cost", *(partly(sheet, r.net_cost) for r in found)),
        ("bought in for", *(money(r.purchase, True) for r in found)),
        ("price of no profit", *(partly(sheet, r.zero_profit_price) for r in found)),
        ("landed at cost", *(partly(sheet, r.landed_at_cost) for r in found)),
        ("floor, your margin met", *(partly(sheet, r.floor) for r in found)),
        ("landed at the floor", *(partly(sheet, r.landed_at_floor) for r in found)),
    ]
    text = table(columns, rows) + "\n  * the route of this plan; prices are gross"
    closed = "\n".join(wrapped(_closed(r)) for r in sheet.routes if not r.allowed)
    return f"{text}\n{closed}" if closed else text


def partly(sheet: CostSheet, figure: Decimal | None) -> str:
    """A figure that rests on the net cost: `1,240.00 + 1 unknown` where something of it is not known."""
    return "?" if figure is None else sheet.resting(figure).text()


def _closed(r: RouteCost) -> str:
    return f"{ROUTE_WORDS[r.route]} is not open: {r.reason}"
