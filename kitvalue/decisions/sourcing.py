"""Which offers, new shells and cut-downs a plan is made of: what each weighs under a VAT scheme, and the best answers.

What is minimised under the margin scheme, P being what is paid for the kits less the shares of the drums left over:

    sum of kits, freight with them, (1 + iT/12) - (1 - m) k P + new shells, cutting, work - what leftovers bring

which is linear, since each drum's share of its kit's price and what it brings are known beforehand. A kit restored
(one donor, no new shell, its own series) follows `sell_on`, any other `rebuild`: each is a program of its own, and so
is full VAT for sets with a donor that closes the margin scheme. The lowest floor of all wins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from kitvalue.decisions.ceiling import Paid, grade_hours, made_up_for, paid_for, under_grade
from kitvalue.decisions.filling import (
    TIME_LIMIT,
    Bench,
    Filling,
    Rules,
    Sourced,
    Status,
    Supply,
    WantedDrum,
    fillings,
    why_none,
)
from kitvalue.intake.books.offers import Offer, Part, part_for
from kitvalue.intake.settings.plan import NEW, DonorTable, DrumTable, Plan, WorkLine
from kitvalue.intake.settings.shop import Route, Shop
from kitvalue.intake.text.problems import Caution, FileError, RefusedError
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.workshop.build import ONE, STATED, Charge, Group, net_unit
from kitvalue.workshop.costing import CostSheet, contingency_of, cost_sheet, settings_of
from kitvalue.workshop.money import ZERO, cents, percent, plan_file
from kitvalue.workshop.purchases import Purchase, purchase_at
from kitvalue.workshop.shares import Resale, in_cents, weights
from kitvalue.workshop.tax import Terms, in_own_series, is_service, scheme_of, scheme_of_item, terms_of

ASKED: Final = Paid(1.0, "the asked price")
CUT_DOWN: Final = "cut_down"  # the operation of [work.hours]
TIE: Final = 1e-6  # how much of the net cost is weighed too, so that the cheaper of two equals is taken
SCHEMES: Final = ("vat", "exempt", "sales_tax", "margin_new_shell", "margin_heavy", "margin_several", "margin_dress")


@dataclass(frozen=True, slots=True)
class CostPart:
    """One line of what an answer costs, net; below 0 for what leftovers bring."""

    what: str
    net: Decimal


@dataclass(frozen=True, slots=True)
class Leftover:
    """A drum of a kit that is not used; `credit` is what it brings, net."""

    offer: str
    size: Size
    credit: Decimal


@dataclass(frozen=True, slots=True)
class Answer:
    """One way to source the plan. Money, net but for `cash`, what is paid for kits and new shells.

    `lines` add up to `cost`; with `common`, what the build costs whatever is bought, it is `net_cost`, that of the plan
    which is written. `gap` is what a better answer could still save at most. `floor` is gross.
    """

    status: Status
    cost: Decimal | None = None
    gap: Decimal | None = None
    spent: Decimal = ZERO
    cash: Decimal = ZERO
    credit: Decimal = ZERO
    buy: tuple[str, ...] = ()
    drums: tuple[Sourced, ...] = ()
    leftovers: tuple[Leftover, ...] = ()
    lines: tuple[CostPart, ...] = ()
    common: Decimal | None = None
    net_cost: Decimal | None = None
    route: Route | None = None
    purchase: Decimal | None = None
    floor: Decimal | None = None
    reasons: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()

    @property
    def new_shells(self) -> tuple[str, ...]:
        return tuple(drum.drum for drum in self.drums if drum.offer is None)


@dataclass(frozen=True, slots=True)
class Sourcing:
    """The answer of `source` for a plan: the best first; `seconds` is the time that each had."""

    currency: str
    plan: str
    title: str
    answers: tuple[Answer, ...]
    seconds: float
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class Lot:
    """An offer as a donor: as it would stand in a plan, what is paid for it, and of each drum its share of P and what
    it brings if it is left over, net."""

    offer: Offer
    donor: DonorTable
    bought: Purchase
    shares: tuple[Decimal, ...]
    brings: tuple[Decimal, ...]
    own_series: bool


@dataclass(frozen=True, slots=True)
class Ground:
    """What a plan is sourced by. `lots` are the offers that may be donors."""

    plan: Plan
    shop: Shop
    parts: tuple[Part, ...]
    lots: tuple[Lot, ...]
    wanted: tuple[WantedDrum, ...]
    bench: Bench
    terms: Terms
    common: CostSheet  # of a build whose drums cost nothing and need no more work than the plan expects


def drum_names(drums: Sequence[DrumTable]) -> tuple[str, ...]:
    """A name for each drum: its id, else size and role, with a number where two would be called alike."""
    names = [drum.id or drum.name for drum in drums]
    before = [names[:at].count(name) for at, name in enumerate(names)]
    return tuple(f"{name} ({same + 1})" if same else name for name, same in zip(names, before, strict=True))


def ground_of(plan: Plan, shop: Shop, offers: Sequence[Offer], parts: Sequence[Part]) -> Ground:
    """Everything that answers rest on. Raises FileError where there is nothing to look for, and where the plan cannot
    be costed. A cut that the plan has its own line for is left out: what is cut is found out here."""
    if is_service(plan):
        raise FileError(f"{plan_file(plan.name)}: the kit is a customer's own, so there is nothing to look for")
    if all(drum.from_ == NEW for drum in plan.drum):
        raise FileError(f"{plan_file(plan.name)}: every drum is new, so there is nothing to look for among the offers")
    work = tuple(line for line in plan.work if line.operation != CUT_DOWN)
    plan = plan.model_copy(update={"work": work, "surplus": ()})
    lots = tuple(
        _lot(offer, donor, plan, shop, parts)
        for offer in offers
        if offer.sizes and offer.condition >= shop.buying.worst and (donor := donor_of(offer)) is not None
    )
    free = tuple(drum.model_copy(update={"from_": "any", "price": None, "vat": None}) for drum in plan.drum)
    return Ground(
        plan, shop, tuple(parts), lots, wanted_drums(plan, shop, [lot.offer.offer for lot in lots]),
        Bench(cut_cost(shop), float(_hourly(shop) * grade_hours(Decimal(1), shop))), terms_of(*settings_of(shop)),
        _for_nothing(plan, free, shop),
    )  # fmt: skip


def _for_nothing(plan: Plan, drums: Sequence[DrumTable], shop: Shop) -> CostSheet:
    """Work and parts of a build of these drums, donors for nothing."""
    ids = dict.fromkeys(drum.from_ for drum in drums if drum.from_ != NEW)
    bare = DonorTable(id="any", series="-", pieces=len(drums), condition=Decimal(3), price=ZERO, freight=ZERO)
    donors = tuple(bare.model_copy(update={"id": one}) for one in ids)
    return cost_sheet(plan.model_copy(update={"drum": tuple(drums), "donor": donors, "route": "full"}), shop)


def wanted_drums(plan: Plan, shop: Shop, kits: Sequence[str] = ()) -> tuple[WantedDrum, ...]:
    """The plan's drums. What a drum's source changes in its work and parts is reckoned for new shells and for those of
    the `kits` that a line of the plan names. A drum that is new in the plan expects its best donor's grade."""
    tax, _ = settings_of(shop)
    terms, route = terms_of(*settings_of(shop)), scheme_of(plan.model_copy(update={"route": "full"}), (), shop, tax)
    named = {name for line in (*plan.work, *plan.part) for name in (*line.only, *line.except_)} & {*kits}
    grades = {donor.id: donor.condition for donor in plan.donor}
    wanted = []
    for drum, name in zip(plan.drum, drum_names(plan.drum), strict=True):

        def alone(source: str, table: DrumTable = drum) -> Decimal:
            price = {"price": ZERO if source == NEW else None, "vat": None}
            return _for_nothing(plan, [table.model_copy(update={"from_": source, **price})], shop).net_cost

        cost, cash, sources = None, ZERO, sorted(named)
        if drum.from_ == NEW:
            shell = Charge(name, Group.PARTS, Decimal(1), "shell", drum.price, STATED[drum.vat or "excluded"])
            cost, cash, sources = net_unit(shell, terms, route), _cash(drum, shop), [*sources, NEW]
        usual = alone("any") if sources else ZERO
        wanted.append(
            WantedDrum(
                name, drum.size, None if cost is None else float(cost), float(cash),
                grades.get(drum.from_, max(grades.values(), default=Decimal(1))),
                {source: float(alone(source) - usual) for source in sources},
            )
        )  # fmt: skip
    return tuple(wanted)


def _cash(drum: DrumTable, shop: Shop) -> Decimal:
    """What a new shell takes out of the till, VAT that is deducted later with it."""
    tax, price = settings_of(shop)[0], drum.price or ZERO
    on_top = tax.kind == "vat" and drum.vat != "included"
    return cents(price * (1 + percent(tax.rate))) if on_top else price


def donor_of(offer: Offer) -> DonorTable | None:
    """The offer as a donor in a plan, at the asked price less its own haggle, or at the hammer price; None where there
    is no price. Its sizes go with it, so that parts.csv speaks for its drums."""
    paid = paid_for(offer, ASKED)
    if paid is None:
        return None
    return DonorTable(
        id=offer.offer, series=offer.series, pieces=offer.pieces, condition=offer.condition,
        price=cents(Decimal(repr(paid.price))), freight=offer.freight, sizes=offer.sizes, bought_from=offer.bought_from,
        vat=offer.vat, premium=offer.premium, premium_vat=offer.premium_vat, freight_by=offer.freight_by,
        duty=offer.duty, import_vat=offer.import_vat, clearance=offer.clearance,
    )  # fmt: skip


def _lot(offer: Offer, donor: DonorTable, plan: Plan, shop: Shop, parts: Sequence[Part]) -> Lot:
    tax, _ = settings_of(shop)
    bought, rate, fee = purchase_at(donor.price, donor, tax), *_rates(shop)
    rows = [part_for(size, parts) for size in offer.sizes]
    shares = in_cents(cents(bought.purchase_price), weights([None if row is None else row.value for row in rows]))
    scheme = scheme_of_item(donor, tax)
    brings = tuple(
        ZERO
        if row is None
        else cents(Resale(scheme, share, ZERO, row.chance).brings(row.value, rate, fee, scheme, ONE))
        for row, share in zip(rows, shares, strict=True)
    )
    return Lot(offer, donor, bought, shares, brings, in_own_series(plan.model_copy(update={"donor": (donor,)}), shop))


def _rates(shop: Shop) -> tuple[Decimal, Decimal]:
    terms = terms_of(*settings_of(shop))
    return terms.rate, terms.fee


def _hourly(shop: Shop) -> Decimal:
    """What an hour at the bench costs, contingency with it."""
    return ZERO if shop.work is None else shop.work.rate * (1 + contingency_of(shop))


def cut_cost(shop: Shop) -> float | None:
    """What cutting one shell down costs, contingency with it; None where the shop has no hours for it."""
    if shop.work is None or CUT_DOWN not in shop.work.hours:
        return None
    return float(shop.work.hours[CUT_DOWN] * _hourly(shop))


@dataclass(frozen=True, slots=True)
class Program:
    """The sets of kits that come under one route. `restored`: those of one kit of its own series and no new shell, or
    (False) all others, or (None) both alike; `closed`: those with a kit that closes the margin scheme, or without any.
    """

    route: Route
    restored: bool | None = None
    closed: bool = False


def programs(plan: Plan, shop: Shop) -> tuple[Program, ...]:
    """What is solved, each by itself: together every set of kits that the plan may be made of, once."""
    tax, _ = settings_of(shop)
    if plan.route is not None or not tax.deducts:
        return (Program(scheme_of(plan, (), shop, tax)),)
    kinds = {None: tax.rebuild} if tax.sell_on == tax.rebuild else {True: tax.sell_on, False: tax.rebuild}
    found = [Program(follows, restored) for restored, follows in kinds.items()]
    return (*found, *(Program("full", one.restored, closed=True) for one in found if one.route == "margin"))


def _supplies(ground: Ground, program: Program, keep: float) -> list[Supply]:
    """The kits of a program, by what they weigh. `keep` is the part of the VAT on P that is spared: 1 - m at the floor,
    1 at a given price."""
    k = ground.terms.rate / (1 + ground.terms.rate) * Decimal(repr(keep)) if program.route == "margin" else ZERO
    supplies = []
    for lot in ground.lots:
        if (program.route == "margin" and not lot.bought.open) or (program.restored and not lot.own_series):
            continue
        tax = settings_of(ground.shop)[0]
        net, paid = lot.bought.cost(tax) * (1 + ground.terms.tied), lot.bought.paid(tax)
        weight = float(net - k * lot.bought.purchase_price) + TIE * float(net)
        credits = (float(c - k * a) + TIE * float(c) for c, a in zip(lot.brings, lot.shares, strict=True))
        offer = lot.offer
        supplies.append(Supply(offer.offer, weight, float(paid), offer.sizes, tuple(credits), offer.condition))
    return supplies


def _filled(ground: Ground, program: Program, keep: float, best: int, seconds: float) -> tuple[Filling, ...]:
    limits, kits = ground.shop.buying, _supplies(ground, program, keep)
    wanted = ground.wanted
    rules = Rules(limits, some=program.route == "margin" and ground.plan.route is not None)
    if program.restored:
        wanted = tuple(replace(drum, new=None) for drum in wanted)
        rules = replace(rules, limits=limits.model_copy(update={"kits": 1}), some=True)
    elif program.restored is False:
        rules = replace(rules, no_lone=frozenset(lot.offer.offer for lot in ground.lots if lot.own_series))
    if program.closed:
        shut = frozenset(lot.offer.offer for lot in ground.lots if not lot.bought.open)
        rules = replace(rules, some=True, one_of=shut)
    return fillings(wanted, kits, ground.bench, rules, best, seconds)


def answers(ground: Ground, best: int = 1, seconds: float = TIME_LIMIT) -> tuple[Answer, ...]:
    """The answer with the lowest floor, then up to `best` in all that buy other sets of kits; ties: the lower net cost.
    One of status infeasible, with its reasons, where the drums cannot be had."""
    keep, every = float(1 - ground.terms.margin), programs(ground.plan, ground.shop)
    found = [one for program in every for one in _filled(ground, program, keep, best, seconds)]
    if not found:
        open_to = [lot for lot in ground.lots if lot.bought.open or every[0].route != "margin" or len(every) > 1]
        kits = _supplies(replace(ground, lots=tuple(open_to)), Program("full"), keep)
        reasons = why_none(ground.wanted, kits, ground.bench, ground.shop.buying)
        return (Answer("infeasible", reasons=reasons),)
    bound = min(one.bound for one in found)
    told = sorted((_answer(ground, one, bound) for one in found), key=lambda one: (one.floor, one.net_cost))
    sets: dict[frozenset[str], Answer] = {}
    for one in told:
        sets.setdefault(frozenset(one.buy), one)
    return tuple(sets.values())[:best]


def at_market(ground: Ground, first: Answer, seconds: float = TIME_LIMIT) -> Answer | None:
    """The answer that leaves the most at a given price, where it is not the one of the lowest floor."""
    k = ground.terms.rate / (1 + ground.terms.rate)

    def costs(one: Answer) -> Decimal:
        return (one.net_cost or ZERO) - (k * (one.purchase or ZERO) if one.route == "margin" else ZERO)

    every = programs(ground.plan, ground.shop)
    if all(program.route != "margin" for program in every):
        return None
    found = [one for program in every for one in _filled(ground, program, 1.0, 1, seconds)]
    best = min((_answer(ground, one, one.bound) for one in found), key=costs, default=None)
    return best if best is not None and costs(best) < costs(first) - Decimal("0.01") else None


def _answer(ground: Ground, found: Filling, bound: float) -> Answer:
    """A filling as an answer, its money from the cost sheet of the plan that it makes."""
    shop, tax = ground.shop, settings_of(ground.shop)[0]
    sheet = cost_sheet(plan_from(found, ground, ground.plan.name), shop, parts=ground.parts)
    lots = {lot.offer.offer: lot for lot in ground.lots}
    bought = [lots[offer].bought for offer in found.buy]
    freight = sum((cents(a.counted(tax)) for one in bought for a in one.amounts if a.what == "freight"), ZERO)
    kits = sum((one.cost(tax) for one in bought), ZERO) - freight
    leftovers = tuple(
        Leftover(one.offer or "", one.size, lots[one.offer or ""].brings[one.place or 0]) for one in found.leftovers
    )
    credit = sum((one.credit for one in leftovers), ZERO)
    shells = _new_shells(ground, found)
    hours = shop.work.hours.get(CUT_DOWN, ZERO) if shop.work is not None else ZERO
    cutting = cents(sum(drum.cut_down for drum in found.drums) * hours * _hourly(shop))
    grades = cents(sum((grade_hours(drum.short, shop) for drum in found.drums), ZERO) * _hourly(shop))
    capital = cents((kits + freight) * ground.terms.tied)
    cost = sheet.net_cost - ground.common.net_cost
    rest = cost - (kits + freight + capital + shells + cutting + grades - credit)
    if shells == 0 and abs(rest) < Decimal("0.05") and (cutting or grades):  # what rounding the contingency leaves
        cutting, grades, rest = (cutting + rest, grades, ZERO) if cutting else (cutting, grades + rest, ZERO)
    own = "their own work and parts" if shells else "work and parts of these donors"
    told = {
        "kits": kits, "freight": freight, "capital": capital, "new shells": shells, own: rest, "cutting down": cutting,
        "grades made up for": grades, "leftovers bring": -credit,
    }  # fmt: skip
    gap = 0.0 if found.bound == found.weight else max(0.0, found.weight - bound)
    return Answer(
        status=found.status,
        cost=cost, gap=cents(Decimal(repr(gap))), spent=kits + freight + shells,
        cash=cents(Decimal(repr(found.cash))), credit=credit, buy=found.buy, drums=found.drums, leftovers=leftovers,
        lines=tuple(CostPart(what, net) for what, net in told.items() if net or what in ("kits", "leftovers bring")),
        common=ground.common.net_cost, net_cost=sheet.net_cost, route=sheet.route, purchase=sheet.chosen.purchase,
        floor=sheet.chosen.floor, cautions=tuple(one for one in sheet.cautions if one.code in SCHEMES),
    )  # fmt: skip


def _new_shells(ground: Ground, found: Filling) -> Decimal:
    wanted = {drum.name: drum for drum in ground.wanted}
    prices = (wanted[drum.drum].new for drum in found.drums if drum.offer is None)
    return sum((cents(Decimal(repr(price or 0.0))) for price in prices), ZERO)


def plan_from(found: Filling | Answer, ground: Ground, name: str) -> Plan:
    """The plan with an answer's donors and drums. Cut-downs and what worse grades take become work; what the old
    donors' surplus brought goes."""
    plan, shop, sourced = ground.plan, ground.shop, {drum.drum: drum for drum in found.drums}
    drums, work, short = [], [*plan.work], dict[tuple[str, Decimal], list[str]]()
    for at, (table, drum_name) in enumerate(zip(plan.drum, drum_names(plan.drum), strict=True), start=1):
        source = sourced[drum_name]
        if source.offer is None:
            drums.append(table)
            continue
        known = table.id or (f"drum{at}" if source.cut_down or source.short else None)
        given = {"from_": source.offer, "price": None, "vat": None, "id": known}
        drums.append(
            table.model_copy(update=given | ({"cut_from": source.size} if source.cut_down else {"cut_from": None}))
        )
        if source.cut_down:
            old = f"{source.size.depth.normalize():f} inches deep"
            what = f"Cut the {size_text(table.size, shop.shop.size_order)} {table.role} down from {old}"
            cut = {"what": what, "operation": CUT_DOWN, "per": "shell", "only": (known,)}
            work.append(WorkLine.model_validate(cut))
        if source.short and known is not None:
            short.setdefault((source.offer, source.short), []).append(known)
    for (donor, grades), ids in short.items():
        work += made_up_for(grades, donor, ids, shop)
    donors = tuple(lot.donor for lot in ground.lots if lot.offer.offer in found.buy)
    changes = {"name": name, "donor": donors, "drum": tuple(drums), "work": tuple(work), "surplus": ()}
    return plan.model_copy(update=changes)


def refuse_lost_donors(plan: Plan, made: Plan) -> None:
    """Raises RefusedError where a line of the plan chooses drums by a donor that is no longer there."""
    lost = {donor.id for donor in plan.donor} - {donor.id for donor in made.donor}
    for line in (*plan.work, *plan.part):
        for gone in sorted(lost & {*line.only, *line.except_}):
            raise RefusedError(
                f'{plan_file(plan.name)}: "{line.what}" chooses drums by donor {gone}, which the new plan has not; '
                "choose them by role or by a drum's id, then write again"
            )


def grade_cautions(ground: Ground, first: Answer) -> list[Caution]:
    """The donors of an answer that lie under the plan's grade."""
    worst: dict[str, Decimal] = {}
    for drum in first.drums:
        if drum.offer is not None and drum.short:
            worst[drum.offer] = max(drum.short, worst.get(drum.offer, ZERO))
    return [Caution("under_grade", f"{offer}: {under_grade(short, ground.shop)}") for offer, short in worst.items()]
