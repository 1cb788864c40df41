"""`compare`: a build held against buying an original."""

from __future__ import annotations

from dataclasses import dataclass

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.breakeven import Comparison, compared
from kitvalue.intake.text.problems import Caution


@dataclass(frozen=True, slots=True, eq=False)
class CompareDone:
    """A build held against the original."""

    comparison: Comparison
    headline: str
    cautions: tuple[Caution, ...]


def compare(folder: ShopFolder, plan_name: str) -> CompareDone:
    """A plan's build against the original that the customer could buy instead."""
    plan, market = folder.plan(plan_name), folder.market
    comparison = compared(plan, folder.shop, market.fit)
    headline = comparison.quote.headline(comparison.sheet)
    return CompareDone(comparison, headline, tuple(dict.fromkeys((*market.cautions, *comparison.cautions))))
