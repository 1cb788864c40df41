"""A build's cost: the picture from donors to webshop price, every line, and both ways of charging VAT."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.decisions.pricing import PriceSheet
from kitvalue.pages.pictures.costs import CostPicture, Step, costs_figure
from kitvalue.pages.pictures.frame import Caption, Chart, chart
from kitvalue.pages.tables import Row, Table, figures, sentences, words
from kitvalue.pages.words import NOT_COMPUTED, cents, exact, number, trimmed
from kitvalue.workshop.costing import CostSheet, RouteCost

GROUP_WORDS = {
    "donors": "Donors",
    "work": "Work",
    "contingency": "Contingency",
    "sent-out work": "Sent-out work",
    "parts": "Parts",
    "surplus": "Surplus sold off",
}
ROUTE_WORDS = {"full": "Full VAT", "margin": "Margin scheme", "none": "Without VAT (exempt business)"}
HINT = "so the figures above are too low by what these cost"


def cost_picture(sheet: CostSheet, pricing: PriceSheet | None) -> CostPicture:
    """Group by group to the net cost; where there is a price, on to it through fee, VAT and profit."""
    steps: list[Step] = []
    at = Decimal(0)
    for sub in sheet.subtotals():
        steps.append(Step(group_words(sub.group), float(at), float(sub.net), "cost"))
        at += sub.net
    steps.append(Step("Net cost", 0.0, float(sheet.net_cost), "sum"))
    if pricing is None:
        return CostPicture(sheet.currency, tuple(steps), None)
    sale = pricing.sale
    for label, amount in (("Channel's fee", sale.fee), ("VAT", sale.vat)):
        steps.append(Step(label, float(at), float(amount), "due"))
        at += amount
    steps.append(Step("Profit" if sale.profit >= 0 else "Loss", float(at), float(sale.profit), "profit"))
    steps.append(Step("Webshop price", 0.0, float(sale.gross), "sum"))
    return CostPicture(sheet.currency, tuple(steps), float(pricing.quote.market_price))


def cost_chart(key: str, sheet: CostSheet, pricing: PriceSheet | None) -> Chart:
    """The picture with its numbers."""
    picture = cost_picture(sheet, pricing)
    end = f", then to the webshop price of {number(picture.steps[-1].amount)}" if pricing is not None else ""
    caption = Caption(
        id=f"{key}-cost",
        title="How the price comes about" if pricing is not None else "How the cost comes about",
        description=f"Bars from the donors to the net cost of {number(float(sheet.net_cost))} {sheet.currency}{end}.",
        note=f"{ROUTE_WORDS[sheet.route]}. An outlined bar comes off.",
    )
    return chart(caption, steps_table(picture), lambda layout: costs_figure(picture, layout))


def steps_table(picture: CostPicture) -> Table:
    """The numbers of the bars."""
    return Table(
        caption=f"The numbers of the picture, {picture.currency}",
        columns=(words("Step"), figures("Amount"), figures("So far")),
        rows=tuple(
            Row((s.label, number(s.amount, 2), number(s.end, 2)), "subtotal" if s.kind == "sum" else "")
            for s in picture.steps
        ),
    )


def lines_table(sheet: CostSheet) -> Table:
    """Every line of the chosen route under its group, with subtotals."""
    rows: list[Row] = []
    for sub in sheet.subtotals():
        for line in (x for x in sheet.lines if x.group is sub.group):
            rows.append(
                Row((line.what, f"{trimmed(line.quantity)} {line.unit}", _unit_price(line.unit_price),
                     "not known" if line.net is None else cents(line.net), line.basis))
            )  # fmt: skip
        rows.append(Row((group_words(sub.group), "", "", cents(sub.net), ""), "subtotal"))
    rows.append(Row(("Net cost", "", "", cents(sheet.net_cost), ""), "total"))
    return Table(
        caption=f"Every line, {sheet.currency}. Route: {ROUTE_WORDS[sheet.route]}",
        columns=(
            words("What"), figures("Quantity"), figures("Unit price"), figures("Net"), sentences("Where it is from"),
        ),
        rows=tuple(rows),
        notes=(f"Not known: {'; '.join(sheet.incomplete)}, {HINT}.",) if sheet.incomplete else (),
    )  # fmt: skip


def _unit_price(price: Decimal | None) -> str:
    return "not known" if price is None else cents(price)


def group_words(group: str) -> str:
    """The group's name for people."""
    return GROUP_WORDS.get(group, str(group).capitalize())


def routes_table(sheet: CostSheet) -> Table:
    """The VAT routes side by side: one column each."""
    routes = [r for r in sheet.routes if r.route != "none" or sheet.route == "none"]
    heads = [f"{ROUTE_WORDS[r.route]}{', chosen' if r.route == sheet.route else ''}" for r in routes]
    closed = [f"{ROUTE_WORDS[r.route]} is not open: {r.reason}." for r in routes if not r.allowed]
    return Table(
        caption=f"Both ways of charging VAT, {sheet.currency}",
        columns=(words("Figure"), *(figures(head) for head in heads)),
        rows=(
            Row(("Net cost", *(cents(r.net_cost) for r in routes))),
            Row(("Purchases under the margin scheme", *(cents(r.purchase) for r in routes))),
            Row(("Price of zero profit", *(_price(r.zero_profit_price, r) for r in routes))),
            Row(("Price for your margin (floor)", *(_price(r.floor, r) for r in routes))),
            Row(("Landed at cost, freight in", *(_price(r.landed_at_cost, r) for r in routes))),
        ),
        notes=tuple(closed),
    )


def _price(value: Decimal | None, route: RouteCost) -> str:
    if value is not None:
        return cents(value)
    return NOT_COMPUTED if route.allowed else "not open"


def buying_table(sheet: CostSheet) -> Table:
    """What to have ready before the work starts."""
    return Table(
        caption="What the build needs",
        columns=(words("What"), figures("Quantity"), words("Unit"), words("Remark")),
        rows=tuple(Row((q.what, trimmed(q.quantity), q.unit, q.note)) for q in sheet.quantities),
        notes=(f"{trimmed(sheet.hours)} hours of the shop's own work.",),
    )


def sale_table(pricing: PriceSheet, currency: str) -> Table:
    """What one sale at the price leaves."""
    sale, quote = pricing.sale, pricing.quote
    rows = [
        Row(("Floor: the price for your margin", cents(quote.floor))),
        Row(("Cap: an original at the door, less your freight", cents(quote.cap))),
        Row(("Resale: what the market pays for such a kit", cents(quote.resale))),
        Row(("Market price: the smaller of the two", cents(quote.market_price)), "subtotal"),
        Row(("Profit at the market price", cents(quote.profit_at_market))),
        Row(("Webshop price", cents(sale.gross)), "subtotal"),
        Row(("VAT in it", cents(sale.vat))),
        Row(("Net", cents(sale.net))),
        Row(("Channel's fee", cents(sale.fee))),
        Row(("Profit", cents(sale.profit))),
        Row(("Margin on net", "not defined" if sale.margin is None else f"{number(sale.margin, 1)} %")),
        Row(("Total at the door, freight in", exact(quote.landed_at_price)), "total"),
    ]
    return Table(
        caption=f"The webshop price, {currency}",
        columns=(words("Figure"), figures("Amount")),
        rows=tuple(rows),
    )


def places_table(pricing: PriceSheet, currency: str) -> Table:
    """At home and abroad."""
    kinds = {"home": "at home", "union": "inside the union", "export": "export"}
    return Table(
        caption=f"At home and abroad, {currency}",
        columns=(words("Place"), words("Kind"), figures("You get, net"), figures("The buyer pays at the door")),
        rows=tuple(
            Row((p.place, kinds[p.kind], cents(p.seller_gets),
                 cents(p.buyer_pays) if p.buyer_pays is not None else f"{NOT_COMPUTED}: {p.reason}"))
            for p in pricing.destinations
        ),
    )  # fmt: skip
