"""What a purchase costs: which of its amounts count, what VAT of them is deducted, and what P is for the margin scheme.

Council Directive 2006/112/EC: art. 312(2) on P, art. 314 on whom the scheme is open to (case C-471/15 on parts), art.
316 on imports, art. 2(1)(b) and 168 on what is acquired in the union, art. 86 on the value of an import; 2, 86 and 168
from memory. Every rate is the shop's own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from kitvalue.intake.settings.purchase import BoughtFrom, BuyingTerms, VatSaid
from kitvalue.intake.settings.shop import TaxTable
from kitvalue.workshop.money import ZERO, cents, percent


class Stated(StrEnum):
    """What the stated money of a charge is, before it is turned into a net amount."""

    NET = "net"  # VAT comes on top: deducted by a taxed business, borne by an exempt one
    GROSS = "gross"  # VAT inside, deducted by a taxed business
    NO_VAT = "no vat"  # none in it, or none that may be deducted
    OWED = "owed"  # net, on which the buyer himself owes VAT and deducts it: what is acquired in the union
    IMPORT_VAT = "import vat"  # VAT paid at the border: deducted by a taxed business, borne by an exempt one


_TREATED: Final[dict[tuple[BoughtFrom, VatSaid | None], tuple[Stated, bool]]] = {
    # source, what its invoice says: how the price counts, and whether the margin scheme is open
    ("private", None): (Stated.NO_VAT, True),
    ("trade", "margin"): (Stated.NO_VAT, True),
    ("trade", "exempt"): (Stated.NO_VAT, True),
    ("trade", None): (Stated.NO_VAT, False),
    ("trade", "included"): (Stated.GROSS, False),
    ("trade", "excluded"): (Stated.NET, False),
    ("union", None): (Stated.NO_VAT, True),
    ("union", "margin"): (Stated.NO_VAT, True),
    ("union", "exempt"): (Stated.NO_VAT, True),
    ("union", "included"): (Stated.NO_VAT, False),  # another state's VAT is not deducted here
    ("union", "excluded"): (Stated.OWED, False),
    ("import", None): (Stated.NO_VAT, False),
}


@dataclass(frozen=True, slots=True)
class Amount:
    """One amount of a purchase, as stated. `moves` is what of it moves with the price; the rest is fixed."""

    what: str  # price, premium, freight, duty, clearance, import VAT
    money: Decimal
    stated: Stated
    moves: Decimal = ZERO

    def counted(self, tax: TaxTable) -> Decimal:
        """What counts of it, unrounded: net of what is deducted."""
        return counted(self.money, self.stated, percent(tax.rate), deducts=tax.deducts)

    def deducted(self, tax: TaxTable) -> Decimal:
        """The VAT on it that is deducted, to the cent."""
        return vat_deducted(self.money, self.stated, percent(tax.rate)) if tax.deducts else ZERO

    def paid(self, tax: TaxTable) -> Decimal:
        """What goes out in cash for it, unrounded, VAT that is deducted later with it."""
        on_top = self.stated is Stated.NET and tax.kind == "vat"
        borne = self.stated is Stated.OWED and tax.kind == "vat" and not tax.deducts
        return self.money * (1 + percent(tax.rate)) if on_top or borne else self.money


@dataclass(frozen=True, slots=True)
class Purchase:
    """A purchase reckoned. `purchase_price` is P, what the seller gets for the goods, of use where `open`."""

    amounts: tuple[Amount, ...]
    purchase_price: Decimal
    open: bool  # is the margin scheme open to what is made of it?

    def cost(self, tax: TaxTable) -> Decimal:
        """Landed, and net of what is deducted: each amount to the cent."""
        return sum((cents(amount.counted(tax)) for amount in self.amounts), ZERO)

    def paid(self, tax: TaxTable) -> Decimal:
        """Cash: all that goes out, to sellers, carriers and at the border."""
        return sum((cents(amount.paid(tax)) for amount in self.amounts), ZERO)

    def deducted(self, tax: TaxTable) -> Decimal:
        """VAT that comes back, and what is owed and deducted in one return."""
        return sum((amount.deducted(tax) for amount in self.amounts), ZERO)


def counted(money: Decimal, stated: Stated, rate: Decimal, *, deducts: bool) -> Decimal:
    """What counts of a charge to a business that deducts VAT or bears it; `rate` is a fraction, unrounded."""
    match stated:
        case Stated.NET | Stated.OWED:
            return money if deducts else money * (1 + rate)
        case Stated.GROSS:
            return money / (1 + rate) if deducts else money
        case Stated.IMPORT_VAT:
            return ZERO if deducts else money
        case _:
            return money


def vat_deducted(money: Decimal, stated: Stated, rate: Decimal) -> Decimal:
    """The VAT on a charge that a taxed business deducts, to the cent: with what counts, to the cent, it makes up what
    the invoice says."""
    match stated:
        case Stated.NET | Stated.OWED:
            return cents(money * rate)
        case Stated.GROSS:
            return cents(money) - cents(money / (1 + rate))
        case Stated.IMPORT_VAT:
            return cents(money)
        case _:
            return ZERO


def is_open(terms: BuyingTerms, tax: TaxTable) -> bool:
    """Is the margin scheme open to what is made of a kit bought so?"""
    return tax.kind == "vat" and _TREATED[terms.bought_from, terms.vat][1]


def purchase_at(
    price: Decimal, terms: BuyingTerms, tax: TaxTable, rounded: Callable[[Decimal], Decimal] = cents
) -> Purchase:
    """The purchase at a price (the hammer price of a lot). Freight that is not known counts as nothing.

    P: the price, the premium of a house that sells in its own name or under the scheme, freight where the seller
    charges it. A premium with VAT shown is a service: net and deducted where it is billed at home, and no part of P.
    Import: duty on price, premium and freight; import VAT on these, the duty and the clearance.
    """
    stated = _TREATED[terms.bought_from, terms.vat][0] if tax.kind == "vat" else Stated.NO_VAT
    up, freight = percent(terms.premium), terms.freight or ZERO
    premium, by_seller, own_invoice = rounded(price * up), terms.freight_by == "seller", terms.premium_vat is not None
    to_seller = price + (ZERO if own_invoice else premium) + (freight if by_seller else ZERO)
    fee = stated
    if own_invoice:
        at_home = terms.bought_from in ("private", "trade") and tax.kind == "vat"
        fee = Stated.GROSS if at_home else Stated.NO_VAT
    amounts = [
        Amount("price", price, stated, price),
        Amount("premium", premium, fee, premium),
        Amount("freight", freight, stated if by_seller else Stated.NO_VAT),
    ]
    if terms.bought_from == "import":
        amounts += _at_the_border(price + premium, freight, terms, tax, rounded)
    kept = tuple(amount for amount in amounts if amount.money or amount.what == "price")
    return Purchase(kept, to_seller, is_open(terms, tax))


def import_rates(terms: BuyingTerms, tax: TaxTable) -> tuple[Decimal, Decimal, Decimal]:
    """Duty and import VAT in percent, and clearance: the offer's own, or the shop's. A rate of sales tax is none of VAT
    at the border."""
    table = tax.import_
    vat = (tax.rate if tax.kind == "vat" else ZERO) if table.vat is None else table.vat
    own = ((terms.duty, table.duty), (terms.import_vat, vat), (terms.clearance, table.clearance))
    duty, import_vat, clearance = (shops if said is None else said for said, shops in own)
    return duty, import_vat, clearance


def _at_the_border(
    goods: Decimal, freight: Decimal, terms: BuyingTerms, tax: TaxTable, rounded: Callable[[Decimal], Decimal]
) -> tuple[Amount, ...]:
    told = import_rates(terms, tax)
    rate, vat, clearance = percent(told[0]), percent(told[1]), told[2]
    duty = rounded(rate * (goods + freight))
    tax_paid = rounded(vat * (goods + freight + duty + clearance))
    return (
        Amount("duty", duty, Stated.NO_VAT, rate * goods),
        Amount("clearance", clearance, Stated.NO_VAT),
        Amount("import VAT", tax_paid, Stated.IMPORT_VAT, vat * (1 + rate) * goods),
    )
