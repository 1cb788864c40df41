"""The customer's sheet from its records: every text in one language, nothing that is the shop's own business."""

from __future__ import annotations

from datetime import date

import numpy as np

from kitvalue.market.fitted import Fit
from kitvalue.pages.sheet import against, kit
from kitvalue.pages.sheet.given import Headings, SheetInput, SheetView
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.tables import Fact

FEW = 3  # rows of a series under which its figures lean on others
MARKS = 4  # signs of a fingerprint set together


def sheet_view(given: SheetInput, t: Tongue) -> SheetView:
    """The sheet's parts in the language `t`."""
    shop, quote = given.shop.shop.name, given.comparison.quote
    dots, lines = against.dots_picture(given, t), against.sizes_picture(given, t)
    mark = spaced(given.fingerprint)
    return SheetView(
        language=t.code,
        title=t.say("page.title", kit=given.plan.title, shop=shop),
        dated=t.say("page.dated", shop=shop, date=t.day(given.today)),
        kit=given.plan.title,
        headings=Headings(*(t.say(f"head.{name}") for name in Headings.__dataclass_fields__)),
        facts=(
            Fact(t.say("fact.price"), t.exact(quote.suggested), kit.vat_words(given, t)),
            Fact(
                t.say("fact.door"), t.exact(quote.landed_at_price),
                t.say("fact.door_note", freight=t.exact(given.comparison.sheet.terms.freight)),
            ),
            Fact(
                t.say("fact.original"), t.about(quote.original_landed),
                t.say("fact.original_note", pieces=t.count("drums", len(given.plan.drum))),
            ),
            against.tie_fact(given, t),
        ),
        about=kit.about_words(given, t),
        drums=kit.drum_table(given, t),
        price=kit.price_table(given, t),
        price_words=kit.price_words(given, t),
        verdict=against.verdict(given, dots, t),
        side=against.side_table(given, t),
        dots=dots,
        dots_around=against.dots_around(dots, t, against.door_price(given)),
        sizes=lines,
        sizes_around=None if lines is None else against.sizes_around(lines, t),
        sizes_words="" if lines is None else against.sizes_words(lines, t),
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
    if not kit.is_restored(given.plan):
        said.append(t.say("care.rebuild"))
    offset = given.fit.recipe.sold_offset
    if offset:
        said.append(t.say("care.haggle", percent=t.percent(-100 * float(np.expm1(offset)))))
    rows = _rows_of(given.fit, given.plan.original.series)
    if rows < FEW:
        said.append(t.say("care.few", n=t.numbers[rows]))
    return tuple(said)
