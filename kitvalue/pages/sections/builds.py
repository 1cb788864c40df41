"""Builds: what each costs, what to ask for it, and how it stands against an original."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.breakeven import Comparison, PiecesRow, Tie
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.decisions.unknowns import Solved
from kitvalue.pages.pictures.builds import (
    BreakEvenPicture,
    CostPicture,
    CrossingMark,
    SizePoint,
    Step,
    Swing,
    SwingsPicture,
    breakeven_figure,
    costs_figure,
    swings_figure,
)
from kitvalue.pages.pictures.frame import Caption, Chart, Key, chart
from kitvalue.pages.words import (
    NOT_COMPUTED,
    Fact,
    Row,
    Table,
    amount,
    capital,
    cents,
    count,
    exact,
    figures,
    number,
    percent,
    sentences,
    span,
    trimmed,
    with_currency,
    words,
)
from kitvalue.workshop.costing import CostSheet, RouteCost

BINDING = {
    "cap": "set by what an original costs at the door",
    "resale": "set by what the market pays for such a kit",
    "floor": "what your margin needs: above what the market gives",
}


@dataclass(frozen=True, slots=True)
class BuildSeen:
    """One plan. What cannot be computed is None, and `reason` says why."""

    name: str
    title: str
    sheet: CostSheet | None
    pricing: PriceSheet | None
    comparison: Comparison | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class BuildView:
    """One build, ready to be laid out: everything that can be told of it."""

    id: str
    title: str
    lead: str
    facts: tuple[Fact, ...]
    ways_out: tuple[str, ...]
    cost: Chart | None
    lines: Table | None
    routes: Table | None
    buying: Table | None
    sale: Table | None
    places: Table | None
    even: Chart | None
    even_words: str
    ties: Table | None
    swings: Chart | None
    like: Table | None
    cautions: tuple[str, ...]


def builds_view(builds: Sequence[BuildSeen], general: Sequence[str]) -> tuple[BuildView, ...]:
    """The section. Cautions that the whole page carries (`general`) are not repeated."""
    return tuple(_build_view(b, f"build-{place}", general) for place, b in enumerate(builds, start=1))


def _build_view(b: BuildSeen, key: str, general: Sequence[str]) -> BuildView:
    sheet, pricing, found = b.sheet, b.pricing, b.comparison
    return BuildView(
        id=key,
        title=b.title,
        lead=lead_words(b),
        facts=_facts(b),
        ways_out=tuple(way.text for way in pricing.ways_out) if pricing else (),
        cost=cost_chart(key, sheet, pricing) if sheet else None,
        lines=lines_table(sheet) if sheet else None,
        routes=routes_table(sheet) if sheet else None,
        buying=buying_table(sheet) if sheet and sheet.quantities else None,
        sale=sale_table(pricing, sheet.currency) if sheet and pricing else None,
        places=places_table(pricing, sheet.currency) if sheet and pricing else None,
        even=even_chart(key, found) if found else None,
        even_words=crossing_words(found) if found else no_comparison(b.reason),
        ties=tie_table(found) if found else None,
        swings=swings_chart(key, found) if found else None,
        like=like_table(found) if found else None,
        cautions=build_cautions(b, general),
    )


def lead_words(b: BuildSeen) -> str:
    """The answer in one sentence, or why there is none."""
    if b.pricing is not None:
        return b.pricing.headline
    return f"{NOT_COMPUTED}: {b.reason or 'no reason is known'}"


def _facts(b: BuildSeen) -> tuple[Fact, ...]:
    facts: list[Fact] = []
    if b.pricing is not None and b.sheet is not None:
        quote, currency = b.pricing.quote, b.sheet.currency
        ask = Fact("Webshop price", with_currency(exact(quote.suggested), currency), BINDING[quote.binding])
        left = "profit" if quote.profit_at_market >= 0 else "loss"
        market = Fact("The market gives", with_currency(amount(quote.market_price), currency),
                      f"{left} there {amount(abs(quote.profit_at_market))}")  # fmt: skip
        facts += [market, ask] if quote.binding == "floor" else [ask, market]
    if b.sheet is not None:
        unknown = f"+ {number(len(b.sheet.incomplete))} unknown" if b.sheet.incomplete else "donors, work, parts"
        facts.append(Fact("Net cost", with_currency(amount(b.sheet.net_cost), b.sheet.currency), unknown))
    if b.comparison is not None:
        facts.append(_even_fact(b.comparison))
    return tuple(facts)


def _even_fact(found: Comparison) -> Fact:
    crossings = found.crossings.crossings
    if not crossings:
        row = found.by_pieces[0]
        sizes = span(row.pieces, found.by_pieces[-1].pieces, number)
        side = "cheaper" if row.build_at_cost <= row.original_typical else "dearer"
        return Fact("Even with an original", "never", f"at cost {side} at all of {sizes} pieces")
    c = crossings[0]
    value = f"{number(c.pieces, 1)} pieces"
    if len(crossings) > 1:
        return Fact("Even with an original", " and ".join(number(x.pieces, 1) for x in crossings), "pieces, see below")
    if c.low is None or c.high is None:
        return Fact("Even with an original", value, c.reason or "")
    ranged = span(c.low, c.high, lambda x: number(x, 1))
    return Fact("Even with an original", value, f"market level: {ranged}, cheaper {c.build_cheaper}")


def build_cautions(b: BuildSeen, general: Sequence[str]) -> tuple[str, ...]:
    """Every caution of this build that the page does not carry already."""
    said = [
        *(b.sheet.cautions if b.sheet else ()),
        *(b.pricing.cautions if b.pricing else ()),
        *(b.comparison.cautions if b.comparison else ()),
    ]
    return tuple(text for text in dict.fromkeys(capital(s) for s in said) if text not in general)


def cheaper_words(found: Comparison) -> str:
    """How often the build at its price is the cheaper one at the door, and where it is even at cost."""
    crossings = found.crossings.crossings
    even = " and ".join(number(c.pieces, 1) for c in crossings)
    where = f"At cost it is even with an original at {even} pieces." if crossings else found.crossings.text
    price = with_currency(exact(found.quote.suggested), found.sheet.currency)
    share = percent(100 * found.chance_build_cheaper, 0)
    return f"At {price} it is cheaper at the door than {share} of originals. {where}"


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
    for label, due in (("Channel's fee", sale.fee), ("VAT", sale.vat)):
        steps.append(Step(label, float(at), float(due), "due"))
        at += due
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


TIED = "Priced to tie: an original at the door is what sets the webshop price."


def even_picture(found: Comparison) -> BreakEvenPicture:
    """The sizes and crossings as drawn: everything at the buyer's door."""
    return BreakEvenPicture(
        found.sheet.currency,
        tuple(_point(row) for row in found.by_pieces),
        tuple(CrossingMark(c.pieces, c.low, c.high) for c in found.crossings.crossings),
    )


def _point(row: PiecesRow) -> SizePoint:
    return SizePoint(
        row.pieces, float(row.build_at_cost), float(row.landed_at_price), float(row.original_typical),
        None if row.original_low is None else float(row.original_low),
        None if row.original_high is None else float(row.original_high),
    )  # fmt: skip


def even_chart(key: str, found: Comparison) -> Chart:
    """The picture with its numbers."""
    picture = even_picture(found)
    caption = Caption(
        id=f"{key}-even",
        title="Build or original: what it costs at the door",
        description=f"Lines over {picture.points[0].pieces} to {picture.points[-1].pieces} pieces: the build at cost, "
        f"the build at its webshop price, and a typical original with the range of one sale. {found.crossings.text}",
        keys=(
            Key("cost", "build at cost"),
            Key("price", "build at its webshop price"),
            Key("original", "typical original"),
            Key("band", "one sale of an original, 80 %"),
            *((Key("crossing", _crossing_key(picture)),) if picture.crossings else ()),
        ),
    )
    return chart(caption, pieces_table(found), lambda layout: breakeven_figure(picture, layout))


def _crossing_key(picture: BreakEvenPicture) -> str:
    ranged = any(c.low is not None for c in picture.crossings)
    return "even; the bar on the axis: where the market level puts it, 80 %" if ranged else "even"


def pieces_table(found: Comparison) -> Table:
    """The break-even by pieces in figures; remarks beneath, so that they do not widen the columns."""
    notes = [f"{row.pieces} pieces: {row.note}." for row in found.by_pieces if row.note]
    return Table(
        caption=f"By number of pieces, {found.sheet.currency}; at the buyer's door but for the webshop price",
        columns=(
            figures("Pieces"), figures("Build at cost"), figures("Webshop price"), figures("Build at that price"),
            figures("Typical original"), figures("Original, one sale, 80 %"),
            figures("Originals dearer than the build"),
        ),
        rows=tuple(
            Row((str(r.pieces), cents(r.build_at_cost), cents(r.build_at_price), cents(r.landed_at_price),
                 cents(r.original_typical), _range(r.original_low, r.original_high),
                 percent(100 * r.chance_build_cheaper, 0)))
            for r in found.by_pieces
        ),
        notes=tuple(notes),
    )  # fmt: skip


def _range(low: Decimal | None, high: Decimal | None) -> str:
    return "no range: exact prices" if low is None or high is None else span(low, high, amount)


def crossing_words(found: Comparison) -> str:
    """The answer in one sentence and how sure it is."""
    none = found.crossings.chance_none
    told = any(c.reason for c in found.crossings.crossings)
    sure = f" In {percent(100 * none, 0)} of what the market level may be they never meet."
    return found.crossings.text if told or none < 0.005 else f"{found.crossings.text}{sure}"


def tie_table(found: Comparison) -> Table:
    """The price of an original at which the customer may take either."""
    hammer = any(t.hammer is not None for t in (found.tie_at_cost, found.tie_at_price))
    return Table(
        caption=f"The original's price at which the two tie, {found.sheet.currency}",
        columns=(
            words("The build at"), figures("Tie price"), *((figures("As a hammer price"),) if hammer else ()),
            figures("Originals this size that sell for less"),
        ),
        rows=(
            _tie_row("cost", found.tie_at_cost, hammer),
            _tie_row("its webshop price", found.tie_at_price, hammer),
        ),
        notes=(TIED,) if found.priced_to_tie else (),
    )  # fmt: skip


def _tie_row(name: str, tie: Tie, hammer: bool) -> Row:
    bid = ("no premium" if tie.hammer is None else cents(tie.hammer),) if hammer else ()
    return Row((name, cents(tie.price), *bid, percent(100 * tie.share_below, 0)))


def swings_picture(found: Comparison) -> SwingsPicture:
    """What moves the profit, the strongest first."""
    return SwingsPicture(
        found.sheet.currency,
        tuple(
            Swing(
                capital(u.name),
                None if u.swing_down is None else float(u.swing_down),
                None if u.swing_up is None else float(u.swing_up),
            )
            for u in found.unknowns
        ),
    )


def swings_chart(key: str, found: Comparison) -> Chart | None:
    """The picture with the table of unknowns; None where nothing can be varied."""
    picture = swings_picture(found)
    if not picture.swings:
        return None
    strongest = picture.swings[0].name
    caption = Caption(
        id=f"{key}-swings",
        title="One thing at a time: what moves the profit",
        description=f"{count(len(picture.swings), 'pair')} of bars around no change; "
        f"{strongest} moves the profit most.",
        keys=(Key("larger", "a tenth more (condition: half a grade)"), Key("smaller", "a tenth less")),
    )
    return chart(caption, unknowns_table(found), lambda layout: swings_figure(picture, layout))


def unknowns_table(found: Comparison) -> Table:
    """Each unknown: as planned, where it breaks even, what a tenth of it does."""
    notes = dict.fromkeys(f"{capital(u.name)}: {u.reason}." for u in found.unknowns if u.reason)
    return Table(
        caption=f"One thing at a time, the rest as planned; profit at the market price, {found.sheet.currency}",
        columns=(
            words("What"), words("Unit"), figures("Planned"), figures("Even with an original"),
            figures("No profit at the market price"), figures("A tenth less"), figures("A tenth more"),
        ),
        rows=tuple(_unknown_row(u) for u in found.unknowns),
        notes=tuple(notes),
    )  # fmt: skip


def _unknown_row(u: Solved) -> Row:
    return Row((
        capital(u.name), u.unit, trimmed(u.planned), _value(u.break_even), _value(u.break_even_market),
        _swing(u.swing_down), _swing(u.swing_up),
    ))  # fmt: skip


def _value(value: Decimal | None) -> str:
    return "none" if value is None else trimmed(value)


def _swing(value: Decimal | None) -> str:
    if value is None:
        return "out of range"
    return f"+{number(value)}" if value > 0 else number(value)


def like_table(found: Comparison) -> Table:
    """Like for like."""
    return Table(
        caption="Like for like",
        columns=(words("Point"), words("The build"), words("A used original")),
        rows=tuple(
            Row((p.what, p.build, p.original), "total" if p is found.like_for_like[-1] else "")
            for p in found.like_for_like
        ),
    )


def no_comparison(reason: str | None) -> str:
    """The sentence where nothing can be compared."""
    return f"{NOT_COMPUTED}: {reason or 'no reason is known'}."
