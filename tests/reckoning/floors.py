"""The floor: the lowest price that leaves the margin; in closed form, and found by trying prices."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tests.reckoning.exact import RefusedError, Rounding, cents, inside, lowest, up


@dataclass(frozen=True)
class Selling:
    """How the shop sells. Ratios of one: `margin` of net revenue, `fee` and `reserve` of the gross price, `capital` a
    year.

    Euros: `freight` charged to the buyer, `fee_fixed` a sale, `holding` a month. `months` until sold.
    """

    margin: Fraction = Fraction(0)
    fee: Fraction = Fraction(0)
    reserve: Fraction = Fraction(0)
    freight: Fraction = Fraction(0)
    fee_fixed: Fraction = Fraction(0)
    holding: Fraction = Fraction(0)
    capital: Fraction = Fraction(0)
    months: Fraction = Fraction(0)

    @property
    def tied(self) -> Fraction:
        """i T/12: what a euro that is tied up until the sale costs."""
        return self.capital * self.months / 12


def net_cost(costs: Fraction, bought: Fraction, selling: Selling, rounding: Rounding = cents) -> Fraction:
    """C' = C + H T + q + i T/12 (kits, freight, premium, import costs, as counted). `bought` is a part of `costs`.

    Holding once a build. Each is a line of the cost sheet and rounds by itself.
    """
    return (
        costs
        + rounding(selling.holding * selling.months)
        + rounding(selling.fee_fixed)
        + rounding(selling.tied * bought)
    )


def vat_of(price: Fraction, route: str, rate: Fraction, freight: Fraction, purchase_price: Fraction) -> Fraction:
    """The kit's own VAT, freight's part standing apart.

    Full: the rate inside the price. Margin: of everything that the buyer pays less P (312(1), 315), less freight's
    part; a loss bears none. Exempt, and under a tax on top: none inside.
    """
    k = inside(rate)
    if route in ("full", "service"):
        return k * price
    if route == "margin":
        return k * max(Fraction(0), price + freight - purchase_price) - k * freight
    return Fraction(0)


def paid_by_buyer(price: Fraction, route: str, rate: Fraction, freight: Fraction) -> Fraction:
    """What the channel takes its fee of: price and freight, with the tax on top where that is the kind."""
    return (price + freight) * (1 + rate if route == "sales" else 1)


def profit(
    price: Fraction,
    route: str,
    rate: Fraction,
    selling: Selling,
    cost: Fraction,
    purchase_price: Fraction = Fraction(0),
) -> Fraction:
    """Net revenue less fee, reserve and C'. Freight is passed on at cost; the reserve is set aside, no tax matter."""
    net = price - vat_of(price, route, rate, selling.freight, purchase_price)
    return net - selling.fee * paid_by_buyer(price, route, rate, selling.freight) - selling.reserve * price - cost


def left_above_margin(
    price: Fraction,
    route: str,
    rate: Fraction,
    selling: Selling,
    cost: Fraction,
    purchase_price: Fraction = Fraction(0),
) -> Fraction:
    """Profit less the margin on net revenue: 0 at the floor."""
    net = price - vat_of(price, route, rate, selling.freight, purchase_price)
    return profit(price, route, rate, selling, cost, purchase_price) - selling.margin * net


def floor_price(
    route: str, rate: Fraction, selling: Selling, cost: Fraction, purchase_price: Fraction = Fraction(0)
) -> Fraction:
    """The floor by its closed form, up to the cent.

    From (1 − m) net − f (G + F) − r G = C', with D = (1 − m)/(1 + v) − f − r: full (C' + f F)/D, margin (C' + f F −
    (1 − m) k P)/D. No VAT: the same with v = 0; a tax s on top: (C' + f F (1 + s))/(1 − m − r − f (1 + s)). A floor
    cannot lie below 0. Under margin the net is the smaller of two lines, G − k (G − P) and, where there is no margin,
    G + k F, so that the floor is the higher of their two; the second binds only where a build costs far less than P.
    """
    m, f, r, F = selling.margin, selling.fee, selling.reserve, selling.freight
    k = inside(rate)
    if route == "sales":
        return solved(cost + f * F * (1 + rate), 1 - m - r - f * (1 + rate))
    if route == "none":
        return solved(cost + f * F, 1 - m - f - r)
    D = (1 - m) / (1 + rate) - f - r
    if route == "margin":
        with_margin = solved(cost + f * F - (1 - m) * k * purchase_price, D)
        at_a_loss = solved(cost + f * F - (1 - m) * k * F, 1 - m - f - r)
        return max(with_margin, at_a_loss)
    return solved(cost + f * F, D)


def solved(wanted: Fraction, each: Fraction) -> Fraction:
    """wanted/each, up to the cent and not below 0; refused where a higher price leaves nothing more."""
    if each <= 0:
        raise RefusedError("no_price")
    return max(Fraction(0), up(wanted / each))


def floor_by_bisection(
    route: str, rate: Fraction, selling: Selling, cost: Fraction, purchase_price: Fraction = Fraction(0)
) -> Fraction:
    """The floor by its meaning: the lowest price in cents at which profit is the margin on net revenue or more."""
    return lowest(lambda price: left_above_margin(price, route, rate, selling, cost, purchase_price) >= 0)


def customers_own(work_and_parts: Fraction, rate: Fraction, selling: Selling, *, registered: bool) -> Fraction:
    """The price of work on a customer's own kit: a service, with VAT where registered (24(1), from memory).

    No purchase, no margin scheme, nothing tied up; leftovers are his and bring the shop nothing.
    """
    return floor_price(
        "service" if registered else "none",
        rate if registered else Fraction(0),
        selling,
        work_and_parts + selling.fee_fixed,
    )
