"""What a buyer in each place pays at the door, and what of it the seller keeps.

Export is free of the seller's VAT by either route, so the buyer pays the net price and their own duty and import VAT.
Inside the union the full route charges the destination's rate, the margin scheme the home price (Directive 2006/112/EC
art. 35: the rules on distance sales do not apply to it).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from kitvalue.intake.shop import Destination, Route
from kitvalue.workshop.asking import Sale
from kitvalue.workshop.money import cents, percent


@dataclass(frozen=True, slots=True)
class PlacePrice:
    """One place. `seller_gets` is the kit's net price, `buyer_pays` all at the door; None where `reason` says why."""

    place: str
    kind: Literal["home", "union", "export"]
    seller_gets: Decimal
    buyer_pays: Decimal | None
    reason: str | None


def place_prices(
    sale: Sale, freight: Decimal, route: Route, destinations: Mapping[str, Destination]
) -> tuple[PlacePrice, ...]:
    """Home first, then the shop's destinations in their order. `freight` is what a buyer at home is charged."""
    home = PlacePrice("home", "home", sale.net, sale.gross + freight, None)
    return (home, *(_abroad(name, place, sale, route) for name, place in destinations.items()))


def _abroad(name: str, place: Destination, sale: Sale, route: Route) -> PlacePrice:
    if place.freight is None:
        reason = f"freight to {name} is not known; add freight under [tax.destinations.{name}] in shop.toml"
        return PlacePrice(name, place.kind, sale.net, None, reason)
    vat = 1 + percent(place.vat)
    if place.kind == "export":
        pays = (sale.net + place.freight) * (1 + percent(place.duty)) * vat + place.clearance
    elif route == "full":
        pays = sale.net * vat + place.freight
    else:
        pays = sale.gross + place.freight
    return PlacePrice(name, place.kind, sale.net, cents(pays), None)
