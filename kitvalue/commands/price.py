"""`price`: what to ask for a build."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.named import hold_price
from kitvalue.decisions.pricing import PriceSheet, priced


def price(folder: ShopFolder, plan_name: str, at: Decimal | None) -> PriceSheet:
    """What to ask for a plan's kit, at home and abroad, the market's cautions with it; with `at` what that price would
    leave."""
    if at is not None:
        hold_price("--at", at, folder.shop)
    plan, market = folder.plan(plan_name), folder.market
    pricing = priced(plan, folder.shop, market.fit, at, folder.parts_for(plan))
    return replace(pricing, cautions=tuple(dict.fromkeys((*market.cautions, *pricing.cautions))))
