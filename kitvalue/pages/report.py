"""The owner's report: one HTML page that needs nothing else. Records in, text out; no clock, no file is written here.

The page forbids every outside request and every style but its own by a Content-Security-Policy, and has no script.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np

from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.shortlist import JudgedOffer, verdict_of_all
from kitvalue.intake.text.problems import Caution, FileCounts, Level, Problem, texts
from kitvalue.market.fitted import Fit, leading
from kitvalue.market.outlook import ESTIMATES
from kitvalue.pages.figures import amount, count, day, exact, number, with_currency
from kitvalue.pages.pictures.frame import Chart, Section
from kitvalue.pages.sections.builds import BuildSeen as BuildSeen
from kitvalue.pages.sections.builds import build_article, build_cautions, build_charts, lead_words
from kitvalue.pages.sections.market import market_section, trend_section, trust_section, unusual_section
from kitvalue.pages.sections.offers import BID_STEP, bid_words, kit_words, offers_section, valued
from kitvalue.pages.sections.offers import OfferSeen as OfferSeen
from kitvalue.pages.tables import Fact, and_more, table
from kitvalue.pages.templating import styled_page
from kitvalue.pages.words import ROUTES, capital

MOST_PROBLEMS = 80
MOST_NOTES, MOST_ROWS = 5, 3  # of what to do
SIGNS = {None: "not needed", ",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point"}
EFFECTS = {Level.FILE: "file not used", Level.REFUSED: "row not used", Level.WARNING: "noted"}  # the worst first


@dataclass(frozen=True, slots=True, eq=False)
class ReportInput:
    """Everything that the report shows. Money is in `currency` (ISO 4217) throughout; `today` dates the page."""

    shop_name: str
    currency: str
    today: date
    files: tuple[FileCounts, ...]
    problems: tuple[Problem, ...]
    fit: Fit
    offers: tuple[OfferSeen, ...]
    builds: tuple[BuildSeen, ...]
    cautions: tuple[Caution, ...]
    together: Portfolio | None = None
    bid_step: Decimal = BID_STEP


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """The whole page, and its pictures in the page's order."""

    html: str
    pictures: tuple[Chart, ...]


def report_page(given: ReportInput) -> Report:
    """The page from the records. Cautions of the shop, the fit or several builds are said once. Equal input gives equal
    text."""
    fit, currency = given.fit, given.currency
    leads = leading((*given.cautions, *fit.cautions))
    of_builds = Counter(text for b in given.builds for text in build_cautions(b))
    shared = [text for text, times in of_builds.items() if times > 1]
    said = (*leads, *texts((ESTIMATES, *given.cautions, *fit.cautions)), *shared)
    cautions = tuple(dict.fromkeys(map(capital, said)))
    market = market_section(fit, currency)
    sections = (
        ("trend", "Trend", trend_section(fit)),
        ("trust", "Accuracy", trust_section(fit, currency)),
        ("unusual", "Unusual rows", unusual_section(fit, currency)),
        ("offers", "Offers", offers_section(given.offers, currency, fit, given.together, given.bid_step)),
    )
    keys = [f"build-{place}" for place in range(1, len(given.builds) + 1)]
    charts = [build_charts(b, key) for b, key in zip(given.builds, keys, strict=True)]
    known = fit.book.date[~np.isnat(fit.book.date)]
    period = f"{known.min().item():%m/%Y} to {known.max().item():%m/%Y}" if len(known) else "no dates"
    html = styled_page(
        "report.html",
        "report.css",
        title=f"{given.shop_name}: price book report, {day(given.today)}",
        shop_name=given.shop_name,
        fit=fit,
        masthead=(
            Fact("Date", day(given.today)),
            Fact("Kits in the book", number(fit.rows_used)),
            Fact("Series", number(len(fit.recipe.series))),
            Fact("Seen", period),
            Fact("Money", currency),
        ),
        to_do=to_do(given),
        market=market,
        sections=sections,
        builds=[build_article(*build, cautions) for build in zip(given.builds, keys, charts, strict=True)],
        files=_files(given.files, given.problems),
        cautions=cautions,
        leads=tuple(map(capital, leads)),
        count=count,
    )
    pictures = (market.picture, *(s.picture for _, _, s in sections), *(c for each in charts for c in each.values()))
    return Report(html, tuple(picture for picture in pictures if picture))


@dataclass(frozen=True, slots=True)
class NoteList:
    """One column of the section: notes, or a sentence where there are none; `more` counts those not shown."""

    title: str
    notes: Sequence[Fact]
    nothing: str
    more: str


def to_do(given: ReportInput) -> tuple[NoteList, ...]:
    """What to do: what to buy and up to what price, what to build, and last what to mend in the files."""
    builds, fit, currency = given.builds, given.fit, given.currency
    plans = [_build(b, f"build-{place}") for place, b in enumerate(builds[:MOST_NOTES], start=1)]
    judged = [o.judged for o in given.offers if o.judged is not None]
    wanted = [v for v in valued(given.offers) if v.judged is not None and v.judged.verdict.code in ("buy", "buy_below")]
    calls = [
        Fact(
            v.offer.offer,
            f"up to {with_currency(bid_words(v.judged.verdict.price), currency)}{' net' if v.judged.net else ''}",
            f"{v.judged.verdict.sentence} {kit_words(v.offer)}.{_use(v.judged, v.plan)}",
            "offers",
        )
        for v in wanted[:MOST_NOTES]
        if v.judged is not None
    ]
    none = "Put [tax] and [selling] into shop.toml, and each offer gets a price to stop at."
    none = verdict_of_all(judged).sentence if judged else none if given.offers else "No offers are listed."
    rows = [
        Fact(
            f"Row {u.row}",
            with_currency(amount(u.observed), currency),
            f"{u.series}, where {amount(u.expected)} is expected" + (f": {u.hint}" if u.hint else "."),
            "unusual",
        )
        for u in fit.unusual[:MOST_ROWS]
    ]
    complaints = sum(p.level is not Level.WARNING for p in given.problems)
    if complaints:
        text = "Cells that could not be read, each with a reason."
        rows.append(Fact("Files", count(complaints, "complaint"), text, "files"))
    return (
        NoteList("Buy", calls, none, _more(len(wanted), "offer")),
        NoteList("Build", plans, "No build plans yet.", _more(len(builds), "build")),
        NoteList("Mend", rows, "No row stands out.", _more(len(fit.unusual), "row", MOST_ROWS)),
    )


def _build(b: BuildSeen, key: str) -> Fact:
    """What to do about a build, and what that money buys in originals. Only a price that pays is one to ask."""
    if b.pricing is None or b.sheet is None:
        return Fact(b.title, "no verdict", lead_words(b), key)
    build, worth = b.pricing.build, b.comparison and b.comparison.for_that_money
    figure = {"build_if": "not as it stands", "leave": "leave it", "unknown": "no verdict"}.get(build.code)
    if figure is None:
        figure = f"ask {with_currency(exact(build.price or b.pricing.quote.asked), b.sheet.currency)}"
    return Fact(b.title, figure, f"{build.sentence}{f' {worth.sentence}' if worth else ''}", key)


def _use(judged: JudgedOffer, plan: str | None) -> str:
    """What becomes of it in its best use, and by which VAT."""
    best = judged.best
    return "" if best is None else f" Then: {best.use}{f' for {plan}' if plan else ''}, {ROUTES[best.route]}."


def _more(total: int, what: str, shown: int = MOST_NOTES) -> str:
    return f"and {count(total - shown, f'more {what}')} below" if total > shown else ""


def _files(files: Sequence[FileCounts], problems: Sequence[Problem]) -> Section:
    """Counts a file, then every problem."""
    refused = sum(f.refused for f in files)
    lead = f"{count(sum(f.read for f in files), 'row')} read, {number(refused) if refused else 'none'} refused."
    if not problems:
        lead += " No complaint about any cell."
    counts = table(
        "Files read",
        "File< | Read | Used | Refused | Set aside | Columns parted by< | Decimal sign< | Encoding<",
        (
            (f.file, number(f.read), number(f.used), number(f.refused), number(f.set_aside),
             *(SIGNS.get(sign, str(sign)) for sign in (f.delimiter, f.decimal)), f.encoding or "not told")
            for f in files
        ),
        "Set aside: repeated rows, and older listings of a kit that was listed again.",
    )  # fmt: skip
    complaints = table(
        "Problems in the files",
        "File< | Row | Column< | What is wrong, what to do<< | Effect<",
        (
            (p.file, "all" if p.row is None else str(p.row), p.column or "all", p.message, EFFECTS[p.level])
            for p in sorted(problems, key=lambda p: list(EFFECTS).index(p.level))[:MOST_PROBLEMS]
        ),
        and_more(len(problems) - MOST_PROBLEMS, "more", "kitvalue check lists them all"),
    )
    return Section(lead, tables=tuple(t for t in (counts, complaints) if t.rows))
