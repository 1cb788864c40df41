"""A plan laid out from a few words: which drum comes from where, what is assumed, which work its jobs need."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from kitvalue.decisions.verdict import Verdict
from kitvalue.intake.settings.jobs import CUT_SNARE, Job, JobPart, JobWork, in_plan
from kitvalue.intake.settings.plan import (
    NEW,
    ROLES,
    DonorTable,
    DrumTable,
    FinishedTable,
    OriginalTable,
    PartLine,
    Plan,
    WorkLine,
)
from kitvalue.intake.settings.plancells import Role, Share
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import series_names
from kitvalue.intake.text.problems import Caution, FileError, shown
from kitvalue.intake.text.sizes import Size, read_size, size_text
from kitvalue.intake.text.words import Refusal, fold, listed
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import ZERO

USUAL: Final = Decimal(3)  # the grade that an original is usually found in
WIPE: Final = Decimal(5)
SMALLEST: Final = 3
REBUILT, RESTORED = Decimal(70), Decimal(100)  # percent of the original's price
_DRUM: Final = re.compile(r"(.*?)\s*\b(bass|floor|rack|snare)?\s*", re.IGNORECASE)
# Order of work (common practice, no source): finish, edges, drilling; what is taken off before, what is put on after.
ORDER: Final = (
    "inspect", "dismantle", "strip_wrap", "strip_paint", "sand", "plug", "patch", "ply", "round", "cut_down", "wrap",
    "veneer", "oil", "set_up", "spray", "edge", "bed", "seal", "drill", "clean", "hoop", "cover_hoop", "fit_small",
    "strainer", "head", "mount", "assemble", "dispatch",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the owner says of a new plan, read as far as words go. None and () where nothing is said."""

    original: str | None = None
    donors: tuple[DonorTable, ...] = ()
    drums: str | None = None
    new: tuple[str, ...] = ()
    cut: tuple[str, ...] = ()
    jobs: tuple[Job, ...] = ()
    finished: Decimal | None = None
    share: Share | None = None
    repair: Decimal | None = None
    learned: tuple[Share, str] | None = None  # what `done` teaches, and from what


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A plan, and why each key that nobody named is so, by its place: `original.condition`, `drum 2.positions`."""

    plan: Plan
    assumed: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PlanMade:
    """A plan that can be costed, the text of its file, and what is to be said of it."""

    plan: Plan
    text: str
    assumed: Mapping[str, str]
    sheet: CostSheet
    verdict: Verdict | None
    cautions: tuple[Caution, ...]
    state: str | None = None  # of the file that it changes


@dataclass(frozen=True, slots=True)
class _Drum:
    size: Size
    role: Role
    price: Decimal | None = None  # of a new shell
    old: Size | None = None  # the shell before the cut


def lay_out(name: str, wanted: Wanted, shop: Shop) -> LaidOut:
    """The plan. Raises FileError in one line for what cannot be laid out: a drum that no donor has, an offer without
    sizes, words that are no drum."""
    if wanted.original is None:
        raise FileError("--original is missing: name the series that the customer could buy instead")
    if not (wanted.donors or wanted.drums or wanted.new):
        raise FileError("one of --donors, --drums and --new is needed: say what the kit is made of")
    assumed: dict[str, str] = {}
    drums, donors = _drums(wanted, shop, assumed)
    original = series_names(shop).find(wanted.original) or wanted.original
    assumed |= {
        "original.condition": "as it is usually found",
        "original.freight": "that of [selling]",
        "finished.series": "the original's",
    }
    assumed |= {} if wanted.finished is not None else {"finished.condition": "wipe"}
    assumed |= {} if wanted.repair is not None else {"original.repair": "what it needs to play and look like yours"}
    smallest = min(SMALLEST, len(drums))
    assumed["smallest"] = "the smallest kit anybody would want"
    cut = [drum for drum in drums if drum.cut_from is not None]
    made = [in_plan(line, drums, cut, shop) for line in _once(wanted.jobs)]
    freight = shop.selling.freight if shop.selling is not None else ZERO
    plan = Plan(
        name=name,
        title=f"{len(drums)} drums in {original} dress" if len(drums) > 1 else f"A {drums[0].name} in {original} dress",
        smallest=smallest,
        original=OriginalTable(
            series=original, condition=USUAL, freight=freight, repair=ZERO if wanted.repair is None else wanted.repair
        ),
        finished=FinishedTable(
            series=original, share=_share(wanted, original, assumed), condition=wanted.finished or WIPE
        ),
        donor=donors,
        drum=drums,
        work=tuple(line for line in made if isinstance(line, WorkLine)),
        part=tuple(line for line in made if isinstance(line, PartLine)),
    )
    for at, line in enumerate(plan.work, 1):
        if line.hours is not None:
            assumed[f"work {at}.hours"] = "the job sheet's, for [work.hours] lacks the operation"
    return LaidOut(plan, assumed)


def changed(plan: Plan, wanted: Wanted, shop: Shop) -> Plan:
    """The plan with what `wanted` names: other figures in their place, drums, donors and lines of jobs that it has not
    behind its own; a drum of the same size and role that is to be new or cut is so from now on. Raises FileError."""
    order, assumed = shop.shop.size_order, dict[str, str]()
    original = plan.original.model_copy(update=_given(repair=wanted.repair))
    finished = plan.finished.model_copy(update=_given(share=wanted.share, condition=wanted.finished))
    if wanted.original is not None:
        named = {"series": series_names(shop).find(wanted.original) or wanted.original}
        if finished.series == original.series:
            finished = finished.model_copy(update=named)
        original = original.model_copy(update=named)
    donors = (*plan.donor, *(one for one in wanted.donors if one.id not in {donor.id for donor in plan.donor}))
    build = {(drum.size, drum.role): drum for drum in plan.drum}
    asked = [_drum("--drums", text, order) for text in _parts(wanted.drums or "")]
    asked = [drum for drum in asked if (drum.size, drum.role) not in build]
    asked += [_new(text, order) for said in wanted.new for text in _parts(said)]
    asked += [_cut(text, order) for said in wanted.cut for text in _parts(said)]
    drums = [*plan.drum]
    for one in asked:
        old = build.get((one.size, one.role))
        others = [drum for drum in drums if drum is not old]
        stock = [(donor.id, size) for donor in donors for size in donor.sizes]
        for drum in others:
            if (drum.from_, drum.shell) in stock:
                stock.remove((drum.from_, drum.shell))
        made = _table(one, len(drums) + 1, stock, donors, order, assumed)
        if old is not None:
            kept = {"positions": old.positions, "heads": old.heads, "id": old.id or made.id}
            made = made.model_copy(update=kept)
        drums = [made if drum is old else drum for drum in drums] if old is not None else [*drums, made]
    cut = [drum for drum in drums if drum.cut_from is not None]
    lines = [in_plan(line, drums, cut, shop) for line in _once(wanted.jobs)]
    fresh = [one for one in lines if one is not None and (one.what, one.only) not in
             {(line.what, line.only) for line in (*plan.work, *plan.part)}]  # fmt: skip
    return plan.model_copy(update={
        "original": original, "finished": finished, "donor": donors, "drum": tuple(drums),
        "work": (*plan.work, *(one for one in fresh if isinstance(one, WorkLine))),
        "part": (*plan.part, *(one for one in fresh if isinstance(one, PartLine))),
    })  # fmt: skip


def _given(**values: object) -> dict[str, object]:
    return {key: value for key, value in values.items() if value is not None}


def _share(wanted: Wanted, original: str, assumed: dict[str, str]) -> Share:
    if wanted.share is not None:
        return wanted.share
    if wanted.learned is not None:
        assumed["finished.share"] = wanted.learned[1]
        return wanted.learned[0]
    own = len(wanted.donors) == 1 and fold(wanted.donors[0].series) == fold(original)
    assumed["finished.share"] = "restored in its own series" if own else "of a rebuild, until your sales teach another"
    value = RESTORED if own else REBUILT
    return Share(value, value)


def _once(jobs: Sequence[Job]) -> list[JobWork | JobPart]:
    """The jobs' lines in the order of work; what several need alike once, and none that another does for all drums."""
    work = [line for job in jobs for line in job.work]
    work.sort(key=lambda line: ORDER.index(line.operation if line.operation in ORDER else "fit_small"))
    lines: list[JobWork | JobPart] = [*work, *(line for job in jobs for line in job.part)]
    done = {(line.operation, line.per, line.only) for line in work if line.operation and not line.except_}
    kept = dict[object, JobWork | JobPart]()
    for line in lines:
        wider: list[tuple[str, ...]] = [()] if line.only or line.except_ else []
        wider += [("snare",)] if line.only == (CUT_SNARE,) else []
        if not (isinstance(line, JobWork) and any((line.operation, line.per, of) in done for of in wider)):
            kept.setdefault((type(line), line.what, line.per, line.only, line.except_), line)
    return list(kept.values())


def _drums(wanted: Wanted, shop: Shop, assumed: dict[str, str]) -> tuple[tuple[DrumTable, ...], tuple[DonorTable, ...]]:
    """Each drum with its source, and the donors; one to be found where none is named and not all drums are new."""
    order = shop.shop.size_order
    fresh = [_new(text, order) for said in wanted.new for text in _parts(said)]
    cuts = [_cut(text, order) for said in wanted.cut for text in _parts(said)]
    donors = wanted.donors
    if wanted.drums is not None:
        listed_drums = [_drum("--drums", text, order) for text in _parts(wanted.drums)]
    else:
        bare = [donor.id for donor in donors if not donor.sizes]
        if bare:
            told = f"{listed(bare)} has no sizes in offers.csv" if len(bare) == 1 else f"{listed(bare)} have no sizes"
            raise FileError(f"{told}: add them there (diameter and depth of each drum), or name the drums by --drums")
        pool = [size for donor in donors for size in donor.sizes]
        for one in cuts:
            if one.old in pool:
                pool.remove(one.old)
        listed_drums = [_Drum(size, _role(size)) for size in pool]
    build = list[_Drum]()
    left = [*fresh, *cuts]
    for drum in listed_drums:
        better = next((one for one in left if (one.size, one.role) == (drum.size, drum.role)), drum)
        left = [one for one in left if one is not better]
        build.append(better)
    build += left
    if not donors and any(drum.price is None for drum in build):
        taken = tuple(drum.old or drum.size for drum in build if drum.price is None)
        series = wanted.original or ""
        donors = (DonorTable(id="A", series=series, pieces=len(taken), condition=USUAL, price=ZERO, sizes=taken),)
        assumed |= {"donor 1.price": "still to be found: kitvalue source names the cheapest offers",
                    "donor 1.series": "whatever is found"}  # fmt: skip
    stock = [(donor.id, size) for donor in donors for size in donor.sizes]
    tables = tuple(_table(drum, at, stock, donors, order, assumed) for at, drum in enumerate(build, 1))
    used = {table.from_ for table in tables}
    for donor in donors:
        if donor.id not in used:
            raise FileError(f"no drum comes from {donor.id}: leave it out of --donors, or name a drum of it by --drums")
    return tables, donors


def _table(
    drum: _Drum, at: int, stock: list[tuple[str, Size]], donors: Sequence[DonorTable], order: str,
    assumed: dict[str, str],
) -> DrumTable:  # fmt: skip
    positions = positions_of(drum.size, drum.role)
    assumed[f"drum {at}.positions"] = "usual for its size: count them"
    values = {"role": drum.role, "size": drum.size, "positions": positions}
    if drum.price is not None:
        assumed[f"drum {at}.holes"] = "two for each casing and a vent"
        return DrumTable.model_validate(values | {"from": NEW, "price": drum.price, "holes": 4 * positions + 1})
    need = drum.old or drum.size
    found = next((one for one in stock if one[1] == need), None)
    bare = next((donor.id for donor in donors if not donor.sizes), None)
    if found is None and bare is None:
        have = listed(size_text(size, order) for _, size in stock) or "nothing"
        cure = "add it by --new with its price, or by --cut from a deeper one"
        raise FileError(f"no donor has a {size_text(need, order)} (left of them: {have}); {cure}")
    if found is not None:
        stock.remove(found)
    source = found[0] if found is not None else bare
    if drum.old is None:
        return DrumTable.model_validate(values | {"from": source})
    assumed[f"drum {at}.holes"] = "two for each new casing"
    given = {"from": source, "cut_from": drum.old, "id": f"cut{at}", "holes": 2 * positions}
    return DrumTable.model_validate(values | given)


def positions_of(size: Size, role: Role) -> int:
    """Tension points on one head as most makers have them (common practice, no source)."""
    if role == "snare":
        return 10
    if role == "bass":
        return 8 if size.diameter <= 22 else 10
    return 5 if size.diameter < 10 else 6 if size.diameter < 16 else 8


def _role(size: Size) -> Role:
    """What a drum of this size mostly is."""
    if size.diameter >= 20 or (size.diameter >= 18 and size.depth < size.diameter):
        return "bass"
    if size.depth <= 8 and (size.diameter >= 13 or size.depth < 6):
        return "snare"
    return "floor" if size.diameter >= 14 and size.depth >= 12 else "rack"


def _parts(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"[,;]", text) if part.strip()]


def _drum(option: str, text: str, order: str) -> _Drum:
    found = _DRUM.fullmatch(text)
    size = read_size(found[1] if found is not None else text, order)
    if isinstance(size, Refusal):
        write = f'such as "22x16 bass" ({listed(ROLES, last="or")})'
        raise FileError(f"{option} {shown(text)} is no drum: {size.reason}; write size and role, {write}")
    role = next((role for role in ROLES if found is not None and fold(found[2] or "") == role), None)
    return _Drum(size, role or _role(size))


def _new(text: str, order: str) -> _Drum:
    words, sign, told = text.partition("=")
    drum = _drum("--new", words.strip(), order)
    price = Decimal(told.strip()) if re.fullmatch(r"\s*\d+(\.\d+)?\s*", told) else None
    if not sign or price is None:
        raise FileError(f"--new {shown(text)} has no price: write it behind the drum, such as 20x12 bass=140")
    return _Drum(drum.size, drum.role, price)


def _cut(text: str, order: str) -> _Drum:
    words, sign, told = re.sub(r"\s+from\s+", "=", text, count=1, flags=re.IGNORECASE).partition("=")
    if not sign:
        raise FileError(f"--cut {shown(text)} does not say from what: write such as 14x5 snare from 14x10")
    drum, old = _drum("--cut", words, order), _drum("--cut", told, order)
    if old.size.diameter != drum.size.diameter or old.size.depth <= drum.size.depth:
        deep = f"a {size_text(drum.size, order)} cannot be cut from a {size_text(old.size, order)}"
        raise FileError(f"--cut {shown(text)}: {deep}; the shell before the cut has the same diameter and is deeper")
    return _Drum(drum.size, drum.role, old=old.size)
