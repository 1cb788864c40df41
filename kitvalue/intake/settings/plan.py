"""builds/NAME.toml: what is to be built, from what, and what the customer could buy instead."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from itertools import compress
from os.path import realpath
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import Field

from kitvalue.intake.settings.plancells import (
    Grade,
    Per,
    Role,
    Share,
    ShareCell,
    SheetCell,
    SizeCell,
    SizesList,
    VatWord,
)
from kitvalue.intake.settings.purchase import BoughtFrom, FreightBy, PremiumVat, VatSaid, purchase_refusals
from kitvalue.intake.settings.shop import (
    Money,
    Number,
    OldRoute,
    Percent,
    Shop,
    Table,
    Text,
    Truth,
    Whole,
    WorkTable,
)  # fmt: skip
from kitvalue.intake.settings.toml import TomlFile, or_known
from kitvalue.intake.settings.words import series_names
from kitvalue.intake.text.decoding import refused_file
from kitvalue.intake.text.problems import FileError, Level, Problem, shown
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.intake.text.tomltext import Place
from kitvalue.intake.text.words import MOST_PIECES, fold, listed

NEW: Final = "new"
ROLES: Final = ("bass", "floor", "rack", "snare")


def _plan_problems(plan: Plan, shop: Shop, toml: TomlFile) -> list[Problem]:
    found = [*_donors(plan, shop, toml), *_drums(plan, toml), *_series(plan, shop, toml), *_kits(plan, toml)]
    found += _route(plan, shop, toml)
    for at, line in enumerate(plan.work):
        found += [*_work(line, at, shop, toml), *_line(plan, line, ("work", at), toml)]
    for at, part in enumerate(plan.part):
        found += [*_part(part, at, toml), *_line(plan, part, ("part", at), toml)]
    for at, sold in enumerate(plan.surplus):
        if sold.from_ not in _donor_ids(plan):
            message = f"there is no donor {shown(sold.from_)}; {or_known(sold.from_, _donor_ids(plan))}"
            found.append(toml.problem(("surplus", at, "from"), "unknown_donor", message, sold.from_))
    # One mistake, one line: a donor's id that stands twice hides another, a missing [work] lacks every operation.
    twice = any(problem.code == "donor_twice" for problem in found)
    kept = [problem for problem in found if not (twice and problem.code == "unknown_donor")]
    lacking = [problem for problem in kept if problem.code == "unknown_operation"]
    if shop.work is not None or not lacking:
        return kept
    names = listed(dict.fromkeys(problem.text or "" for problem in lacking))
    message = f"shop.toml has no [work]: add it with rate, and under [work.hours] the hours of {names}"
    return [*(problem for problem in kept if problem not in lacking), replace(lacking[0], message=message)]


def _donor_ids(plan: Plan) -> list[str]:
    return list(dict.fromkeys(donor.id for donor in plan.donor))


def _donors(plan: Plan, shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    taken = Counter(drum.from_ for drum in plan.drum)
    sold = {surplus.from_ for surplus in plan.surplus}
    first: dict[str, int] = {}
    for at, donor in enumerate(plan.donor):
        where, name = ("donor", at), shown(donor.id)
        if first.setdefault(fold(donor.id), at) != at:
            earlier = first[fold(donor.id)] + 1
            message = f"the id {name} stands twice, at donors {earlier} and {at + 1}; rename one"
            yield toml.problem((*where, "id"), "donor_twice", message, donor.id)
        elif donor.id in (NEW, *ROLES):
            message = f"{name} has a meaning of its own and cannot be a donor's id; choose another"
            yield toml.problem((*where, "id"), "reserved_name", message, donor.id)
        elif not taken[donor.id] and donor.id not in sold:
            message = f"no drum and no surplus comes from donor {name}; use one of its drums, or take it out"
            yield toml.problem(where, "donor_unused", message, donor.id)
        elif (drums := taken[donor.id]) > donor.pieces:
            message = f"{drums} drums come from donor {name}, which has {donor.pieces}; correct one of the two"
            yield toml.problem((*where, "pieces"), "too_many_drums", message, str(donor.pieces))
        elif donor.sizes and len(donor.sizes) != donor.pieces:
            message = f"sizes of donor {name} has {len(donor.sizes)} drums, and pieces says {donor.pieces}"
            yield toml.problem((*where, "sizes"), "sizes_count", message, str(donor.pieces))
        yield from _bought(donor, where, shop, toml)


def _bought(donor: DonorTable, where: tuple[str, int], shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    """What is said of VAT that does not go with where the donor comes from."""
    for key, why in purchase_refusals(dict(donor), shop).items():
        text = str(getattr(donor, key))
        yield toml.problem((*where, key), why.code, why.message(f"{key} = {shown(text)}", ""), text)
    if donor.owner == "customer" and donor.price:
        message = f"a customer's own kit is not bought; take the price of {shown(donor.id)} out"
        yield toml.problem((*where, "price"), "not_bought", message, str(donor.price))
    elif donor.owner == "shop" and "price" not in donor.model_fields_set:
        yield toml.problem((*where, "price"), "missing_key", f"price is missing; add it under [[donor]] {where[1] + 1}")


def _drums(plan: Plan, toml: TomlFile) -> Iterator[Problem]:
    donors = _donor_ids(plan)
    first: dict[str, int] = {}
    for at, drum in enumerate(plan.drum):
        where = ("drum", at)
        if drum.from_ == NEW:
            if drum.price is None:
                yield toml.problem(where, "no_price", "a new shell needs its price", drum.from_)
        elif drum.from_ not in donors:
            message = f"there is no donor {shown(drum.from_)}; {or_known(drum.from_, [*donors, NEW])}"
            yield toml.problem((*where, "from"), "unknown_donor", message, drum.from_)
        elif drum.price is not None or drum.vat is not None:
            key = "price" if drum.price is not None else "vat"
            message = f'{key} goes with from = "new" only: a donor has its own price; take it out'
            yield toml.problem((*where, key), "price_unused", message)
        if drum.cut_from is not None and (why := _not_cut(drum, drum.cut_from)) is not None:
            yield toml.problem((*where, "cut_from"), "cut_from", why, size_text(drum.cut_from))
        name = drum.id
        if name is not None and first.setdefault(fold(name), at) != at:
            message = f"the id {shown(name)} stands twice, at drums {first[fold(name)] + 1} and {at + 1}; rename one"
            yield toml.problem((*where, "id"), "drum_twice", message, name)
        elif name is not None and (name in (NEW, *ROLES, *donors) or not name.strip()):
            message = f"{shown(name)} cannot be a drum's id: it is a role, a donor or blank; choose another"
            yield toml.problem((*where, "id"), "reserved_name", message, name)


def _not_cut(drum: DrumTable, old: Size) -> str | None:
    """Why a drum cannot be cut from a shell of the size `old`; None where it can."""
    if drum.from_ == NEW:
        return "cut_from goes with a donor's drum only: a new shell is ordered in its size; take it out"
    if old.diameter != drum.size.diameter:
        return (
            f"a shell is cut in its depth: {size_text(old)} cannot become {size_text(drum.size)}; correct one of them"
        )
    if old.depth <= drum.size.depth:
        deep = f"{size_text(old)} is not deeper than {size_text(drum.size)}"
        return f"{deep}; write the donor's size before the cut, or take cut_from out"
    return None


def _series(plan: Plan, shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    names = series_names(shop)
    places: dict[Place, str] = {("donor", at): donor.series for at, donor in enumerate(plan.donor)}
    places |= {("original",): plan.original.series, ("finished",): plan.finished.series}
    for where, name in places.items():
        if names.declared and names.find(name) is None:
            message = f"{shown(name)} is not in shop.toml's list of series; {names.advice(name)}"
            yield toml.problem((*where, "series"), "unknown_series", message, name)


def _kits(plan: Plan, toml: TomlFile) -> Iterator[Problem]:
    """The original, the finished kit, and the smallest one."""
    original, finished, drums = plan.original, plan.finished, len(plan.drum)
    if original.repair is None and original.condition < finished.condition:
        message = f"the original is at condition {original.condition} and the finished kit at {finished.condition}: "
        message += "add repair, what the original needs to play and look alike (gross, 0 if nothing)"
        yield toml.problem(("original", "repair"), "no_repair", message)
    if plan.smallest > drums:
        message = f"smallest is {plan.smallest}, but the plan has {drums} drums; write {drums} or less"
        yield toml.problem(("smallest",), "smallest", message, str(plan.smallest))


def _route(plan: Plan, shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    """VAT is left out by the whole business or not at all, and the margin scheme is open to a taxed one's own goods."""
    tax, whole = shop.tax, "it is the whole business that is exempt from VAT or not (registered under [tax])"
    closed = {
        "the business is exempt from VAT (registered under [tax] in shop.toml)": tax is not None and not tax.registered,
        "the buyer pays sales tax on top (kind under [tax] in shop.toml)": tax is not None and tax.kind == "sales",
        "a customer's own kit is neither bought nor resold": any(donor.owner == "customer" for donor in plan.donor),
    }
    why = next((reason for reason, holds in closed.items() if holds), None)
    if plan.route == "none" or (plan.route == "margin" and why is not None):
        cure = 'write "full" or "margin", or take it out' if why is None else "take the line out"
        message = f'a plan cannot have route = "{plan.route}": {why or whole}; {cure}'
        yield toml.problem(("route",), "route", message, plan.route)


def _work(line: WorkLine, at: int, shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    where = ("work", at)
    given = [key for key in ("operation", "hours", "each") if getattr(line, key) is not None]
    if len(given) != 1:
        message = f"{shown(line.what)} has {listed(given) or 'none of them'}; give one of operation, hours and each"
        yield toml.problem(where, "one_of", message, line.what)
    known = shop.work.hours if shop.work is not None else {}
    if line.operation is not None and line.operation not in known:
        hint = or_known(line.operation, known, "add its hours there, or give hours here")
        message = f"{shown(line.operation)} is not in shop.toml's [work.hours]; {hint}"
        yield toml.problem((*where, "operation"), "unknown_operation", message, line.operation)
    if line.per == "sheet":
        message = 'per = "sheet" goes with [[part]] only; use "shell" or "m2_outside"'
        yield toml.problem((*where, "per"), "per", message, "sheet")


def _part(line: PartLine, at: int, toml: TomlFile) -> Iterator[Problem]:
    where = ("part", at)
    if line.each is None:
        yield toml.problem(where, "no_price", f"{shown(line.what)} needs each, the price of one", line.what)
    if line.per == "sheet" and line.sheet is None:
        message = 'a line per = "sheet" needs the size of a sheet in millimetres, such as sheet = "1370x610"'
        yield toml.problem(where, "no_sheet", message, line.what)
    elif line.per != "sheet" and line.sheet is not None:
        message = f'sheet goes with per = "sheet" only, and this line counts per {line.per}; correct one of the two'
        yield toml.problem((*where, "sheet"), "sheet", message, str(line.sheet))


def _line(plan: Plan, line: LineTable, where: tuple[str, int], toml: TomlFile) -> Iterator[Problem]:
    """The quantity of a line, and names in `only` and `except` that nothing in the plan has."""
    if line.per in ("each", "hour"):
        if line.quantity is None:
            message = f'{shown(line.what)} is counted per = "{line.per}" and needs a quantity'
            yield toml.problem(where, "no_quantity", message, line.what)
    elif line.quantity is not None:
        message = f'quantity goes with per = "each" or "hour" only; per = "{line.per}" is counted from the drums'
        yield toml.problem((*where, "quantity"), "quantity", message, str(line.quantity))
    known = [*ROLES, NEW, *_donor_ids(plan), *(drum.id for drum in plan.drum if drum.id is not None)]
    for key, names in (("only", line.only), ("except", line.except_)):
        for name in (name for name in names if name not in known):
            message = f"{shown(name)} is no role, donor or drum of this plan; {or_known(name, known)}"
            yield toml.problem((*where, key), "unknown_name", message, name)


class OriginalTable(Table):
    series: Text
    condition: Grade
    freight: Money
    premium: Percent = Decimal(0)
    repair: Money | None = None  # gross; required where its condition is below the finished one
    duty: Percent = Decimal(0)
    import_vat: Percent = Decimal(0)
    channel: Literal["private", "dealer", "auction"] = "private"


class FinishedTable(Table):
    series: Text
    share: ShareCell = Field(default_factory=lambda: Share(Decimal(100), Decimal(100)))
    condition: Grade


class DonorTable(Table):
    id: Text
    series: Text
    pieces: Annotated[Whole, Field(ge=1, le=MOST_PIECES)]
    condition: Grade
    price: Money = Decimal(0)
    owner: Literal["shop", "customer"] = "shop"  # a customer's own kit is not bought
    in_hand: Truth = False  # the shop has it already: its price is spent
    freight: Money | None = None  # None: unknown, and the sheet says so
    spare: Money | None = None  # what a drum of it left over is worth
    sizes: SizesList = ()  # of all its drums, so that parts.csv speaks for those left over
    bought_from: BoughtFrom = "private"
    vat: VatSaid | None = None  # what the seller's invoice says
    premium: Percent = Decimal(0)  # percent of the price, an auction's
    premium_vat: PremiumVat | None = None  # does the invoice for the premium show VAT?
    freight_by: FreightBy = "carrier"  # who charges it
    duty: Percent | None = None  # of an import, as are the next two; None: [tax.import]
    import_vat: Percent | None = None
    clearance: Money | None = None


class DrumTable(Table):
    role: Role
    size: SizeCell
    from_: Annotated[str, Field(alias="from")]  # a donor's id, or "new"
    positions: Annotated[Whole, Field(ge=1)]  # tension points per head
    id: str | None = None
    holes: Annotated[Whole, Field(ge=0)] = 0
    heads: Literal[1, 2] = 2
    cut_from: SizeCell | None = None  # the donor's shell, before it is cut down
    price: Money | None = None  # of a new shell
    vat: VatWord | None = None  # of its price; None counts as excluded

    @property
    def rods(self) -> int:
        """Tension rods: one a position and head."""
        return self.positions * self.heads

    @property
    def shell(self) -> Size:
        """The size of the donor's drum that it is made of."""
        return self.cut_from or self.size

    @property
    def name(self) -> str:
        """`22x16 bass`."""
        return f"{size_text(self.size)} {self.role}"


class LineTable(Table):
    """What [[work]] and [[part]] lines share."""

    what: Text
    per: Per
    only: tuple[str, ...] = ()  # roles, donor ids, "new", drum ids; all drums when absent
    except_: Annotated[tuple[str, ...], Field(alias="except")] = ()
    quantity: Annotated[Number, Field(gt=0)] | None = None  # for `each` and `hour`
    each: Money | None = None  # money for one unit
    vat: VatWord = "excluded"
    done: Truth = False  # it is done, or bought: spent

    def chosen(self, drums: Sequence[DrumTable]) -> tuple[DrumTable, ...]:
        """The drums that the line is for: those `only` names (all where it names none) less those `except` names."""
        names = [{drum.role, drum.from_, drum.id} for drum in drums]
        meant = [(not self.only or of & {*self.only}) and not of & {*self.except_} for of in names]
        return tuple(compress(drums, meant))


class WorkLine(LineTable):
    operation: str | None = None  # a key of [work.hours]
    hours: Money | None = None  # hours for one unit


class PartLine(LineTable):
    sheet: SheetCell | None = None
    overlap: Money = Decimal(50)  # millimetres, one a joint
    clearance: Number = Decimal(6)  # at each edge; negative where veneer stands over
    turn: Truth = True  # may a strip lie across the sheet?


class SurplusTable(Table):
    what: Text
    from_: Annotated[str, Field(alias="from")]
    value: Money  # gross


class PriceTable(Table):
    """What this build is sold for, before the shop's own [selling] and the rate of its [work]."""

    margin: Annotated[Number, Field(gt=-100, lt=100)] | None = None  # 0 and less: a promotion
    fee: Percent | None = None
    rate: Money | None = None  # net, of an hour
    ask: Annotated[Number, Field(gt=0)] | None = None  # the owner's own price, VAT included
    ending: Annotated[Number, Field(gt=0)] | None = None  # the suggestion is rounded down to a multiple of it


class Plan(Table):
    """One build. `name` is the file's name without its ending."""

    name: str
    title: Text
    smallest: Annotated[Whole, Field(ge=1)] = 3
    route: OldRoute | None = None
    original: OriginalTable
    finished: FinishedTable
    donor: tuple[DonorTable, ...] = ()
    drum: Annotated[tuple[DrumTable, ...], Field(min_length=1)]
    work: tuple[WorkLine, ...] = ()
    part: tuple[PartLine, ...] = ()
    surplus: tuple[SurplusTable, ...] = ()
    price: PriceTable = PriceTable()

    def agreed(self, shop: Shop) -> Shop:
        """The shop's settings with what [price] says in their place."""
        own = self.price.model_dump(include={"margin", "fee"}, exclude_none=True)
        selling = shop.selling and shop.selling.model_copy(update=own)
        rate = {} if self.price.rate is None else {"rate": self.price.rate}
        work = WorkTable.model_validate(rate) if rate and shop.work is None else shop.work
        work = work and work.model_copy(update=rate)
        return shop.model_copy(update={"selling": selling, "work": work})


def read_plan(name_or_path: str, folder: Path, shop: Shop) -> Plan:
    """A plan by its NAME (builds/NAME.toml in the shop folder, with or without the ending) or by a path.

    Raises FileError with every problem of the file, or with the names there are where it does not exist.
    """
    path = _plan_path(name_or_path, folder)
    if path.parent == folder / "builds" and not Path(realpath(path)).is_relative_to(realpath(folder)):
        cure = "put the plan itself into builds/, or give its path"
        raise refused_file(f"builds/{path.name}", "leads_out", f"is a link that leads out of the shop's folder; {cure}")
    file = f"builds/{path.name}" if path.parent == folder / "builds" else str(path)
    toml = TomlFile(path, file)
    if "name" in toml.values:
        message = "a plan has no key name: its file's name is its name; write title for what it is called"
        raise FileError(f"{file}: {message}", [toml.problem(("name",), "unknown_key", message, "name")])
    values, context = {**toml.values, "name": path.stem}, {"size_order": shop.shop.size_order}
    return toml.checked(Plan, values, lambda plan: _plan_problems(plan, shop, toml), context)


def plan_warnings(plan: Plan) -> tuple[Problem, ...]:
    """What is allowed and yet worth a word: donors bought for their surplus only, lines that choose no drum."""
    file, used = f"builds/{plan.name}.toml", {drum.from_ for drum in plan.drum}
    warnings = []
    for at, donor in enumerate(plan.donor, 1):
        if donor.id not in used:
            message = f"no drum comes from donor {shown(donor.id)}: it is bought for what is sold off only"
            warnings.append(Problem(file, None, f"donor {at}", donor.id, "donor_for_surplus", Level.WARNING, message))
    lines: tuple[tuple[str, tuple[LineTable, ...]], ...] = (("work", plan.work), ("part", plan.part))
    for table, rows in lines:
        for at, line in enumerate(rows, 1):
            if not line.chosen(plan.drum):
                message = f"{shown(line.what)} chooses no drum of this plan, so it counts nothing"
                warnings.append(Problem(file, None, f"{table} {at}", line.what, "no_drum", Level.WARNING, message))
    return tuple(warnings)


def plan_names(folder: Path) -> tuple[str, ...]:
    """The names of the plans in a shop folder, sorted. Raises FileError where builds/ is there and cannot be read."""
    builds = folder / "builds"
    try:
        return tuple(sorted(path.stem for path in builds.iterdir() if path.match("*.toml")))
    except FileNotFoundError:
        return ()
    except OSError as why:
        raise FileError(f"builds/ cannot be read: {(why.strerror or str(why)).lower()}") from why


def _plan_path(name: str, folder: Path) -> Path:
    file = name if name.endswith(".toml") else f"{name}.toml"
    named = [folder / "builds" / file] if name and Path(name).name == name else []
    for path in (*named, Path(file), folder / file):
        with suppress(OSError, ValueError):
            if path.is_file() or (path in named and path.is_symlink()):
                return path
    with suppress(OSError, ValueError):
        if file != name and Path(name).is_file():  # it is not looked into
            raise FileError(f"{shown(name)} is no plan: the name of a plan's file ends in .toml")
    names = plan_names(folder)
    if not names:
        raise FileError(f"there is no plan {shown(name)}: {shown(str(folder / 'builds'))} holds no plans")
    hint = or_known(name.removesuffix(".toml"), names, f"the plans are: {listed(names)}")
    raise FileError(f"there is no plan {shown(name)}; {hint}")
