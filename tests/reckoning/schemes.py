"""Which scheme a sale is under, and at which rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from tests.reckoning.exact import RefusedError, percent

FREE_OF_DESTINATION = Fraction(10_000)  # euros net a year, over all countries of the union (article 59c)


@dataclass(frozen=True)
class Tax:
    """The shop's [tax]. `rates` are (from, percent), in any order; the first day may be date.min."""

    rates: tuple[tuple[date, Fraction], ...] = ((date.min, Fraction(23)),)
    registered: bool = True
    kind: str = "vat"
    sell_on: str = "margin"
    rebuild: str = "full"
    union: bool = True
    union_sales: str = "destination"


@dataclass(frozen=True)
class PlanDonor:
    """A donor of a plan: its series, whether its purchase leaves the scheme open, whose it is."""

    series: str
    open: bool = True
    owner: str = "shop"


@dataclass(frozen=True)
class Scheme:
    """full, margin, none (exempt), sales (a tax on top), service (a customer's own kit, with VAT) and what to say
    beside it.
    """

    route: str
    cautions: tuple[str, ...] = ()


def rate_on(tax: Tax, day: date) -> Fraction:
    """The rate of the day of the sale as a ratio (articles 63 and 93: that in force when the goods are supplied, from
    memory).
    """
    known = [(start, rate) for start, rate in tax.rates if start <= day]
    if not known:
        raise RefusedError("no_rate_that_day")
    return percent(max(known)[1])


def from_old_route(route: str, *, beside: Sequence[str] = ()) -> Tax:
    """shop.toml's old `route`: full and margin set sell_on and rebuild both, none is `registered = false`.

    Refused where one of the new keys stands beside it.
    """
    if set(beside) & {"registered", "sell_on", "rebuild"}:
        raise RefusedError("route_beside_new_keys")
    if route == "none":
        return Tax(registered=False)
    return Tax(sell_on=route, rebuild=route)


def of_item(tax: Tax, *, is_open: bool) -> Scheme:
    """A kit sold on, a part, a leftover drum: sell_on, by its own donor's origin, also when the build is under full
    VAT.

    Parts of used goods are themselves second-hand goods (article 314; case C-471/15). Where the purchase closes the
    scheme it is full VAT; the shop may choose full at any time (319).
    """
    if tax.kind == "sales":
        return Scheme("sales")
    if not tax.registered:
        return Scheme("none")
    return Scheme("margin" if tax.sell_on == "margin" and is_open else "full")


def of_plan(tax: Tax, donors: Sequence[PlanDonor], finished: str, *, new_shells: int = 0, route: str = "") -> Scheme:
    """The scheme of a build.

    One donor, no new shell, finished in that donor's own series is a kit restored and follows sell_on; every other
    plan follows rebuild, and there the margin scheme carries a caution, for the goods may no longer be those that
    were bought (article 311(1)(1): "as they are or after repair", from memory). A donor that closes the scheme makes
    it full VAT; said by the plan itself, margin is then refused, as it is for an exempt business and under sales tax;
    `none` is always refused. A customer's own kit is a service (article 24(1), from memory): no resale and no scheme.
    """
    if route == "none":
        raise RefusedError("plan_none")
    if any(donor.owner == "customer" for donor in donors):
        if route == "margin":
            raise RefusedError("margin_of_customers_kit")
        return Scheme("sales" if tax.kind == "sales" else "service" if tax.registered else "none")
    if route == "margin":
        if tax.kind == "sales":
            raise RefusedError("margin_under_sales_tax")
        if not tax.registered:
            raise RefusedError("margin_of_exempt")
        if not all(donor.open for donor in donors):
            raise RefusedError("margin_of_closed")
    if tax.kind == "sales":
        return Scheme("sales")
    if not tax.registered:
        return Scheme("none")
    restored = is_restored(donors, finished, new_shells)
    follows = route or (tax.sell_on if restored else tax.rebuild)
    if follows == "margin" and not all(donor.open for donor in donors):
        follows = "full"
    heavy = () if restored or follows != "margin" else ("rebuilt_under_margin",)
    return Scheme(follows, heavy)


def is_restored(donors: Sequence[PlanDonor], finished: str, new_shells: int) -> bool:
    """One donor, no new shell, its own series: repaired, and not made into something else."""
    return len(donors) == 1 and new_shells == 0 and donors[0].series == finished


@dataclass(frozen=True)
class Charged:
    """What a sale bears: a rate, in which column of the register it stands, and in which country it is owed."""

    rate: Fraction
    column: str
    owed_in: str = "home"
    scheme: str = "full"


def charged(
    tax: Tax,
    route: str,
    day: date,
    *,
    place: str = "home",
    buyer: str = "private",
    country: str = "",
    there: Fraction | None = None,
) -> Charged:
    """The rate of a sale by place and buyer; `there` is the destination's rate in percent.

    Under the margin scheme VAT is owed at home wherever in the union it goes (article 35, from memory). Full VAT to a
    private buyer in the union bears the destination's rate (33(a), from memory), or the home rate with `union_sales =
    "home"` (59c); to a business there it goes without (138, from memory). An export bears none, with proof (146;
    under the scheme 321, from memory). A sales tax is added by place, 0 where none is owed.
    """
    if place == "union" and not tax.union:
        raise RefusedError("outside_union")
    if tax.kind == "sales":
        rate = rate_on(tax, day) if place == "home" else percent(there or 0)
        return Charged(rate, "sales", "home" if place == "home" else country, "sales")
    if not tax.registered:
        return Charged(Fraction(0), "none", scheme="none")
    if place == "export":
        return Charged(Fraction(0), "export", scheme=route)
    if route == "margin":
        return Charged(rate_on(tax, day), "margin", scheme="margin")
    if place == "union" and buyer == "business":
        return Charged(Fraction(0), "union", country)
    if place == "union" and tax.union_sales == "destination":
        if there is None:
            raise RefusedError("no_rate_there")
        return Charged(percent(there), "union", country)
    return Charged(rate_on(tax, day), "full")


def may_stay_home(net_this_year: Fraction) -> bool:
    """`union_sales = "home"` is open up to 10,000 net a year over all countries (article 59c)."""
    return net_this_year <= FREE_OF_DESTINATION


def abroad(price_at_home: Fraction, home: Charged, away: Charged) -> Fraction:
    """What a buyer elsewhere pays for a kit that costs this at home: the same net, the rate there; the home price
    under margin.
    """
    if away.column == "margin":
        return price_at_home
    return price_at_home / (1 + home.rate) * (1 + away.rate)
