"""Value added tax: out of a gross price, on net amounts by rate, and on the margin of second-hand goods.

Rates are fractions (0.23) that the shop states; nothing about any country is built in. Sources: EN 16931-1 (BR-CO-17
and its rounding rules) and Council Directive 2006/112/EC, articles 312 to 325, the scheme for second-hand goods.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.plan import DonorTable
from kitvalue.workshop.money import ZERO, cents


@dataclass(frozen=True, slots=True)
class RatedAmount:
    """A net amount of money and the VAT rate (a fraction) it falls under."""

    net: Decimal
    rate: Decimal


@dataclass(frozen=True, slots=True)
class RateTotal:
    """What falls under one rate (a fraction): the sum of the net amounts and the VAT on it, to the cent."""

    rate: Decimal
    net: Decimal
    vat: Decimal


def vat_inside(gross: Decimal, rate: Decimal) -> Decimal:
    """The VAT that a gross price holds, unrounded: gross * v / (1 + v)."""
    return gross * rate / (1 + rate)


def vat_on_net(net: Decimal, rate: Decimal) -> Decimal:
    """The VAT on a net amount, rounded once, half up and symmetric (EN 16931, BR-CO-17)."""
    return cents(net * rate)


def vat_by_rate(amounts: Iterable[RatedAmount]) -> tuple[RateTotal, ...]:
    """VAT of a document built up from net lines: the lines of each rate are summed, then rounded once (EN 16931).

    Each line's net amount is rounded to the cent before it is summed. Rates ascending.
    """
    nets: dict[Decimal, Decimal] = {}
    for amount in amounts:
        nets[amount.rate] = nets.get(amount.rate, ZERO) + cents(amount.net)
    return tuple(RateTotal(rate, net, vat_on_net(net, rate)) for rate, net in sorted(nets.items()))


def margin_vat(selling: Decimal, purchase: Decimal, rate: Decimal) -> Decimal:
    """The VAT on one item's profit margin, unrounded: (selling - purchase) * v / (1 + v), never below 0.

    Directive 2006/112/EC art. 315. `selling` is all the buyer pays, freight and fees charged to them included, and
    `purchase` all the supplier received (art. 312). An item sold at a loss bears none and lowers no other item's.
    """
    return vat_inside(max(ZERO, selling - purchase), rate)


def why_no_margin_scheme(donors: Sequence[DonorTable]) -> str | None:
    """Why the margin scheme is closed to a kit made from these donors, or None where it is open.

    Directive 2006/112/EC art. 314: the goods must come, within the Union, from someone who did not deduct VAT on them
    (a private person) or from a dealer who used the scheme.
    """
    reasons = [reason for donor in donors if (reason := _why_not(donor))]
    return "; ".join(reasons) or None


def _why_not(donor: DonorTable) -> str | None:
    if donor.bought_from == "import":
        return f"donor {donor.id} was imported"
    if donor.bought_from == "trade" and donor.vat == "included":
        return f"donor {donor.id} was bought with VAT shown"
    if donor.bought_from == "trade" and donor.vat is None:
        return f"donor {donor.id} was bought from trade and its vat is not said"
    return None
