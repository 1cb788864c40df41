"""One function a command: each reads what it needs, chains the rooms and hands back a record to be shown.

Rooms that load pandas, scipy or matplotlib are imported inside the functions that need them, so that the light
commands start at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from kitvalue import keeper
from kitvalue.asked import KitWanted, kit_asked
from kitvalue.files import make_writable, write_whole
from kitvalue.intake.pricebook import FileCounts
from kitvalue.intake.problems import FileError, KitvalueError, Level, Problem
from kitvalue.intake.shop import Shop, read_shop
from kitvalue.keeper import OUT, PRICES, ShopMarket
from kitvalue.market.kit import Kit
from kitvalue.market.trend import Moved, moved
from kitvalue.market.value import value_kit
from kitvalue.plans import compared, priced

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from kitvalue.decisions.breakeven import Comparison
    from kitvalue.decisions.pricing import PriceSheet
    from kitvalue.intake.bookrows import RowAsRead
    from kitvalue.intake.offers import Offer
    from kitvalue.market.fitted import Fit
    from kitvalue.market.value import Valuation
    from kitvalue.pages.report import BuildSeen, OfferSeen
    from kitvalue.workshop.costing import CostSheet

OFFERS = "offers.csv"
REPORT_FILE = "report.html"


@dataclass(frozen=True, slots=True)
class NewDone:
    """A shop folder was laid out."""

    folder: Path
    files: tuple[str, ...]


def new_shop(folder: Path) -> NewDone:
    """Lay out a shop folder with a worked example. Raises FileError where the folder already holds something."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileError(f"{folder} is not empty: give a new or an empty folder, nothing is written over")
    starter = resources.files("kitvalue") / "starter"
    written = []
    for source, name in sorted(_starter_files(starter, ""), key=lambda pair: pair[1]):
        target = folder / name
        make_writable(target.parent)
        write_whole(target, source.read_text(encoding="utf-8"))
        written.append(name)
    return NewDone(folder, tuple(written))


def _starter_files(place: Traversable, prefix: str) -> list[tuple[Traversable, str]]:
    found = []
    for entry in place.iterdir():
        if entry.is_dir():
            found += _starter_files(entry, f"{prefix}{entry.name}/")
        elif entry.name.endswith((".toml", ".csv")):
            found.append((entry, prefix + entry.name))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class CheckDone:
    """Every file of the shop, read. `rows` are the price book's and the offers' rows as read."""

    files: tuple[FileCounts, ...]
    problems: tuple[Problem, ...]
    rows: tuple[RowAsRead, ...]


def check_shop(folder: Path, *, strict: bool = False) -> CheckDone:
    """Read every file and collect every problem. `strict` refuses a file with any refused row as a whole."""
    from kitvalue.intake.offers import read_offers
    from kitvalue.intake.plan import plan_names, plan_warnings, read_plan
    from kitvalue.intake.pricebook import read_pricebook

    shop = read_shop(folder)
    book = read_pricebook(folder / PRICES, shop)
    counts, problems = [book.counts], list(book.problems)
    if (folder / OFFERS).exists():
        offers = read_offers(folder / OFFERS, shop)
        counts.append(offers.counts)
        problems += offers.problems
    for name in plan_names(folder):
        try:
            problems += plan_warnings(read_plan(name, folder, shop))
        except FileError as error:
            problems += error.problems
    rows = book.rows_as_read
    if strict:
        problems += [_not_strict(c) for c in counts if c.refused and c.used]
        counts = [replace(c, used=0, refused=c.read - c.set_aside) if c.refused else c for c in counts]
        rows = rows if counts[0].used else ()
    return CheckDone(tuple(counts), tuple(problems), rows)


def _not_strict(counts: FileCounts) -> Problem:
    message = f"{counts.refused} of {counts.read} rows are refused, and --strict allows none: mend them first"
    return Problem(counts.file, None, None, None, "strict", Level.FILE, message)


@dataclass(frozen=True, slots=True, eq=False)
class FitDone:
    """A fit made anew and saved."""

    market: ShopMarket
    saved_in: Path


def fit_shop(folder: Path, *, robust: bool, pooled: bool) -> FitDone:
    """Fit the price book and save the fit in out/fit.json."""
    shop = read_shop(folder)
    make_writable(folder / OUT)
    market = keeper.fresh_market(folder, shop, robust=robust, pooled=pooled)
    return FitDone(market, keeper.save(folder, shop, market))


@dataclass(frozen=True, slots=True, eq=False)
class ValueDone:
    """A kit valued."""

    valuation: Valuation
    moved: Moved | None  # how prices have moved since the day asked about
    currency: str
    cautions: tuple[str, ...]


def value_one(
    folder: Path, wanted: KitWanted, range_percent: int, *, since: date | None = None, unseen: bool = False
) -> ValueDone:
    """Value one kit from the saved fit, or from a fresh one where the files have changed."""

    shop = read_shop(folder)
    market = keeper.market_of(folder, shop)
    asked = kit_asked(shop, market.fit.recipe.series, wanted)
    valuation = value_kit(market.fit, asked.kit, asked.finished, range_percent, unseen=unseen)
    move = None if since is None else moved(market.fit, since, wanted.on, range_percent)
    return ValueDone(valuation, move, shop.shop.currency, (*market.cautions, *valuation.cautions))


def cost_build(folder: Path, plan_name: str) -> CostSheet:
    """The cost sheet of a plan; no fit is needed."""
    from kitvalue.intake.plan import read_plan
    from kitvalue.workshop.costing import cost_sheet

    shop = read_shop(folder)
    return cost_sheet(read_plan(plan_name, folder, shop), shop)


@dataclass(frozen=True, slots=True, eq=False)
class PriceDone:
    """The webshop price of a build."""

    sheet: CostSheet
    pricing: PriceSheet
    cautions: tuple[str, ...]


def price_build(folder: Path, plan_name: str, at: Decimal | None) -> PriceDone:
    """What to ask for a plan's kit, at home and abroad; with `at` what that price would leave."""
    from kitvalue.intake.plan import read_plan

    shop = read_shop(folder)
    plan = read_plan(plan_name, folder, shop)
    market = keeper.market_of(folder, shop)
    found = priced(plan, shop, market.fit, at)
    return PriceDone(found.sheet, found.pricing, tuple(dict.fromkeys((*market.cautions, *found.pricing.cautions))))


@dataclass(frozen=True, slots=True, eq=False)
class CompareDone:
    """A build held against the original."""

    comparison: Comparison
    headline: str
    cautions: tuple[str, ...]


def compare_build(folder: Path, plan_name: str) -> CompareDone:
    """A plan's build against the original that the customer could buy instead."""
    from kitvalue.intake.plan import read_plan

    shop = read_shop(folder)
    plan = read_plan(plan_name, folder, shop)
    market = keeper.market_of(folder, shop)
    comparison = compared(plan, shop, market.fit)
    headline = priced(plan, shop, market.fit).pricing.headline
    return CompareDone(comparison, headline, tuple(dict.fromkeys((*market.cautions, *comparison.cautions))))


@dataclass(frozen=True, slots=True)
class ReportDone:
    """The page written, with what was found on the way."""

    path: Path
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]


def report_shop(folder: Path, today: date) -> ReportDone:
    """Write out/report.html. What one part cannot tell is said on the page; the rest is written all the same."""
    from kitvalue.intake.offers import read_offers
    from kitvalue.intake.plan import plan_names
    from kitvalue.pages.report import ReportInput, render_report

    shop = read_shop(folder)
    make_writable(folder / OUT)
    market = keeper.fresh_market(folder, shop)
    keeper.save(folder, shop, market)
    files, problems = [market.counts], list(market.problems)
    offers: tuple[OfferSeen, ...] = ()
    if (folder / OFFERS).exists():
        reading = read_offers(folder / OFFERS, shop)
        files.append(reading.counts)
        problems += reading.problems
        offers = tuple(_offer_seen(offer, market.fit) for offer in reading.offers)
    builds = tuple(_build_seen(name, folder, shop, market.fit) for name in plan_names(folder))
    page = render_report(
        ReportInput(
            shop_name=shop.shop.name,
            currency=shop.shop.currency,
            today=today,
            files=tuple(files),
            problems=tuple(problems),
            fit=market.fit,
            fit_reason=None,
            offers=offers,
            builds=builds,
            cautions=market.cautions,
        )
    )
    path = folder / OUT / REPORT_FILE
    write_whole(path, page)
    return ReportDone(path, tuple(problems), market.cautions)


def _offer_seen(offer: Offer, fit: Fit) -> OfferSeen:
    from kitvalue.pages.report import OfferSeen

    kit = Kit(offer.series, float(offer.pieces), float(offer.condition))
    valuation, reason = None, None
    try:
        valuation = value_kit(fit, kit, None, 80)
    except KitvalueError as error:
        reason = error.message
    return OfferSeen(
        offer.offer, offer.series, offer.pieces, float(offer.condition), offer.price, offer.freight, valuation, reason
    )


def _build_seen(name: str, folder: Path, shop: Shop, fit: Fit) -> BuildSeen:
    from kitvalue.intake.plan import read_plan
    from kitvalue.pages.report import BuildSeen
    from kitvalue.workshop.costing import cost_sheet

    title, sheet, pricing = name, None, None
    try:
        plan = read_plan(name, folder, shop)
        title, sheet = plan.title, cost_sheet(plan, shop)
        pricing = priced(plan, shop, fit).pricing
        return BuildSeen(name, title, sheet, pricing, compared(plan, shop, fit), None)
    except KitvalueError as error:
        return BuildSeen(name, title, sheet, pricing, None, error.message)
