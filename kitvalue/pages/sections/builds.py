"""Builds: what each costs, what to ask for it, and how it stands against an original."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from markupsafe import Markup

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.intake.text.problems import texts
from kitvalue.pages.figures import amount, cents, count, exact, number, percent, span, trimmed, with_currency
from kitvalue.pages.pictures.builds import breakeven_figure, cost_steps, costs_figure, group_words, swings_figure
from kitvalue.pages.pictures.frame import Chart, Key
from kitvalue.pages.sections.market import range_or_none
from kitvalue.pages.tables import Fact, Row, Table, table
from kitvalue.pages.templating import TEMPLATES
from kitvalue.pages.words import NOT_COMPUTED, capital
from kitvalue.workshop.costing import BENCH, CostSheet, RouteCost

BINDING = {
    "cap": "set by what an original costs at the door",
    "resale": "set by what the market pays for such a kit",
    "floor": "what your margin needs: above what the market gives",
}
ROUTE_WORDS = {
    "full": "Full VAT",
    "margin": "Margin scheme",
    "none": "Without VAT (exempt business)",
    "sales": "Prices without sales tax",
}
KINDS = {"home": "at home", "union": "inside the union", "export": "export"}


@dataclass(frozen=True, slots=True)
class BuildSeen:
    """One plan. What cannot be computed is None, and `reason` says why."""

    title: str
    sheet: CostSheet | None
    pricing: PriceSheet | None
    comparison: Comparison | None
    reason: str | None


def build_charts(b: BuildSeen, key: str) -> dict[str, Chart | None]:
    """The build's pictures by the part they stand in, in the page's order."""
    sheet, comparison = b.sheet, b.comparison
    return {
        "cost": cost_chart(key, sheet, b.pricing) if sheet else None,
        "even": even_chart(key, comparison) if comparison else None,
        "swings": swings_chart(key, comparison) if comparison and comparison.unknowns else None,
    }


def build_article(b: BuildSeen, key: str, charts: Mapping[str, Chart | None], general: Sequence[str]) -> Markup:
    """Everything that can be told of one build. Cautions that the whole page carries (`general`) are not repeated."""
    sheet, pricing, comparison, like = b.sheet, b.pricing, b.comparison, None
    crossing = f"{_no_answer(b)}."
    if comparison:
        crossing, crossings = comparison.crossings.text, comparison.crossings
        if crossings.chance_none >= 0.005 and not any(c.reason for c in crossings.crossings):
            never = percent(100 * crossings.chance_none, 0)
            crossing += f" In {never} of what the market level may be they never meet."
        *points, total = ((p.what, p.build, p.original) for p in comparison.like_for_like)
        like = table("Like for like", "Point< | The build< | A used original<", (*points, Row(total, "total")))
    buying = None
    if sheet and sheet.quantities:
        buying = table(
            "What the build needs",
            "What< | Quantity | Unit< | Remark<",
            ((q.what, trimmed(q.quantity), q.unit, q.note) for q in sheet.quantities),
            f"{trimmed(sheet.hours)} hours of the shop's own work.",
        )
    article = TEMPLATES.get_template("build.html").render(
        id=key,
        build=b,
        charts=charts,
        lead=lead_words(b),
        facts_told=_facts(b),
        ways_out=[way.text for way in pricing.ways_out] if pricing else (),
        lines=sheet and _lines_table(sheet),
        routes=sheet and _routes_table(sheet),
        buying=buying,
        sale=_sale_tables(pricing, sheet.currency) if sheet and pricing else (),
        crossing=crossing,
        ties=comparison and _tie_table(comparison),
        worth=comparison and comparison.for_that_money and comparison.for_that_money.sentence,
        like=like,
        cautions=[text for text in build_cautions(b) if text not in general],
    )
    return Markup(article)  # noqa: S704 - our own template, which escapes every value


def lead_words(b: BuildSeen) -> str:
    """The answer in one sentence, or why there is none."""
    return b.pricing.build.sentence if b.pricing is not None else _no_answer(b)


def _no_answer(b: BuildSeen) -> str:
    return f"{NOT_COMPUTED}: {b.reason or 'no reason is known'}"


def _facts(b: BuildSeen) -> tuple[Fact, ...]:
    facts: list[Fact] = []
    if b.pricing is not None and b.sheet is not None:
        quote, currency = b.pricing.quote, b.sheet.currency
        own = "your own price" if quote.asked != quote.suggested else BINDING[quote.binding]
        ask = Fact("Webshop price", with_currency(exact(quote.asked), currency), own)
        left = "profit" if quote.profit_at_market >= 0 else "loss"
        market = Fact("The market gives", with_currency(amount(quote.market_price), currency),
                      f"{left} there {amount(abs(quote.profit_at_market))}")  # fmt: skip
        both = [market, ask] if quote.binding == "floor" else [ask, market]
        facts += [ask] if b.sheet.is_service else both
    if b.sheet is not None:
        unknown = f"+ {number(len(b.sheet.incomplete))} unknown" if b.sheet.incomplete else "donors, work, parts"
        facts.append(Fact("Net cost", with_currency(amount(b.sheet.net_cost), b.sheet.currency), unknown))
    if b.comparison is not None:
        facts.append(Fact("Even with an original", *_even(b.comparison)))
    return tuple(facts)


def _even(comparison: Comparison) -> tuple[str, str]:
    """At how many pieces the build is even with an original, and what to add to that."""
    crossings, rows = comparison.crossings.crossings, comparison.by_pieces
    if not crossings:
        side = "cheaper" if rows[0].quote.landed_at_cost <= rows[0].quote.original_landed else "dearer"
        return "never", f"at cost {side} at all of {span(rows[0].sheet.pieces, rows[-1].sheet.pieces, number)} pieces"
    if len(crossings) > 1:
        return " and ".join(number(c.pieces, 1) for c in crossings), "pieces, see below"
    c, value = crossings[0], f"{number(crossings[0].pieces, 1)} pieces"
    if c.low is None or c.high is None:
        return value, c.reason or ""
    return value, f"market level: {span(c.low, c.high, lambda x: number(x, 1))}, cheaper {c.build_cheaper}"


def build_cautions(b: BuildSeen) -> list[str]:
    """Every caution of this build, once; those of the work itself stand with its cost and on the sheet."""
    every = [one for part in (b.sheet, b.pricing, b.comparison) if part for one in part.cautions]
    return list(dict.fromkeys(map(capital, texts(one for one in every if one.code not in BENCH))))


def cost_chart(key: str, sheet: CostSheet, pricing: PriceSheet | None) -> Chart:
    """Bar by bar to the cost and the price."""
    price = f", then to the webshop price of {number(pricing.sale.gross)}" if pricing is not None else ""
    numbers = table(
        f"The numbers of the picture, {sheet.currency}",
        "Step< | Amount | So far",
        (
            Row((s.label, number(s.amount, 2), number(s.end, 2)), "subtotal" if s.kind == "sum" else "")
            for s in cost_steps(sheet, pricing)
        ),
    )
    return Chart(
        f"{key}-cost",
        "How the price comes about" if pricing is not None else "How the cost comes about",
        f"Bars from the donors to the net cost of {number(sheet.net_cost)} {sheet.currency}{price}.",
        numbers,
        partial(costs_figure, sheet, pricing),
        note=f"{ROUTE_WORDS[sheet.route]}. An outlined bar comes off.",
    )


def _lines_table(sheet: CostSheet) -> Table:
    """Every line of the chosen route under its group, with subtotals."""
    rows: list[Row] = []
    for sub in sheet.subtotals():
        for line in sheet.chosen.lines:
            if line.group is sub.group:
                prices = ("not known" if price is None else cents(price) for price in (line.unit_price, line.net))
                rows.append(Row((line.what, f"{trimmed(line.quantity)} {line.unit}", *prices, line.basis)))
        rows.append(Row((group_words(sub.group), "", "", cents(sub.net), ""), "subtotal"))
    rows.append(Row(("Net cost", "", "", cents(sheet.net_cost), ""), "total"))
    unknown = f"Not known: {'; '.join(sheet.incomplete)}, so the figures above are too low by what these cost."
    return table(
        f"Every line, {sheet.currency}. Route: {ROUTE_WORDS[sheet.route]}",
        "What< | Quantity | Unit price | Net | Where it is from<<",
        rows,
        unknown if sheet.incomplete else "",
    )


def _routes_table(sheet: CostSheet) -> Table:
    """The VAT routes side by side: one column each."""
    routes = [r for r in sheet.routes if r.route != "none" or sheet.route == "none"]
    heads = [f"{ROUTE_WORDS[r.route]}{', chosen' if r.route == sheet.route else ''}" for r in routes]

    def price(value: Decimal | None, route: RouteCost) -> str:
        if value is not None:
            return cents(value)
        return NOT_COMPUTED if route.allowed else "not open"

    return table(
        f"Both ways of charging VAT, {sheet.currency}",
        " | ".join(["Figure<", *heads]),
        (
            ("Net cost", *(cents(r.net_cost) for r in routes)),
            ("Purchases under the margin scheme", *(cents(r.purchase) for r in routes)),
            ("Price of zero profit", *(price(r.zero_profit_price, r) for r in routes)),
            ("Price for your margin (floor)", *(price(r.floor, r) for r in routes)),
            ("Landed at cost, freight in", *(price(r.landed_at_cost, r) for r in routes)),
        ),
        *(f"{ROUTE_WORDS[r.route]} is not open: {r.reason}." for r in routes if not r.allowed),
    )


def _sale_tables(pricing: PriceSheet, currency: str) -> tuple[Table, Table]:
    """What one sale at the price leaves, and what it comes to at home and abroad."""
    sale, quote = pricing.sale, pricing.quote
    leaves = table(
        f"The webshop price, {currency}",
        "Figure< | Amount",
        (
            ("Floor: the price for your margin", cents(quote.floor)),
            ("Cap: an original at the door, less your freight", cents(quote.cap)),
            ("Resale: what the market pays for such a kit", cents(quote.resale)),
            (
                "Chance that such a sale loses money",
                "not known" if pricing.chance_of_loss is None else f"{number(100 * pricing.chance_of_loss)} %",
            ),
            Row(("Market price: the smaller of the two", cents(quote.market_price)), "subtotal"),
            ("Profit at the market price", cents(quote.profit_at_market)),
            Row(("Webshop price", cents(sale.gross)), "subtotal"),
            ("VAT in it", cents(sale.vat)),
            ("Net", cents(sale.net)),
            ("Channel's fee", cents(sale.fee)),
            *([("Reserve, set aside", cents(sale.reserve))] if sale.reserve else []),
            ("Profit", cents(sale.profit)),
            ("Margin on net", "not defined" if sale.margin is None else f"{number(sale.margin, 1)} %"),
            Row(("Total at the door, freight in", exact(quote.landed_at_price)), "total"),
        ),
    )
    places = table(
        f"At home and abroad, {currency}",
        "Place< | Kind< | You get, net | The buyer pays at the door",
        (
            (p.place, KINDS[p.kind], cents(p.seller_gets),
             cents(p.buyer_pays) if p.buyer_pays is not None else f"{NOT_COMPUTED}: {p.reason}")
            for p in pricing.destinations
        ),
    )  # fmt: skip
    return leaves, places


def even_chart(key: str, comparison: Comparison) -> Chart:
    """The build against originals at the buyer's door, with its numbers."""
    rows, crossings = comparison.by_pieces, comparison.crossings.crossings
    ranged = any(c.low is not None for c in crossings)
    even = "even; the bar on the axis: where the market level puts it, 80 %" if ranged else "even"
    numbers = table(  # remarks beneath, so that they do not widen the columns
        f"By number of pieces, {comparison.sheet.currency}; at the buyer's door but for the webshop price",
        "Pieces | Build at cost | Webshop price | Build at that price | Typical original | Original, one sale, 80 % | "
        "Originals dearer than the build",
        (
            (str(r.sheet.pieces), cents(r.quote.landed_at_cost), cents(r.quote.asked),
             cents(r.quote.landed_at_price), cents(r.quote.original_landed),
             range_or_none(r.original_low, r.original_high), percent(100 * r.chance_build_cheaper, 0))
            for r in rows
        ),
        *(f"{r.sheet.pieces} pieces: {r.note}." for r in rows if r.note),
    )  # fmt: skip
    return Chart(
        f"{key}-even",
        "Build or original: what it costs at the door",
        f"Lines over {rows[0].sheet.pieces} to {rows[-1].sheet.pieces} pieces: the build at cost, the build at its "
        f"webshop price, and a typical original with the range of one sale. {comparison.crossings.text}",
        numbers,
        partial(breakeven_figure, comparison),
        (
            Key("cost", "build at cost"),
            Key("price", "build at its webshop price"),
            Key("original", "typical original"),
            Key("band", "one sale of an original, 80 %"),
            *((Key("crossing", even),) if crossings else ()),
        ),
    )


def _tie_table(comparison: Comparison) -> Table:
    """The price of an original at which the customer may take either."""
    ties = (("cost", comparison.tie_at_cost), ("its webshop price", comparison.tie_at_price))
    hammer = any(tie.hammer is not None for _, tie in ties)
    return table(
        f"The original's price at which the two tie, {comparison.sheet.currency}",
        f"The build at< | Tie price{' | As a hammer price' if hammer else ''} | Originals this size that sell for less",
        (
            (name, cents(tie.price), *(("no premium" if tie.hammer is None else cents(tie.hammer),) if hammer else ()),
             percent(100 * tie.share_below, 0))
            for name, tie in ties
        ),
        "Priced to tie: an original at the door is what sets the webshop price." if comparison.priced_to_tie else "",
    )  # fmt: skip


def swings_chart(key: str, comparison: Comparison) -> Chart:
    """What moves the profit, the strongest first: each unknown as planned, where it breaks even, what a tenth does."""
    unknowns = comparison.unknowns
    numbers = table(
        f"One thing at a time, the rest as planned; profit at the market price, {comparison.sheet.currency}",
        "What< | Unit< | Planned | Even with an original | No profit at the market price | A tenth less | A tenth more",
        (
            (capital(u.name), u.unit, trimmed(u.planned),
             *("none" if even is None else trimmed(even) for even in (u.break_even, u.break_even_market)),
             *("out of range" if swing is None else f"{'+' if swing > 0 else ''}{number(swing)}"
               for swing in (u.swing_down, u.swing_up)))
            for u in unknowns
        ),
        *dict.fromkeys(f"{capital(u.name)}: {u.reason}." for u in unknowns if u.reason),
    )  # fmt: skip
    return Chart(
        f"{key}-swings",
        "One thing at a time: what moves the profit",
        f"{count(len(unknowns), 'pair')} of bars around no change; {capital(unknowns[0].name)} moves the profit most.",
        numbers,
        partial(swings_figure, comparison),
        (Key("larger", "a tenth more (condition: half a grade)"), Key("smaller", "a tenth less")),
    )
