"""`report`: the owner's page with everything on it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import OFFERS, Printed, make_writable, write_whole
from kitvalue.decisions.breakeven import compared
from kitvalue.decisions.offered import grounds_of, kit_offered, shortlisted
from kitvalue.decisions.pricing import priced
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
    given = ReportInput(
        shop_name=shop.shop.name,
        currency=shop.shop.currency,
        today=today,
        files=tuple(files),
        problems=tuple(problems),
        fit=market.fit,
        offers=offers_seen(folder, market.fit),
        builds=tuple(_build_seen(name, folder, market.fit) for name in folder.plan_names),
        cautions=market.cautions,
    )
    page = report_page(given)
    written = [folder.put("report.html", page.html)]
    for picture in () if charts is None else page.pictures:
        for name, data in picture.files().items():
            written.append(Path(charts or "", name))
            write_whole(written[-1], data)
    return Printed(tuple(written), market.cautions, tuple(problems))


def offers_seen(folder: ShopFolder, fit: Fit) -> tuple[OfferSeen, ...]:
    """Every offer with its value and, where the shop's settings allow, up to what price it pays. Nothing is raised for
    what stands in the files.
    """
    if not folder.has(OFFERS):
        return ()
    parts = None if folder.parts is None else folder.parts.rows
    try:
        judged = shortlisted(grounds_of(folder.shop, fit, None, parts, None), folder.offers.rows).judged
    except KitvalueError:
        judged = ()  # no [tax] or [selling], or asked prices only: each offer below says what can be said of it
    by_name = {one.offer.offer: one for one in judged}
    seen = []
    for offer in folder.offers.rows:
        valuation, reason = None, None
        try:
            read = kit_offered(offer, fit)
            valuation = value_kit(fit, read.kit, read.finished, 80)
        except KitvalueError as error:
            reason = error.message
        seen.append(OfferSeen(offer, valuation, reason, by_name.get(offer.offer)))
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
