"""A plan's drums and the offers as sourcing sees them, and the answer as a plan again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.haggling import Step, paid_for
from kitvalue.decisions.part_sales import drum_value
from kitvalue.decisions.sourcing import Answer, Sourced, Supply, WantedDrum
from kitvalue.intake.offers import Offer
from kitvalue.intake.parts import Part
from kitvalue.intake.plan import DonorTable, DrumTable, Plan, WorkLine
from kitvalue.intake.problems import FileError, RefusedError
from kitvalue.intake.shop import Route, Shop
from kitvalue.workshop.asking import terms_of
from kitvalue.workshop.charges import Charge, Group, Stated, net_unit
from kitvalue.workshop.costing import contingency_of, cost_sheet, settings_of
from kitvalue.workshop.drums import NEW, Drum, drums_of
from kitvalue.workshop.faults import plan_file
from kitvalue.workshop.money import ZERO, cents

ASKED = Step(1.0, "the asked price")
CUT_DOWN = "cut_down"  # the operation of [work.hours]


def route_of(plan: Plan, shop: Shop) -> Route:
    """The VAT route of a plan's sale."""
    tax, _ = settings_of(shop)
    return plan.route or tax.route


def drum_names(drums: Sequence[Drum]) -> tuple[str, ...]:
    """A name for each drum: its id, else size and role, with a number where two would be called alike."""
    names: list[str] = []
    for drum in drums:
        name = drum.id or drum.name
        same = sum(1 for other in drums[: len(names)] if (other.id or other.name) == name)
        names.append(f"{name} ({same + 1})" if same else name)
    return tuple(names)


def wanted_drums(plan: Plan, shop: Shop) -> tuple[WantedDrum, ...]:
    """The plan's drums. Raises FileError where all of them are new shells, and where the plan cannot be costed."""
    drums = drums_of(plan, shop.shop.size_order)
    if all(drum.source == NEW for drum in drums):
        raise FileError(f"{plan_file(plan.name)}: every drum is new, so there is nothing to look for among the offers")
    tax, selling = settings_of(shop)
    route: Route = "none" if route_of(plan, shop) == "none" else "full"
    terms = terms_of(tax, selling)
    wanted = []
    for table, drum, name in zip(plan.drum, drums, drum_names(drums), strict=True):
        price = None
        if drum.source == NEW and drum.price is not None:
            stated = Stated.GROSS if drum.vat == "included" else Stated.NET
            unit = net_unit(Charge(name, Group.PARTS, Decimal(1), "shell", drum.price, stated), terms, route)
            price = None if unit is None else float(unit)
        extra = 0.0 if price is None else float(_alone(plan, shop, table, NEW) - _alone(plan, shop, table, "donor"))
        wanted.append(WantedDrum(name, drum.size, price, extra))
    return tuple(wanted)


def _alone(plan: Plan, shop: Shop, table: DrumTable, source: str) -> Decimal:
    """Work and parts of a build of this one drum, its shell for nothing."""
    new = source == NEW
    drum = table.model_copy(update={"from_": source, "price": ZERO if new else None, "vat": None})
    donor = DonorTable(id="donor", series="-", pieces=1, condition=Decimal(3), price=ZERO, freight=ZERO)
    changes = {
        "drum": (drum,), "donor": () if new else (donor,), "surplus": (),
        "route": "none" if route_of(plan, shop) == "none" else "full",
    }  # fmt: skip
    return cost_sheet(plan.model_copy(update=changes), shop).net_cost


def supplies(offers: Sequence[Offer], parts: Sequence[Part], plan: Plan, shop: Shop) -> tuple[Supply, ...]:
    """The offers whose sizes are known, at the asked price less their own haggle; freight that is not known is 0.

    A drum left over is credited at its expected part value, less VAT and fee.
    """
    tax, selling = settings_of(shop)
    terms = terms_of(tax, selling)
    up = 1 + terms.rate if route_of(plan, shop) == "full" else Decimal(1)
    keep = float(1 / up - terms.fee)
    return tuple(
        Supply(
            offer.offer, round(paid_for(offer, ASKED).price, 2), float(offer.freight or 0), offer.sizes,
            tuple(round(max(0.0, keep * drum_value(size, parts)), 2) for size in offer.sizes),
        )
        for offer in offers
        if offer.sizes
    )  # fmt: skip


def cut_cost(shop: Shop) -> float | None:
    """What cutting one shell down costs, contingency with it; None where the shop has no hours for it."""
    hours = None if shop.work is None else shop.work.hours.get(CUT_DOWN)
    if shop.work is None or hours is None:
        return None
    return float(hours * shop.work.rate * (1 + contingency_of(shop)))


@dataclass(frozen=True, slots=True)
class NewPlan:
    """An answer as a plan, and the donors of which the seller's VAT has still to be asked."""

    plan: Plan
    ask_vat: tuple[str, ...]


def plan_from(answer: Answer, plan: Plan, shop: Shop, offers: Sequence[Offer], name: str) -> NewPlan:
    """The plan with the answer's donors and drums. Cut-downs become work; what the old donors' surplus brought goes.

    Raises RefusedError where a line of the plan chooses drums by a donor that is no longer there.
    """
    bought = [offer for offer in offers if offer.offer in answer.buy]
    ids = {offer.offer for offer in bought}
    _refuse_lost(plan, ids)
    names = drum_names(drums_of(plan, shop.shop.size_order))
    sourced = {one.drum: one for one in answer.drums}
    drums = [_drum(table, sourced[name], at) for at, (table, name) in enumerate(zip(plan.drum, names, strict=True), 1)]
    cuts = tuple(
        WorkLine.model_validate(
            {
                "what": f"Cut the {table.size} {table.role} down from {_plain(sourced[name].size.depth)} inches deep",
                "operation": CUT_DOWN, "per": "shell", "only": (drum.id,),
            }
        )
        for table, name, drum in zip(plan.drum, names, drums, strict=True)
        if sourced[name].cut_down
    )  # fmt: skip
    donors = tuple(_donor(offer, answer) for offer in bought)
    changes = {
        "name": name, "donor": donors, "drum": tuple(drums), "work": (*plan.work, *cuts), "surplus": (),
    }  # fmt: skip
    return NewPlan(plan.model_copy(update=changes), tuple(o.offer for o in bought if o.bought_from == "trade"))


def _refuse_lost(plan: Plan, ids: set[str]) -> None:
    lost = {donor.id for donor in plan.donor} - ids
    for line in (*plan.work, *plan.part):
        named = lost & {*line.only, *line.except_}
        if named:
            one = sorted(named)[0]
            raise RefusedError(
                f'{plan_file(plan.name)}: "{line.what}" chooses drums by donor {one}, which the new plan has not; '
                "choose them by role or by a drum's id, then write again"
            )


def _drum(table: DrumTable, one: Sourced, at: int) -> DrumTable:
    if one.offer is None:
        return table
    known = table.id or (f"drum{at}" if one.cut_down else None)
    return table.model_copy(update={"from_": one.offer, "price": None, "vat": None, "id": known})


def _donor(offer: Offer, answer: Answer) -> DonorTable:
    left = [one for one in answer.leftovers if one.offer == offer.offer]
    spare = cents(Decimal(str(round(sum(one.credit for one in left) / len(left), 4)))) if left else None
    return DonorTable(
        id=offer.offer, series=offer.series, pieces=offer.pieces, condition=offer.condition,
        price=cents(Decimal(repr(paid_for(offer, ASKED).price))), freight=offer.freight, spare=spare,
        bought_from=offer.bought_from,
    )  # fmt: skip


def _plain(inches: Decimal) -> str:
    return f"{inches.normalize():f}"
