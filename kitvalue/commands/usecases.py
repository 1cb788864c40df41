"""One function a command: each reads what it needs, chains the rooms and hands back a record to be shown.

Rooms that load pandas, scipy or matplotlib are imported inside the functions that need them, so that the light
commands start at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from kitvalue.commands import keeper
from kitvalue.commands.keeper import OUT, PRICES, ShopMarket
from kitvalue.commands.writing import make_writable, write_whole
from kitvalue.decisions.asked import KitNamed, read_kit
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.text.problems import KitvalueError, Problem
from kitvalue.market.fitted import Moved, moved
from kitvalue.market.value import value_kit
from kitvalue.workshop.costing import holding_cost
from kitvalue.workshop.money import ZERO

if TYPE_CHECKING:
    from kitvalue.commands.check import CheckDone
    from kitvalue.commands.jot import Jotted
    from kitvalue.commands.new import NewDone, TakenOver
    from kitvalue.decisions.asked import AskedPrice, JudgedPrice
    from kitvalue.decisions.breakeven import Comparison
    from kitvalue.decisions.pricing import PriceSheet
    from kitvalue.market.fitted import Fit
    from kitvalue.market.value import Valuation
    from kitvalue.pages.report import BuildSeen, OfferSeen, ReportView
    from kitvalue.workshop.costing import CostSheet


OFFERS = "offers.csv"
REPORT_FILE = "report.html"


def new_shop(folder: Path) -> NewDone:
    """Lay out a shop folder with a worked example. Raises FileError where the folder already holds something."""
    from kitvalue.commands.new import lay_out

    return lay_out(folder)


def new_shop_from(folder: Path, spreadsheet: Path) -> TakenOver:
    """Lay out a shop folder from the owner's spreadsheet, saved as CSV. Raises FileError as `new_shop`, and where the
    spreadsheet cannot be read.
    """
    from kitvalue.commands.new import take_over

    return take_over(folder, spreadsheet)


def check_shop(folder: Path, *, strict: bool = False) -> CheckDone:
    """Read every file and collect every problem. `strict` refuses a file with any refused row as a whole."""
    from kitvalue.commands import check as checking

    return checking.check_shop(folder, strict=strict)


def jot_advert(folder: Path, text: str, today: date, *, offer: bool) -> Jotted:
    """Understand a pasted advert and make its row for prices.csv, or offers.csv; nothing is written."""
    from kitvalue.commands.jot import jotted

    return jotted(folder / (OFFERS if offer else PRICES), text, read_shop(folder), today, offer=offer)


def write_jotted(jotting: Jotted) -> None:
    """Set a jotted row behind its file. Raises FileError where the file has changed since or cannot be written."""
    from kitvalue.commands.jot import still_as_read
    from kitvalue.commands.writing import write_whole_bytes

    still_as_read(jotting)
    write_whole_bytes(jotting.path, jotting.row.data)


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
    holding: Decimal  # what keeping the kit until it is sold costs, net
    currency: str
    cautions: tuple[str, ...]
    asked: JudgedPrice | None = None  # the price that somebody asks for it, judged


def value_one(
    folder: Path, named: KitNamed, range_percent: int, *, since: date | None = None, unseen: bool = False,
    asked: AskedPrice | None = None,
) -> ValueDone:  # fmt: skip
    """Value one kit from the saved fit, or from a fresh one where the files have changed, and what is asked for it."""
    shop = read_shop(folder)
    market = keeper.market_of(folder, shop)
    recipe = market.fit.recipe
    read = read_kit(shop, recipe.series, [feature.name for feature in recipe.features], named)
    valuation = value_kit(market.fit, read.kit, read.finished, range_percent, unseen=unseen)
    move = None if since is None else moved(market.fit, since, named.on, range_percent)
    held = ZERO if shop.selling is None else holding_cost(shop.selling)
    cautions = (*market.cautions, *read.cautions, *valuation.cautions)
    done = ValueDone(valuation, move, held, shop.shop.currency, cautions)
    return done if asked is None else _with_asked(done, shop, market.fit, asked)


def _with_asked(done: ValueDone, shop: Shop, fit: Fit, asked: AskedPrice) -> ValueDone:
    from kitvalue.decisions.asked import judge_price
    from kitvalue.workshop.costing import VAT

    kit, typical = done.valuation.kit, done.valuation.buy_in.typical
    judged = judge_price(shop, fit, kit, done.valuation.finished, typical, asked)
    return replace(done, asked=judged, cautions=(*done.cautions, VAT) if judged.judged else done.cautions)


def cost_build(folder: Path, plan_name: str) -> CostSheet:
    """The cost sheet of a plan; no fit is needed."""
    from kitvalue.intake.settings.plan import read_plan
    from kitvalue.workshop.costing import cost_sheet

    shop = read_shop(folder)
    return cost_sheet(read_plan(plan_name, folder, shop), shop)


def write_cost_csv(folder: Path, sheet: CostSheet) -> Path:
    """Write a cost sheet's lines to out/cost-NAME.csv, safe to open in a spreadsheet."""
    from kitvalue.pages.files import cost_csv

    make_writable(folder / OUT)
    path = folder / OUT / f"cost-{sheet.name}.csv"
    write_whole(path, cost_csv(sheet, read_shop(folder).files.decimal or "."))
    return path


@dataclass(frozen=True, slots=True, eq=False)
class PriceDone:
    """The webshop price of a build."""

    sheet: CostSheet
    pricing: PriceSheet
    cautions: tuple[str, ...]


def price_build(folder: Path, plan_name: str, at: Decimal | None) -> PriceDone:
    """What to ask for a plan's kit, at home and abroad; with `at` what that price would leave."""
    from kitvalue.decisions.pricing import priced
    from kitvalue.intake.settings.plan import read_plan

    shop = read_shop(folder)
    plan = read_plan(plan_name, folder, shop)
    market = keeper.market_of(folder, shop)
    pricing = priced(plan, shop, market.fit, at)
    return PriceDone(pricing.sheet, pricing, tuple(dict.fromkeys((*market.cautions, *pricing.cautions))))


@dataclass(frozen=True, slots=True, eq=False)
class CompareDone:
    """A build held against the original."""

    comparison: Comparison
    headline: str
    cautions: tuple[str, ...]


def compare_build(folder: Path, plan_name: str) -> CompareDone:
    """A plan's build against the original that the customer could buy instead."""
    from kitvalue.decisions.breakeven import compared
    from kitvalue.decisions.original import headline_of
    from kitvalue.intake.settings.plan import read_plan

    shop = read_shop(folder)
    plan = read_plan(plan_name, folder, shop)
    market = keeper.market_of(folder, shop)
    comparison = compared(plan, shop, market.fit)
    headline = headline_of(comparison.quote, comparison.sheet)
    return CompareDone(comparison, headline, tuple(dict.fromkeys((*market.cautions, *comparison.cautions))))


@dataclass(frozen=True, slots=True)
class ReportDone:
    """The page written, with what was found on the way."""

    path: Path
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]
    charts: tuple[Path, ...] = ()


def report_shop(folder: Path, today: date, charts: Path | None = None) -> ReportDone:
    """Write out/report.html, and its pictures as files into `charts`.

    What one part cannot tell is said on the page; the rest is written all the same.
    """
    from kitvalue.commands.buying import offers_seen
    from kitvalue.intake.settings.plan import plan_names
    from kitvalue.pages.report import ReportInput, lay_out, report_view

    shop = read_shop(folder)
    for place in (folder / OUT, *([charts] if charts is not None else [])):
        make_writable(place)
    market = keeper.reported_market(folder, shop)
    files, problems = [market.counts], list(market.problems)
    offers: tuple[OfferSeen, ...] = ()
    if (folder / OFFERS).exists():
        seen = offers_seen(folder, shop, market.fit)
        files += seen.files
        problems += seen.problems
        offers = seen.offers
    builds = tuple(_build_seen(name, folder, shop, market.fit) for name in plan_names(folder))
    view = report_view(
        ReportInput(
            shop_name=shop.shop.name,
            currency=shop.shop.currency,
            today=today,
            files=tuple(files),
            problems=tuple(problems),
            fit=market.fit,
            offers=offers,
            builds=builds,
            cautions=market.cautions,
        )
    )
    path = folder / OUT / REPORT_FILE
    write_whole(path, lay_out(view))
    written = () if charts is None else _write_charts(charts, view)
    return ReportDone(path, tuple(problems), market.cautions, written)


def _write_charts(place: Path, view: ReportView) -> tuple[Path, ...]:
    from kitvalue.commands.writing import write_whole_bytes
    from kitvalue.pages.report import chart_files

    written = []
    for file in chart_files(view):
        written.append(place / file.name)
        write_whole_bytes(written[-1], file.data)
    return tuple(written)


def _build_seen(name: str, folder: Path, shop: Shop, fit: Fit) -> BuildSeen:
    from kitvalue.decisions.breakeven import compared
    from kitvalue.decisions.pricing import priced
    from kitvalue.intake.settings.plan import read_plan
    from kitvalue.pages.report import BuildSeen
    from kitvalue.workshop.costing import cost_sheet

    title, sheet, pricing = name, None, None
    try:
        plan = read_plan(name, folder, shop)
        title, sheet = plan.title, cost_sheet(plan, shop)
        pricing = priced(plan, shop, fit)
        return BuildSeen(name, title, sheet, pricing, compared(plan, shop, fit), None)
    except KitvalueError as error:
        return BuildSeen(name, title, sheet, pricing, None, error.message)
