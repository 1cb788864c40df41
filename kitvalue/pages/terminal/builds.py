"""`cost` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.decisions.breakeven import Comparison, PiecesRow, Tie
from kitvalue.decisions.original import asked
from kitvalue.decisions.pricing import PlacePrice, PriceSheet
from kitvalue.decisions.shares import LearnedShares, ShareOutcome
from kitvalue.decisions.unknowns import Solved
from kitvalue.pages.terminal.market import first_of_all, take_care
from kitvalue.pages.terminal.table import Column, bullets, facts, figure, money, percent, span, table, wrapped
from kitvalue.workshop.costing import CostSheet, RouteCost
from kitvalue.workshop.outcome import Against, JobOutcome, LearnedHours, LearnedOperations, settings_lines
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


UNKNOWN = " +?"  # behind a figure that lacks something of its cost
HALF = 28  # columns of each side


def compare_text(c: Comparison, headline: str, cautions: Sequence[str]) -> str:
    """The build against the original: size by size, the tie prices, what would turn the answer, like for like."""
    sheet = c.sheet
    unknown = f" ({len(sheet.incomplete)} unknown not in it)" if sheet.incomplete else ""
    parts = [
        first_of_all(cautions),
        wrapped(f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[sheet.route]} ({sheet.currency}, at the door)", "")
        + "\n",
        wrapped(headline) + "\n",
        wrapped(f"Not in the build's cost: {'; '.join(sheet.incomplete)}.") + "\n" if sheet.incomplete else "",
        "By pieces\n" + _by_pieces(c) + "\n" + wrapped(c.crossings.text) + "\n",
        "Where they tie\n"
        + wrapped(f"at cost{unknown}: {c.tie_at_cost.text}{_hammer(c.tie_at_cost)}")
        + "\n"
        + wrapped(
            f"at webshop price{unknown if c.quote.binding == 'floor' else ''}: "
            f"{c.tie_at_price.text}{_hammer(c.tie_at_price)}"
        )
        + "\n",
        f"One thing at a time, the rest as planned{unknown}\n" + _unknowns(c.unknowns) + "\n",
        "Like for like\n" + _like_for_like(c) + "\n",
        take_care(cautions),
    ]
    return "\n".join(p for p in parts if p)


def _by_pieces(c: Comparison) -> str:
    columns = [
        Column("pieces"), Column("build at cost"), Column("webshop price"), Column("landed at price"),
        Column("original"), Column("original, one sale"), Column("build cheaper"),
    ]  # fmt: skip
    rows = [
        (
            str(r.pieces), money(r.build_at_cost) + _unknown(r), money(r.build_at_price) + _of_price(r),
            money(r.landed_at_price) + _of_price(r),
            money(r.original_typical), span(r.original_low, r.original_high), percent(100 * r.chance_build_cheaper),
        )
        for r in c.by_pieces
    ]  # fmt: skip
    notes = [f"{r.pieces} pieces: {r.note}" for r in c.by_pieces if r.note]
    unknown = [f"{UNKNOWN.strip()}: something of that cost is not known"] if any(map(_unknown, c.by_pieces)) else []
    return "\n".join([table(columns, rows), *map(wrapped, (*unknown, *notes))])


def _of_price(row: PiecesRow) -> str:
    return _unknown(row) if row.binding == "floor" else ""


def _unknown(row: PiecesRow) -> str:
    return UNKNOWN if row.incomplete else ""


def _hammer(tie: Tie) -> str:
    return "" if tie.hammer is None else f" (a hammer price of {money(tie.hammer, cents=True)})"


def _unknowns(unknowns: tuple[Solved, ...]) -> str:
    columns = [
        Column("", figures=False), Column("planned"), Column("ties at cost"), Column("no profit at market"),
        Column("a tenth less"), Column("a tenth more"),
    ]  # fmt: skip
    rows = [
        (
            _named(u), figure(u.planned), _at(u.break_even), _at(u.break_even_market),
            _swing(u.swing_down), _swing(u.swing_up),
        )
        for u in unknowns
    ]  # fmt: skip
    lines = [
        table(columns, rows),
        wrapped(
            "ties at cost: where the build at cost lands at the original's price; no profit at market: where a sale at "
            "the market price leaves nothing; the last two: what the profit there becomes more or less by "
            "(the condition moves by half a grade)"
        ),
        *(wrapped(text, bullet="- ") for text in _never(unknowns)),
    ]
    return "\n".join(lines)


def _named(u: Solved) -> str:
    return f"{u.name}, %" if u.unit == "percent" else u.name


def _never(unknowns: tuple[Solved, ...]) -> list[str]:
    """Why something never turns the answer, each reason once with the unknowns that it holds for."""
    held: dict[str, list[str]] = {}
    for u in unknowns:
        for reason in (u.reason or "").split("; "):
            held.setdefault(_whatever(reason), []).append(u.name)
    held.pop("", None)
    return [f"{reason} ({', '.join(names)})" for reason, names in held.items()]


def _whatever(reason: str) -> str:
    """A reason without the values that were tried: they differ from one unknown to the next."""
    told, tried, _ = reason.partition(" at every value from ")
    return f"{told}, whatever the value" if tried else reason


def _at(value: Decimal | None) -> str:
    return "never" if value is None else f"{value:,.2f}"


def _swing(value: Decimal | None) -> str:
    return "-" if value is None else f"{value:+,.0f}"


def _like_for_like(c: Comparison) -> str:
    columns = [
        Column("", figures=False), Column("the build", figures=False, most=HALF),
        Column("an original", figures=False, most=HALF),
    ]  # fmt: skip
    return table(columns, [(p.what, p.build, p.original) for p in c.like_for_like])


def outcome_text(
    jobs: Sequence[JobOutcome], hours: LearnedOperations, shares: LearnedShares, currency: str, cautions: Sequence[str]
) -> str:
    """Finished builds against their plans, and what they teach: settings to paste, never changed by themselves."""
    if not jobs:
        return "No finished build is written down in done.csv yet."
    parts = [
        f"Finished builds: planned against actual (net {currency})\n{_jobs(jobs)}\n",
        f"What they were sold for\n{_sales(jobs, shares)}\n",
        f"Hours by operation, of all jobs together\n{_operations(hours)}\n" if hours.operations else "",
        _offered("To paste under [work.hours] in shop.toml, if you agree", settings_lines(hours)),
        f"The share of an original's price that the builds fetched\n{_shares(shares)}\n",
        _offered(
            "To paste under [finished] in the plan, if you agree",
            [line for s in shares.learned for line in (f"in {s.plan}:", f"  {s.line}")],
        ),
        bullets("Take care", cautions),
    ]
    return "\n".join(part for part in parts if part)


def _jobs(jobs: Sequence[JobOutcome]) -> str:
    columns = [
        Column("row"), Column("plan, finished", figures=False), Column("", figures=False), Column("hours"),
        Column("paid out"), Column("net cost"), Column("over"),
    ]  # fmt: skip
    rows = [line for j in jobs for line in _job(j)]
    why = [
        wrapped(f"row {j.row}: {what}: {one.reason}", bullet="- ")
        for j in jobs
        for what, one in (("hours", j.hours), ("paid out", j.paid))
        if one.actual is None
    ]
    return "\n".join([table(columns, rows), *why])


def _job(j: JobOutcome) -> list[tuple[str, ...]]:
    """What it came to, and what was planned under it."""
    return [
        (
            str(j.row), j.plan, "actual", _figure(j.hours.actual), money(j.paid.actual), money(j.net_cost.actual),
            _over(j.net_cost),
        ),
        (
            "", j.finished_on.isoformat(), "planned", _figure(j.hours.planned), money(j.paid.planned),
            money(j.net_cost.planned), "",
        ),
    ]  # fmt: skip


def _figure(value: Decimal | None) -> str:
    return "?" if value is None else figure(value)


def _over(one: Against) -> str:
    return "?" if one.more is None else f"{one.more:+,.0f}"


def _sales(jobs: Sequence[JobOutcome], shares: LearnedShares) -> str:
    by_row = {sale.row: sale for sale in shares.sales}
    columns = [
        Column("row"), Column("plan, sold", figures=False), Column("", figures=False), Column("for, gross"),
        Column("profit"), Column("margin"), Column("markup"), Column("of the market"),
    ]  # fmt: skip
    sold = [j for j in jobs if j.sold_for is not None]
    rows = [line for j in sold for line in _sale(j, by_row.get(j.row))]
    why = [wrapped(f"row {j.row}: profit: {j.sale_reason}", bullet="- ") for j in sold if j.sale is None]
    return "\n".join([table(columns, rows), *why]) if rows else "  none yet"


def _sale(j: JobOutcome, seen: ShareOutcome | None) -> list[tuple[str, ...]]:
    """What it brought, and what was planned under it."""
    sale = j.sale
    return [
        (
            str(j.row), j.plan, "actual", money(j.sold_for, cents=True),
            money(sale.profit if sale else None, cents=True), percent(sale.margin if sale else None, 1),
            percent(sale.markup if sale else None, 1), percent(seen.share if seen else None, 1),
        ),
        (
            "", j.sold_on.isoformat() if j.sold_on else "?", "planned", "", "", percent(j.planned_margin, 1), "",
            percent(seen.planned if seen else None),
        ),
    ]  # fmt: skip


def _operations(hours: LearnedOperations) -> str:
    columns = [
        Column("", figures=False), Column("for one", figures=False), Column("jobs"), Column("setting"),
        Column("their mean"), Column("learned"), Column("8 in 10"), Column("own weight"),
    ]  # fmt: skip
    lines = [table(columns, [_operation(one) for one in hours.operations])]
    if hours.common is not None:
        lines.append(
            wrapped(
                f"all operations together took {hours.common:.2f} times their settings; an operation seen in few jobs "
                "leans on that (own weight: how far it follows its own jobs)"
            )
        )
    reasons = dict.fromkeys(one.reason for one in hours.operations if one.reason)
    for reason in reasons:
        names = ", ".join(one.operation for one in hours.operations if one.reason == reason)
        lines.append(wrapped(f"{names}: {reason}", bullet="- "))
    return "\n".join(lines)


def _operation(one: LearnedHours) -> tuple[str, ...]:
    span = "-" if one.low is None or one.high is None else f"{figure(one.low)} to {figure(one.high)}"
    return (
        one.operation, one.unit, str(one.jobs), figure(one.planned), _figure(one.own), _figure(one.learned), span,
        percent(None if one.weight is None else 100 * one.weight),
    )  # fmt: skip


def _offered(heading: str, lines: Sequence[str]) -> str:
    return "\n".join([heading, *(f"  {line}" for line in lines)]) + "\n" if lines else ""


def _shares(shares: LearnedShares) -> str:
    if shares.reason is not None:
        return wrapped(shares.reason)
    columns = [
        Column("plan", figures=False), Column("held against", figures=False), Column("sales"), Column("planned"),
        Column("their mean"), Column("learned"), Column("8 in 10"),
    ]  # fmt: skip
    rows = [
        (
            s.plan, s.series, str(s.sales), percent(s.planned), percent(s.own, 1), percent(s.learned, 1),
            f"{s.low:.0f} to {s.high:.0f} %",
        )
        for s in shares.learned
    ]  # fmt: skip
    return table(columns, rows)
