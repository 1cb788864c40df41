"""The owner's report: one HTML page that needs nothing else. Records in, text out; no clock, no file is written here.

The page forbids every outside request and every style but its own by a Content-Security-Policy, and has no script.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from markupsafe import Markup

from kitvalue.intake.text.problems import FileCounts, Level, Problem
from kitvalue.market.fitted import Fit, leading
from kitvalue.market.value import ESTIMATES
from kitvalue.pages import charts
from kitvalue.pages.pictures.frame import WIDE, Chart
from kitvalue.pages.sections.builds import BuildSeen, BuildView, build_cautions, builds_view
from kitvalue.pages.sections.market import MarketView, TrendView, market_view, trend_view
from kitvalue.pages.sections.offers import NoteList, OfferSeen, OffersView, offers_view, resale_words, today_view
from kitvalue.pages.sections.trust import TrustView, UnusualView, trust_view, unusual_view
from kitvalue.pages.words import (
    Fact,
    Row,
    Table,
    and_more,
    capital,
    count,
    day,
    digest,
    figures,
    number,
    sentences,
    templates,
    words,
)

MOST_PROBLEMS = 80
SIGNS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point"}
EFFECTS = {Level.REFUSED: "row not used", Level.WARNING: "noted", Level.FILE: "file not used"}


@dataclass(frozen=True, slots=True)
class FilesView:
    """The section: counts a file, then every problem."""

    lead: str
    counts: Table | None
    problems: Table | None


def files_view(files: Sequence[FileCounts], problems: Sequence[Problem]) -> FilesView:
    """The section for the files read."""
    refused = sum(f.refused for f in files)
    lead = f"{count(sum(f.read for f in files), 'row')} read, {number(refused) if refused else 'none'} refused."
    if not problems:
        lead += " No complaint about any cell."
    return FilesView(lead, _counts(files) if files else None, _problems(problems) if problems else None)


def _counts(files: Sequence[FileCounts]) -> Table:
    return Table(
        caption="Files read",
        columns=(
            words("File"), figures("Read"), figures("Used"), figures("Refused"), figures("Set aside"),
            words("Columns parted by"), words("Decimal sign"), words("Encoding"),
        ),
        rows=tuple(
            Row((f.file, number(f.read), number(f.used), number(f.refused), number(f.set_aside),
                 _sign(f.delimiter), _sign(f.decimal), f.encoding or "not told"))
            for f in files
        ),
        notes=("Set aside: repeated rows, and older listings of a kit that was listed again.",),
    )  # fmt: skip


def _sign(sign: str | None) -> str:
    return "not needed" if sign is None else SIGNS.get(sign, sign)


def _problems(problems: Sequence[Problem]) -> Table:
    order = {Level.FILE: 0, Level.REFUSED: 1, Level.WARNING: 2}
    told = sorted(problems, key=lambda p: order[p.level])
    return Table(
        caption="Problems in the files",
        columns=(
            words("File"), figures("Row"), words("Column"), sentences("What is wrong, what to do"), words("Effect"),
        ),
        rows=tuple(
            Row((p.file, "all" if p.row is None else str(p.row), p.column or "all", p.message, EFFECTS[p.level]))
            for p in told[:MOST_PROBLEMS]
        ),
        notes=and_more(len(told) - MOST_PROBLEMS, "more", "kitvalue check lists them all"),
    )  # fmt: skip


__all__ = ["BuildSeen", "OfferSeen", "ReportInput", "render_report"]


@dataclass(frozen=True, slots=True, eq=False)
class ReportInput:
    """Everything that the report shows. `fit` is None where the market cannot be told, and `fit_reason` says why.

    Money is in `currency` (ISO 4217) throughout; `today` is the day that the page is dated.
    """

    shop_name: str
    currency: str
    today: date
    files: tuple[FileCounts, ...]
    problems: tuple[Problem, ...]
    fit: Fit | None
    fit_reason: str | None
    offers: tuple[OfferSeen, ...]
    builds: tuple[BuildSeen, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReportView:
    """The page's parts, ready to be laid out. What needs a fit is None without one."""

    title: str
    shop_name: str
    masthead: tuple[Fact, ...]
    today: tuple[NoteList, ...]
    no_market: str
    market: MarketView | None
    trend: TrendView | None
    trust: TrustView | None
    unusual: UnusualView | None
    offers: OffersView
    builds: tuple[BuildView, ...]
    files: FilesView
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    leads: tuple[str, ...]  # of the cautions those that stand above everything else


def render_report(given: ReportInput) -> str:
    """The whole page. Equal input gives equal text."""
    return lay_out(report_view(given))


def lay_out(view: ReportView) -> str:
    """The page of a view."""
    pages = templates()
    css = pages.get_template("report.css").render()
    style = Markup(css)  # noqa: S704 - our own template
    return pages.get_template("report.html").render(page=view, css=style, css_hash=digest(css))


def report_view(given: ReportInput) -> ReportView:
    """The page's parts from the records."""
    fit, currency = given.fit, given.currency
    cautions = _cautions(given)
    return ReportView(
        title=f"{given.shop_name}: price book report, {day(given.today)}",
        shop_name=given.shop_name,
        masthead=_masthead(given),
        today=today_view(given.builds, given.offers, fit, given.problems, currency),
        no_market=given.fit_reason or "no reason is known",
        market=None if fit is None else market_view(fit, currency),
        trend=None if fit is None else trend_view(fit),
        trust=None if fit is None else trust_view(fit, currency),
        unusual=None if fit is None else unusual_view(fit, currency),
        offers=offers_view(given.offers, currency, resale_words(fit)),
        builds=builds_view(given.builds, cautions),
        files=files_view(given.files, given.problems),
        method=() if fit is None else _method(fit),
        cautions=cautions,
        leads=_leads(given),
    )


def _masthead(given: ReportInput) -> tuple[Fact, ...]:
    fit = given.fit
    facts = [Fact("Date", day(given.today))]
    if fit is not None:
        facts += [
            Fact("Kits in the book", number(fit.rows_used)),
            Fact("Series", number(len(fit.recipe.series))),
            Fact("Seen", _period(fit)),
        ]
    return (*facts, Fact("Money", given.currency))


def _period(fit: Fit) -> str:
    known = fit.book.date[~np.isnat(fit.book.date)]
    if not len(known):
        return "no dates"
    first, last = (x.astype("datetime64[D]").astype(object) for x in (known.min(), known.max()))
    return f"{first.strftime('%m/%Y')} to {last.strftime('%m/%Y')}"


def _method(fit: Fit) -> tuple[str, ...]:
    """How the figures come about, in short."""
    pooled = (
        "A series with few rows leans on the others; one with many stands almost alone."
        if fit.recipe.pooled
        else "Each series stands alone."
    )
    robust = (
        "Rows that agree with nothing else count for less (Huber's weights), and none is thrown away."
        if fit.robust
        else "Every row counts in full."
    )
    return (
        f"{count(fit.rows_used, 'observed kit')}: the logarithm of the price is explained by the number of pieces, the "
        f"condition, how and when the kit was sold, the shop's own features, and its series. {pooled} {robust}",
        "A typical price is the median of what such a kit sells for. The range of one sale comes from how far each row "
        "lies from what the other rows say of it (jackknife+); the range of the market level from how well the "
        "regression's coefficients are known. Both hold 80 in 100.",
        f"The step from asked to sold rests on {fit.recipe.sold_basis}.",
    )


def _cautions(given: ReportInput) -> tuple[str, ...]:
    """What holds for the whole page: the shop's, the fit's, and what several builds share."""
    said = (*_leads(given), ESTIMATES, *given.cautions, *_fitted(given), *_shared(given.builds))
    return tuple(dict.fromkeys(capital(text) for text in said))


def _leads(given: ReportInput) -> tuple[str, ...]:
    """Those without which nothing on the page may be read."""
    return tuple(capital(text) for text in leading((*given.cautions, *_fitted(given))))


def _fitted(given: ReportInput) -> tuple[str, ...]:
    return given.fit.cautions if given.fit is not None else ()


def _shared(builds: Sequence[BuildSeen]) -> list[str]:
    each = [build_cautions(b, ()) for b in builds]
    return [text for texts in each for text in texts if sum(text in other for other in each) > 1]


DOTS_A_UNIT = 2.5
FONTS = "font-family=\"'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif\""


@dataclass(frozen=True, slots=True)
class ChartFile:
    """One file: its name, and what it holds."""

    name: str
    data: bytes


def chart_files(view: ReportView) -> Iterator[ChartFile]:
    """Every picture of the report, each as SVG and PNG under the id that it has in the page."""
    for chart in charts_of(view):
        yield ChartFile(f"{chart.id}.svg", svg_file(chart))
        yield ChartFile(f"{chart.id}.png", png_file(chart))


def charts_of(view: ReportView) -> tuple[Chart, ...]:
    """The pictures in the page's order."""
    found: list[Chart | None] = [
        view.market.prices if view.market else None,
        view.trend.picture if view.trend else None,
        view.trust.picture if view.trust else None,
        view.offers.picture,
    ]
    for build in view.builds:
        found += [build.cost, build.even, build.swings]
    return tuple(chart for chart in found if chart is not None)


def svg_file(chart: Chart) -> bytes:
    """The page's own drawing as a document: with its name space, fonts to choose from and white behind it."""
    head, _, rest = str(chart.wide).partition(">")
    open_tag = head.replace("<svg", f'<svg xmlns="http://www.w3.org/2000/svg" {FONTS}', 1)
    paper = '<rect width="100%" height="100%" fill="#FFFFFF" />'
    return f'<?xml version="1.0" encoding="utf-8"?>\n{open_tag}>{paper}{rest}\n'.encode()


def png_file(chart: Chart) -> bytes:
    """The same drawing as dots, for where SVG is not taken."""
    with charts.drawing():
        return charts.png_of(chart.draw(WIDE), DOTS_A_UNIT)
