"""What a build is charged with: every line before VAT and rounding, and its net amount by any VAT route.

The lines of a sheet and the solvers of the break-even both start here, so that they cannot differ in what they count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from kitvalue.intake.shop import Route
from kitvalue.workshop.asking import Terms
from kitvalue.workshop.money import ZERO


class Group(StrEnum):
    """The parts of a cost sheet, in its order."""

    DONORS = "donors"
    WORK = "work"
    CONTINGENCY = "contingency"
    SENT_OUT = "sent-out work"
    PARTS = "parts"
    SURPLUS = "surplus"


class Stated(StrEnum):
    """What the stated money of a charge is, before a route turns it into a net amount."""

    NET = "net"  # VAT comes on top: deducted by a taxed business, borne by an exempt one
    GROSS = "gross"  # VAT inside, deducted by a taxed business
    NO_VAT = "no vat"  # none in it, or none that may be deducted
    SOLD_OFF = "sold off"  # a gross price received
    KEPT = "kept"  # the worth of what stays in the workshop


class Lever(StrEnum):
    """What of a charge a break-even may scale."""

    DONOR_PRICE = "donor price"
    LABOUR = "labour"
    COVERING = "covering"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Charge:
    """One line as stated. `amount` is money for one unit, None where unknown; a credit's is above 0 all the same."""

    what: str
    group: Group
    quantity: Decimal
    unit: str
    amount: Decimal | None
    stated: Stated
    lever: Lever = Lever.NONE
    donor: str | None = None
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Scales:
    """Factors on the planned amounts, each 1 as planned."""

    donors: Decimal = Decimal(1)
    hours: Decimal = Decimal(1)
    hourly_rate: Decimal = Decimal(1)
    covering: Decimal = Decimal(1)

    def of(self, lever: Lever) -> Decimal:
        """The factor on a charge of this lever."""
        match lever:
            case Lever.DONOR_PRICE:
                return self.donors
            case Lever.LABOUR:
                return self.hours * self.hourly_rate
            case Lever.COVERING:
                return self.covering
            case Lever.NONE:
                return Decimal(1)


@dataclass(frozen=True, slots=True)
class ExactCost:
    """Net cost and purchase prices (P), nothing rounded. Charges of unknown amount are not in them."""

    cost: Decimal
    purchase: Decimal


def net_unit(charge: Charge, terms: Terms, route: Route) -> Decimal | None:
    """What one unit of a charge costs net by a VAT route, unrounded and below 0 for a credit; None where unknown.

    What is sold off brings value/(1+v) - f*value under full VAT. Under the margin scheme it has no margin, its value
    being taken out of the donor's purchase price, so it brings value - f*value, as it does where no VAT is charged.
    """
    if charge.amount is None:
        return None
    taxed, amount = route != "none", charge.amount
    match charge.stated:
        case Stated.NET:
            return amount if taxed else amount * (1 + terms.rate)
        case Stated.GROSS:
            return amount / (1 + terms.rate) if taxed else amount
        case Stated.NO_VAT:
            return amount
        case Stated.SOLD_OFF:
            brings = amount / (1 + terms.rate) if route == "full" else amount
            return -(brings - terms.fee * amount)
        case Stated.KEPT:
            return -amount


@dataclass(frozen=True, slots=True)
class Apportioned:
    """A donor's price, parted once: `price` = `sold_off` + `kept` + `kit`, gross money without its freight.

    `sold_off` is what its surplus brings, `kept` the worth of its drums that are left over, `kit` what remains for the
    kit; below 0 where the others are more than the price.
    """

    donor: str
    price: Decimal
    sold_off: Decimal
    kept: Decimal

    @property
    def kit(self) -> Decimal:
        return self.price - self.sold_off - self.kept


def apportioned(charges: Sequence[Charge], donors: Decimal = Decimal(1)) -> tuple[Apportioned, ...]:
    """Each donor's price between the kit and what is sold off or kept of it; `donors` scales the prices. Unrounded."""
    return tuple(
        Apportioned(
            donor.donor,
            donor.amount * donors,
            _of_donor(charges, donor.donor, Stated.SOLD_OFF),
            _of_donor(charges, donor.donor, Stated.KEPT),
        )
        for donor in charges
        if donor.lever is Lever.DONOR_PRICE and donor.donor is not None and donor.amount is not None
    )


def _of_donor(charges: Sequence[Charge], donor: str, stated: Stated) -> Decimal:
    amounts = (
        c.quantity * c.amount for c in charges if c.donor == donor and c.stated is stated and c.amount is not None
    )
    return sum(amounts, ZERO)


def purchase_price(charges: Sequence[Charge], scales: Scales) -> Decimal:
    """P: for each donor its price less what of it is sold off or kept, never below 0. Unrounded."""
    return sum((max(ZERO, one.kit) for one in apportioned(charges, scales.donors)), ZERO)


def exact_cost(
    charges: Sequence[Charge], terms: Terms, route: Route, contingency: Decimal, scales: Scales
) -> ExactCost:
    """The build's cost with nothing rounded. `contingency` is a fraction of labour."""
    total = ZERO
    for charge in charges:
        unit = net_unit(charge, terms, route)
        if unit is not None:
            net = unit * charge.quantity * scales.of(charge.lever)
            total += net * (1 + contingency) if charge.group is Group.WORK else net
    return ExactCost(total, purchase_price(charges, scales))


def least_donor_scale(charges: Sequence[Charge]) -> Decimal:
    """The factor on donor prices below which what is sold off one of them would exceed its price."""
    return max((one.sold_off / one.price for one in apportioned(charges) if one.price), default=ZERO)
