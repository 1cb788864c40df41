"""`cost`, `price`, `compare` and `done` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple
from decimal import Decimal

from kitvalue.decisions.against import Against
from kitvalue.decisions.breakeven import Comparison, Tie
from kitvalue.decisions.original import of_asked, of_suggested
from kitvalue.decisions.pricing import PlacePrice, PriceSheet
from kitvalue.decisions.shares import LearnedShares
from kitvalue.decisions.unknowns import Solved
from kitvalue.decisions.verdict import Verdict
from kitvalue.intake.text.problems import Caution
from kitvalue.intake.text.words import spelt_out
from kitvalue.pages.terminal.figures import cents, dash, figure, money, percent, share
from kitvalue.pages.terminal.market import answer_page, span, take_care
from kitvalue.pages.terminal.table import bullets, facts, grouped, page, table, wrapped
from kitvalue.pages.words import grade
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.outcome import JobOutcome, LearnedOperations, settings_lines

ROUTE_WORDS = {"full": "full VAT", "margin": "margin scheme", "none": "no VAT", "sales": "sales tax"}
ROUTE_PRICES = {  # by the field of a route's costs, from what it costs up to what leaves the margin
    "net_cost": "net cost", "zero_profit_price": "price of no profit", "landed_at_cost": "landed at cost",
    "floor": "floor, your margin met", "landed_at_floor": "landed at the floor",
}  # fmt: skip
FEW = 0.10  # a share of originals dearer than a price below which hardly anybody pays it
UNKNOWN = " +?"  # behind a figure that lacks something of its cost


def _title(sheet: CostSheet, what: str) -> str:
    return wrapped(f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[sheet.route]} ({what})", "")


def cost_text(sheet: CostSheet, verdict: Verdict | None) -> str:
    """The cost sheet line by line, the buying list, and what the build must sell for by each VAT route."""
    lines: list[tuple[str, ...]] = []
    for part in sheet.subtotals():
        lines += [
            (line.what, figure(line.quantity), line.unit, cents(line.unit_price), cents(line.net))
            for line in sheet.chosen.lines
            if line.group is part.group
        ]
        lines.append((f"= {part.group.value}", "", "", "", part.total.text()))
    lines.append(("= net cost", figure(sheet.hours), "hours", "", sheet.total.text()))
    donors = [(a.donor, *map(cents, (a.price, a.sold_off, a.kept, a.kit))) for a in sheet.apportioned]
    to_buy = [(q.what, figure(q.quantity), q.unit, q.note) for q in sheet.quantities]
    strips = [
        (f"{c.strip.drum}: {c.what}", money(c.strip.length), money(c.strip.width),
         " + ".join(map(money, c.pieces)) if len(c.pieces) > 1 else "one", f"{c.strip.area:.2f}")
        for c in sheet.cuttings
    ]  # fmt: skip
    by_donor = table("donor< | price | sold off | kept | in the kit", donors)
    to_cut = table("< | length | width | in pieces of< | m2", strips)
    routes = [r for r in sheet.routes if r.allowed]
    heads = ["<", *(ROUTE_WORDS[r.route] + (" *" if r.route == sheet.route else "") for r in routes)]
    prices = [(name, *(_partly(sheet, getattr(r, field)) for r in routes)) for field, name in ROUTE_PRICES.items()]
    prices.insert(1, ("bought in for", *(cents(r.purchase) for r in routes)))
    closed = [f"{ROUTE_WORDS[r.route]} is not open: {r.reason}" for r in sheet.routes if not r.allowed]
    by_route = table(" | ".join(heads), prices, notes=["* the route of this plan; prices are gross", *closed])
    return page(
        "" if verdict is None else wrapped(verdict.sentence, ""),
        _title(sheet, f"net {sheet.currency}"),
        table("< | quantity | unit< | each | net", lines),
        f"Where the donors' prices go\n{by_donor}" if donors else "",
        f"To buy and to do\n{table('< | quantity | unit< | <56', to_buy)}",
        f"Strips to cut, millimetres\n{to_cut}" if strips else "",
        f"What it must sell for\n{by_route}",
        bullets("Notes", sheet.notes),
        take_care(sheet.cautions),
    )


def _partly(sheet: CostSheet, figure: Decimal | None) -> str:
    """A figure that rests on the net cost: `1,240.00 + 1 unknown` where something of it is not known."""
    return "?" if figure is None else sheet.resting(figure).text()


def _aside(sheet: CostSheet) -> str:
    """For figures that have no sum to which the unknown could be added."""
    return f" ({len(sheet.incomplete)} unknown not in it)" if sheet.incomplete else ""


def price_text(sheet: CostSheet, p: PriceSheet, cautions: Sequence[Caution]) -> str:
    """What to ask, what it leaves, and what a buyer elsewhere pays at the door."""
    quote, sale = p.quote, p.sale

    def profit(amount: Decimal) -> str:
        return sheet.resting(amount).text("less")

    def of_sale(value: Decimal | None) -> str:
        return "-" if value is None else f"{percent(value, 1)}{_aside(sheet)}"

    priced = "the suggested" if quote.asked == quote.suggested else "your own"
    prices = [
        ("floor, your margin met", _partly(sheet, quote.floor)),
        ("cap, an original at the door less freight", cents(quote.cap)),
        ("resale, what the market pays for such a kit", cents(quote.resale)),
        ("chance that such a sale loses money", dash(p.chance_of_loss, share)),
        ("market price, the smaller of these two", cents(quote.market_price)),
        ("profit at the market price", profit(quote.profit_at_market)),
        (f"suggested, set by the {quote.binding}", of_suggested(sheet, quote, quote.suggested).text()),
        *([] if quote.asked == quote.suggested else [("your own price", cents(quote.asked))]),
        (f"landed at {priced} price", of_asked(sheet, quote, quote.landed_at_price).text()),
        ("an original at the door", cents(quote.original_landed)),
    ]
    if sheet.is_service:  # no market has a say in it
        prices = [prices[0], *prices[-3:-1]]
    leaves = [
        ("price", cents(sale.gross)),
        ("VAT in it", cents(sale.vat)),
        ("net", cents(sale.net)),
        ("fee", cents(sale.fee)),
        *([("reserve, set aside", cents(sale.reserve))] if sale.reserve else []),
        ("profit", profit(sale.profit)),
        ("margin, profit of net revenue", of_sale(sale.margin)),
        ("markup, profit of net cost", of_sale(sale.markup)),
    ]
    said = "" if p.for_that_money is None else p.for_that_money.sentence
    if sale.gross > quote.market_price and not sheet.is_service:
        above = 100 * (sale.gross / quote.market_price - 1) if quote.market_price > 0 else None
        far = "above" if above is None else f"{percent(above, 0 if above >= 1 else 1)} above"
        hardly = ": expect hardly a buyer" if p.originals_dearer < FEW else ""
        said += f" At {cents(sale.gross)}, {far} the market, {share(p.originals_dearer)} of originals cost more at the "
        said += f"door{hardly}."
    at = f"At {priced} price" if sale.gross == quote.asked else "At the price asked about"
    places = table(
        "to< | < | the kit | freight | duty | VAT | clearance | the buyer pays | you get, net",
        [(d.place, "" if d.kind == d.place else d.kind, *_parts(d), cents(d.seller_gets)) for d in p.destinations],
        [d.reason or "" for d in p.destinations],
        [p.business_buyer],
    )
    return answer_page(
        cautions,
        wrapped(p.verdict.sentence, ""),
        wrapped(said.strip()) if said else "",
        _title(sheet, f"{sheet.currency}, gross"),
        facts(prices),
        f"{at}\n{facts(leaves)}",
        bullets(f"Ways out{_aside(sheet)}", [way.text for way in p.ways_out]),
        f"Delivered\n{places}",
    )


def _parts(place: PlacePrice) -> tuple[str, ...]:
    """What a buyer there pays, part by part and in all."""
    if place.door is None:
        return ("", "", "", "", "", "?")
    return (*(dash(part or None, cents) for part in astuple(place.door)), cents(place.buyer_pays))


def variants_text(sheets: Sequence[PriceSheet], cautions: Sequence[Caution]) -> str:
    """Several plans side by side: what each costs and asks, what that leaves, and whether to build it."""

    def known(sheet: CostSheet, amount: Decimal) -> str:
        return money(amount) + (UNKNOWN if sheet.incomplete else "")

    rows = [
        ("landed at cost", *(known(p.sheet, p.quote.landed_at_cost) for p in sheets)),
        ("floor, your margin met", *(known(p.sheet, p.quote.floor) for p in sheets)),
        ("the market gives", *(money(p.quote.market_price) for p in sheets)),
        ("profit there", *(known(p.sheet, p.quote.profit_at_market) for p in sheets)),
        ("ask", *(money(p.sale.gross) for p in sheets)),
        ("profit at that", *(known(p.sheet, p.sale.profit) for p in sheets)),
        ("hours", *(figure(p.sheet.hours) for p in sheets)),
        ("profit an hour", *(dash(p.profit_an_hour, cents) for p in sheets)),
    ]
    names = [p.sheet.name.replace("|", "/").replace("<", "(") for p in sheets]  # signs of a table's heading
    return answer_page(
        cautions,
        facts([(p.sheet.name, p.build.sentence) for p in sheets]),
        table(" | ".join(["<", *names]), rows),
    )


def compare_text(c: Comparison, cautions: Sequence[Caution]) -> str:
    """The build against the original: size by size, the tie prices, what would turn the answer, like for like."""
    sheet = c.sheet
    heads = "pieces | build at cost | webshop price | landed at price | original | original, one sale | build cheaper"
    rows = []
    for r in c.by_pieces:
        of_cost = UNKNOWN if r.sheet.incomplete else ""
        of_price = of_cost if of_asked(r.sheet, r.quote, r.quote.asked).unknown else ""
        rows.append((
            r.sheet.pieces, money(r.quote.landed_at_cost) + of_cost, money(r.quote.asked) + of_price,
            money(r.quote.landed_at_price) + of_price, money(r.quote.original_landed),
            span(r.original_low, r.original_high), share(r.chance_build_cheaper),
        ))  # fmt: skip
    notes = [f"{r.sheet.pieces} pieces: {r.note}" for r in c.by_pieces if r.note]
    if any(r.sheet.incomplete for r in c.by_pieces):
        notes.insert(0, f"{UNKNOWN.strip()}: something of that cost is not known")
    aside = _aside(sheet)
    at_cost = f"at cost{aside}: {_tie(c.tie_at_cost)}"
    at_price = f"at webshop price{aside if c.quote.binding == 'floor' else ''}: {_tie(c.tie_at_price)}"
    alike = table("< | the build<28 | an original<28", [(p.what, p.build, p.original) for p in c.like_for_like])
    return answer_page(
        cautions,
        wrapped(c.verdict.sentence, ""),
        "" if c.against is None else _against(c.against, sheet),
        "" if c.for_that_money is None else wrapped(c.for_that_money.sentence),
        _title(sheet, f"{sheet.currency}, at the door"),
        wrapped(f"Not in the build's cost: {'; '.join(sheet.incomplete)}.") if sheet.incomplete else "",
        f"By pieces\n{table(heads, rows, notes=notes)}\n{wrapped(c.crossings.text)}",
        f"Where they tie\n{wrapped(at_cost)}\n{wrapped(at_price)}",
        f"One thing at a time, the rest as planned{aside}\n{_unknowns(c.unknowns)}",
        f"Like for like\n{alike}",
    )


def _against(a: Against, sheet: CostSheet) -> str:
    """Where the original that is named stands, and which of our sizes it is held against."""
    said = (
        f"That original: {money(a.price)} asked, condition {grade(a.condition)}; with {money(a.freight)} of freight "
        f"and {money(a.repair)} to put it right it comes to {money(a.door)} at the door, and {share(a.share_below)} of "
        "such come to less."
    )
    if a.ours_pieces != sheet.pieces:
        said += f" Ours is the build with {a.ours_pieces} of its {sheet.pieces} drums."
    elif a.pieces != sheet.pieces:
        said += f" Ours is the whole build, {sheet.pieces} drums: it is not offered with {a.pieces}."
    return wrapped(said)


def _tie(tie: Tie) -> str:
    return tie.text + ("" if tie.hammer is None else f" (a hammer price of {cents(tie.hammer)})")


def _unknowns(unknowns: Sequence[Solved]) -> str:
    """What turns the answer, and under it why some things never do, each reason once with the unknowns it holds for."""
    rows = [
        (
            f"{u.name}, %" if u.unit == "percent" else u.name, figure(u.planned),
            *("never" if at is None else cents(at) for at in (u.break_even, u.break_even_market)),
            *(dash(swing, "{:+,.0f}".format) for swing in (u.swing_down, u.swing_up)),
        )
        for u in unknowns
    ]  # fmt: skip
    said = (
        "ties at cost: where the build at cost lands at the original's price; no profit at market: where a sale at the "
        "market price leaves nothing; the last two: what the profit there becomes more or less by (the condition moves "
        "by half a grade)"
    )
    never = grouped(  # the values tried differ from one to the next
        (f"{why.text}, whatever the value" if why.tried else why.text, u.name) for u in unknowns for why in u.why
    )
    reasons = [wrapped(f"{reason} ({', '.join(names)})", bullet="- ") for reason, names in never]
    heads = "< | planned | ties at cost | no profit at market | a tenth less | a tenth more"
    return "\n".join([table(heads, rows, notes=[said]), *reasons])


def outcome_text(
    jobs: Sequence[JobOutcome],
    hours: LearnedOperations,
    shares: LearnedShares,
    currency: str,
    cautions: Sequence[Caution],
) -> str:
    """Finished builds against their plans, and what they teach: settings to paste, never changed by themselves."""
    if not jobs:
        return "No finished build is written down in done.csv yet."
    learned = [
        (s.plan, s.series, s.sales, percent(s.planned), percent(s.own, 1), percent(s.learned, 1),
         f"{s.low:.0f} to {s.high:.0f} %")
        for s in shares.learned
    ]  # fmt: skip
    by_plan = table("plan< | held against< | sales | planned | their mean | learned | 8 in 10", learned)
    by_plan = by_plan if shares.reason is None else wrapped(shares.reason)
    new_shares = [line for s in shares.learned for line in (f"in {s.plan}:", f"  {s.line}")]
    return page(
        f"Finished builds: planned against actual (net {currency})\n{_jobs(jobs)}",
        f"What they were sold for\n{_sales(jobs, shares)}",
        f"Hours by operation, of all jobs together\n{_operations(hours)}" if hours.operations else "",
        _to_paste("[work.hours] in shop.toml", settings_lines(hours)),
        f"The share of an original's price that the builds fetched\n{by_plan}",
        _to_paste("[finished] in the plan", new_shares),
        take_care(cautions),
    )


def _to_paste(where: str, lines: Sequence[str]) -> str:
    return (
        "\n".join([f"To paste under {where}, if you agree", *(f"  {spelt_out(line)}" for line in lines)])
        if lines
        else ""
    )


def _jobs(jobs: Sequence[JobOutcome]) -> str:
    """What each came to, and what was planned under it."""
    rows, why = [], []
    for j in jobs:
        hours, paid, cost = j.hours, j.paid, j.net_cost
        over = "?" if cost.more is None else f"{cost.more:+,.0f}"
        rows += [
            (j.build.row, j.build.plan, "actual", figure(hours.actual), money(paid.actual), money(cost.actual), over),
            ("", j.build.finished_on, "planned", figure(hours.planned), money(paid.planned), money(cost.planned), ""),
        ]
        why += [
            wrapped(f"row {j.build.row}: {what}: {against.reason}", bullet="- ")
            for what, against in (("hours", hours), ("paid out", paid))
            if against.actual is None
        ]
    return "\n".join([table("row | plan, finished< | < | hours | paid out | net cost | over", rows), *why])


def _sales(jobs: Sequence[JobOutcome], shares: LearnedShares) -> str:
    """What each brought, and what was planned under it."""
    shares_by_row = {sale.job.build.row: sale for sale in shares.sales}
    rows, why = [], []
    for j in jobs:
        row, sold_for = j.build.row, j.build.sold_for
        if sold_for is None:
            continue
        sale, of_market = j.sale, shares_by_row.get(row)
        profit, margin, markup = (None, None, None) if sale is None else (sale.profit, sale.margin, sale.markup)
        if sale is None:
            why.append(wrapped(f"row {row}: profit: {j.sale_reason}", bullet="- "))
        fetched, planned = (None, None) if of_market is None else (of_market.share, of_market.finished.share.middle)
        rows += [
            (row, j.build.plan, "actual", cents(sold_for), cents(profit), percent(margin, 1), percent(markup, 1),
             percent(fetched, 1)),
            ("", j.build.sold_on or "?", "planned", "", "", percent(j.planned_margin, 1), "", percent(planned)),
        ]  # fmt: skip
    heads = "row | plan, sold< | < | for, gross | profit | margin | markup | of the market"
    return "\n".join([table(heads, rows), *why]) if rows else "  none yet"


def _operations(hours: LearnedOperations) -> str:
    rows = [
        (one.operation, one.unit, one.jobs, figure(one.planned), figure(one.own), figure(one.learned),
         "-" if one.low is None or one.high is None else f"{figure(one.low)} to {figure(one.high)}",
         "?" if one.weight is None else share(one.weight))
        for one in hours.operations
    ]  # fmt: skip
    lines = [table("< | for one< | jobs | setting | their mean | learned | 8 in 10 | own weight", rows)]
    if hours.common is not None:
        leaning = (
            f"all operations together took {hours.common:.2f} times their settings; an operation seen in few jobs "
            "leans on that (own weight: how far it follows its own jobs)"
        )
        lines.append(wrapped(leaning))
    reasons = grouped((one.reason, one.operation) for one in hours.operations if one.reason)
    return "\n".join([*lines, *(wrapped(f"{', '.join(names)}: {why}", bullet="- ") for why, names in reasons)])
