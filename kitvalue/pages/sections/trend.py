"""Whether prices have moved, and by how much a year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.market import columns
from kitvalue.market.fitted import Fit
from kitvalue.market.trend import moved
from kitvalue.pages.pictures.frame import Caption, Chart, Key, chart
from kitvalue.pages.pictures.thinning import thinned
from kitvalue.pages.pictures.trend import Dated, TrendPicture, trend_figure
from kitvalue.pages.tables import Row, Table, figures, words
from kitvalue.pages.words import change, change_span, count, number

MOST_DRAWN = 600
RANGE = 80


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
    year = moved(fit, newest.replace(year=newest.year - 1, day=min(newest.day, 28)), newest, RANGE)
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
    years = columns.of_book(fit.book, fit.recipe.reference_date).years
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
    reach = fit.level_t[RANGE - 1] * term.se
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
