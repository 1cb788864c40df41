"""What a kit is worth: to buy in as it stands, and to sell again finished."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from kitvalue.market.comparables import Comparable, comparables
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import Kit
from kitvalue.market.outlook import Outlook, outlook

ESTIMATES = "Market values are estimates from the shop's own observations, not an appraisal."


@dataclass(frozen=True, slots=True, eq=False)
class Valuation:
    """`buy_in` is at sold, private, the kit's own condition; `resale` at sold, dealer, the finished condition."""

    kit: Kit
    finished: float
    buy_in: Outlook
    resale: Outlook
    comparables: tuple[Comparable, ...]
    cautions: tuple[str, ...]
    as_of: date | None  # the day whose prices these are: the kit's own, else the newest of the book


def value_kit(fit: Fit, kit: Kit, finished: float | None, range_percent: int, *, unseen: bool = False) -> Valuation:
    """Value a kit. `finished` is the condition it will be sold in, its own where None."""
    grade = kit.condition if finished is None else finished
    bought = replace(kit, price_kind="sold", channel="private")
    sold = resale_kit(fit, replace(kit, condition=grade))
    buy_in = outlook(fit, bought, range_percent, unseen=unseen)
    resale = outlook(fit, sold, range_percent, unseen=unseen)
    cautions = [*buy_in.cautions, *resale.cautions]
    if sold.channel != "dealer":
        cautions.append(no_dealer(fit))
    if fit.recipe.sold_offset != 0.0:
        cautions.append(f"the step from asked to sold rests on {fit.recipe.sold_basis}")
    cautions += [_average(f.name) for f in fit.recipe.features if f.name not in {g.name for g in kit.features}]
    return Valuation(
        kit=bought,
        finished=grade,
        buy_in=buy_in,
        resale=resale,
        comparables=comparables(fit, bought),
        cautions=tuple(dict.fromkeys((*cautions, ESTIMATES))),
        as_of=kit.on or fit.recipe.reference_date,
    )


def resale_kit(fit: Fit, kit: Kit) -> Kit:
    """The kit as a webshop sells it: sold, dealer; private where the book cannot tell dealers."""
    return replace(kit, price_kind="sold", channel="dealer" if fit.recipe.has("dealer") else "private")


def no_dealer(fit: Fit) -> str:
    """Why the resale value is a private one."""
    why = next((out.reason for out in fit.recipe.left_out if out.term == "dealer"), "no dealer rows")
    return f"resale is valued as a private sale ({why})"


def _average(feature: str) -> str:
    return f"{feature} was not given: it counts at the book's average"
