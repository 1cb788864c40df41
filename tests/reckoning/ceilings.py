"""The most that may be offered for a kit, in the terms of the offer; in closed form, and found by trying offers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor

from tests.reckoning.exact import RefusedError, down, highest, inside, percent, unrounded
from tests.reckoning.floors import Selling, left_above_margin, profit
from tests.reckoning.purchases import Business, Terms, reckon, treatment


@dataclass(frozen=True)
class Use:
    """What one kit can become: what such sales fetch (gross), under which scheme, and what else it costs.

    `others` is everything but this kit with what comes with it (holding, fixed fee, work, parts, other donors, less
    what leftovers bring); `other_purchases` is P of the other donors less shares that have left it.
    """

    sample: tuple[Fraction, ...]
    route: str
    rate: Fraction
    selling: Selling
    others: Fraction = Fraction(0)
    other_purchases: Fraction = Fraction(0)


def most_landed(use: Use) -> Fraction:
    """B: the most that the kit may cost, landed and net, were its price no matter for VAT.

    Mean of what each sale leaves above the margin with this kit for nothing, by what capital adds to each euro.
    """
    left = sum(
        left_above_margin(price, use.route, use.rate, use.selling, use.others, use.other_purchases)
        for price in use.sample
    )
    return Fraction(left) / len(use.sample) / (1 + use.selling.tied)


def offer_for(most: Fraction, terms: Terms, business: Business) -> Fraction:
    """The offer that costs B, unrounded: tax.md's list.

    Trade with VAT included (1 + v)(B − h); excluded B − h, net; union with another state's VAT B − h; import (B −
    clearance)/(1 + d) − freight. Exempt: import (B/(1 + w) − clearance)/(1 + d) − freight; union or trade excluded (B
    − h)/(1 + v), B/(1 + v) − h where the seller charges the freight. h is the freight as counted. A premium: all that
    divided by 1 + π; where its VAT is shown and deducted while the kit counts whole or net, π counts as π/(1 + v).
    """
    how, _ = treatment(terms, business)
    v, premium, freight = business.v, percent(terms.premium), terms.freight
    shown = terms.premium_vat == "included"
    deducted_at_home = shown and business.deducts and terms.bought_from in ("private", "trade")
    if how == "landed":
        d = percent(business.duty if terms.duty is None else terms.duty)
        w = (
            Fraction(0)
            if business.deducts
            else percent(business.import_vat if terms.import_vat is None else terms.import_vat)
        )
        clearance = business.clearance if terms.clearance is None else terms.clearance
        return ((most / (1 + w) - clearance) / (1 + d) - freight) / (1 + premium)
    if how == "included" and business.deducts:
        return (1 + v) * (most - (freight / (1 + v) if terms.by_seller else freight)) / (1 + premium)
    if how in ("excluded", "acquired") and not business.deducts:
        alone = most / (1 + v) - freight if terms.by_seller else (most - freight) / (1 + v)
        return alone / (1 + (premium / (1 + v) if shown else premium))
    return (most - freight) / (1 + (premium / (1 + v) if deducted_at_home else premium))


def ceiling(use: Use, terms: Terms, business: Business) -> Fraction | None:
    """The highest offer that leaves the margin on average, down to the cent; None where even a gift does not.

    A purchase that is open and sold under the margin scheme: each euro of P saves (1 − m) k in the sales that bear
    VAT, so that it costs 1 − (1 − m) k, and 1 where none is due. The sales are taken from the dearest down: with t of
    n bearing VAT the line is solved, until it agrees with its own t.
    """
    if use.route != "margin":
        best = offer_for(most_landed(use), terms, business)
        return None if best < 0 else down(best)
    if not treatment(terms, business)[1]:
        raise RefusedError("margin_of_closed")
    m, k, tied = use.selling.margin, inside(use.rate), use.selling.tied
    slope, start = open_line(terms, business)
    in_price = Fraction(1) + (percent(terms.premium) if terms.premium_vat != "included" else 0)
    fixed_part = use.other_purchases + (terms.freight if terms.by_seller else 0)  # P at an offer of 0
    paid = sorted((price + use.selling.freight for price in use.sample), reverse=True)
    count = len(paid)
    no_vat_due = [  # the other purchases alone cost all that the buyer pays
        left_above_margin(price, "margin", use.rate, use.selling, use.others, price + use.selling.freight)
        for price in use.sample
    ]
    flat = sum(no_vat_due, Fraction(0))
    for due in range(count + 1):
        # (flat − (1 − m) k Σ_due (S_j − fixed_part − in_price x)) / n = (1 + tied)(start + slope x)
        saved = (1 - m) * k * (sum(paid[:due], Fraction(0)) - due * fixed_part) / count
        x = (flat / count - saved - (1 + tied) * start) / ((1 + tied) * slope - (1 - m) * k * in_price * due / count)
        bought = fixed_part + in_price * x
        if (due == 0 or paid[due - 1] >= bought) and (due == count or paid[due] <= bought):
            return None if x < 0 else down(x)
    raise AssertionError("the lines meet somewhere")


def open_line(terms: Terms, business: Business) -> tuple[Fraction, Fraction]:
    """The cost of an open purchase is start + slope times the offer (whole but for a premium with VAT shown)."""
    start = reckon(0, terms, business, unrounded).cost
    return reckon(1, terms, business, unrounded).cost - start, start


def ceiling_by_bisection(use: Use, terms: Terms, business: Business) -> Fraction | None:
    """The same by its meaning: the highest offer in cents at which what is left on average is the margin."""

    def fits(offer: Fraction) -> bool:
        bought = reckon(offer, terms, business, unrounded)
        cost = use.others + (1 + use.selling.tied) * bought.cost
        own = bought.purchase_price if bought.open else Fraction(0)
        left = sum(
            left_above_margin(price, use.route, use.rate, use.selling, cost, use.other_purchases + own)
            for price in use.sample
        )
        return left >= 0

    return highest(fits)


def safe_ceiling(use: Use, terms: Terms, business: Business, loss_chance: Fraction) -> Fraction | None:
    """The highest offer at or below the ceiling at which no more than `loss_chance` of the sample loses.

    Each sale has a price at which it breaks even (the ceiling of that sale alone without margin); of n the one that
    comes after the ⌊chance × n⌋ lowest binds.
    """
    most = ceiling(use, terms, business)
    if most is None:
        return None
    no_margin = Selling(**{**vars(use.selling), "margin": Fraction(0)})
    each = [
        ceiling(Use((price,), use.route, use.rate, no_margin, use.others, use.other_purchases), terms, business)
        for price in use.sample
    ]
    ordered = sorted(Fraction(-1) if one is None else one for one in each)
    allowed = floor(loss_chance * len(ordered))
    even = most if allowed >= len(ordered) else ordered[allowed]
    return None if even < 0 else min(most, even)


def safe_ceiling_by_bisection(use: Use, terms: Terms, business: Business, loss_chance: Fraction) -> Fraction | None:
    """The same by counting the sales that lose at each offer."""

    def fits(offer: Fraction) -> bool:
        bought = reckon(offer, terms, business, unrounded)
        cost = use.others + (1 + use.selling.tied) * bought.cost
        own = bought.purchase_price if bought.open else Fraction(0)
        losing = sum(
            profit(price, use.route, use.rate, use.selling, cost, use.other_purchases + own) < 0 for price in use.sample
        )
        return losing <= loss_chance * len(use.sample)

    most = ceiling_by_bisection(use, terms, business)
    return None if most is None else highest(lambda offer: offer <= most and fits(offer))
