"""The customer's sheet from its records: every text in one language, nothing that is the shop's own business."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

import numpy as np

from kitvalue.decisions.original import as_money, on_top, repair_of
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import PromiseTable
from kitvalue.market.fitted import Fit
from kitvalue.pages.pictures.builds import OriginalsPicture, SizeSeen, SizesPicture, dot_ticks, size_ticks
from kitvalue.pages.pictures.frame import Key
from kitvalue.pages.sheet.given import Captioned, Headings, SheetInput, SheetView
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.words import DASH, Fact, Row, Table, figures, words
from kitvalue.workshop.build import Group
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.drums import NEW, Drum, drums_of
from kitvalue.workshop.money import HUNDRED, ZERO, cents

FEW = 3  # rows of a series under which its figures lean on others
MARKS = 4  # signs of a fingerprint set together


def sheet_view(given: SheetInput, t: Tongue) -> SheetView:
    """The sheet's parts in the language `t`."""
    shop, quote = given.shop.shop.name, given.comparison.quote
    dots, lines = dots_picture(given, t), sizes_picture(given, t)
    mark = spaced(given.fingerprint)
    return SheetView(
        language=t.code,
        title=t.say("page.title", kit=given.plan.title, shop=shop),
        dated=t.say("page.dated", shop=shop, date=t.day(given.today)),
        kit=given.plan.title,
        headings=Headings(*(t.say(f"head.{name}") for name in Headings.__dataclass_fields__)),
        facts=(
            Fact(t.say("fact.price"), t.exact(quote.suggested), vat_words(given, t)),
            Fact(
                t.say("fact.door"), t.exact(quote.landed_at_price),
                t.say("fact.door_note", freight=t.exact(given.comparison.sheet.terms.freight)),
            ),
            Fact(
                t.say("fact.original"), t.about(quote.original_landed),
                t.say("fact.original_note", pieces=t.count("drums", len(given.plan.drum))),
            ),
            tie_fact(given, t),
        ),
        about=about_words(given, t),
        drums=drum_table(given, t),
        price=price_table(given, t),
        price_words=price_words(given, t),
        verdict=verdict(given, dots, t),
        side=side_table(given, t),
        dots=dots,
        dots_around=dots_around(dots, t, door_price(given)),
        sizes=lines,
        sizes_around=None if lines is None else sizes_around(lines, t),
        sizes_words="" if lines is None else sizes_words(lines, t),
        evidence=_evidence(given, t),
        method=_method(given, t, mark),
        cautions=_cautions(given, t),
        footer=t.say("page.footer", shop=shop, date=t.day(given.today), fingerprint=mark),
    )  # fmt: skip


def spaced(fingerprint: str) -> str:
    """The first twelve signs of a fingerprint in groups: `3f2a 91c0 77de`."""
    return " ".join(fingerprint[i : i + MARKS] for i in range(0, 3 * MARKS, MARKS))


def _evidence(given: SheetInput, t: Tongue) -> tuple[Fact, ...]:
    fit, series, seen = given.fit, given.plan.original.series, given.original
    sold = int((fit.book.price_kind != 0).sum())
    if seen.low is None or seen.high is None:
        note = t.say("evidence.typical_note_exact")
    else:
        note = t.say("evidence.typical_note", low=t.about(seen.low), high=t.about(seen.high))
    return (
        Fact(t.say("evidence.seen"), t.number(fit.rows_used), t.say("evidence.seen_note", sold=t.number(sold))),
        Fact(t.say("evidence.series", series=series), t.number(_rows_of(fit, series))),
        Fact(t.say("evidence.period"), _period(fit, t)),
        Fact(t.say("evidence.typical"), t.about(seen.typical), note),
    )


def _rows_of(fit: Fit, series: str) -> int:
    names = fit.recipe.series
    return fit.recipe.rows_by_series[names.index(series)] if series in names else 0


def _period(fit: Fit, t: Tongue) -> str:
    known = fit.book.date[~np.isnat(fit.book.date)]
    if not len(known):
        return t.say("evidence.period_none")
    first, last = (_month(x, t) for x in (known.min(), known.max()))
    return first if first == last else t.say("evidence.period_value", first=first, last=last)


def _month(day: np.datetime64, t: Tongue) -> str:
    when: date = day.astype("datetime64[D]").astype(object)
    return t.month(when)


def _method(given: SheetInput, t: Tongue, mark: str) -> tuple[str, ...]:
    said = [" ".join(t.say(f"evidence.method_{i}") for i in (1, 2, 3))]
    accuracy = given.fit.accuracy
    if accuracy is not None:
        said.append(t.say("evidence.foretold", percent=t.percent(accuracy.median_ape)))
    return (said[0], " ".join((*said[1:], t.say("evidence.fingerprint", fingerprint=mark))))


def _cautions(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    said = [t.say("care.estimates")]
    if not is_restored(given.plan):
        said.append(t.say("care.rebuild"))
    offset = given.fit.recipe.sold_offset
    if offset:
        said.append(t.say("care.haggle", percent=t.percent(-100 * float(np.expm1(offset)))))
    rows = _rows_of(given.fit, given.plan.original.series)
    if rows < FEW:
        said.append(t.say("care.few", n=t.numbers[rows]))
    return tuple(said)


MM_A_CM = 10


def is_restored(plan: Plan) -> bool:
    """Whether every drum comes from a used original and is sold as one; else it is a rebuild in its dress."""
    series = {donor.series for donor in plan.donor}
    new = any(drum.from_ == NEW for drum in plan.drum)
    return not new and series == {plan.original.series} and plan.finished.series == plan.original.series


def about_words(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """What the kit is, and what it is not."""
    plan, shop = given.plan, given.shop.shop.name
    values = {"shop": shop, "original": plan.original.series, "pieces": t.count("drums", len(plan.drum))}
    donors = t.listed(tuple(dict.fromkeys(donor.series for donor in plan.donor)))
    new = sum(drum.from_ == NEW for drum in plan.drum)
    if is_restored(plan):
        what = t.say("kit.restored", **values)
    elif plan.donor:
        what = t.say("kit.rebuilt", donors=donors, **values)
    else:
        what = t.say("kit.rebuilt_new", **values)
    said = [what]
    if new and plan.donor:
        said.append(t.count("kit.new_shells", new))
    return (*said, t.say("kit.state", condition=condition_words(plan.finished.condition, t)))


def condition_words(grade: Decimal, t: Tongue) -> str:
    """A bench grade as a customer understands it."""
    whole = int(grade)
    text = t.say(f"condition.{whole}")
    return text if grade == whole else t.say("condition.half", text=text)


def drum_table(given: SheetInput, t: Tongue) -> Table:
    """Every drum: its size, its tension points and heads, and where its shell is from."""
    plan = given.plan
    series = {donor.id: donor.series for donor in plan.donor}
    return Table(
        caption=t.say("kit.caption"),
        columns=(
            words(t.say("kit.drum")), figures(t.say("kit.inches")), figures(t.say("kit.centimetres")),
            figures(t.say("kit.lugs")), figures(t.say("kit.heads")), words(t.say("kit.shell")),
        ),
        rows=tuple(_drum_row(d, series.get(d.source), t) for d in drums_of(plan)),
    )  # fmt: skip


def _drum_row(drum: Drum, series: str | None, t: Tongue) -> Row:
    inches = f"{t.number(drum.size.diameter, 3)} × {t.number(drum.size.depth, 3)}"
    across, deep = (t.number(mm / MM_A_CM) for mm in (drum.diameter, drum.depth))
    shell = t.say("kit.shell_new") if series is None else t.say("kit.shell_used", series=series)
    return Row((t.say(f"role.{drum.role}"), inches, f"{across} × {deep}", t.number(drum.positions),
                t.number(drum.heads), shell))  # fmt: skip


def price_table(given: SheetInput, t: Tongue) -> Table | None:
    """From drums and work to the price, or None where it is not to be shown or where a cost is not known.

    What was paid for the used drums stands in one sum with shells and parts unless the owner shows it. Under the margin
    scheme no line lets the VAT be seen (Directive 2006/112/EC art. 325).
    """
    sheet, sale = given.comparison.sheet, given.pricing.sale
    if not given.shown.costs or sheet.incomplete:
        return None
    made = _made_lines(given, sheet, t)
    rest = sale.net - sheet.net_cost
    rows = [Row((what, t.cents(net))) for what, net in made]
    if sheet.route == "full":
        rows.append(Row((t.say("price.keeping"), t.cents(rest))))
        rows.append(Row((t.say("price.net"), t.cents(sale.net)), "subtotal"))
        rows.append(Row((t.say("price.vat", rate=t.percent(sheet.terms.rate * HUNDRED)), t.cents(sale.vat))))
    else:
        key = "price.keeping_taxed" if sheet.route == "margin" else "price.keeping"
        rows.append(Row((t.say(key), t.cents(sale.gross - sheet.net_cost))))
    rows += [
        Row((t.say("price.total"), t.cents(sale.gross)), "subtotal"),
        Row((t.say("price.freight"), t.cents(sheet.terms.freight))),
        Row((t.say("price.door"), t.cents(sale.gross + sheet.terms.freight)), "total"),
    ]
    return Table(
        caption=t.say("price.caption"),
        columns=(words(t.say("price.what")), figures(t.say("price.amount"))),
        rows=tuple(rows),
    )


def _made_lines(given: SheetInput, sheet: CostSheet, t: Tongue) -> list[tuple[str, Decimal]]:
    donors, parts, sold = (_sum(sheet, g) for g in ((Group.DONORS,), (Group.PARTS,), (Group.SURPLUS,)))
    work = _sum(sheet, (Group.WORK, Group.CONTINGENCY, Group.SENT_OUT))
    lines: list[tuple[str, Decimal]] = []
    if given.shown.purchases:
        lines += [(t.say("price.drums"), donors), (t.say("price.parts"), parts)]
        if sold != 0:
            lines.append((t.say("price.sold_off"), sold))
    else:
        lines.append((t.say("price.material"), donors + parts + sold))
    if work > 0:
        lines.append((t.count("price.work", _hours(sheet), hours=t.number(_hours(sheet), 1)), work))
    return lines


def _hours(sheet: CostSheet) -> Decimal:
    return sheet.hours


def _sum(sheet: CostSheet, groups: Sequence[Group]) -> Decimal:
    return cents(sum((x.net for x in sheet.lines if x.group in groups and x.net is not None), ZERO))


def price_words(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """What was done, where the owner shows the costs, and the words that the VAT route asks for."""
    said = []
    done = tuple(line.what for line in given.plan.work)
    if given.shown.costs and done:
        said.append(t.say("price.work_list", work="; ".join(done)))
    if given.comparison.sheet.route == "margin":
        said.append(t.say("price.margin_note"))
    return tuple(said)


def vat_words(given: SheetInput, t: Tongue) -> str:
    """What stands under the price: VAT inside, the margin scheme's words, or that there is none."""
    sheet = given.comparison.sheet
    if sheet.route == "full":
        return t.say("price.vat_inside", rate=t.percent(sheet.terms.rate * HUNDRED))
    return t.say("price.margin" if sheet.route == "margin" else "price.exempt")


SAME = Decimal("0.02")  # of the original's price: closer than this the two cost the same
MOST_TICKS = 8


def door_price(given: SheetInput) -> Decimal:
    """Our kit at the buyer's door, gross."""
    return given.comparison.quote.landed_at_price


def dots_picture(given: SheetInput, t: Tongue) -> OriginalsPicture:
    """Twenty originals at the door and our price among them."""
    ours = float(door_price(given))
    values = dot_ticks(given.at_door, ours, MOST_TICKS)
    return OriginalsPicture(
        dots=given.at_door,
        ours=ours,
        axis=t.say("dots.axis", currency=t.currency),
        label=t.say("dots.ours", ours=t.exact(door_price(given))),
        ticks=tuple((v, t.number(v, 2)) for v in values),
    )


def dots_around(picture: OriginalsPicture, t: Tongue, ours: Decimal) -> Captioned:
    """What stands around the dots."""
    keys = (Key("less", t.say("dots.key_less")), Key("more", t.say("dots.key_more")))
    return Captioned(
        title=t.say("dots.title"),
        description=t.say("dots.description", ours=t.exact(ours), left=picture.left),
        keys=keys,
        note=t.say("dots.one_each"),
        table=Table(
            caption=t.say("dots.title"),
            columns=(figures(t.say("dots.number")), figures(t.say("dots.value"))),
            rows=tuple(Row((str(i), t.about(dot))) for i, dot in enumerate(picture.dots, start=1)),
        ),
    )


def verdict(given: SheetInput, picture: OriginalsPicture, t: Tongue) -> tuple[str, ...]:
    """Which of the two is the cheaper one, what a difference buys, and from what price on the answer turns."""
    ours, original = door_price(given), given.comparison.quote.original_landed
    gap = ours - original
    values = {"ours": t.exact(ours), "original": t.about(original), "difference": t.about(abs(gap))}
    if abs(gap) <= SAME * original:
        said = [t.say("verdict.even", **values)]
    elif gap > 0:
        said = [t.say("verdict.original", **values), t.say("verdict.buys")]
    else:
        said = [t.say("verdict.build", **values)]
    return (*said, _tie_words(given, picture, t))


def _tie_words(given: SheetInput, picture: OriginalsPicture, t: Tongue) -> str:
    tie = given.comparison.tie_at_price
    if tie.price <= 0:
        return t.say("verdict.tie_never")
    share = t.share(picture.left, len(picture.dots))
    if tie.hammer is not None:
        return t.say("verdict.tie_hammer", tie=t.about(tie.price), hammer=t.about(tie.hammer), share=share)
    return t.say("verdict.tie", tie=t.about(tie.price), share=share)


def tie_fact(given: SheetInput, t: Tongue) -> Fact:
    """Under what price an original is the better buy."""
    tie = given.comparison.tie_at_price
    if tie.price <= 0:
        return Fact(t.say("fact.tie"), t.say("fact.tie_never"), t.say("fact.tie_never_note"))
    return Fact(t.say("fact.tie"), t.say("fact.tie_value", price=t.about(tie.price)), t.say("fact.tie_note"))


def side_table(given: SheetInput, t: Tongue) -> Table:
    """Point by point: what each is, what it needs, what it costs, what stands behind it."""
    plan, quote = given.plan, given.comparison.quote
    drums = t.count("drums", len(plan.drum))
    promise = given.shop.promise.get(t.code, PromiseTable())
    channel = plan.original.channel
    rows = [
        _row(t, "kit", plan.title, t.say("against.as_found", series=plan.original.series)),
        _row(t, "pieces", drums, drums),
        _row(t, "condition", condition_words(plan.finished.condition, t), condition_words(plan.original.condition, t)),
        _row(t, "needs", t.say("against.plays"), _needs(given, t)),
        _row(t, "price", t.exact(quote.suggested), _price_words(given, t)),
        _row(t, "freight", t.exact(given.comparison.sheet.terms.freight), t.exact(plan.original.freight)),
    ]
    border = _border(given)
    if border > 0:
        rows.append(_row(t, "border", t.say("against.nothing"), t.say("against.border_value", money=t.about(border))))
    guarantee = promise.guarantee or t.say("against.guarantee_law")
    returns = promise.returns or t.say("against.returns_law")
    total = t.say("against.about", money=t.about(quote.original_landed))
    rows += [
        _row(t, "guarantee", guarantee, t.say(f"against.guarantee_of.{channel}")),
        _row(t, "returns", returns, t.say(f"against.returns_of.{channel}")),
        Row((t.say("against.total"), t.exact(door_price(given)), total), "total"),
    ]
    heads = (t.say("against.point"), t.say("against.ours"), t.say("against.original"))
    return Table(t.say("against.caption"), tuple(words(head) for head in heads), tuple(rows))


def _row(t: Tongue, key: str, ours: str, original: str) -> Row:
    return Row((t.say(f"against.{key}"), ours, original))


def _needs(given: SheetInput, t: Tongue) -> str:
    repair = repair_of(given.plan)
    return t.say("against.work_needed", money=t.exact(repair)) if repair > 0 else t.say("against.plays")


def _price_words(given: SheetInput, t: Tongue) -> str:
    seen = given.original
    if seen.low is None or seen.high is None:
        return t.say("against.price_exact", typical=t.about(seen.typical))
    return t.say(
        "against.price_range", typical=t.about(seen.typical), low=t.about(seen.low), high=t.about(seen.high)
    )  # fmt: skip


def _border(given: SheetInput) -> Decimal:
    original = given.plan.original
    return (as_money(given.original.typical) + original.freight) * (on_top(original) - 1)


def sizes_picture(given: SheetInput, t: Tongue) -> SizesPicture | None:
    """Both over the number of drums; None where the plan has one size only."""
    seen = tuple(
        SizeSeen(
            row.sheet.pieces, float(row.quote.landed_at_price), float(row.quote.original_landed),
            None if row.original_low is None else float(row.original_low),
            None if row.original_high is None else float(row.original_high),
        )
        for row in given.comparison.by_pieces
    )  # fmt: skip
    if len(seen) < 2:
        return None
    return SizesPicture(
        sizes=seen,
        axis=t.say("sizes.axis", currency=t.currency),
        across=t.say("sizes.across"),
        ours=t.say("sizes.ours"),
        original=t.say("sizes.typical"),
        ticks=tuple((v, t.number(v, 2)) for v in size_ticks(seen)),
    )


def sizes_around(picture: SizesPicture, t: Tongue) -> Captioned:
    """What stands around the lines."""
    first, last = picture.sizes[0].pieces, picture.sizes[-1].pieces
    ranged = any(s.low is not None for s in picture.sizes)
    return Captioned(
        title=t.say("sizes.title"),
        description=t.say("sizes.description", first=first, last=last),
        keys=(
            Key("cost", t.say("sizes.key_ours")),
            Key("original", t.say("sizes.key_original")),
            *((Key("band", t.say("sizes.key_band")),) if ranged else ()),
        ),
        note="",
        table=Table(
            caption=t.say("sizes.title"),
            columns=tuple(figures(t.say(f"sizes.{key}")) for key in ("pieces", "at_door", "original", "range")),
            rows=tuple(Row((str(s.pieces), t.about(s.ours), t.about(s.original), _range(s, t))) for s in picture.sizes),
        ),
    )


def _range(s: SizeSeen, t: Tongue) -> str:
    return DASH if s.low is None or s.high is None else f"{t.about(s.low)}{DASH}{t.about(s.high)}"


def sizes_words(picture: SizesPicture, t: Tongue) -> str:
    """In which sizes our kit is the cheaper one."""
    cheaper = [s.pieces for s in picture.sizes if s.ours < s.original]
    first, last = picture.sizes[0].pieces, picture.sizes[-1].pieces
    if not cheaper:
        return t.say("sizes.none", first=first, last=last)
    if len(cheaper) == len(picture.sizes):
        return t.say("sizes.every", first=first, last=last)
    return t.say("sizes.some", sizes=t.listed([str(k) for k in cheaper]))
