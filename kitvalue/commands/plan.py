"""`plan`: a build plan laid out from a few words."""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.commands.cost import build_verdict
from kitvalue.commands.folder import ShopFolder, refuse_file, state_of
from kitvalue.commands.writing import DONE, OFFERS, make_writable, write_whole
from kitvalue.decisions.layout import LaidOut, PlanMade, Wanted, changed, lay_out
from kitvalue.intake.settings.jobs import Job, job_names, read_job
from kitvalue.intake.settings.plan import DonorTable, Plan, read_plan
from kitvalue.intake.settings.plancells import Share
from kitvalue.intake.text.problems import Caution, FileError, KitvalueError, shown
from kitvalue.intake.text.vocabulary import grade
from kitvalue.intake.text.words import fold
from kitvalue.workshop.costing import CostSheet, cost_sheet
from kitvalue.workshop.tax import in_own_series

REMARK: Final = "Laid out by kitvalue plan. What is marked default was assumed: correct what is otherwise with you."


@dataclass(frozen=True, slots=True)
class Told:
    """The options as they were given; None and () where they were not."""

    original: str | None = None
    donors: str | None = None
    drums: str | None = None
    new: tuple[str, ...] = ()
    cut: tuple[str, ...] = ()
    jobs: tuple[str, ...] = ()
    finished: str | None = None
    share: str | None = None
    repair: str | None = None


def jobs(folder: ShopFolder) -> tuple[Job, ...]:
    """The job sheets, the shop's own before the program's of the same name."""
    return tuple(read_job(name, folder.path, folder.shop) for name in job_names(folder.path))


def plan(folder: ShopFolder, name: str, told: Told) -> PlanMade:
    """Lay out builds/NAME.toml, without writing it. Raises FileError where it is there already, or for what cannot be
    laid out or costed."""
    from kitvalue.pages.files import plan_text

    target, shop = new_plan(folder, name), folder.shop
    laid = lay_out(target.stem, _wanted(folder, told), shop)
    text = plan_text(laid.plan, REMARK, shop.shop.size_order, laid.assumed)
    return _made(folder, text, laid)


def change(folder: ShopFolder, name: str, told: Told) -> PlanMade:
    """A plan that is there with what `told` names, without writing it. Raises FileError for what does not fit."""
    from kitvalue.pages.files import changed_text

    plan, file = folder.plan(name), f"builds/{name.removesuffix('.toml')}.toml"
    data = folder.bytes_of(file)
    if data is None:
        raise FileError(f"--change works on plans in builds/ alone: {shown(name)} is none of them")
    new = changed(plan, _wanted(folder, told), folder.shop)
    try:
        text = changed_text(data.decode("utf-8"), plan, new, folder.shop.shop.size_order)
    except (ValueError, KeyError, AttributeError) as why:
        raise FileError(f"{file} cannot be changed in its place ({why}): change it by hand") from why
    made = _made(folder, text, LaidOut(new))
    return replace(made, state=state_of(data))


def _wanted(folder: ShopFolder, told: Told) -> Wanted:
    shop, donors = folder.shop, _donors(folder, told.donors)
    own = len(donors) == 1 and fold(donors[0].series) == fold(told.original or "")
    return Wanted(
        told.original, donors, told.drums, told.new, told.cut,
        tuple(read_job(job, folder.path, shop) for job in dict.fromkeys(_names(*told.jobs))), _finished(told.finished),
        _share(told.share), _repair(told.repair), _learned(folder, told.original, own=own),
    )  # fmt: skip


def _made(folder: ShopFolder, text: str, laid: LaidOut) -> PlanMade:
    """The plan as its text will be read, costed and judged."""
    made = read_back(text, laid.plan.name, folder)
    sheet = cost_sheet(made, folder.shop, parts=folder.parts_for(made))
    return PlanMade(made, text, laid.assumed, sheet, build_verdict(folder, made), _cautions(laid, sheet))


def new_plan(folder: ShopFolder, name: str) -> Path:
    """Where a plan of this name is written. Raises FileError for what is no name, or is there already."""
    stem = name.removesuffix(".toml")
    if not stem.strip() or Path(stem).name != stem or stem.startswith(".") or not stem.isprintable():
        raise FileError(f"{shown(name)} is no name for a plan: write a plain one, such as five-piece")
    target = folder.path / "builds" / f"{stem}.toml"
    if target.exists() or target.is_symlink():
        raise FileError(f"builds/{target.name} is there already, and nothing is written over: choose another name")
    return target


def write_plan(folder: ShopFolder, made: PlanMade) -> Path:
    """Write a plan that was laid out. Raises FileError where it has come to be there meanwhile."""
    if made.state is not None:
        file = f"builds/{made.plan.name}.toml"
        folder.change({file: made.text.encode()}, {file: made.state})
        return folder.path / file
    target = new_plan(folder, made.plan.name)
    make_writable(target.parent)
    write_whole(target, made.text)
    return target


def read_back(text: str, name: str, folder: ShopFolder) -> Plan:
    """A plan's text as it will be read. Raises FileError with its problems."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "builds" / f"{name}.toml"
        path.parent.mkdir()
        path.write_text(text, encoding="utf-8")
        return read_plan(name, Path(place), folder.shop)


def _names(*texts: str) -> list[str]:
    return [name.strip() for text in texts for name in text.split(",") if name.strip()]


def _donors(folder: ShopFolder, told: str | None) -> tuple[DonorTable, ...]:
    from kitvalue.decisions.sourcing import donor_of

    names = _names(told or "")
    if not names:
        return ()
    offers = {fold(offer.offer): offer for offer in folder.offers_to_judge().rows}
    donors = []
    for name in dict.fromkeys(names):
        offer = offers.get(fold(name))
        if offer is None:
            known = ", ".join(one.offer for one in offers.values())
            raise FileError(f"there is no offer {shown(name)} in {OFFERS} that can be read; the offers are: {known}")
        donor = donor_of(offer)
        if donor is None:
            raise FileError(f"offer {shown(name)} has no price yet: write into {OFFERS} what it will be had for")
        donors.append(donor)
    return tuple(donors)


def _finished(told: str | None) -> Decimal | None:
    known = None if told is None else grade(told)
    if told is not None and (known is None or not 1 <= known <= 5):
        raise FileError(f"--finished {shown(told)} is no condition; write 1 to 5, a half such as 4.5, or wipe, freshen")
    return known


def _share(told: str | None) -> Share | None:
    """`70`, or `60-80` for a share in doubt."""
    if told is None:
        return None
    try:
        ends = [Decimal(end.strip()) for end in told.split("-")]
    except ArithmeticError:
        ends = []
    if len(ends) not in (1, 2) or not all(end.is_finite() for end in ends) or not 0 < ends[0] <= ends[-1] < 10**4:
        raise FileError(f"--share {shown(told)} is no share; write percent, such as 85, or 70-100 where it is in doubt")
    return Share(ends[0], ends[-1])


def _repair(told: str | None) -> Decimal | None:
    if told is None:
        return None
    if not re.fullmatch(r"\d{1,9}(\.\d{1,2})?", told.strip()):
        raise FileError(f"--repair {shown(told)} is no amount; write 0 or more, such as 220")
    return Decimal(told.strip())


def _learned(folder: ShopFolder, series: str | None, *, own: bool) -> tuple[Share, str] | None:
    """What the finished builds say of the share that such a kit fetches: of the plan most often sold. A kit restored in
    its `own` series teaches nothing of a rebuild, nor the other way round."""
    if series is None or not folder.has(DONE):
        return None
    from kitvalue.commands.done import done

    try:
        refuse_file(folder.finished.problems)
        taught = [one for one in done(folder).shares.learned if fold(one.series) == fold(series) and one.learned > 0]
        plans = {one.plan: folder.plan(one.plan) for one in taught}
        alike = {
            name for name, plan in plans.items() if (len(plan.donor) == 1 and in_own_series(plan, folder.shop)) is own
        }
        learned = [one for one in taught if one.plan in alike]
    except KitvalueError:
        return None
    if not learned:
        return None
    best = max(learned, key=lambda one: one.sales)
    return Share(best.learned, best.learned), f"what done has learned of {best.plan}"


def _cautions(laid: LaidOut, sheet: CostSheet) -> tuple[Caution, ...]:
    """What a plan that was laid out still lacks."""
    made = laid.plan
    cut = any(drum.cut_from is not None for drum in made.drum)
    told = {
        "no_donors": (
            any(key.endswith(".price") for key in laid.assumed),
            "no donor is named yet, and its price counts as 0: kitvalue source finds the cheapest offers",
        ),
        "not_cut": (
            cut and not any("cut" in line.what.lower() for line in made.work),
            "a shell is cut down and no job does it: add --job cut-down",
        ),
        "no_work": (not made.work, "the plan has no work yet: --job names what is done, --jobs lists what there is"),
    }
    return (*(Caution(code, text) for code, (so, text) in told.items() if so), *sheet.cautions)
