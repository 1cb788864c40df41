"""`report`: the owner's page with everything on it."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import OFFERS, Printed, make_writable, write_whole
from kitvalue.decisions.breakeven import compared
from kitvalue.decisions.ceiling import REBUILD
from kitvalue.decisions.offered import grounds_of, kit_offered, shortlisted
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.pricing import priced
from kitvalue.decisions.shortlist import JudgedOffer
from kitvalue.decisions.together import bought_together
from kitvalue.intake.text.problems import KitvalueError
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import value_kit
from kitvalue.pages.report import BuildSeen, OfferSeen, ReportInput, report_page
from kitvalue.workshop.costing import cost_sheet


def report(folder: ShopFolder, today: date, charts: Path | None = None) -> Printed:
    """Write out/report.html, and its pictures as files into `charts`.

    What one part cannot tell is said on the page; the rest is written all the same.
    """
    shop = folder.shop
    folder.ready()
    if charts is not None:
        make_writable(charts)
    market = folder.reported_market()
    files, problems = [market.counts], list(market.problems)
    for table in (folder.offers, folder.parts) if folder.has(OFFERS) else ():
        if table is not None:
            files.append(table.counts)
            problems += table.problems
    judged = judged_for_all(folder, market.fit)
    given = ReportInput(
        shop_name=shop.shop.name,
        currency=shop.shop.currency,
        today=today,
        files=tuple(files),
        problems=tuple(problems),
        fit=market.fit,
        offers=offers_seen(folder, market.fit, judged),
        builds=tuple(_build_seen(name, folder, market.fit) for name in folder.plan_names),
        cautions=market.cautions,
        together=judged.together,
        bid_step=shop.buying.bid_step,
    )
    page = report_page(given)
    written = [folder.put("report.html", page.html)]
    for picture in () if charts is None else page.pictures:
        for name, data in picture.files().items():
            written.append(Path(charts or "", name))
            write_whole(written[-1], data)
    return Printed(tuple(written), market.cautions, tuple(problems))


@dataclass(frozen=True, slots=True, eq=False)
class JudgedForAll:
    """Each offer by its name, in its best use: sold on, in parts, or for the build of the plan named; and what to buy
    together, None where that cannot be told."""

    best: Mapping[str, tuple[JudgedOffer, str | None]]
    together: Portfolio | None


def judged_for_all(folder: ShopFolder, fit: Fit) -> JudgedForAll:
    """Judge every offer for every plan. Nothing is raised for what stands in the files."""
    best: dict[str, tuple[JudgedOffer, str | None]] = {}
    if not folder.has(OFFERS) or not folder.offers.rows:
        return JudgedForAll(best, None)
    parts, offers = None if folder.parts is None else folder.parts.rows, folder.offers.rows
    try:
        grounds = grounds_of(folder.shop, fit, None, parts, None)
        listed = shortlisted(grounds, offers)
        best |= {one.offer.offer: (one, None) for one in listed.judged}
        plans, _ = folder.plans_that_read()
        together = bought_together(grounds, listed, plans).portfolio
    except KitvalueError:
        return JudgedForAll(best, None)  # no [tax] or [selling]: each offer says what can be said of it
    for plan in plans:
        with suppress(KitvalueError):  # a plan that cannot be costed
            for one in shortlisted(grounds_of(folder.shop, fit, plan, parts, None), offers).judged:
                if one.best is not None and one.best.use == REBUILD and _gain(one) > _gain(best[one.offer.offer][0]):
                    best[one.offer.offer] = one, plan.name
    return JudgedForAll(best, together)


def _gain(one: JudgedOffer) -> float:
    """What the best use is expected to leave; of a lot without a price, up to what price it pays."""
    if one.best is None:
        return float("-inf")
    return (one.stop_at or 0.0) if one.best.expected_profit is None else one.best.expected_profit


def offers_seen(folder: ShopFolder, fit: Fit, judged: JudgedForAll) -> tuple[OfferSeen, ...]:
    """Every offer with its value and, where the shop's settings allow, up to what price it pays. Nothing is raised for
    what stands in the files.
    """
    if not folder.has(OFFERS):
        return ()
    seen = []
    for offer in folder.offers.rows:
        valuation, reason = None, None
        try:
            read = kit_offered(offer, fit)
            valuation = value_kit(fit, read.kit, read.finished, 80)
        except KitvalueError as error:
            reason = error.message
        seen.append(OfferSeen(offer, valuation, reason, *judged.best.get(offer.offer, (None, None))))
    return tuple(seen)


def _build_seen(name: str, folder: ShopFolder, fit: Fit) -> BuildSeen:
    title, sheet, pricing = name, None, None
    try:
        plan = folder.plan(name)
        parts = folder.parts_for(plan)
        title, sheet = plan.title, cost_sheet(plan, folder.shop, parts=parts)
        pricing = priced(plan, folder.shop, fit, parts=parts)
        return BuildSeen(title, sheet, pricing, compared(plan, folder.shop, fit, parts), None)
    except KitvalueError as error:
        return BuildSeen(title, sheet, pricing, None, error.message)
