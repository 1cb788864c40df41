"""The customer's sheet from its records: every text in one language, nothing that is the shop's own business.

As HTML it is one page: no script, nothing fetched, one or two sheets of A4 when printed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.original import as_money, on_top
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.intake.settings.plan import NEW, Plan
from kitvalue.intake.settings.shop import PromiseTable, Shop
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook
from kitvalue.pages.pictures.frame import Chart
from kitvalue.pages.sheet.pictures import dots_chart, sizes_chart
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.tables import Fact, Row, RowKind, Table
from kitvalue.pages.templating import styled_page
from kitvalue.workshop.build import Group
from kitvalue.workshop.money import HUNDRED, ZERO, cents

FEW = 3  # rows of a series under which its figures lean on others
MARKS = 4  # signs of a fingerprint set together
MM_A_CM = 10
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
    vat = {"full": "price.vat_inside", "margin": "price.margin"}.get(sheet.route, "price.exempt")
    never = tie.price <= 0
    pieces, freight = t.count("drums", len(given.plan.drum)), t.exact(sheet.terms.freight)
    return (
        Fact(t.say("fact.price"), t.exact(quote.suggested), t.say(vat, rate=t.percent(sheet.terms.rate * HUNDRED))),
        Fact(t.say("fact.door"), t.exact(quote.landed_at_price), t.say("fact.door_note", freight=freight)),
        Fact(t.say("fact.original"), t.about(quote.original_landed), t.say("fact.original_note", pieces=pieces)),
        Fact(
            t.say("fact.tie"),
            t.say("fact.tie_never" if never else "fact.tie_value", price=t.about(tie.price)),
            t.say("fact.tie_never_note" if never else "fact.tie_note"),
        ),
    )


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
    if sheet.route == "full":
        rows += [row("keeping", sale.net - sheet.net_cost), row("net", sale.net, "subtotal"), row("vat", sale.vat)]
    else:
        rows.append(row("keeping_taxed" if sheet.route == "margin" else "keeping", sale.gross - sheet.net_cost))
    rows += [
        row("total", sale.gross, "subtotal"), row("freight", freight), row("door", sale.gross + freight, "total"),
    ]  # fmt: skip
    return t.table("price", "caption", "what< amount", rows)


def _verdict(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """Which of the two is the cheaper one, what a difference buys, and from what price on the answer turns."""
    quote, tie = given.comparison.quote, given.comparison.tie_at_price
    ours, original = quote.landed_at_price, quote.original_landed
    gap = ours - original
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
        row("price", t.exact(quote.suggested), _typical(given, t, "against.price_range", "against.price_exact")),
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


def render_sheet(view: SheetView) -> str:
    """The whole page, each picture drawn at both widths. Equal input gives equal text."""
    return styled_page("sheet.html", "report.css", "sheet.css", page=view, title=view.title)
