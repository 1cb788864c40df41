"""`compare`: a build held against buying an original."""

from __future__ import annotations

from dataclasses import replace

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.breakeven import Comparison, compared
from kitvalue.decisions.named import OriginalNamed, hold_price, read_grade
from kitvalue.decisions.pricing import PriceSheet, priced
from kitvalue.intake.text.problems import Caution


def compare(
    folder: ShopFolder, plan_name: str, named: OriginalNamed | None = None, condition: str | None = None
) -> Comparison:
    """A plan's build against the original that the customer could buy instead, the market's cautions with it. `named`
    is one that he names, `condition` its grade as he says it."""
    said: list[Caution] = []
    if named is not None:
        hold_price("--against", named.price, folder.shop)
        if condition is not None:
            grade, said = read_grade("--condition", condition, folder.shop)
            named = replace(named, condition=grade)
    plan, market = folder.plan(plan_name), folder.market
    comparison = compared(plan, folder.shop, market.fit, folder.parts_for(plan), named)
    return replace(comparison, cautions=tuple(dict.fromkeys((*said, *market.cautions, *comparison.cautions))))


def variants(folder: ShopFolder, plan_names: tuple[str, ...]) -> tuple[PriceSheet, ...]:
    """Several plans, each priced by itself, as they were named."""
    shop, market = folder.shop, folder.market
    plans = [folder.plan(name) for name in dict.fromkeys(plan_names)]
    sheets = [priced(plan, shop, market.fit, parts=folder.parts_for(plan)) for plan in plans]
    said = [tuple(dict.fromkeys((*market.cautions, *sheet.cautions))) for sheet in sheets]
    return tuple(replace(sheet, cautions=cautions) for sheet, cautions in zip(sheets, said, strict=True))
