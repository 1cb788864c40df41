"""What the market pays: the price book by series, what each difference is worth, how prices move, how far the fit can
be trusted, and the rows that agree with nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.market.accuracy import left_out_prices
from kitvalue.market.encoding import Kit, Term, paid
from kitvalue.market.fitted import Accuracy, Fit, moved
from kitvalue.market.outlook import outlook
from kitvalue.pages.figures import DASH, NBSP, amount, change, change_span, count, day, number, percent, span, trimmed
from kitvalue.pages.pictures.frame import Chart, Key, Section
from kitvalue.pages.pictures.market import (
    RANGES,
    RING,
    SeriesStrip,
    Sighting,
    market_figure,
    predicted_figure,
    thinned,
    trend_figure,
)
from kitvalue.pages.tables import Column, Fact, Row, Table, and_more, columns_of, table
from kitvalue.pages.words import NOT_COMPUTED, plain, short

MOST_STRIPS = 12
MOST_SERIES = 60
MOST_DOTS = 600  # of one picture
MOST_UNUSUAL = 40
RANGE = 80  # percent
NEARLY_ALL = 0.005  # share of predicted prices beyond each end of the axis
MEANINGS = {
    "pieces": "Twice the drums", "condition": "One grade better", "sold": "Sold, against asked",
    "dealer": "At a dealer, against private", "auction": "At auction, against private", "years": "A year later",
}  # fmt: skip


def market_section(fit: Fit, currency: str) -> Section:
    """The price book by series, and what each difference between kits is worth."""
    # The book's middle: median pieces, median condition to the half grade, sold in private on its newest date.
    kit = Kit(
        series=fit.recipe.series[0],
        pieces=float(np.floor(np.median(fit.book.pieces) + 0.5)),
        condition=float(np.floor(2 * np.median(fit.book.condition) + 0.5)) / 2,
        price_kind="asked" if fit.recipe.sold_offset is None else "sold",
        on=fit.recipe.reference_date,
    )
    about = f"{count(int(kit.pieces), 'piece')}, condition {trimmed(kit.condition, 1)}"
    words = f"{about}, {kit.price_kind} in private" + (f", on {day(kit.on)}" if kit.on else "")
    strips = [SeriesStrip(effect, outlook(fit, replace(kit, series=effect.name), RANGE)) for effect in fit.series]
    strips.sort(key=lambda strip: (-strip.outlook.typical, strip.series.name))
    last = strips[-1]
    low = f", and {last.series.name} the least, {amount(last.outlook.typical)}" if len(strips) > 1 else ""
    return Section(
        f"{strips[0].series.name} fetches the most, about {amount(strips[0].outlook.typical)} {currency}{low}: "
        f"{words}. Every price in the picture is brought to that kit.",
        _market_chart(fit, strips, f"The price book by series: {about}", currency),
        (_series_table(fit, strips, words, currency), effects_table(fit)),
        tuple(Fact(out.term, out.reason) for out in fit.recipe.left_out),
    )


def _market_chart(fit: Fit, levels: Sequence[SeriesStrip], title: str, currency: str) -> Chart:
    """The series with most rows, the dearest first."""
    drawn = with_sightings(fit, levels)
    first, last = drawn[0], drawn[-1]
    dots = [s for strip in drawn for s in strip.sightings]
    further, left = len(levels) - len(drawn), sum(fit.recipe.rows_by_series) - len(dots)
    notes = (
        f"{count(further, 'further series', 'further series')} with fewer rows in the table below." if further else "",
        f"{count(left, 'row')} not drawn." if left > 0 else "",
    )
    rows = table(
        f"The rows behind the picture, {currency}",
        "Series< | Row | Pieces | Condition | Seen on | Price seen | Brought to this kit | Remark<",
        (
            Row(
                (
                    s.series, str(s.row), trimmed(s.pieces), trimmed(s.condition, 1),
                    s.seen_on.isoformat() if s.seen_on else "not known", amount(s.paid), amount(s.at),
                    "unusual" if s.unusual else "",
                ),
                "marked" if s.unusual else "",
            )
            for s in dots
        ),
    )  # fmt: skip
    return Chart(
        "prices-by-series",
        title,
        f"{count(len(drawn), 'series', 'series')} on a log scale of {currency}: from {first.series.name} at "
        f"{amount(first.outlook.typical)} down to {last.series.name} at {amount(last.outlook.typical)}. "
        f"{count(len(dots), 'row')} drawn as dots.",
        rows,
        partial(market_figure, drawn, currency),
        (Key("dot", "a kit seen, brought to this kit"), *RANGES, RING),
        " ".join(note for note in notes if note),
    )


def sightings(fit: Fit, at: FloatArray, ratio: FloatArray) -> list[Sighting]:
    """The sample's rows, each with where it stands (n,) and its price over what is expected of such a kit (n,)."""
    book, unusual = fit.book, {u.row for u in fit.unusual}
    days = book.date.astype("datetime64[D]").tolist()  # None where there is no date
    columns = (book.rows, book.series, book.pieces, book.condition, paid(book), at, ratio)
    return [
        Sighting(row, book.series_names[code], pieces, condition, seen_on, money, place, factor, row in unusual)
        for seen_on, row, code, pieces, condition, money, place, factor in zip(
            days, *(column.tolist() for column in columns), strict=True
        )
    ]


def with_sightings(fit: Fit, levels: Sequence[SeriesStrip]) -> list[SeriesStrip]:
    """The series with most rows, with the rows that are drawn. Brought to the kit of the strips, a row keeps only what
    the fit does not explain of it."""
    most = sorted(levels, key=lambda level: (-level.series.rows, level.series.name))[:MOST_STRIPS]
    typical = {level.series.name: level.outlook.typical for level in levels}
    ratios = np.exp(fit.residuals)
    rows = sightings(fit, np.array([typical[fit.book.series_names[code]] for code in fit.book.series]) * ratios, ratios)
    strips = []
    for level in levels:
        if level in most:
            own = [s for s in rows if s.series == level.series.name]
            strips.append(replace(level, sightings=thinned(own, MOST_DOTS // len(most))))
    return strips


def _series_table(fit: Fit, levels: Sequence[SeriesStrip], kit: str, currency: str) -> Table:
    against = "the average series" if fit.recipe.pooled else min(fit.recipe.series)
    heads = columns_of(f"Series< | Rows | Typical | Market level, {RANGE} % | One sale, {RANGE} %")
    return table(
        f"What each series fetches, {currency}: {kit}",
        (*heads, Column(f"Against {short(plain(against), 24)}")),
        (
            (level.series.name, number(level.series.rows), amount(level.outlook.typical),
             range_or_none(level.outlook.level_low, level.outlook.level_high),
             range_or_none(level.outlook.low, level.outlook.high), change(level.series.percent))
            for level in levels[:MOST_SERIES]
        ),
        and_more(len(levels) - MOST_SERIES, "more series", "kitvalue fit lists them all"),
        "Market level: where the typical price itself may lie. One sale: where the next single kit may go.",
    )  # fmt: skip


def range_or_none(low: float | Decimal | None, high: float | Decimal | None) -> str:
    """A range of money, or that there is none."""
    return "no range: exact prices" if low is None or high is None else span(low, high, amount)


def effects_table(fit: Fit) -> Table:
    """What each difference does to the price, everything else equal."""
    rows = []
    for term, estimate in zip(fit.recipe.terms, fit.terms[1:], strict=True):
        if term.source != "series":
            power = float(np.log(2)) if term.source == "pieces" else 1.0
            low, high = (100 * float(np.expm1(x * power)) for x in (estimate.low, estimate.high))
            effect = DASH if estimate.percent is None else change(estimate.percent)
            meaning = MEANINGS.get(term.source) or _feature_meaning(term, fit)
            rows.append((meaning, effect, change_span(low, high)))
    return table(
        "What a difference is worth, everything else equal",
        "Difference< | On the price | 95 % range",
        rows,
        "A range that holds 0 % means that this book cannot tell which way it goes.",
    )


def _feature_meaning(term: Term, fit: Fit) -> str:
    feature = next(f for f in fit.recipe.features if f.name == term.feature)
    if feature.kind == "word":
        own = {t.level for t in fit.recipe.terms if t.feature == term.feature}
        return f"{term.feature}: {term.level}, against {', '.join(w for w in feature.words if w not in own)}"
    return f"{term.feature}: yes, against no" if feature.kind == "yes-no" else f"{term.feature}: one more"


def trend_section(fit: Fit) -> Section:
    """How prices move from year to year in this book; without a picture the sentence says why."""
    newest = fit.recipe.reference_date
    if newest is None:
        return Section("No row has a date, so nothing can be said of how prices move.")
    year = moved(fit, newest.replace(year=newest.year - 1, day=min(newest.day, 28)), newest, RANGE)
    if year.percent is None or year.low is None or year.high is None:
        return Section(f"How prices move cannot be told: {year.reason}.")
    ends = change_span(year.low, year.high)
    lead = f"Over the last year such kits moved by {change(year.percent, 1)} (80 in 100: {ends})."
    if year.low < 0 < year.high:
        lead += " The range holds 0 %, so this book cannot tell which way prices go."
    term, rows = next(t for t in fit.terms if t.name == "years"), dated_rows(fit)
    left = int((~np.isnat(fit.book.date)).sum()) - len(rows)
    quarters: dict[str, list[Sighting]] = {}
    for on, s in sorted(((s.seen_on, s) for s in rows if s.seen_on), key=lambda pair: pair[0]):
        quarters.setdefault(f"{on.year}, quarter {(on.month + 2) // 3}", []).append(s)
    numbers = table(
        "The numbers of the picture, by quarter",
        "Quarter< | Kits | Middle kit | Yearly effect",
        (
            (quarter, number(len(kits)), change(100 * (float(np.median([s.ratio for s in kits])) - 1)),
             change(100 * float(np.expm1(term.coefficient * np.mean([s.at for s in kits])))))
            for quarter, kits in quarters.items()
        ),
        "Against today's level of such kits.",
    )  # fmt: skip
    drawn = Chart(
        "over-time",
        "Every dated kit against what it would fetch on the newest date",
        f"{count(len(rows), 'dot')} from {-min(s.at for s in rows):.1f} years before the newest date on; "
        f"the line moves by {change(year.percent, 1)} a year.",
        numbers,
        partial(trend_figure, rows, term.coefficient, fit.level_t[RANGE - 1] * term.se),
        (Key("dot", "a kit seen, everything but time evened out"), Key("level", "the yearly effect, 80 %"), RING),
        f"{count(left, 'row')} not drawn." if left > 0 else "",
    )
    return Section(lead, drawn)


def dated_rows(fit: Fit) -> tuple[Sighting, ...]:
    """The dated rows of the sample with everything but time evened out, or so many evenly spaced in time."""
    term = next(t for t in fit.terms if t.name == "years")
    rows = sightings(fit, fit.rows.years, np.exp(fit.residuals + term.coefficient * fit.rows.years))
    return thinned([s for s in rows if s.seen_on is not None], MOST_DOTS)


def trust_section(fit: Fit, currency: str) -> Section:
    """The accuracy of a fit in words an owner understands, each measure beside what a perfect model would show."""
    accuracy = fit.accuracy
    if accuracy is None:
        return Section(f"{NOT_COMPUTED}: the fit was made without its accuracy.")
    lead = (
        f"Asked for kits that it has not seen, the fit is within {percent(accuracy.median_ape)} of the real price for "
        "every second one."
    )
    if accuracy.coverage_80 is not None:
        lead += f" Of the ranges that should hold 80 in 100 sales, {number(accuracy.coverage_80)} in 100 did."
    predicted, half = left_out_prices(fit), percent(accuracy.median_ape)
    rows = thinned(sightings(fit, predicted, paid(fit.book) / predicted), MOST_DOTS)
    low, high = (float(q) for q in np.quantile(predicted, [NEARLY_ALL, 1 - NEARLY_ALL]))
    left = len(fit.book) - len(rows)
    numbers = table(
        f"The numbers of the picture, {currency}",
        "Row | Series< | Predicted | Seen | Seen against predicted",
        (
            Row((str(s.row), s.series, amount(s.at), amount(s.paid), change(100 * (s.ratio - 1))),
                "marked" if s.unusual else "")
            for s in rows
        ),
    )  # fmt: skip
    drawn = Chart(
        "predicted",
        "Each kit against its price as the other rows predict it",
        f"{count(len(rows), 'dot')}: the price seen against the predicted one, over the predicted "
        f"price in {currency}. Every second kit is within {half}.",
        numbers,
        partial(predicted_figure, rows, accuracy.median_ape, (low / 1.12, high * 1.12), currency),
        (Key("dot", "a kit seen"), Key("range", f"within {half}: every second kit"), RING),
        f"{count(left, 'row')} not drawn." if left else "",
    )
    return Section(lead, drawn, (_measures(accuracy),), reasons=accuracy.reasons)


def _measures(accuracy: Accuracy) -> Table:
    prd, expected, prb = accuracy.prd, accuracy.prd_expected, accuracy.prb
    held, forward = accuracy.coverage_80, accuracy.forward_median_ape
    return table(
        "How well the fit predicts kits that it has not seen",
        "Measure< | This book | A perfect model | What it says<<",
        (
            ("Median error", percent(accuracy.median_ape, 1), "above 0 %",
             "Half of all prices are predicted at least this closely."),
            ("80 % ranges that held", NOT_COMPUTED if held is None else percent(held, 0), "80 %",
             "Under 80 the ranges are too narrow, over 80 too cautious."),
            (f"Median error, {count(accuracy.forward_rows, 'kit')} of later quarters",
             NOT_COMPUTED if forward is None else percent(forward, 1), "above 0 %",
             "Each quarter predicted from the ones before it, as in daily use."),
            ("Middle ratio", number(accuracy.median_ratio, 3), "1.000",
             "Predicted over real: above 1 the fit is too dear, below 1 too cheap."),
            ("Dispersion (COD)", percent(accuracy.cod, 1), "above 0 %",
             "How far predicted over real lies from its middle on average."),
            ("Price-related differential (PRD)", NOT_COMPUTED if prd is None else number(prd, 3),
             NOT_COMPUTED if expected is None else number(expected, 3),
             "Further above means that dear kits come out too cheap beside cheap ones."),
            ("Price-related bias (PRB)", NOT_COMPUTED if prb is None else change(100 * prb, 1), "near 0 %",
             "What the predicted price gains or loses each time the value doubles."),
        ),
        "COD, PRD and PRB count every row in full, slips and bundles too: a single one moves them far.",
    )  # fmt: skip


def unusual_section(fit: Fit, currency: str) -> Section:
    """Rows with a weight under one half, the furthest first."""
    if not fit.unusual:
        return Section("No row lies far from what the others say of it.")
    rows = table(
        f"Rows of prices.csv far from what the others say of them, {currency}",
        "Where< | Series< | Price seen | Expected | Weight | Moves the price by | Perhaps<<",
        (
            (f"Row{NBSP}{u.row}", u.series, amount(u.observed), amount(u.expected), number(u.weight, 2),
             change(u.moves_percent, 1), u.hint or "no guess")
            for u in fit.unusual[:MOST_UNUSUAL]
        ),
        and_more(len(fit.unusual) - MOST_UNUSUAL, "more rows", "kitvalue fit lists them all"),
        "Weight: how much the row still counts, from 0 to 1. Moves: what it does to the price of a kit like it.",
    )  # fmt: skip
    return Section(
        f"{count(len(fit.unusual), 'row')} of {number(fit.rows_used)} count for less than half, because nothing else "
        "in the book agrees with them. Nothing is thrown away; a slip mended in the file helps every figure here.",
        tables=(rows,),
    )
