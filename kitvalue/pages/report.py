"""The owner's report: one HTML page that needs nothing else. Records in, text out; no clock, no file is written here.

The page forbids every outside request and every style but its own by a Content-Security-Policy, and has no script.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.shortlist import JudgedOffer
from kitvalue.intake.text.problems import Caution, FileCounts, Level, Problem, texts
from kitvalue.market.fitted import Fit, leading
from kitvalue.market.outlook import ESTIMATES
from kitvalue.pages.figures import amount, count, day, exact, in_so_many, number, percent, with_currency
from kitvalue.pages.pictures.frame import Chart, Section
from kitvalue.pages.sections.builds import BuildSeen as BuildSeen
from kitvalue.pages.sections.builds import build_article, build_cautions, build_charts, lead_words
from kitvalue.pages.sections.market import market_section, trend_section, trust_section, unusual_section
from kitvalue.pages.sections.offers import OfferSeen as OfferSeen
from kitvalue.pages.sections.offers import bid_words, kit_words, offers_section, valued
from kitvalue.pages.tables import Fact, and_more, table
from kitvalue.pages.templating import styled_page
from kitvalue.pages.words import ROUTES, capital

MOST_PROBLEMS = 80
MOST_NOTES, MOST_ROWS = 5, 3  # of what to look at today
WELL_UNDER = -15.0  # percent against the buy-in value
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
        ("offers", "Offers", offers_section(given.offers, currency, fit, given.together)),
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
        today=today_view(given),
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


def today_view(given: ReportInput) -> tuple[NoteList, ...]:
    """What to look at today: each build's price, the offers under their value, the rows that stand out."""
    builds, offers, fit, currency = given.builds, given.offers, given.fit, given.currency
    plans = [_build(b, f"build-{place}") for place, b in enumerate(builds[:MOST_NOTES], start=1)]
    cheap = [
        v
        for v in valued(offers)
        if (v.strip.against is not None and v.strip.against <= WELL_UNDER) or (v.judged is not None and v.judged.pays)
    ]
    calls = [
        Fact(
            v.offer.offer,
            v.strip.against_words,
            f"{kit_words(v.offer)}: asked {with_currency(bid_words(v.strip.asked), currency)}, worth about "
            f"{amount(v.valuation.buy_in.typical)} to buy in. "
            f"Such kits that sell for less: {in_so_many(v.share_below or 0.0)}.{_bid(v.judged, currency)}",
            "offers",
        )
        for v in cheap[:MOST_NOTES]
    ]
    none = "No offer is asked at 15 % or more under its buy-in value." if offers else "No offers are listed."
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
        NoteList("Builds", plans, "No build plans yet.", _more(len(builds), "build")),
        NoteList("Offers under their value", calls, none, _more(len(cheap), "offer")),
        NoteList("Rows to look at", rows, "No row stands out.", _more(len(fit.unusual), "row", MOST_ROWS)),
    )


def _build(b: BuildSeen, key: str) -> Fact:
    """The build's price; how often it is the cheaper one at the door, and where it is even at cost."""
    if b.pricing is None or b.sheet is None:
        return Fact(b.title, "no price", lead_words(b), key)
    text, quote, currency = lead_words(b), b.pricing.quote, b.sheet.currency
    if b.comparison is not None and not b.sheet.is_service:
        even = " and ".join(number(c.pieces, 1) for c in b.comparison.crossings.crossings)
        where = f"At cost it is even with an original at {even} pieces." if even else b.comparison.crossings.text
        price = with_currency(exact(b.comparison.quote.asked), currency)
        share = percent(100 * b.comparison.chance_build_cheaper, 0)
        text += f" At {price} it is cheaper at the door than {share} of originals. {where}"
    figure = exact(quote.asked)
    if quote.binding == "floor" and not b.sheet.is_service:
        figure = amount(quote.market_price)
    return Fact(b.title, with_currency(figure, currency), text, key)


def _bid(judged: JudgedOffer | None, currency: str) -> str:
    """The price to open with and the price to stop at."""
    if judged is None or judged.best is None:
        return ""
    use = f"{judged.best.use}, {ROUTES[judged.best.route]}"
    if judged.stop_at is None or judged.open_at is None:
        return f" At no price does it leave your margin and lose seldom enough ({use})."
    opening, stop = (with_currency(bid_words(price), currency) for price in (judged.open_at, judged.stop_at))
    stop += " net" if judged.net else ""
    if judged.open_at == judged.stop_at:
        return f" It pays up to {stop} ({use}): open there and stop there."
    return f" Open at {opening}, stop at {stop} ({use})."


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
