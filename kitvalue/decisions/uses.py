"""What a bought kit can become, by VAT route, and what that costs before the kit itself is paid for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from kitvalue.intake.offers import BoughtFrom, Offer
from kitvalue.intake.plan import DonorTable, Plan
from kitvalue.intake.shop import Route, Shop
from kitvalue.intake.sizes import Size
from kitvalue.workshop.costing import CostSheet, contingency_of, cost_sheet
from kitvalue.workshop.drums import Drum, drums_of
from kitvalue.workshop.money import ZERO
from kitvalue.workshop.tax import why_no_margin_scheme

Use = Literal["sell on", "rebuild", "parts"]
SELL_ON: Final[Use] = "sell on"
REBUILD: Final[Use] = "rebuild"
PARTS: Final[Use] = "parts"
NO_SIZES: Final = "offers.csv does not give its sizes (diameter and depth of each drum)"
PLACEHOLDER: Final = Decimal(1_000_000)  # a price above every surplus; taken out again


@dataclass(frozen=True, slots=True)
class Base:
    """A use by one route before the kit and its freight are paid. Money, net; `hours` are the shop's own.

    `others`, `credit` and `least` are those of `ceiling.Deals`. `reason` says why the use or its route is not open.
    """

    use: Use
    route: Route
    cost: float
    others: float
    credit: float
    least: float
    hours: float
    labour: float
    reason: str | None


def routes_of(shop: Shop) -> tuple[Route, ...]:
    """The VAT routes that the business may choose from for each sale."""
    return ("none",) if shop.tax is not None and shop.tax.route == "none" else ("full", "margin")


def own_route(shop: Shop, plan: Plan | None, use: Use) -> Route:
    """The route that the plan, or else the shop, sets."""
    planned = plan.route if plan is not None and use == REBUILD else None
    return planned or (shop.tax.route if shop.tax is not None else "full")


def plain_bases(shop: Shop, use: Use, hours: Decimal | None, bought_from: BoughtFrom, key: str) -> tuple[Base, ...]:
    """Selling a kit whole, or in parts: its hours, with contingency. `hours` are the shop's (`key` of [work]) where the
    offer has none of its own; None where both lack."""
    lacks = None
    if shop.work is None and hours is not None:
        lacks = "shop.toml does not say what an hour costs: add rate under [work]"
    elif hours is None:
        lacks = f"shop.toml does not say how many hours that takes: add {key} under [work]"
    rate = shop.work.rate if shop.work is not None else ZERO
    labour = (hours or ZERO) * rate
    cost = float(labour * (1 + contingency_of(shop)))
    return tuple(
        Base(use, route, cost, 0.0, 0.0, 0.0, float(hours or 0), float(labour), lacks or _closed(route, bought_from))
        for route in routes_of(shop)
    )


def _closed(route: Route, bought_from: BoughtFrom) -> str | None:
    if route != "margin":
        return None
    kit = DonorTable(id="on offer", series="-", pieces=1, condition=Decimal(3), price=ZERO, bought_from=bought_from)
    return why_no_margin_scheme([kit])


def rebuild_bases(plan: Plan, shop: Shop, at: int, pieces: int, bought_from: BoughtFrom) -> tuple[Base, ...]:
    """The plan's build with a bought kit in the place of its donor number `at`, price and freight left out.

    What the plan sells off of that donor counts for the kit that takes its place.
    """
    changed = {"price": PLACEHOLDER, "freight": ZERO, "pieces": pieces, "bought_from": bought_from, "vat": None}
    donors = tuple(d.model_copy(update=changed) if i == at else d for i, d in enumerate(plan.donor))
    routes = routes_of(shop)
    built = plan.model_copy(update={"donor": donors, "route": routes[0]})
    sheet = cost_sheet(built, shop)
    labour = float(sheet.hours * (shop.work.rate if shop.work is not None else ZERO))
    return tuple(_rebuilt(sheet, route, plan.donor[at].id, labour) for route in routes)


def _rebuilt(sheet: CostSheet, route: Route, donor: str, labour: float) -> Base:
    side = next(r for r in sheet.routes if r.route == route)
    one = next(a for a in sheet.apportioned if a.donor == donor)
    lacks = f"the plan's cost is not known: {'; '.join(sheet.incomplete)}" if sheet.incomplete else None
    return Base(
        use=REBUILD,
        route=route,
        cost=float(side.net_cost - PLACEHOLDER),
        others=float(side.purchase - one.kit),
        credit=float(one.sold_off + one.kept),
        least=float(one.sold_off) if route == "margin" else 0.0,
        hours=float(sheet.hours),
        labour=labour,
        reason=lacks or side.reason,
    )


@dataclass(frozen=True, slots=True)
class DonorNeed:
    """What a plan takes from one of its donors: its place among them and the shells."""

    at: int
    id: str
    sizes: tuple[Size, ...]


def donor_needs(plan: Plan, shop: Shop) -> tuple[DonorNeed, ...]:
    """The donors of a plan that give it drums, in its order."""
    drums = drums_of(plan, shop.shop.size_order)
    needs = (DonorNeed(i, d.id, _taken(drums, d.id)) for i, d in enumerate(plan.donor))
    return tuple(need for need in needs if need.sizes)


def _taken(drums: Sequence[Drum], donor: str) -> tuple[Size, ...]:
    return tuple(d.size for d in drums if d.source == donor)


def takes_place_of(offer: Offer, needs: Sequence[DonorNeed]) -> DonorNeed | None:
    """The first donor whose drums the offer has, each in the plan's own size; None where there is none."""
    return next((need for need in needs if _has(offer.sizes, need.sizes)), None)


def _has(sizes: Sequence[Size], wanted: Sequence[Size]) -> bool:
    left = list(sizes)
    for size in wanted:
        if size not in left:
            return False
        left.remove(size)
    return True


def why_no_place(offer: Offer, needs: Sequence[DonorNeed]) -> str:
    """Why an offer takes no donor's place."""
    if not needs:
        return "the plan takes no drum from a donor"
    if not offer.sizes:
        return NO_SIZES
    return "it has not all the drums of any one donor of the plan (kitvalue source joins several)"
