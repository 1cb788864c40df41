"""`value`: what a kit is worth, and what is asked for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.asked import KitWanted, KnownNames, kit_asked
from kitvalue.market.fitted import Moved, moved
from kitvalue.market.value import value_kit
from kitvalue.workshop.costing import VAT, holding_cost
from kitvalue.workshop.money import ZERO

if TYPE_CHECKING:
    from kitvalue.decisions.asked import AskedFor, Asking
    from kitvalue.market.value import Valuation


@dataclass(frozen=True, slots=True, eq=False)
class ValueDone:
    """A kit valued."""

    valuation: Valuation
    moved: Moved | None  # how prices have moved since the day asked about
    holding: Decimal  # what keeping the kit until it is sold costs, net
    currency: str
    cautions: tuple[str, ...]
    asked: AskedFor | None  # the price that somebody asks for it, judged


def value(
    folder: ShopFolder, wanted: KitWanted, range_percent: int, *, since: date | None = None, unseen: bool = False,
    asking: Asking | None = None,
) -> ValueDone:  # fmt: skip
    """Value one kit from the saved fit, or from a fresh one where the files have changed, and what is asked for it."""
    shop, market = folder.shop, folder.market
    recipe = market.fit.recipe
    kit = kit_asked(shop, KnownNames(recipe.series, tuple(one.name for one in recipe.features)), wanted)
    valuation = value_kit(market.fit, kit.kit, kit.finished, range_percent, unseen=unseen)
    move = None if since is None else moved(market.fit, since, wanted.on, range_percent)
    held = ZERO if shop.selling is None else holding_cost(shop.selling)
    cautions = (*market.cautions, *kit.cautions, *valuation.cautions)
    asked = None
    if asking is not None:
        from kitvalue.decisions.asked import judge_asking

        typical = valuation.buy_in.typical
        asked = judge_asking(shop, market.fit, valuation.kit, valuation.finished, typical, asking)
        cautions += (VAT,) if asked.judged else ()
    return ValueDone(valuation, move, held, shop.shop.currency, cautions, asked)
