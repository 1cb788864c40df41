"""What a buyer in each place pays at the door, and what of it the seller keeps.

Export is free of the seller's VAT by either route, so the buyer pays the net price and their own duty and import VAT.
Inside the union the full route charges the destination's rate, the margin scheme the home price (Directive 2006/112/EC
art. 35: the rules on distance sales do not apply to it).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from kitvalue.intake.shop import Destination, Route
from kitvalue.workshop.asking import Sale
from kitvalue.workshop.money import ZERO, cents, percent


@dataclass(frozen=True, slots=True)
class Door:
    """What a buyer pays, part by part. `vat` is the destination's or the import VAT, 0 where the price holds it unseen.

    At home under full VAT `goods` is the net price; the freight holds its own VAT.
    """

    goods: Decimal
    freight: Decimal
    duty: Decimal
    vat: Decimal
    clearance: Decimal

    @property
    def total(self) -> Decimal:
        return self.goods + self.freight + self.duty + self.vat + self.clearance


@dataclass(frozen=True, slots=True)
class PlacePrice:
    """One place. `seller_gets` is the kit's net price, `buyer_pays` all at the door; None where `reason` says why."""

    place: str
    kind: Literal["home", "union", "export"]
    seller_gets: Decimal
    buyer_pays: Decimal | None
    reason: str | None
    door: Door | None = None


def place_prices(
    sale: Sale, freight: Decimal, route: Route, destinations: Mapping[str, Destination]
) -> tuple[PlacePrice, ...]:
    """Home first, then the shop's destinations in their order. `freight` is what a buyer at home is charged."""
    home = _place("home", "home", sale, _home(sale, freight, route))
    return (home, *(_abroad(name, place, sale, route) for name, place in destinations.items()))


def _place(name: str, kind: Literal["home", "union", "export"], sale: Sale, door: Door) -> PlacePrice:
    return PlacePrice(name, kind, sale.net, door.total, None, door)


def _home(sale: Sale, freight: Decimal, route: Route) -> Door:
    """The gross price; under the margin scheme its VAT is not shown (art. 325)."""
    goods, vat = (sale.net, sale.vat) if route == "full" else (sale.gross, ZERO)
    return Door(goods, freight, ZERO, vat, ZERO)


def _abroad(name: str, place: Destination, sale: Sale, route: Route) -> PlacePrice:
    if place.freight is None:
        reason = f"freight to {name} is not known; add freight under [tax.destinations.{name}] in shop.toml"
        return PlacePrice(name, place.kind, sale.net, None, reason)
    if place.kind == "export":
        return _place(name, "export", sale, _export(place, sale, place.freight))
    door = _home(sale, place.freight, route)
    if route == "full":
        door = replace(door, vat=cents(sale.net * percent(place.vat)))
    return _place(name, "union", sale, door)


def _export(place: Destination, sale: Sale, freight: Decimal) -> Door:
    """(net + freight)(1 + duty)(1 + VAT) + clearance, rounded once; the parts add up to it."""
    worth = sale.net + freight
    after_duty = worth * (1 + percent(place.duty))
    duty = cents(after_duty - worth)
    vat = cents(after_duty * (1 + percent(place.vat))) - worth - duty
    return Door(sale.net, freight, duty, vat, place.clearance)
