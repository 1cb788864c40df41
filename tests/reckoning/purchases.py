"""What a kit costs that is bought in: what counts, what is deducted, and whether the margin scheme is open to its
sale.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from tests.reckoning.exact import Number, RefusedError, Rounding, cents, exact, percent

# (bought_from, vat) -> how its amounts count, and whether the margin scheme is open; the sentences are in `treatment`.
TABLE: Mapping[tuple[str, str], tuple[str, bool]] = {
    ("private", ""): ("whole", True),
    ("trade", "margin"): ("whole", True),
    ("trade", "exempt"): ("whole", True),
    ("trade", ""): ("whole", False),
    ("trade", "included"): ("included", False),
    ("trade", "excluded"): ("excluded", False),
    ("union", ""): ("whole", True),
    ("union", "margin"): ("whole", True),
    ("union", "exempt"): ("whole", True),
    ("union", "included"): ("whole", False),
    ("union", "excluded"): ("acquired", False),
    ("import", ""): ("landed", False),
}


@dataclass(frozen=True)
class Business:
    """What of the shop a purchase depends on. `rate`, `duty`, `import_vat` in percent, `clearance` in euros."""

    rate: Fraction = Fraction(23)
    registered: bool = True
    kind: str = "vat"
    union: bool = True
    duty: Fraction = Fraction(0)
    import_vat: Fraction = Fraction(23)
    clearance: Fraction = Fraction(0)

    @property
    def v(self) -> Fraction:
        """The home rate as a ratio."""
        return percent(self.rate)

    @property
    def deducts(self) -> bool:
        """An exempt business deducts nothing (article 289, from memory), and where tax is a sales tax there is none
        to deduct.
        """
        return self.registered and self.kind == "vat"


@dataclass(frozen=True)
class Terms:
    """How an offer is made. `premium`, `duty`, `import_vat` in percent; None takes the shop's own."""

    bought_from: str = "private"
    vat: str = ""
    premium: Fraction = Fraction(0)
    premium_vat: str = ""
    freight: Fraction = Fraction(0)
    freight_by: str = "carrier"
    duty: Fraction | None = None
    import_vat: Fraction | None = None
    clearance: Fraction | None = None

    @property
    def by_seller(self) -> bool:
        """Does the seller charge the freight, so that it belongs to what he gets (article 78(b), from memory)?"""
        return self.freight_by == "seller"


@dataclass(frozen=True)
class Amount:
    """One amount of a purchase: what counts, what is deducted, what goes out in cash, what is owed without being
    paid.
    """

    counted: Fraction
    deducted: Fraction = Fraction(0)
    paid: Fraction = Fraction(0)
    owed: Fraction = Fraction(0)


@dataclass(frozen=True)
class Bought:
    """A purchase reckoned. `purchase_price` is P, of use where `open`; the five amounts that count add up to `cost`."""

    purchase_price: Fraction
    open: bool
    kit: Fraction
    premium: Fraction
    freight: Fraction
    duty: Fraction
    clearance: Fraction
    import_vat: Fraction
    import_vat_counted: Fraction
    acquisition_vat: Fraction
    deducted: Fraction
    paid: Fraction
    cautions: tuple[str, ...]

    @property
    def cost(self) -> Fraction:
        """Landed, and net of what is deducted: what B is compared with."""
        return self.kit + self.premium + self.freight + self.duty + self.clearance + self.import_vat_counted


def treatment(terms: Terms, business: Business) -> tuple[str, bool]:
    """How the amounts count, and whether the margin scheme is open.

    Open: from a private person (314(a)), an exempt supply (314(b)) or another dealer under the scheme (314(d)),
    within the Community. A small enterprise's exemption (314(c)) covers its capital goods alone, so that it is no
    word of its own. Closed: VAT was or could be deducted; a dealer who does not say (with a caution); an import, for
    article 316 opens the scheme for antiques and collectors' items alone; another state's VAT, which is
    not deducted here (articles 168 and 171, from memory).
    """
    if terms.bought_from == "union" and not business.union:
        raise RefusedError("outside_union")
    if (terms.bought_from, terms.vat) not in TABLE:
        raise RefusedError("vat_word")
    how, is_open = TABLE[terms.bought_from, terms.vat]
    if business.kind == "sales" and how != "landed":
        how = "whole"  # purchases for resale bear no sales tax
    return how, is_open and business.kind == "vat"


def counted(amount: Fraction, how: str, business: Business, rounding: Rounding) -> Amount:
    """One amount by its treatment.

    included: the net counts and the VAT inside is deducted (168(a)); excluded: the seller adds VAT to it, which is
    deducted; acquired: the buyer owes the VAT of an acquisition and deducts it in the same return (2(1)(b), 168(c),
    from memory), so that no cash goes out for it. Where nothing is deducted the gross counts, acquisition VAT at the
    home rate.
    """
    v = business.v
    if how == "included" and business.deducts:
        net = rounding(amount / (1 + v))
        return Amount(net, amount - net, amount)
    if how in ("excluded", "acquired"):
        tax = rounding(amount * v)
        if not business.deducts:
            return Amount(amount + tax, Fraction(0), amount + tax, tax if how == "acquired" else Fraction(0))
        return Amount(amount, tax, amount, tax) if how == "acquired" else Amount(amount, tax, amount + tax)
    return Amount(amount, Fraction(0), amount)


def reckon(price: Number, terms: Terms, business: Business, rounding: Rounding = cents) -> Bought:
    """The purchase at a price, line by line.

    P is what the seller gets for the goods (312(2)): the price, the premium of a house that sells in its own name or
    under the scheme, freight where the seller charges it. A carrier's freight counts and is no part of P; a premium
    with VAT shown (`premium_vat = "included"`) is a service: net and deducted, no part of P. A service billed from
    another state or from outside shows no VAT that is deducted here, so that such a premium counts whole.
    """
    how, is_open = treatment(terms, business)
    price = exact(price)
    premium = rounding(price * percent(terms.premium))
    if how == "landed":
        return landed(price, premium, terms, business, rounding)
    kit = counted(price, how, business, rounding)
    if terms.premium_vat == "included":
        at_home = terms.bought_from in ("private", "trade")
        fee = counted(premium, "included" if at_home and business.kind == "vat" else "whole", business, rounding)
    else:
        fee = counted(premium, how, business, rounding)
    way = counted(terms.freight, how if terms.by_seller else "whole", business, rounding)
    to_seller = price + (premium if terms.premium_vat != "included" else 0) + (terms.freight if terms.by_seller else 0)
    cautions = []
    if (terms.bought_from, terms.vat) == ("trade", ""):
        cautions.append("vat_unsaid")
    if (terms.bought_from, terms.vat) == ("union", "included") and business.deducts:
        cautions.append("ask_for_invoice_without")
    return Bought(
        purchase_price=to_seller,
        open=is_open,
        kit=kit.counted,
        premium=fee.counted,
        freight=way.counted,
        duty=Fraction(0),
        clearance=Fraction(0),
        import_vat=Fraction(0),
        import_vat_counted=Fraction(0),
        acquisition_vat=kit.owed + fee.owed + way.owed,
        deducted=kit.deducted + fee.deducted + way.deducted,
        paid=kit.paid + fee.paid + way.paid,
        cautions=tuple(cautions),
    )


def landed(price: Fraction, premium: Fraction, terms: Terms, business: Business, rounding: Rounding) -> Bought:
    """A kit from outside the union: duty on price, premium and freight; import VAT on these, the duty and the
    clearance.

    The taxable amount of an import is the customs value with duties and incidental expenses up to the first place of
    destination (articles 85 and 86(1), from memory). Import VAT is paid at the border and deducted (168(e), from
    memory); a business that deducts nothing bears it.
    """
    duty_rate = percent(business.duty if terms.duty is None else terms.duty)
    vat_rate = percent(business.import_vat if terms.import_vat is None else terms.import_vat)
    clearance = business.clearance if terms.clearance is None else terms.clearance
    duty = rounding(duty_rate * (price + premium + terms.freight))
    landed_value = price + premium + terms.freight + duty + clearance
    tax = rounding(vat_rate * landed_value)
    to_seller = price + (premium if terms.premium_vat != "included" else 0) + (terms.freight if terms.by_seller else 0)
    return Bought(
        purchase_price=to_seller,
        open=False,
        kit=price,
        premium=premium,
        freight=terms.freight,
        duty=duty,
        clearance=clearance,
        import_vat=tax,
        import_vat_counted=Fraction(0) if business.deducts else tax,
        acquisition_vat=Fraction(0),
        deducted=tax if business.deducts else Fraction(0),
        paid=landed_value + tax,
        cautions=(),
    )


def at_home(amount: Number, currency: str, day: date, home: str, rates: Mapping[tuple[str, date], Number]) -> Fraction:
    """An amount in another currency at rates.csv's rate of the day: the newest on or before it. Frozen once it is
    bought.

    (Article 91(2) has the rate of the moment when the tax becomes chargeable, from memory.)
    """
    if currency == home:
        return exact(amount)
    days = [known for name, known in rates if name == currency and known <= day]
    if not days:
        raise RefusedError("no_rate")
    return cents(exact(amount) * exact(rates[currency, max(days)]))
