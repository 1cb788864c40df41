"""The customer's sheet from its records: every text in one language, nothing that is the shop's own business.

As HTML it is one page: no script, nothing fetched, one or two sheets of A4 when printed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial

import numpy as np

from kitvalue.decisions.breakeven import Comparison, SizedBuild
from kitvalue.decisions.original import as_money, on_top
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.intake.settings.plan import NEW, Plan
from kitvalue.intake.settings.shop import PromiseTable, Shop
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook
from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, INK, ORANGE, RULE, VERMILLION, Box, Figure
from kitvalue.pages.figures import DASH
from kitvalue.pages.pictures.builds import pieces_below, ranges_of, size_lines, top_of
from kitvalue.pages.pictures.frame import Chart, Key, Layout, linear_ticks
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.tables import Fact, Row, RowKind, Table
from kitvalue.pages.templating import styled_page
from kitvalue.workshop.build import Group
from kitvalue.workshop.money import HUNDRED, ZERO, cents
from kitvalue.workshop.tax import at_door

FEW = 3  # rows of a series under which its figures lean on others
MARKS = 4  # signs of a fingerprint set together
MM_A_CM = 10
DOT = 22.0  # a dot and the gap to the next, units
ROOM = 0.09  # of the axis, free at either end
MOST_TICKS = 8
SAME = Decimal("0.02")  # of the original's price: closer than this the two cost the same


@dataclass(frozen=True, slots=True, eq=False)
class SheetInput:
    """Everything that the sheet shows. `original` is the outlook of the original at the plan's pieces; `at_door` are
    twenty equally likely originals at the buyer's door, money, in rising order. `fingerprint` names the evidence.
    The owner may show how the price comes about, and in it what was paid for the used drums."""

    plan: Plan
    shop: Shop
    fit: Fit
    pricing: PriceSheet
    comparison: Comparison
    original: Outlook
    at_door: tuple[float, ...]
    fingerprint: str
    today: date
    show_costs: bool = True
    show_purchases: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SheetView:
    """The sheet's parts. `headings` are by part; `price` is None where costs are hidden or not all known."""

    language: str
    title: str
    dated: str
    kit: str
    headings: Mapping[str, str]
    facts: tuple[Fact, ...]
    about: tuple[str, ...]
    drums: Table
    price: Table | None
    price_words: tuple[str, ...]
    verdict: tuple[str, ...]
    side: Table
    pictures: tuple[Chart, ...]
    evidence: tuple[Fact, ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    footer: str


def sheet_view(given: SheetInput, t: Tongue) -> SheetView:
    """The sheet's parts in the language `t`."""
    plan, mark, sizes = given.plan, spaced(given.fingerprint), given.comparison.by_pieces
    price = given.comparison.quote.landed_at_price
    work = "; ".join(line.what for line in plan.work)
    price_words = [t.say("price.work_list", work=work)] if plan.work and given.show_costs else []
    price_words += [t.say("price.margin_note")] if given.comparison.sheet.route == "margin" else []
    accuracy = given.fit.accuracy
    measured = [] if accuracy is None else [t.say("evidence.predicted", percent=t.percent(accuracy.median_ape))]
    dots = dots_chart(given.at_door, float(price), t.exact(price), _cheaper(given), t)
    named = {"shop": given.shop.shop.name, "date": t.day(given.today), "kit": plan.title, "fingerprint": mark}
    return SheetView(
        language=t.code,
        title=t.say("page.title", **named),
        dated=t.say("page.dated", **named),
        kit=plan.title,
        headings={key.removeprefix("head."): text for key, text in t.texts.items() if key.startswith("head.")},
        facts=_facts(given, t),
        about=_about(given, t),
        drums=_drums(given, t),
        price=_price(given, t),
        price_words=tuple(price_words),
        verdict=_verdict(given, t),
        side=_side(given, t),
        pictures=(dots, sizes_chart(sizes, t)) if len(sizes) > 1 else (dots,),
        evidence=_evidence(given, t),
        method=(
            " ".join(t.say(f"evidence.method_{i}") for i in (1, 2, 3)),
            " ".join((*measured, t.say("evidence.fingerprint", fingerprint=mark))),
        ),
        cautions=_cautions(given, t),
        footer=t.say("page.footer", **named),
    )


def spaced(fingerprint: str) -> str:
    """The first twelve signs of a fingerprint in groups: `3f2a 91c0 77de`."""
    return " ".join(fingerprint[i : i + MARKS] for i in range(0, 3 * MARKS, MARKS))


def _facts(given: SheetInput, t: Tongue) -> tuple[Fact, ...]:
    """What it costs, here and at the door, beside an original, and under what price an original is the better buy."""
    sheet, quote, tie = given.comparison.sheet, given.comparison.quote, given.comparison.tie_at_price
    vat = {"full": "price.vat_inside", "margin": "price.margin", "sales": "price.without_sales_tax"}.get(
        sheet.route, "price.exempt"
    )
    never, service = tie.price <= 0, sheet.is_service
    pieces, freight = t.count("drums", len(given.plan.drum)), t.exact(sheet.terms.freight)
    facts = (
        Fact(t.say("fact.price"), t.exact(quote.asked), t.say(vat, rate=t.percent(sheet.terms.rate * HUNDRED))),
        Fact(t.say("fact.door"), t.exact(quote.landed_at_price), t.say("fact.door_note", freight=freight)),
        Fact(t.say("fact.original"), t.about(quote.original_landed), t.say("fact.original_note", pieces=pieces)),
        Fact(
            t.say("fact.tie"),
            t.say("fact.tie_never" if never else "fact.tie_value", price=t.about(tie.price)),
            t.say("fact.tie_never_note" if never else "fact.tie_note"),
        ),
    )
    return facts[:2] if service else facts


def _is_restored(plan: Plan) -> bool:
    """Whether every drum comes from a used original and is sold as one; else it is a rebuild in its dress."""
    new = any(drum.from_ == NEW for drum in plan.drum)
    return not new and {donor.series for donor in plan.donor} == {plan.original.series} == {plan.finished.series}


def _about(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """What the kit is, and what it is not."""
    plan = given.plan
    what = t.say(
        f"kit.{'restored' if _is_restored(plan) else 'rebuilt' if plan.donor else 'rebuilt_new'}",
        shop=given.shop.shop.name,
        original=plan.original.series,
        pieces=t.count("drums", len(plan.drum)),
        donors=t.listed(tuple(dict.fromkeys(donor.series for donor in plan.donor))),
    )
    new = sum(drum.from_ == NEW for drum in plan.drum)
    shells = [t.count("kit.new_shells", new)] if new and plan.donor else []
    return (what, *shells, t.say("kit.state", condition=_condition(plan.finished.condition, t)))


def _condition(grade: Decimal, t: Tongue) -> str:
    """A bench grade as a customer understands it."""
    text = t.say(f"condition.{int(grade)}")
    return text if grade == int(grade) else t.say("condition.half", text=text)


def _drums(given: SheetInput, t: Tongue) -> Table:
    """Every drum: its size, its tension points and heads, and where its shell is from."""
    series = {donor.id: donor.series for donor in given.plan.donor}
    rows = []
    for d in given.plan.drum:
        inches = (t.number(inch, 3) for inch in (d.size.diameter, d.size.depth))
        across = (t.number(mm / MM_A_CM) for mm in (d.size.diameter_mm, d.size.depth_mm))
        used = t.say("kit.shell_used" if d.from_ in series else "kit.shell_new", series=series.get(d.from_))
        sizes = (" × ".join(inches), " × ".join(across))
        rows.append(Row((t.say(f"role.{d.role}"), *sizes, t.number(d.positions), t.number(d.heads), used)))
    return t.table("kit", "caption", "drum< inches centimetres lugs heads shell<", rows)


def _price(given: SheetInput, t: Tongue) -> Table | None:
    """From drums and work to the price, or None where it is not to be shown or where a cost is not known.

    What was paid for the used drums stands in one sum with shells and parts unless the owner shows it. Under the margin
    scheme no line lets the VAT be seen (Directive 2006/112/EC art. 325).
    """
    sheet, sale = given.comparison.sheet, given.pricing.sale
    if not given.show_costs or sheet.incomplete:
        return None
    rate, freight = t.percent(sheet.terms.rate * HUNDRED), sheet.terms.freight

    def of(*groups: Group) -> Decimal:
        return cents(sum((x.net for x in sheet.chosen.lines if x.group in groups and x.net is not None), ZERO))

    def row(key: str, amount: Decimal, kind: RowKind = "") -> Row:
        return Row((t.say(f"price.{key}", rate=rate), t.cents(amount)), kind)

    donors, parts, sold = of(Group.DONORS), of(Group.PARTS), of(Group.SURPLUS)
    rows = [row("material", donors + parts + sold)]
    if given.show_purchases:
        rows = [row("drums", donors), row("parts", parts), *([row("sold_off", sold)] if sold else [])]
    work = of(Group.WORK, Group.CONTINGENCY, Group.SENT_OUT)
    if work > 0:
        rows.append(Row((t.count("price.work", sheet.hours, hours=t.number(sheet.hours, 1)), t.cents(work))))
    ours = of(Group.UNTIL_SOLD) - sheet.net_cost
    if sheet.route == "full":
        rows += [row("keeping", sale.net + ours), row("net", sale.net, "subtotal"), row("vat", sale.vat)]
    else:
        rows.append(row("keeping_taxed" if sheet.route == "margin" else "keeping", sale.gross + ours))
    door = cents(at_door(sale.gross, sheet.terms, sheet.route))
    on_top = door - sale.gross - freight  # sales tax
    rows += [
        row("total", sale.gross, "subtotal"), row("freight", freight), *([row("sales_tax", on_top)] if on_top else []),
        row("door", door, "total"),
    ]  # fmt: skip
    return t.table("price", "caption", "what< amount", rows)


def _verdict(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """Which of the two is the cheaper one, what a difference buys, and from what price on the answer turns."""
    quote, tie = given.comparison.quote, given.comparison.tie_at_price
    ours, original = quote.landed_at_price, quote.original_landed
    gap = ours - original
    if given.comparison.sheet.is_service:  # his own kit is not weighed against another
        return ()
    which = "even" if abs(gap) <= SAME * original else "original" if gap > 0 else "build"
    values = {"ours": t.exact(ours), "original": t.about(original), "difference": t.about(abs(gap))}
    said = [t.say(f"verdict.{which}", **values), *([t.say("verdict.buys")] if which == "original" else [])]
    if tie.price <= 0:
        return (*said, t.say("verdict.tie_never"))
    turns = {"tie": t.about(tie.price), "share": t.share(_cheaper(given), len(given.at_door))}
    if tie.hammer is None:
        return (*said, t.say("verdict.tie", **turns))
    return (*said, t.say("verdict.tie_hammer", hammer=t.about(tie.hammer), **turns))


def _cheaper(given: SheetInput) -> int:
    """How many of the originals at the door lie below our price there."""
    return sum(dot < float(given.comparison.quote.landed_at_price) for dot in given.at_door)


def _side(given: SheetInput, t: Tongue) -> Table:
    """Point by point: what each is, what it needs, what it costs, what stands behind it."""
    plan, original, quote = given.plan, given.plan.original, given.comparison.quote
    promise = given.shop.promise.get(t.code, PromiseTable())
    drums, plays, repair = t.count("drums", len(plan.drum)), t.say("against.plays"), plan.original.repair or ZERO
    border = (as_money(given.original.typical) + original.freight) * (on_top(original) - 1)
    landed = t.say("against.about", money=t.about(quote.original_landed))

    def row(key: str, ours: str, theirs: str, kind: RowKind = "") -> Row:
        return Row((t.say(f"against.{key}"), ours, theirs), kind)

    rows = [
        row("kit", plan.title, t.say("against.as_found", series=original.series)),
        row("pieces", drums, drums),
        row("condition", _condition(plan.finished.condition, t), _condition(original.condition, t)),
        row("needs", plays, t.say("against.work_needed", money=t.exact(repair)) if repair > 0 else plays),
        row("price", t.exact(quote.asked), _typical(given, t, "against.price_range", "against.price_exact")),
        row("freight", t.exact(given.comparison.sheet.terms.freight), t.exact(original.freight)),
        row("border", t.say("against.nothing"), t.say("against.border_value", money=t.about(border))),
        *(
            row(key, stated or t.say(f"against.{key}_law"), t.say(f"against.{key}_of.{original.channel}"))
            for key, stated in (("guarantee", promise.guarantee), ("returns", promise.returns))
        ),
        row("total", t.exact(quote.landed_at_price), landed, "total"),
    ]  # fmt: skip
    if border <= 0:
        del rows[6]
    return t.table("against", "caption", "point< ours< original<", rows)


def _typical(given: SheetInput, t: Tongue, ranged: str, exact: str) -> str:
    """What such an original sells for, by the text for a price with a range or by that for one without."""
    o = given.original
    if o.low is None or o.high is None:
        return t.say(exact, typical=t.about(o.typical))
    return t.say(ranged, typical=t.about(o.typical), low=t.about(o.low), high=t.about(o.high))


def _evidence(given: SheetInput, t: Tongue) -> tuple[Fact, ...]:
    fit, series = given.fit, given.plan.original.series
    sold = t.number(int((fit.book.price_kind != 0).sum()))
    known = fit.book.date[~np.isnat(fit.book.date)]
    period = t.say("evidence.period_none")
    if len(known):
        first, last = (t.month(day.astype("datetime64[D]").item()) for day in (known.min(), known.max()))
        period = first if first == last else t.say("evidence.period_value", first=first, last=last)
    note = _typical(given, t, "evidence.typical_note", "evidence.typical_note_exact")
    return (
        Fact(t.say("evidence.seen"), t.number(fit.rows_used), t.say("evidence.seen_note", sold=sold)),
        Fact(t.say("evidence.series", series=series), t.number(_rows_of(fit, series))),
        Fact(t.say("evidence.period"), period),
        Fact(t.say("evidence.typical"), t.about(given.original.typical), note),
    )


def _rows_of(fit: Fit, series: str) -> int:
    return dict(zip(fit.recipe.series, fit.recipe.rows_by_series, strict=True)).get(series, 0)


def _cautions(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    offset, rows = given.fit.recipe.sold_offset, _rows_of(given.fit, given.plan.original.series)
    said = [t.say("care.estimates")]
    if not _is_restored(given.plan):
        said.append(t.say("care.rebuild"))
    if offset:
        said.append(t.say("care.haggle", percent=t.percent(-100 * float(np.expm1(offset)))))
    if rows < FEW:
        said.append(t.say("care.few", n=t.numbers[rows]))
    return tuple(said)


def dots_chart(dots: Sequence[float], ours: float, price: str, below: int, t: Tongue) -> Chart:
    """Originals at the door, money in rising order, and our price among them, over so many of them."""
    rows = [Row((str(i), t.about(dot))) for i, dot in enumerate(dots, start=1)]
    return Chart(
        "dots",
        t.say("dots.title"),
        t.say("dots.description", ours=price, left=below),
        t.table("dots", "title", "number value", rows),
        partial(_dots_figure, dots, ours, price, t),
        (Key("less", t.say("dots.key_less")), Key("more", t.say("dots.key_more"))),
        t.say("dots.one_each"),
    )


def _span_of(dots: Sequence[float], ours: float) -> tuple[float, float]:
    """The axis: every dot and our price, with room at the ends."""
    low, high = min(*dots, ours), max(*dots, ours)
    room = ROOM * (high - low) or 0.1 * high or 1.0
    return max(low - room, 0.0), high + room


def stacked(dots: Sequence[float], ours: float, width: float) -> list[tuple[float, int]]:
    """The dots in columns of their own width, each its column's middle (money) and its place above the axis, 0 the
    lowest; a column never holds dots of both sides of our price."""
    low, high = _span_of(dots, ours)
    step = DOT * (high - low) / width
    heights: dict[int, int] = {}
    placed = []
    for dot in dots:
        column = math.floor((dot - ours) / step)
        heights[column] = heights.get(column, -1) + 1
        placed.append((ours + (column + 0.5) * step, heights[column]))
    return placed


def _dots_figure(dots: Sequence[float], ours: float, price: str, t: Tongue, layout: Layout) -> Figure:
    """A quantile dotplot, each dot as likely as the next: people count dots better than they read areas (Kay, Kola,
    Hullman and Munson 2016, CHI; from memory)."""
    box = Box(left=12, top=30, right=12, bottom=46)
    placed = stacked(dots, ours, layout.width - box.left - box.right)
    height = DOT * max(3, 1 + max(floor for _, floor in placed)) + 8
    figure, ax = charts.canvas(layout.width, height, box)
    low, high = _span_of(dots, ours)
    ax.set_xlim(low, high)
    ax.set_ylim(0, height)
    ax.plot([low, high], [0, 0], color=INK, linewidth=1, zorder=1)
    for value in linear_ticks(low, high, MOST_TICKS)[:: 2 if layout.narrow else 1]:
        ax.plot([value, value], [0, 5], color=RULE, linewidth=0.8, zorder=0)
        charts.write(ax, (value, 0), t.number(value, 2), shift=(0, -7), anchor="center", level="top")
    axis = t.say("dots.axis", currency=t.currency)
    charts.write(ax, ((low + high) / 2, 0), axis, shift=(0, -27), anchor="center", level="top")
    for dot, (middle, floor) in zip(dots, placed, strict=True):
        cheaper = dot < ours
        ax.plot([middle], [DOT * (floor + 0.5) + 3], "o", markersize=DOT - 5, markeredgewidth=1.6,
                markeredgecolor=VERMILLION if cheaper else BLUE, markerfacecolor=ORANGE if cheaper else charts.PAPER,
                gid="less" if cheaper else "more")  # fmt: skip
    ax.plot([ours] * 2, [0, height], color=INK, linewidth=2, gid="ours")
    late = ours > (low + high) / 2
    charts.write(ax, (ours, height), t.say("dots.ours", ours=price), shift=(-6 if late else 6, 10),
                 anchor="right" if late else "left", bold=True)  # fmt: skip
    return figure


def sizes_chart(sizes: Sequence[SizedBuild], t: Tongue) -> Chart:
    """Both over the number of drums, and in which sizes our kit is the cheaper one."""
    rows, cheaper = [], []
    for r in sizes:
        pieces, ours, original = str(r.sheet.pieces), r.quote.landed_at_price, r.quote.original_landed
        low, high = r.original_low, r.original_high
        within = DASH if low is None or high is None else f"{t.about(low)}{DASH}{t.about(high)}"
        rows.append(Row((pieces, t.about(ours), t.about(original), within)))
        cheaper += [pieces] if ours < original else []
    keys = [Key("cost", t.say("sizes.key_ours")), Key("original", t.say("sizes.key_original"))]
    keys += [Key("band", t.say("sizes.key_band"))] if ranges_of(sizes) else []
    which = "none" if not cheaper else "every" if len(cheaper) == len(sizes) else "some"
    ends = {"first": sizes[0].sheet.pieces, "last": sizes[-1].sheet.pieces}
    return Chart(
        "sizes",
        t.say("sizes.title"),
        t.say("sizes.description", **ends),
        t.table("sizes", "title", "pieces at_door original range", rows),
        partial(_sizes_figure, sizes, t),
        tuple(keys),
        words=t.say(f"sizes.{which}", sizes=t.listed(cheaper), **ends),
    )


def _sizes_figure(sizes: Sequence[SizedBuild], t: Tongue, layout: Layout) -> Figure:
    """Two lines over the original's range of one sale; each carries its name at its right end."""
    ks, ranged = [s.sheet.pieces for s in sizes], ranges_of(sizes)
    lines = {
        "original": [float(s.quote.original_landed) for s in sizes],
        "cost": [float(s.quote.landed_at_price) for s in sizes],
    }
    top = top_of(lines, ranged, 1.06, 1.5)
    tall, right = (142, 84) if layout.narrow else (178, 96)
    figure, ax = charts.canvas(layout.width, tall, Box(left=58, top=26, right=right, bottom=46))
    ax.set_xlim(ks[0] - 0.25, ks[-1] + 0.12)
    ax.set_ylim(0, top)
    charts.ticks(ax, "y", linear_ticks(0.0, top, 6), lambda value: t.number(value, 2))
    charts.write(ax, (ks[0] - 0.25, top), t.say("sizes.axis", currency=t.currency), shift=(-50, 14))
    pieces_below(ax, ks, 12, t.say("sizes.across"), 7)
    size_lines(ax, ks, lines, (t.say("sizes.typical"), t.say("sizes.ours")), ranged, 0.24, 12)
    return figure


def render_sheet(view: SheetView) -> str:
    """The whole page, each picture drawn at both widths. Equal input gives equal text."""
    return styled_page("sheet.html", "report.css", "sheet.css", page=view, title=view.title)
