"""`source`: the donors of a plan at least cost."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import make_writable, write_whole
from kitvalue.decisions.filling import TIME_LIMIT
from kitvalue.decisions.sourcing import (
    Answer,
    Ground,
    Sourcing,
    answers,
    at_market,
    grade_cautions,
    ground_of,
    plan_from,
    refuse_lost_donors,
)
from kitvalue.intake.settings.plan import Plan, read_plan
from kitvalue.intake.text.problems import Caution, FileError, KitvalueError, Level, Problem


@dataclass(frozen=True, slots=True, eq=False)
class SourceDone:
    """The best answers for a plan; `written` is the plan made of the first."""

    sourcing: Sourcing
    written: Path | None
    problems: tuple[Problem, ...]


def source(folder: ShopFolder, plan_name: str, best: int = 1, write: str | None = None) -> SourceDone:
    """The offers, new shells and cut-downs that give a plan's drums at least cost; `write` saves the first as a plan.

    Raises FileError where the plan to be written is there already, before any work is done.
    """
    shop, plan = folder.shop, folder.plan(plan_name)
    target = None
    if write is not None:
        target = Path(write if write.endswith(".toml") else f"{write}.toml")
        if not target.is_absolute():
            target = folder.path / (target if target.parent != Path() else Path("builds") / target)
        if target.exists():
            raise FileError(f"{target} is there already, and nothing is written over: choose another name")
        make_writable(target.parent)
    reading = folder.offers_to_judge()
    offers, parts = reading.rows, None if folder.parts is None else folder.parts.rows
    ground = ground_of(plan, shop, offers, parts or ())
    told = answers(ground, best)
    unsized = ", ".join(offer.offer for offer in offers if not offer.sizes)
    unpriced = ", ".join(offer.offer for offer in offers if offer.price is None)
    bought = {name for answer in told for name in answer.buy}
    worn = ", ".join(offer.offer for offer in offers if offer.condition < shop.buying.worst)
    closed = ", ".join(lot.offer.offer for lot in ground.lots if plan.route == "margin" and not lot.bought.open)
    dearer = at_market(ground, told[0]) if told[0].status != "infeasible" else None
    unknown = ", ".join(o.offer for o in offers if o.freight is None and o.offer in bought)
    lack = "there is no parts.csv" if parts is None else "parts.csv has no usable row"
    asked = "prices are those asked, less an offer's own haggle; hammer prices with their premium"
    said = (
        (True, "as_asked", f"{asked}; work and parts that every answer needs are left out"),
        (unsized, "no_sizes", f"left out because offers.csv does not give their sizes (diameter and depth): {unsized}"),
        (unpriced, "no_price", f"left out because they have no price yet: {unpriced}"),
        (
            worn,
            "too_worn",
            f"left out because they are under grade {shop.buying.worst:f} (worst under [buying]): {worn}",
        ),
        (closed, "closed", f"left out because the margin scheme, which the plan sets, is closed to them: {closed}"),
        (not parts, "no_parts", f"{lack}, so drums left over are credited with nothing"),
        (
            ground.bench.cut is None,
            "no_cutting",
            "no shell is cut down: cut_down has no hours under [work.hours] of shop.toml",
        ),
        (unknown, "freight_not_known", f"freight not known and not counted: {unknown}"),
    )
    cautions = [*grade_cautions(ground, told[0]), *(Caution(code, text) for so, code, text in said if so)]
    if dearer is not None:
        other = "; ".join([", ".join(dearer.buy) or "no kit", *(f"{drum} new" for drum in dearer.new_shells)])
        text = f"that is for the lowest price that leaves the margin; sold above it, {other} would leave more"
        cautions.append(Caution("at_market", text))
    written = None
    if target is not None and told[0].status != "infeasible":
        cautions += _write_plan(folder, plan, ground, told[0], target)
        written = target
    cautions += told[0].cautions
    done = Sourcing(shop.shop.currency, plan.name, plan.title, told, TIME_LIMIT, tuple(cautions))
    problems = () if folder.parts is None else folder.parts.problems
    return SourceDone(done, written, (*reading.problems, *problems))


def _write_plan(folder: ShopFolder, plan: Plan, ground: Ground, answer: Answer, target: Path) -> list[Caution]:
    """Write the answer as a plan and read it back; what is still to be asked comes back as cautions."""
    from kitvalue.pages.files import plan_text

    made = plan_from(answer, ground, target.stem)
    refuse_lost_donors(plan, made)
    remark = f"Made by kitvalue source from {plan.name}; donors and drums are those of the cheapest answer."
    write_whole(target, plan_text(made, remark, folder.shop.shop.size_order))
    said = []
    if plan.surplus:
        old = f"{plan.surplus[0].what} and what else the old donors' surplus brought is not in it"
        said.append(Caution("old_surplus", old))
    try:
        read_plan(str(target), folder.path, folder.shop)
    except KitvalueError as error:
        lines = [p.line() for p in error.problems if p.level is not Level.WARNING] or [error.message]
        said += [Caution("to_fill_in", line) for line in lines]
    return said
