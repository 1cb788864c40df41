"""`price`: what to ask for a build."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.pricing import PriceSheet, priced
from kitvalue.intake.text.problems import Caution


@dataclass(frozen=True, slots=True, eq=False)
class PriceDone:
    """The webshop price of a build."""

    pricing: PriceSheet
    cautions: tuple[Caution, ...]


def price(folder: ShopFolder, plan_name: str, at: Decimal | None) -> PriceDone:
    """What to ask for a plan's kit, at home and abroad; with `at` what that price would leave."""
    plan, market = folder.plan(plan_name), folder.market
    pricing = priced(plan, folder.shop, market.fit, at)
    return PriceDone(pricing, tuple(dict.fromkeys((*market.cautions, *pricing.cautions))))
