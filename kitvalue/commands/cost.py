"""`cost`: what a build costs landed."""

from __future__ import annotations

from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import PRICES
from kitvalue.decisions.verdict import Verdict
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.text.problems import KitvalueError
from kitvalue.workshop.costing import CostSheet, cost_sheet


def cost(folder: ShopFolder, plan_name: str) -> CostSheet:
    """The cost sheet of a plan; no fit is needed."""
    plan = folder.plan(plan_name)
    return cost_sheet(plan, folder.shop, parts=folder.parts_for(plan))


def build_verdict(folder: ShopFolder, plan: str | Plan) -> Verdict | None:
    """Does the build pay? None where there is no price book, which `cost` does not need."""
    if not folder.has(PRICES):
        return None
    from kitvalue.decisions.pricing import priced

    try:
        plan = folder.plan(plan) if isinstance(plan, str) else plan
        return priced(plan, folder.shop, folder.market.fit, parts=folder.parts_for(plan)).build
    except KitvalueError as error:
        return Verdict("unknown", f"Whether it pays is not known: {error.message}.", None, error.message)


def write_cost_csv(folder: ShopFolder, sheet: CostSheet) -> Path:
    """Write a cost sheet's lines to out/cost-NAME.csv, safe to open in a spreadsheet."""
    from kitvalue.pages.files import cost_csv

    folder.ready()
    return folder.put(f"cost-{sheet.name}.csv", cost_csv(sheet, folder.shop.files.decimal or "."))
