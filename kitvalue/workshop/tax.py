"""Value added tax: out of a gross price, on a net amount, and on the margin of second-hand goods.

Rates are fractions (0.23) that the shop states; nothing about any country is built in. Sources: EN 16931-1 (BR-CO-17
and its rounding rules) and Council Directive 2006/112/EC, articles 312 to 325, the scheme for second-hand goods.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from kitvalue.intake.settings.plan import NEW, DonorTable, Plan
from kitvalue.intake.settings.purchase import BuyingTerms
from kitvalue.intake.settings.shop import Route, SellingTable, Shop, TaxTable
from kitvalue.intake.settings.words import series_names
from kitvalue.intake.text.problems import RefusedError
from kitvalue.intake.text.words import fold
from kitvalue.workshop.money import HUNDRED, ZERO, cents, holding_cost, months_held, percent
from kitvalue.workshop.purchases import is_open

MONTHS = 12  # of a year


def vat_inside(gross: Decimal, rate: Decimal) -> Decimal:
    """The VAT that a gross price holds, unrounded: gross * v / (1 + v)."""
    return gross * rate / (1 + rate)


def vat_on_net(net: Decimal, rate: Decimal) -> Decimal:
    """The VAT on a net amount, rounded once, half up and symmetric (EN 16931, BR-CO-17)."""
    return cents(net * rate)


def margin_vat(selling: Decimal, purchase: Decimal, rate: Decimal) -> Decimal:
    """The VAT on one item's profit margin, unrounded: (selling - purchase) * v / (1 + v), never below 0.

    Directive 2006/112/EC art. 315. `selling` is all the buyer pays, freight and fees charged to them included, and
    `purchase` all the supplier received (art. 312). An item sold at a loss bears none and lowers no other item's.
    """
    return vat_inside(max(ZERO, selling - purchase), rate)


def why_no_margin_scheme(donors: Sequence[DonorTable], tax: TaxTable) -> str | None:
    """Why the margin scheme is closed to a kit made from these donors, or None where it is open.

    Directive 2006/112/EC art. 314: the goods must come, within the Union, from someone who did not deduct VAT on them
    (a private person), from a dealer who used the scheme, or from a business whose sale was exempt (314(b), and for a
    small enterprise's capital goods 314(c)).
    """
    closed = ((donor.id, closed_by(donor, tax)) for donor in donors)
    return "; ".join(f"donor {id_} {why}" for id_, why in closed if why is not None) or None


def closed_by(kit: BuyingTerms, tax: TaxTable) -> str | None:
    """What of a purchase closes the margin scheme to the kit, or None where it is open."""
    if is_open(kit, tax):
        return None
    if kit.bought_from == "import":
        return "was imported"
    from_whom = "the union" if kit.bought_from == "union" else kit.bought_from
    how = {"included": "with VAT shown", "excluded": "with VAT on top"}.get(kit.vat or "", "and its vat is not said")
    return f"was bought from {from_whom} {how}"


def is_service(plan: Plan) -> bool:
    """Is it work on a customer's own kit, which is neither bought nor resold?"""
    return any(donor.owner == "customer" for donor in plan.donor)


def in_own_series(plan: Plan, shop: Shop) -> bool:
    """Is the kit finished in the series that all its donors are?"""
    names = series_names(shop)
    series = (plan.finished.series, *(donor.series for donor in plan.donor))
    return len({names.find(name) or fold(name) for name in series}) == 1


def scheme_of(plan: Plan, donors: Sequence[DonorTable], shop: Shop, tax: TaxTable) -> Route:
    """The route that a build's sale is under: the plan's own word goes before the shop's, but an exempt business
    charges no VAT on anything, and sales tax is on top of whatever is sold. Work on a customer's own kit is a service
    (art. 24(1), from memory). A kit restored (of one donor, without a new shell, finished in the donor's own series)
    follows `sell_on`, any other `rebuild`. Where the plan says nothing and a donor closes the margin scheme it is full
    VAT, which art. 319 leaves open for any sale.
    """
    if not tax.registered:
        return "none"
    if tax.kind == "sales":
        return "sales"
    if plan.route is not None:
        return plan.route
    if is_service(plan):
        return "full"
    restored = len(plan.donor) == 1 and in_own_series(plan, shop) and all(drum.from_ != NEW for drum in plan.drum)
    follows = tax.sell_on if restored else tax.rebuild
    return "full" if not plan.donor or why_no_margin_scheme(donors, tax) is not None else follows


def scheme_of_item(terms: BuyingTerms, tax: TaxTable) -> Route:
    """The scheme that a kit sold on, a part or a drum left over is under, by where its own kit comes from: `sell_on`,
    or full VAT where the purchase closes the margin scheme."""
    if not tax.registered:
        return "none"
    if tax.kind == "sales":
        return "sales"
    return "margin" if tax.sell_on == "margin" and is_open(terms, tax) else "full"


@dataclass(frozen=True, slots=True)
class Terms:
    """The terms of a sale. `rate`, `fee`, `margin`, `reserve` (of the gross price, set aside) are fractions; `freight`
    (gross), `step`, `holding` (of one kit until it is sold) and `fee_fixed` (a sale) are money. `tied` is what each
    unit of money that is tied up until then costs."""

    rate: Decimal
    fee: Decimal
    margin: Decimal
    freight: Decimal
    step: Decimal
    reserve: Decimal = ZERO
    holding: Decimal = ZERO
    fee_fixed: Decimal = ZERO
    tied: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Sale:
    """One sale at a gross price, to the cent: net + vat = gross, net - fee - reserve - cost = profit.

    `vat` and `net` are the kit's own (the VAT on freight stands apart). `margin` is profit in percent of net,
    `markup` in percent of net cost; None where that base is not above 0.
    """

    gross: Decimal
    vat: Decimal
    net: Decimal
    fee: Decimal
    reserve: Decimal
    profit: Decimal
    margin: Decimal | None
    markup: Decimal | None


def terms_of(tax: TaxTable, selling: SellingTable) -> Terms:
    """The shop's settings as fractions. Raises FileError where the months until a kit is sold lack and are needed."""
    return Terms(
        percent(tax.rate), percent(selling.fee), percent(selling.margin), selling.freight, selling.step,
        percent(selling.reserve), holding_cost(selling), selling.fee_fixed,
        percent(selling.capital) * months_held(selling) / MONTHS,
    )  # fmt: skip


def at_door(gross: Decimal, terms: Terms, route: Route) -> Decimal:
    """All that a buyer at home pays: the price and freight, sales tax on top where that is the kind. Unrounded."""
    return (gross + terms.freight) * (1 + terms.rate if route == "sales" else 1)


def price_at_door(total: Decimal, terms: Terms, route: Route) -> Decimal:
    """The price at which a buyer at home pays so much in all. Unrounded."""
    return total / (1 + terms.rate if route == "sales" else 1) - terms.freight


def kit_vat(gross: Decimal, purchase: Decimal, terms: Terms, route: Route) -> Decimal:
    """The kit's own VAT at a gross price, unrounded.

    Margin scheme: v/(1+v) * max(0, G + F - P) less the v/(1+v) * F that stands apart. Where the purchase exceeds all
    the buyer pays nothing is due, while the carrier's VAT is still deducted: then the kit's own part is below 0.
    """
    if route in ("none", "sales"):
        return ZERO
    if route == "full":
        return vat_inside(gross, terms.rate)
    if gross + terms.freight >= purchase:
        return vat_inside(gross - purchase, terms.rate)  # in one piece, so that it rounds once
    return margin_vat(gross + terms.freight, purchase, terms.rate) - vat_inside(terms.freight, terms.rate)


def exact_profit(gross: Decimal, cost: Decimal, purchase: Decimal, terms: Terms, route: Route) -> Decimal:
    """Profit at a gross price, nothing rounded."""
    taken = terms.fee * at_door(gross, terms, route) + terms.reserve * gross
    return gross - kit_vat(gross, purchase, terms, route) - taken - cost


def sale_at(gross: Decimal, cost: Decimal, purchase: Decimal, terms: Terms, route: Route) -> Sale:
    """The sale at a gross price (whole cents), each part to the cent."""
    vat = cents(kit_vat(gross, purchase, terms, route))
    net = gross - vat
    fee = cents(terms.fee * at_door(gross, terms, route))
    reserve = cents(terms.reserve * gross)
    profit = net - fee - reserve - cost
    return Sale(gross, vat, net, fee, reserve, profit, _share(profit, net), _share(profit, cost))


def price_for_margin(cost: Decimal, purchase: Decimal, terms: Terms, route: Route) -> Decimal:
    """The gross price that leaves `terms.margin` of net revenue, unrounded.

    With D = (1-m)/(1+v) - f - r: full VAT G = (C + fF)/D, margin scheme G = (C + fF - (1-m) P v/(1+v))/D or,
    where that is more, what leaves the margin of a sale that bears no VAT (P above all the buyer pays), exempt the
    first with v = 0. A tax s on top: the same with v = 0 and a fee of f(1+s), since the channel takes it of all that
    is paid. Numerator and D are multiplied by 1+v so that only the last step divides.
    Raises RefusedError where D is not above 0: no price is enough.
    """
    keep, on_top = 1 - terms.margin, 1 + terms.rate if route == "sales" else Decimal(1)
    up, fee = Decimal(1) if route in ("none", "sales") else 1 + terms.rate, terms.fee * on_top
    below = keep - (fee + terms.reserve) * up
    if below <= 0:
        also = " and reserve" if terms.reserve else ""
        most = {
            f"margin below {{}} (with this fee{also})": 1 - (fee + terms.reserve) * up,
            f"fee below {{}} (with this margin{also})": (keep / up - terms.reserve) / on_top,
            "reserve below {} (with this fee and margin)": keep / up - fee if terms.reserve else ZERO,
        }
        bounds = {text: (x * HUNDRED).quantize(Decimal("0.01"), rounding=ROUND_FLOOR) for text, x in most.items()}
        lower = [f"selling.{text.format(bound)}" for text, bound in bounds.items() if bound > 0]
        reserve = f" reserve {_percent(terms.reserve)} %," if terms.reserve else ""
        tax = "sales tax" if route == "sales" else "VAT"
        raise RefusedError(
            f"no price can meet this: {tax} {_percent(terms.rate)} %,{reserve} fee {_percent(terms.fee)} % and margin "
            f"{_percent(terms.margin)} % take the whole price; in shop.toml set "
            f"{' or '.join(lower) or f'selling.margin, selling.fee{also} lower'}"
        )
    above = (cost + fee * terms.freight) * up
    if route != "margin":
        return above / below
    at_a_loss = cost + (fee - keep * terms.rate / up) * terms.freight  # no VAT but the carrier's, deducted
    return max((above - keep * purchase * terms.rate) / below, at_a_loss / (keep - fee - terms.reserve))


def _percent(fraction: Decimal) -> str:
    return f"{(fraction * HUNDRED).normalize():f}"


def _share(part: Decimal, base: Decimal) -> Decimal | None:
    return cents(part * HUNDRED / base) if base > 0 else None
