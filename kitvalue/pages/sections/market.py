"""What the market pays: the price book by series, and what each difference between kits is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kitvalue.market.encoding import Kit, Term, paid
from kitvalue.market.fitted import Fit, TermEstimate, moved
from kitvalue.market.outlook import Outlook, outlook
from kitvalue.pages.pictures.frame import Caption, Chart, Key, chart, thinned
from kitvalue.pages.pictures.market import (
    Dated,
    MarketPicture,
    Sighting,
    Strip,
    TrendPicture,
    market_figure,
    trend_figure,
)
from kitvalue.pages.words import (
    DASH,
    Row,
    Table,
    amount,
    and_more,
    change,
    change_span,
    count,
    day,
    figures,
    number,
    plain,
    short,
    span,
    trimmed,
    words,
)

MOST_STRIPS = 12
MOST_SERIES = 60
MOST_DOTS = 600
RANGE = 80  # percent


@dataclass(frozen=True, slots=True)
class LeftOutTerm:
    """A difference that this book cannot price, with the reason."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class MarketView:
    """The section, ready to be laid out."""

    lead: str
    prices: Chart
    series: Table
    effects: Table
    left_out: tuple[LeftOutTerm, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SeriesLevel:
    """What the reference kit of one series sells for."""

    name: str
    rows: int
    percent: float
    outlook: Outlook


def market_view(fit: Fit, currency: str) -> MarketView:
    """The section for a fit."""
    kit = middle_kit(fit)
    levels = _levels(fit, kit)
    picture = market_picture(fit, currency, levels)
    return MarketView(
        lead=f"To set the series side by side, every price in this picture is brought to one kit: {kit_words(kit)}.",
        prices=chart(_caption(fit, kit, picture), sightings_table(picture), lambda at: market_figure(picture, at)),
        series=_series_table(fit, levels, kit, currency),
        effects=effects_table(fit),
        left_out=tuple(LeftOutTerm(out.term, out.reason) for out in fit.recipe.left_out),
    )


def middle_kit(fit: Fit) -> Kit:
    """The book's middle: median pieces, median condition to the half grade, sold in private on its newest date."""
    return Kit(
        series=fit.recipe.series[0],
        pieces=float(np.floor(np.median(fit.book.pieces) + 0.5)),
        condition=float(np.floor(2 * np.median(fit.book.condition) + 0.5)) / 2,
        price_kind="asked" if fit.recipe.sold_offset is None else "sold",
        on=fit.recipe.reference_date,
    )


def kit_words(kit: Kit) -> str:
    """`5 pieces, condition 3, sold in private, on 14 November 2026`."""
    deal = "sold" if kit.price_kind == "sold" else "asked"
    when = f", on {day(kit.on)}" if kit.on else ""
    return f"{count(int(kit.pieces), 'piece')}, condition {trimmed(kit.condition, 1)}, {deal} in private{when}"


def _levels(fit: Fit, kit: Kit) -> tuple[SeriesLevel, ...]:
    """Every series, the dearest first."""
    found = [
        SeriesLevel(effect.name, effect.rows, effect.percent, outlook(fit, replace(kit, series=effect.name), RANGE))
        for effect in fit.series
    ]
    return tuple(sorted(found, key=lambda level: (-level.outlook.typical, level.name)))


def market_picture(fit: Fit, currency: str, levels: tuple[SeriesLevel, ...]) -> MarketPicture:
    """The series with most rows, the dearest first, and their rows brought to the reference kit."""
    most = {level.name for level in sorted(levels, key=lambda x: (-x.rows, x.name))[:MOST_STRIPS]}
    chosen = [level for level in levels if level.name in most]
    per_strip = MOST_DOTS // max(len(chosen), 1)
    strips = []
    for level in chosen:
        view = level.outlook
        dots = thinned(_sightings(fit, level), per_strip, lambda s: s.unusual, lambda s: s.adjusted)
        strips.append(
            Strip(level.name, level.rows, view.typical, view.low, view.high, view.level_low, view.level_high, dots)
        )
    return MarketPicture(currency, tuple(strips), len(levels) - len(chosen))


def _sightings(fit: Fit, level: SeriesLevel) -> list[Sighting]:
    """The rows of one series. Brought to the reference kit a row keeps only what the fit does not explain of it."""
    book = fit.book
    unusual = {row.row for row in fit.unusual}
    seen, index = paid(book), book.series_names.index(level.name)
    return [
        Sighting(
            row=int(book.rows[i]),
            series=level.name,
            pieces=float(book.pieces[i]),
            condition=float(book.condition[i]),
            seen_on=None if np.isnat(book.date[i]) else book.date[i].astype("datetime64[D]").astype(object),
            paid=float(seen[i]),
            adjusted=level.outlook.typical * float(np.exp(fit.residuals[i])),
            unusual=int(book.rows[i]) in unusual,
        )
        for i in np.flatnonzero(book.series == index)
    ]


def _caption(fit: Fit, kit: Kit, picture: MarketPicture) -> Caption:
    first, last = picture.strips[0], picture.strips[-1]
    drawn = sum(len(s.sightings) for s in picture.strips)
    left = sum(fit.recipe.rows_by_series) - drawn
    notes = [
        f"{count(picture.series_left, 'further series', 'further series')} with fewer rows in the table below."
        if picture.series_left
        else "",
        f"{count(left, 'row')} not drawn." if left > 0 else "",
    ]
    return Caption(
        id="prices-by-series",
        title=f"The price book by series: {count(int(kit.pieces), 'piece')}, condition {trimmed(kit.condition, 1)}",
        description=f"{count(len(picture.strips), 'series', 'series')} on a log scale of {picture.currency}: from "
        f"{first.series} at {amount(first.typical)} down to {last.series} at {amount(last.typical)}. "
        f"{count(drawn, 'row')} drawn as dots.",
        keys=(
            Key("dot", "a kit seen, brought to this kit"),
            Key("typical", "typical price"),
            Key("level", f"market level, {RANGE} %"),
            Key("range", f"one sale, {RANGE} %"),
            Key("ring", "unusual row"),
        ),
        note=" ".join(n for n in notes if n),
    )


def sightings_table(picture: MarketPicture) -> Table:
    """The numbers behind the dots."""
    return Table(
        caption=f"The rows behind the picture, {picture.currency}",
        columns=(
            words("Series"), figures("Row"), figures("Pieces"), figures("Condition"), figures("Seen on"),
            figures("Price seen"), figures("Brought to this kit"), words("Remark"),
        ),
        rows=tuple(
            Row(
                (
                    s.series, str(s.row), trimmed(s.pieces), trimmed(s.condition, 1),
                    s.seen_on.isoformat() if s.seen_on else "not known", amount(s.paid), amount(s.adjusted),
                    "unusual" if s.unusual else "",
                ),
                "marked" if s.unusual else "",
            )
            for strip in picture.strips
            for s in strip.sightings
        ),
    )  # fmt: skip


def _series_table(fit: Fit, levels: tuple[SeriesLevel, ...], kit: Kit, currency: str) -> Table:
    against = "the average series" if fit.recipe.pooled else min(fit.recipe.series)
    return Table(
        caption=f"What each series fetches, {currency}: {kit_words(kit)}",
        columns=(
            words("Series"), figures("Rows"), figures("Typical"), figures(f"Market level, {RANGE} %"),
            figures(f"One sale, {RANGE} %"), figures(f"Against {short(plain(against), 24)}"),
        ),
        rows=tuple(
            Row(
                (
                    level.name, number(level.rows), amount(level.outlook.typical),
                    range_or_none(level.outlook.level_low, level.outlook.level_high),
                    range_or_none(level.outlook.low, level.outlook.high), change(level.percent),
                )
            )
            for level in levels[:MOST_SERIES]
        ),
        notes=(
            *and_more(len(levels) - MOST_SERIES, "more series", "kitvalue fit lists them all"),
            "Market level: where the typical price itself may lie. One sale: where the next single kit may go.",
        ),
    )  # fmt: skip


def range_or_none(low: float | None, high: float | None) -> str:
    """A range of money, or that there is none."""
    return "no range: exact prices" if low is None or high is None else span(low, high, amount)


def effects_table(fit: Fit) -> Table:
    """What each difference does to the price, everything else equal."""
    rows = tuple(
        Row((_meaning(term, fit), _effect(estimate), _effect_range(term, estimate)))
        for term, estimate in zip(fit.recipe.terms, fit.terms[1:], strict=True)
        if term.source != "series"
    )
    return Table(
        caption="What a difference is worth, everything else equal",
        columns=(words("Difference"), figures("On the price"), figures("95 % range")),
        rows=rows,
        notes=("A range that holds 0 % means that this book cannot tell which way it goes.",),
    )


def _meaning(term: Term, fit: Fit) -> str:
    match term.source:
        case "pieces":
            return "Twice the drums"
        case "condition":
            return "One grade better"
        case "sold":
            return "Sold, against asked"
        case "dealer":
            return "At a dealer, against private"
        case "auction":
            return "At auction, against private"
        case "years":
            return "A year later"
        case _:
            return _feature_meaning(term, fit)


def _feature_meaning(term: Term, fit: Fit) -> str:
    feature = next(f for f in fit.recipe.features if f.name == term.feature)
    if feature.kind == "word":
        own = {t.level for t in fit.recipe.terms if t.feature == term.feature}
        base = ", ".join(w for w in feature.words if w not in own)
        return f"{term.feature}: {term.level}, against {base}"
    return f"{term.feature}: yes, against no" if feature.kind == "yes-no" else f"{term.feature}: one more"


def _effect(estimate: TermEstimate) -> str:
    return DASH if estimate.percent is None else change(estimate.percent)


def _effect_range(term: Term, estimate: TermEstimate) -> str:
    power = float(np.log(2)) if term.source == "pieces" else 1.0
    low, high = (100 * float(np.expm1(x * power)) for x in (estimate.low, estimate.high))
    return change_span(low, high)


MOST_DRAWN = 600
RANGE_TREND = 80


@dataclass(frozen=True, slots=True)
class TrendView:
    """The section on time: one sentence, and the picture; without a picture the sentence says why."""

    lead: str
    picture: Chart | None


def trend_view(fit: Fit) -> TrendView:
    """How prices move from year to year in this book."""
    newest = fit.recipe.reference_date
    if newest is None:
        return TrendView("No row has a date, so nothing can be said of how prices move.", None)
    year = moved(fit, newest.replace(year=newest.year - 1, day=min(newest.day, 28)), newest, RANGE_TREND)
    if year.percent is None or year.low is None or year.high is None:
        return TrendView(f"How prices move cannot be told: {year.reason}.", None)
    ends = change_span(year.low, year.high)
    lead = f"Over the last year such kits moved by {change(year.percent, 1)} (80 in 100: {ends})."
    if year.low < 0 < year.high:
        lead += " The range holds 0 %, so this book cannot tell which way prices go."
    picture = trend_picture(fit)
    left = int((~np.isnat(fit.book.date)).sum()) - len(picture.rows)
    caption = Caption(
        id="over-time",
        title="Every dated kit against what it would fetch on the newest date",
        description=f"{count(len(picture.rows), 'dot')} from {-picture.first:.1f} years before the newest date on; "
        f"the line moves by {change(year.percent, 1)} a year.",
        keys=(
            Key("dot", "a kit seen, everything but time evened out"),
            Key("level", "the yearly effect, 80 %"),
            Key("ring", "unusual row"),
        ),
        note=f"{count(left, 'row')} not drawn." if left > 0 else "",
    )
    return TrendView(lead, chart(caption, trend_table(picture), lambda layout: trend_figure(picture, layout)))


def trend_picture(fit: Fit) -> TrendPicture:
    """The dated rows of the sample with everything but time evened out, or so many evenly spaced in time."""
    term = next(t for t in fit.terms if t.name == "years")
    years = fit.rows.years
    unusual = {u.row for u in fit.unusual}
    rows = [
        Dated(
            int(fit.book.rows[i]),
            fit.book.date[i].astype("datetime64[D]").astype(object),
            float(years[i]),
            float(np.exp(fit.residuals[i] + term.coefficient * years[i])),
            int(fit.book.rows[i]) in unusual,
        )
        for i in np.flatnonzero(~np.isnan(years))
    ]
    reach = fit.level_t[RANGE_TREND - 1] * term.se
    drawn = thinned(rows, MOST_DRAWN, lambda r: r.unusual, lambda r: r.years)
    return TrendPicture(drawn, term.coefficient, term.coefficient - reach, term.coefficient + reach)


def trend_table(picture: TrendPicture) -> Table:
    """The numbers behind the picture, by calendar quarter."""
    quarters: dict[str, list[Dated]] = {}
    for r in sorted(picture.rows, key=lambda r: r.day):
        quarters.setdefault(f"{r.day.year}, quarter {(r.day.month + 2) // 3}", []).append(r)
    return Table(
        caption="The numbers of the picture, by quarter",
        columns=(words("Quarter"), figures("Kits"), figures("Middle kit"), figures("Yearly effect")),
        rows=tuple(
            Row(
                (
                    name,
                    number(len(rows)),
                    change(100 * (float(np.median([r.ratio for r in rows])) - 1)),
                    change(100 * float(np.expm1(picture.effect * np.mean([r.years for r in rows])))),
                )
            )
            for name, rows in quarters.items()
        ),
        notes=("Against today's level of such kits.",),
    )
