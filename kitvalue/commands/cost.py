"""`cost`: what a build costs landed."""

from __future__ import annotations

from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.workshop.costing import CostSheet, cost_sheet


def cost(folder: ShopFolder, plan_name: str) -> CostSheet:
    """The cost sheet of a plan; no fit is needed."""
    plan = folder.plan(plan_name)
    return cost_sheet(plan, folder.shop, parts=folder.parts_for(plan))


def write_cost_csv(folder: ShopFolder, sheet: CostSheet) -> Path:
    """Write a cost sheet's lines to out/cost-NAME.csv, safe to open in a spreadsheet."""
    from kitvalue.pages.files import cost_csv

    folder.ready()
    return folder.put(f"cost-{sheet.name}.csv", cost_csv(sheet, folder.shop.files.decimal or "."))
