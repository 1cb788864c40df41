"""The cost sheet of a build: every line to the cent, and what it must sell for by each VAT route."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from kitvalue.intake.books.offers import Part
from kitvalue.intake.settings.plan import NEW, LineTable, Plan, WorkLine
from kitvalue.intake.settings.purchase import BoughtFrom, VatSaid
from kitvalue.intake.settings.shop import Route, SellingTable, Shop, TaxTable, old_route
from kitvalue.intake.text.problems import Caution, Problem
from kitvalue.workshop.build import Build, Charge, Group, build_of, net_unit
from kitvalue.workshop.money import (
    ZERO,
    PartlyKnown,
    cents,
    cents_up,
    money_text,
    months_held,
    percent,
    plan_file,
    plan_problem,
    refusal,
    shop_problem,
)
from kitvalue.workshop.purchases import Stated, vat_deducted
from kitvalue.workshop.quantities import Cutting, Quantity
from kitvalue.workshop.shares import Parted
from kitvalue.workshop.tax import (
    Terms,
    at_door,
    in_own_series,
    is_service,
    kit_vat,
    price_for_margin,
    scheme_of,
    terms_of,
    why_no_margin_scheme,
)

HEAVY = (Group.WORK, Group.CONTINGENCY, Group.SENT_OUT, Group.PARTS)  # what may make a new good of a kit
ROUTES: tuple[Route, ...] = ("full", "margin", "none")
CAPITAL = "Capital"  # the line of what is tied up in kits until the sale
FULL_WITHOUT_DONORS = "no donor is bought at this size, so it is costed with full VAT"


@dataclass(frozen=True, slots=True)
class Line:
    """One line: `net` is quantity times unit price to the cent, below 0 for a credit, None where unknown.

    `unit_price` is net and not rounded: 14.20 with VAT inside has no whole cents. `basis` says where the line is from.
    """

    what: str
    group: Group
    quantity: Decimal
    unit: str
    unit_price: Decimal | None
    net: Decimal | None
    basis: str


@dataclass(frozen=True, slots=True)
class Subtotal:
    """The known lines of one group, summed; `unknown` names those that are not in it."""

    group: Group
    net: Decimal
    unknown: tuple[str, ...] = ()

    @property
    def total(self) -> PartlyKnown:
        """`385.00`, or `340.00 + 1 unknown`."""
        return PartlyKnown(self.net, self.unknown)


@dataclass(frozen=True, slots=True)
class RouteCost:
    """A build by one VAT route. Money; the prices are gross, and None where the route is not open (`reason`).

    `net_cost` sums the known lines, `deducted` the VAT that is deducted of all that is bought, `purchase` is P of the
    margin scheme. `zero_profit_price` brings the cost back, `floor` leaves the shop's margin, both rounded up to the
    cent; `landed_at_cost` is what a buyer at home pays in all at the first and `landed_at_floor` at the second.
    """

    route: Route
    allowed: bool
    reason: str | None
    lines: tuple[Line, ...]
    net_cost: Decimal
    deducted: Decimal
    purchase: Decimal
    zero_profit_price: Decimal | None
    floor: Decimal | None
    landed_at_cost: Decimal | None
    landed_at_floor: Decimal | None
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class CostSheet:
    """What a build of `pieces` drums costs. `hours` are the shop's own; `incomplete` names what is not known;
    `is_service`: it is work on a customer's own kit."""

    name: str
    title: str
    currency: str
    pieces: int
    route: Route
    routes: tuple[RouteCost, ...]
    quantities: tuple[Quantity, ...]
    cuttings: tuple[Cutting, ...]
    apportioned: tuple[Parted, ...]
    hours: Decimal
    incomplete: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    terms: Terms
    contingency: Decimal  # a fraction of labour
    charges: tuple[Charge, ...]  # what the lines are made from, for solvers
    is_service: bool = False

    @property
    def chosen(self) -> RouteCost:
        """The build by the route that the plan, or else the shop, sets."""
        return next(r for r in self.routes if r.route == self.route)

    @property
    def net_cost(self) -> Decimal:
        return self.chosen.net_cost

    @property
    def total(self) -> PartlyKnown:
        """Net cost with the count of what is not in it: `1,240.00 + 1 unknown`."""
        return self.resting(self.net_cost)

    def resting(self, figure: Decimal) -> PartlyKnown:
        """Any figure that rests on the net cost, with the count of what is not in it."""
        return PartlyKnown(figure, self.incomplete)

    def subtotals(self) -> tuple[Subtotal, ...]:
        """One row for each group that has lines, in the sheet's order; they add up to `net_cost`."""
        groups = {group: [line for line in self.chosen.lines if line.group is group] for group in Group}
        return tuple(
            Subtotal(group, _sum(lines), tuple(line.what for line in lines if line.net is None))
            for group, lines in groups.items()
            if lines
        )


def settings_of(shop: Shop) -> tuple[TaxTable, SellingTable]:
    """The tables of shop.toml without which nothing can be costed. Raises FileError naming every one that lacks."""
    needed = {"tax": "rate (percent of VAT)", "selling": "fee, margin and freight"}
    lacking = [
        shop_problem(table, "no_table", f"add the table [{table}] with {keys}")
        for table, keys in needed.items()
        if getattr(shop, table) is None
    ]
    if shop.tax is None or shop.selling is None:
        raise refusal(lacking)
    return shop.tax, shop.selling


def cost_sheet(plan: Plan, shop: Shop, pieces: int | None = None, parts: Sequence[Part] = ()) -> CostSheet:
    """The cost sheet of a plan, or of its first `pieces` drums as written; `parts` say what drums left over bring.

    Raises FileError for faults of the plan or of shop.toml that show in costing (its `problems` name each), and
    RefusedError where fee and margin take the whole price.
    """
    own, shop = shop, plan.agreed(shop)
    tax, selling = settings_of(shop)
    terms, contingency = terms_of(tax, selling), contingency_of(shop)
    build, service = build_of(plan, shop, tax, pieces, parts), is_service(plan)
    if service:  # nothing is kept until a buyer is found
        terms, selling = replace(terms, tied=ZERO), selling.model_copy(update={"holding": None, "capital": ZERO})
    build = replace(build, charges=(*build.charges, *_until_sold(selling)))
    route, notes = scheme_of(plan, build.donors, shop, tax), build.notes
    closed = why_no_margin_scheme(build.donors, tax)
    if route == "full" and plan.route is None and closed is not None and "margin" in (tax.sell_on, tax.rebuild):
        notes = (*notes, f"{closed}, so it is costed with full VAT")
    if route == "margin" and len(build.drums) < len(plan.drum) and plan.donor and not build.donors:
        # a cut-down of new shells alone, whose plan buys donors for the larger sizes only: nothing in it is
        # second-hand (art. 311(1)(1))
        route, notes = "full", (*notes, FULL_WITHOUT_DONORS)
    dressed = not in_own_series(plan, shop)
    those = (*ROUTES, route) if route == "sales" else ROUTES
    routes = tuple(_route_cost(r, route, build, terms, contingency, tax, dressed) for r in those)
    chosen = next(r for r in routes if r.route == route)
    if not chosen.allowed:
        why = f'route = "{route}" is not open to {plan_file(plan.name)}: {chosen.reason}'
        told = "route_closed", f'{why}; set route = "full" in the plan', route
        raise refusal([plan_problem(plan.name, "route", *told) if plan.route else shop_problem("tax", *told)])
    if (why_not := _not_asked(plan, terms, chosen)) is not None:
        raise refusal([why_not])
    unknown = f"Not known: {'; '.join(build.unknown)}. Every cost and price here is too low by it."
    return CostSheet(
        name=plan.name,
        title=plan.title,
        currency=shop.shop.currency,
        pieces=len(build.drums),
        route=route,
        routes=routes,
        quantities=build.quantities,
        cuttings=build.cuttings,
        apportioned=build.parted,
        hours=sum((c.quantity for c in build.charges if c.group is Group.WORK), ZERO),
        incomplete=build.unknown,
        notes=notes,
        cautions=(
            *([Caution("not_known", unknown)] if build.unknown else []),
            {"none": EXEMPT, "sales": SALES_TAX}.get(route, VAT),
            *([Caution("old_route", f"{old}.")] if (old := old_route(tax)) else []),
            *chosen.cautions,
            *_promoted(plan, own),
            *_build_cautions(plan, shop),
        ),
        terms=terms,
        contingency=contingency,
        charges=build.charges,
        is_service=service,
    )


def _not_asked(plan: Plan, terms: Terms, chosen: RouteCost) -> Problem | None:
    """Why an own price cannot be meant: it is not even the VAT that the kit's floor holds."""
    ask, floor = plan.price.ask, chosen.floor
    if ask is None or floor is None:
        return None
    vat = cents(kit_vat(floor, chosen.purchase, terms, chosen.route))
    held = f"{money_text(ask)} is under the VAT of {money_text(vat)} that your floor of {money_text(floor)} holds"
    message = f"{held}; write the price that the customer pays, VAT included"
    return plan_problem(plan.name, "price.ask", "ask_under_vat", message, str(ask)) if ask < vat else None


def _promoted(plan: Plan, shop: Shop) -> tuple[Caution, ...]:
    """What is said of a margin of 0 and less."""
    margin = plan.price.margin
    if margin is None or margin > 0 or shop.selling is None:
        return ()
    own, without = shop.selling.margin.normalize(), "without profit" if margin == 0 else "at a loss"
    said = f"A promotion: the plan's margin is {margin.normalize():f} % instead of your {own:f}, sold {without}."
    return (Caution("promotion", said),)


def contingency_of(shop: Shop) -> Decimal:
    """The shop's contingency as a fraction of labour; 0 where shop.toml has no [work]."""
    return percent(shop.work.contingency) if shop.work is not None else ZERO


def _until_sold(selling: SellingTable) -> tuple[Charge, ...]:
    """What selling the kit costs whatever its price: keeping it until then, a channel's fixed fee."""
    costs = (
        ("Holding", months_held(selling), "month", selling.holding or ZERO),
        ("Fixed fee", Decimal(1), "sale", selling.fee_fixed),
    )
    return tuple(
        Charge(what, Group.UNTIL_SOLD, n, unit, each, Stated.NO_VAT) for what, n, unit, each in costs if n * each
    )


def _route_cost(
    route: Route, chosen: Route, build: Build, terms: Terms, contingency: Decimal, tax: TaxTable, dressed: bool
) -> RouteCost:
    lines, deducted = [], sum((bought.deducted(tax) for bought in build.bought), ZERO)
    for c in build.charges:
        unit = net_unit(c, terms, route)
        net = None if unit is None else cents(unit * c.quantity)
        if c.group is not Group.DONORS and c.amount is not None:
            deducted += vat_deducted(c.amount * c.quantity, c.stated, terms.rate)
        lines.append(Line(c.what, c.group, c.quantity, c.unit, unit, net, c.basis))
    labour = _sum(line for line in lines if line.group is Group.WORK)
    if contingency > 0 and labour > 0:
        amount = labour * contingency
        basis = f"{(contingency * 100).normalize():f} % of labour {money_text(labour)}"
        lines.append(Line("Contingency", Group.CONTINGENCY, Decimal(1), "kit", amount, cents(amount), basis))
    donors = _sum(line for line in lines if line.group is Group.DONORS)
    if terms.tied > 0 and donors > 0:
        amount, basis = donors * terms.tied, f"{money_text(donors)} paid for kits, tied up until sold"
        lines.append(Line(CAPITAL, Group.UNTIL_SOLD, Decimal(1), "kit", amount, cents(amount), basis))
    lines.sort(key=lambda line: list(Group).index(line.group))  # stable: the plan's order inside a group
    cost, purchase = _sum(lines), sum((max(ZERO, one.kit) for one in build.parted), ZERO)
    reason, deducted = _why_closed(route, chosen, build, tax), deducted if tax.deducts else ZERO
    if reason is not None:
        return RouteCost(route, False, reason, tuple(lines), cost, deducted, purchase, None, None, None, None, ())
    zero, floor = (cents_up(price_for_margin(cost, purchase, of, route)) for of in (replace(terms, margin=ZERO), terms))
    landed_at_cost, landed_at_floor = (cents(at_door(price, terms, route)) for price in (zero, floor))
    may_not_fit = {  # although nothing closes it
        "margin_totals": True,
        "margin_invoice": True,
        "margin_new_shell": any(drum.from_ == NEW for drum in build.drums),
        "margin_heavy": _sum(line for line in lines if line.group in HEAVY) > donors,
        "margin_several": len(build.donors) > 1,
        "margin_dress": dressed,
    }
    return RouteCost(
        route, True, None, tuple(lines), cost, deducted, purchase, zero, floor,
        landed_at_cost, landed_at_floor, _said(may_not_fit) if route == "margin" else (),
    )  # fmt: skip


def _sum(lines: Iterable[Line]) -> Decimal:
    return sum((line.net for line in lines if line.net is not None), ZERO)


def _why_closed(route: Route, chosen: Route, build: Build, tax: TaxTable) -> str | None:
    """Why a route is not open to the build; None where it is."""
    if "sales" in (route, chosen):
        return None if route == chosen else 'the buyer pays sales tax on top (kind = "sales")'
    if route == "none":
        return None if chosen == "none" else "only for a business exempt from VAT (registered = false)"
    if chosen == "none":
        return "the business is exempt from VAT (registered = false)"
    if route == "full":
        return None
    if not build.parted:
        return "no donor is bought: nothing in the kit is second-hand"
    closed = [why_no_margin_scheme(build.donors, tax)]
    closed += [
        f"surplus of {money_text(one.stated)} from donor {one.donor} is above its price of {money_text(one.price)}"
        for one in build.parted
        if one.stated > one.price
    ]
    return "; ".join(reason for reason in closed if reason) or None


VAT = Caution("vat", "VAT rules differ by country and by kit: ask a tax adviser first.")
EXEMPT = Caution("exempt", "Reckoned without VAT (an exempt business): VAT on purchases stays a cost.")
SALES_TAX = Caution("sales_tax", "Sales tax comes on top, by the place it goes to: ask a tax adviser first.")
BENCH = ("timber", "dust", "paint", "heat")  # cautions of the work itself: they stand with its cost, not its price
SAID = {  # by the code of the caution
    "margin_totals": "Some countries take the margin by period, not item (2006/112/EC art. 318).",
    "margin_invoice": 'The invoice says "Margin scheme – second-hand goods", no VAT (art. 226, 325).',
    "margin_new_shell": "A new shell is in the kit: the margin scheme may not fit it.",
    "margin_heavy": "So heavy a rebuild may count as a new good: the margin scheme may not fit.",
    "margin_several": "Several donors go into one kit: the margin scheme may not fit it.",
    "margin_dress": "It wears another series' dress than a donor: the margin scheme may not fit.",
    "timber": "Restricted timbers at a border: ask the CITES authority which listing holds.",
    "dust": "Sanding and cutting make hardwood dust: extract it and wear a mask.",
    "paint": "Old paint may hold lead, lacquers give off solvents: follow workplace rules.",
    "heat": "Heat on old wrap can set it alight and give off harmful fumes: ventilate.",
    "imported": "Donor {ids} is imported: duty, clearance and import VAT are as the donor or [tax.import] has them; "
                "ask the customs office or the carrier what is due.",
    "vat_not_said": "Donor {ids} comes from the trade, and its vat is not said: the price counts whole and the margin "
                    "scheme is closed to it; say what the invoice says.",
    "foreign_vat": "Donor {ids} comes from the union with another state's VAT in the price, which is not deducted "
                   "here: ask for an invoice without it.",
}  # fmt: skip


def _said(holds: Mapping[str, object]) -> tuple[Caution, ...]:
    """The cautions that hold; one of single donors holds of the ids that are given."""
    return tuple(Caution(code, SAID[code].replace("{ids}", str(so))) for code, so in holds.items() if so)


def _build_cautions(plan: Plan, shop: Shop) -> tuple[Caution, ...]:
    """The cautions for a build whatever its VAT route: timbers at a border, dust, old paint, solvents, heat, and what
    a donor's invoice should say."""
    tax = shop.tax or TaxTable()
    bought = [donor for donor in plan.donor if donor.owner == "shop"]

    def of(source: BoughtFrom, vat: VatSaid | None = None) -> str:
        return ", ".join(donor.id for donor in bought if (donor.bought_from, donor.vat) == (source, vat))

    return _said({
        "timber": any(place.kind == "export" for place in tax.destinations.values())
        or _any_line((*plan.work, *plan.part), "veneer"),
        "dust": _any_line(plan.work, "sand|edge|cut|drill|veneer|patch|plug|ply|round"),
        "paint": _any_line(plan.work, "paint|lacquer|spray|oil|seal|stain"),
        "heat": _any_line(plan.work, "strip|remov|old", "wrap|covering"),
        "imported": of("import"),
        "vat_not_said": tax.kind == "vat" and of("trade"),
        "foreign_vat": tax.deducts and of("union", "included"),
    })  # fmt: skip


def _any_line(lines: Sequence[LineTable], *groups: str) -> bool:
    """Has a line, in its text or operation, words that begin as one of each group does?"""
    texts = [f"{line.what} {(line.operation if isinstance(line, WorkLine) else None) or ''}".lower() for line in lines]
    starts = [re.compile(rf"(?<![^\W\d_])(?:{group})") for group in groups]
    return any(all(start.search(text) for start in starts) for text in texts)
