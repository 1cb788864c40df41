"""`value`: what a kit is worth, and what is asked for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.named import AskedPrice, KitNamed, hold_price, read_kit
from kitvalue.intake.text.problems import Caution
from kitvalue.market.fitted import Moved, moved
from kitvalue.market.outlook import Valuation, value_kit
from kitvalue.workshop.money import ZERO, holding_cost

if TYPE_CHECKING:
    from kitvalue.decisions.asked import JudgedPrice


@dataclass(frozen=True, slots=True, eq=False)
class ValueDone:
    """A kit valued."""

    valuation: Valuation
    moved: Moved | None  # how prices have moved since the day asked about
    holding: Decimal  # what keeping the kit until it is sold costs, net
    currency: str
    cautions: tuple[Caution, ...]
    asked: JudgedPrice | None  # the price that somebody asks for it, judged


def value(
    folder: ShopFolder, named: KitNamed, range_percent: int, *, since: date | None = None, unseen: bool = False,
    asked: AskedPrice | None = None,
) -> ValueDone:  # fmt: skip
    """Value one kit from the saved fit, or from a fresh one where the files have changed, and what is asked for it."""
    if asked is not None:
        hold_price("--asked", asked.price, folder.shop)
    shop, market = folder.shop, folder.market
    recipe = market.fit.recipe
    read = read_kit(shop, recipe.series, [feature.name for feature in recipe.features], named)
    valuation = value_kit(market.fit, read.kit, read.finished, range_percent, unseen=unseen)
    move = None if since is None else moved(market.fit, since, named.on, range_percent)
    held = ZERO if shop.selling is None else holding_cost(shop.selling)
    cautions = (*market.cautions, *read.cautions, *valuation.cautions)
    judged = None
    if asked is not None:
        from kitvalue.decisions.asked import judge_price
        from kitvalue.workshop.costing import VAT

        typical = valuation.buy_in.typical
        judged = judge_price(shop, market.fit, valuation.kit, valuation.finished, typical, asked)
        cautions += (VAT,) if judged.judged else ()
    return ValueDone(valuation, move, held, shop.shop.currency, cautions, judged)
