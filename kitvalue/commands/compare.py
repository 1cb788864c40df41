"""`compare`: a build held against buying an original."""

from __future__ import annotations

from dataclasses import replace

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.breakeven import Comparison, compared


def compare(folder: ShopFolder, plan_name: str) -> Comparison:
    """A plan's build against the original that the customer could buy instead, the market's cautions with it."""
    plan, market = folder.plan(plan_name), folder.market
    comparison = compared(plan, folder.shop, market.fit, folder.parts_for(plan))
    return replace(comparison, cautions=tuple(dict.fromkeys((*market.cautions, *comparison.cautions))))
