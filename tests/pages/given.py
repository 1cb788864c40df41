"""An invented shop's findings as the report takes them."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from kitvalue.intake.books.offers import Offer
from kitvalue.intake.text.problems import Caution, FileCounts, KitvalueError, Level, Problem
from kitvalue.market.accuracy import assess
from kitvalue.market.encoding import Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import value_kit
from kitvalue.pages.report import BuildSeen, OfferSeen, ReportInput
from tests import worked
from tests.decisions.market import comparison, priced
from tests.market.books import invented_book

ASSESSED = 200  # rows up to which a fit of these tests has its accuracy
TODAY = date(2026, 11, 25)
LONG = "Ballyvaughan " * 6 + "80"  # 80 characters
HOSTILE = (
    "<script>alert(\"x\")</script> & 'co'",
    "$x_1$ and \\frac{1}{2} $",
    "太鼓 ドラム 三点セット",
    "🥁 kit 🎉 {{ 7 * 7 }}",
    LONG,
    "</svg></style>--><b>bold",
)


@functools.cache
def fit_of(n: int = 120, series: int = 6, seed: int = 7) -> Fit:
    """A fit with two slips in it."""
    book = invented_book(n=n, series=series, seed=seed, features=True)
    prices = book.price.copy()
    prices[10] *= 10
    prices[20] /= 100
    book = replace(book, price=prices)
    fit = fit_book(book, None)
    return fit if n > ASSESSED else replace(fit, accuracy=assess(book, fit, lambda some: fit_book(some, None)))


def renamed(fit: Fit, names: Sequence[str]) -> Fit:
    """The same fit, its series called otherwise."""
    new = dict(zip(fit.recipe.series, names, strict=True))
    return replace(
        fit,
        recipe=replace(fit.recipe, series=tuple(new[s] for s in fit.recipe.series)),
        book=replace(fit.book, series_names=tuple(new[s] for s in fit.book.series_names)),
        series=tuple(replace(s, name=new[s.name]) for s in fit.series),
        unusual=tuple(replace(u, series=new[u.series]) for u in fit.unusual),
    )


def offer(fit: Fit, name: str, series: str, asked: str, pieces: int = 5, condition: int = 3) -> OfferSeen:
    """An offer, valued where the book knows its series."""
    valuation, reason = None, None
    try:
        valuation = value_kit(fit, Kit(series, pieces, condition), None, 80)
    except KitvalueError as error:
        reason = error.message
    listed = Offer(2, name, series, pieces, Decimal(condition), Decimal(asked), None, (), "private", None, None)
    return OfferSeen(listed, valuation, reason)


def offers(fit: Fit, how_many: int = 4) -> tuple[OfferSeen, ...]:
    """So many offers over the series, the first one cheap."""
    names = fit.recipe.series
    return tuple(offer(fit, f"D{i:02d}", names[i % len(names)], str(150 + 37 * i)) for i in range(how_many))


def build(title: str = "Seven-piece in Inishmore dress") -> BuildSeen:
    """The build worked by hand, under a title."""
    plan, shop = worked.plan(title=title), worked.shop()
    found = comparison(plan, shop)
    return BuildSeen(title, found.sheet, priced(plan, shop), found, None)


COUNTS = FileCounts("prices.csv", 123, 120, 2, 1, "utf-8", ";", ",")
PROBLEM = Problem("prices.csv", 14, "price", "450-500", "range", Level.REFUSED, '"450-500" is a range; write one price')


def given(fit: Fit | None = None, builds: int = 1, how_many: int = 4) -> ReportInput:
    """A whole report's records."""
    known = fit_of() if fit is None else fit
    return ReportInput(
        shop_name="Dock Road Drums",
        currency="EUR",
        today=TODAY,
        files=(COUNTS,),
        problems=(PROBLEM,),
        fit=known,
        offers=offers(known, how_many),
        builds=tuple(build(f"Build number {i}") for i in range(builds)),
        cautions=(Caution("vat", "ask a tax adviser"),),
    )
