"""`sheet`: the customer's page of a build."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import numpy as np

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import Printed
from kitvalue.decisions.breakeven import compared
from kitvalue.decisions.named import hold_price
from kitvalue.decisions.original import landed_sample, original_kit
from kitvalue.decisions.pricing import priced
from kitvalue.intake.text.problems import Caution
from kitvalue.market.outlook import outlook
from kitvalue.pages.sheet.tongue import tongue
from kitvalue.pages.sheet.view import SheetInput, render_sheet, sheet_view
from kitvalue.workshop.money import ZERO

DOTS = 20  # originals in the picture, each as likely as the next


def sheet(
    folder: ShopFolder, plan_name: str, today: date, *, language: str, hide_costs: bool, show_purchases: bool,
    pdf: bool, at: Decimal | None = None,
) -> Printed:  # fmt: skip
    """Write out/sheet-NAME.html, and out/sheet-NAME.pdf where asked for, `at` a price other than the plan's. Raises
    FileError where neither can be."""
    spoken = tongue(language, folder.shop.shop.currency)
    if pdf:
        from kitvalue.pages.sheet.pdf import sheet_pdf  # refused here where its library is missing
    plan, shop, market = folder.plan(plan_name), folder.shop, folder.market
    if at is not None:
        hold_price("--at", at, shop)
        plan = plan.model_copy(update={"price": plan.price.model_copy(update={"ask": at})})
    parts = folder.parts_for(plan)
    original = outlook(market.fit, original_kit(plan))
    door = landed_sample(plan.original, original.sample, plan.original.repair or ZERO)
    middles = (np.arange(DOTS) + 0.5) / DOTS
    given = SheetInput(
        plan=plan,
        shop=shop,
        fit=market.fit,
        pricing=priced(plan, shop, market.fit, parts=parts),
        comparison=compared(plan, shop, market.fit, parts),
        original=original,
        at_door=tuple(float(x) for x in np.quantile(door, middles, method="inverted_cdf")),
        fingerprint=folder.fingerprint(),
        today=today,
        show_costs=not hide_costs,
        show_purchases=show_purchases,
    )
    folder.ready()
    view = sheet_view(given, spoken)
    written = [folder.put(f"sheet-{plan.name}.html", render_sheet(view))]
    of = given.comparison
    cautions = [*market.cautions, *of.sheet.cautions, *of.cautions, *_owner_cautions(given, language)]
    if pdf:
        document = sheet_pdf(view, today)
        written.append(folder.put(f"sheet-{plan.name}.pdf", document.data))
        if document.lacking:
            lacks = f"the PDF's font lacks {document.lacking}: print the page from a browser instead"
            cautions.append(Caution("font_lacks", lacks))
    return Printed(tuple(written), tuple(dict.fromkeys(cautions)), said=of.verdict.sentence)


def _owner_cautions(given: SheetInput, language: str) -> list[Caution]:
    """What an owner should know before the sheet is handed out."""
    said = []
    if given.comparison.verdict.code == "original_cheaper":
        said.append(Caution("original_wins", "on this sheet the original is the better buy: see that before he does"))
    promise = given.shop.promise.get(language)
    if promise is None or promise.guarantee is None or promise.returns is None:
        table = f"[promise.{language}]"
        legal = f"shop.toml states no guarantee or no return in {table}: the sheet names the rights that the law gives"
        said.append(Caution("no_promise", legal))
    if given.show_costs and given.pricing.sale.profit < 0:
        loss = "this price is under what the build costs, and the sheet's build-up lets it be seen: --hide-costs"
        said.append(Caution("loss_shown", loss))
    if given.show_costs and given.comparison.sheet.incomplete:
        untold = "not every cost of this build is known: the sheet leaves out how the price comes about"
        said.append(Caution("costs_not_known", untold))
    return said
