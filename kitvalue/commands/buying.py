"""What to buy: the offers ranked, and the donors of a plan at least cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from kitvalue.commands import keeper
from kitvalue.commands.writing import make_writable, write_whole
from kitvalue.decisions.offered import Tell, grounds_of, kit_offered, portfolio_of, shortlisted, sold_condition
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.text.problems import FileError, KitvalueError, Level, Problem, RefusedError
from kitvalue.market.value import value_kit

if TYPE_CHECKING:
    from kitvalue.decisions.shortlist import JudgedOffer, Shortlist
    from kitvalue.decisions.sourcing import Answer, Sourcing
    from kitvalue.intake.books.offers import Offer
    from kitvalue.intake.books.parts import Part
    from kitvalue.intake.tables.specification import FileReading
    from kitvalue.intake.text.problems import FileCounts
    from kitvalue.market.fitted import Fit
    from kitvalue.pages.report import OfferSeen


OFFERS = "offers.csv"
PARTS = "parts.csv"


@dataclass(frozen=True, slots=True)
class Gathered:
    """The offers and the parts of a shop; `parts` is None where there is no parts.csv."""

    offers: FileReading[Offer]
    parts: tuple[Part, ...] | None
    problems: tuple[Problem, ...]


def gathered(folder: Path, shop: Shop) -> Gathered:
    """Read offers.csv and, where it is there, parts.csv. Raises FileError where one is refused as a whole, RefusedError
    where there is no offer to judge.
    """
    from kitvalue.intake.books.offers import read_offers
    from kitvalue.intake.books.parts import read_parts

    if not (folder / OFFERS).exists():
        raise FileError(f"there is no {OFFERS} in {folder}: write the kits you are offered into it, or use jot --offer")
    offers = read_offers(folder / OFFERS, shop)
    keeper.refuse_file(offers.problems)
    if not offers.rows:
        raise RefusedError(_no_offers(offers.counts), offers.problems)
    problems, parts = list(offers.problems), None
    if (folder / PARTS).exists():
        reading = read_parts(folder / PARTS, shop)
        keeper.refuse_file(reading.problems)
        problems += reading.problems
        parts = reading.rows
    return Gathered(offers, parts, tuple(problems))


def _no_offers(counts: FileCounts) -> str:
    if not counts.read:
        return f"{OFFERS} has no offers in it yet: write the kits you are offered into it, or use jot --offer"
    which = "the one offer" if counts.read == 1 else f"none of the {counts.read} offers"
    could = "could not be read" if counts.read == 1 else "could be read"
    return f"{which} in {OFFERS} {could}: kitvalue check lists what to mend"


@dataclass(frozen=True, slots=True, eq=False)
class ShortlistDone:
    """The offers ranked."""

    shortlist: Shortlist
    written: Path | None  # the table as CSV, where it was asked for
    problems: tuple[Problem, ...]


def shortlist_shop(
    folder: Path, plan_name: str | None, on: date | None, *, csv: bool = False, tell: Tell | None = None
) -> ShortlistDone:
    """Judge every offer of offers.csv, for the rebuild of a plan too where one is named; `csv` writes the table."""
    from kitvalue.decisions.shortlist import Shortlist, reckoned_with
    from kitvalue.intake.settings.plan import read_plan
    from kitvalue.market.value import ESTIMATES, no_dealer
    from kitvalue.workshop.costing import VAT

    shop = read_shop(folder)
    plan = None if plan_name is None else read_plan(plan_name, folder, shop)
    read = gathered(folder, shop)
    market = keeper.market_of(folder, shop)
    grounds = grounds_of(shop, market.fit, plan, read.parts, on)
    listed = shortlisted(grounds, read.offers.rows, tell)
    selling = shop.selling
    cautions = [*market.cautions, ESTIMATES, VAT]
    if not market.fit.recipe.has("dealer"):
        cautions.append(no_dealer(market.fit))
    if plan is not None and plan.surplus:
        cautions.append(f"what {plan.name} sells off of a donor is counted for every offer in its place")
    done = Shortlist(
        currency=shop.shop.currency,
        plan=None if plan is None else plan.name,
        on=on,
        as_of=on or market.fit.recipe.reference_date,
        offers=listed.judged,
        portfolio=portfolio_of(grounds, listed),
        holding=grounds.holding,
        months=None if selling is None or selling.months_to_sell is None else float(selling.months_to_sell),
        loss_percent=100 * grounds.loss_chance,
        margin_percent=100 * float(grounds.terms.margin),
        cautions=tuple(dict.fromkeys(cautions)),
        reckoned_with=reckoned_with(shop),
        unread=read.offers.counts.refused,
    )
    written = None
    if csv:
        from kitvalue.pages.files import shortlist_csv

        make_writable(folder / keeper.OUT)
        written = folder / keeper.OUT / "shortlist.csv"
        write_whole(written, shortlist_csv(done))
    return ShortlistDone(done, written, (*market.problems, *read.problems))


@dataclass(frozen=True, slots=True, eq=False)
class SourceDone:
    """The best answers for a plan; `written` is the plan made of the first."""

    sourcing: Sourcing
    written: Path | None
    problems: tuple[Problem, ...]


def source_build(folder: Path, plan_name: str, best: int = 1, write: str | None = None) -> SourceDone:
    """The offers, new shells and cut-downs that give a plan's drums at least cost; `write` saves the first as a plan.

    Raises FileError where the plan to be written is there already, before any work is done.
    """
    from kitvalue.decisions.sourcing import TIME_LIMIT, Limits, Sourcing, cut_cost, solve, supplies, wanted_drums
    from kitvalue.intake.settings.plan import read_plan

    shop = read_shop(folder)
    plan = read_plan(plan_name, folder, shop)
    target = None if write is None else _new_plan_path(folder, write)
    read = gathered(folder, shop)
    offers = read.offers.rows
    limits = Limits(None if shop.buying.budget is None else float(shop.buying.budget), shop.buying.kits)
    answers = solve(
        wanted_drums(plan, shop), supplies(offers, read.parts or (), plan, shop), cut_cost(shop), limits, best
    )
    cautions = _source_cautions(answers, offers, read.parts, cut_cost(shop))
    written = None
    if target is not None and answers[0].status != "infeasible":
        cautions += _write_plan(folder, shop, plan_name, answers[0], offers, target)
        written = target
    done = Sourcing(shop.shop.currency, plan.name, plan.title, answers, TIME_LIMIT, tuple(cautions))
    return SourceDone(done, written, read.problems)


def _source_cautions(
    answers: Sequence[Answer], offers: Sequence[Offer], parts: Sequence[Part] | None, cut: float | None
) -> list[str]:
    cautions = [
        "prices are those asked, less an offer's own haggle; work and parts that every answer needs are left out"
    ]
    unsized = [offer.offer for offer in offers if not offer.sizes]
    if unsized:
        cautions.append(
            f"left out because offers.csv does not give their sizes (diameter and depth): {', '.join(unsized)}"
        )
    if not parts:
        lack = "there is no parts.csv" if parts is None else "parts.csv has no usable row"
        cautions.append(f"{lack}, so drums left over are credited with nothing")
    if cut is None:
        cautions.append("no shell is cut down: cut_down has no hours under [work.hours] of shop.toml")
    bought = {name for answer in answers for name in answer.buy}
    unknown = [o.offer for o in offers if o.freight is None and o.offer in bought]
    if unknown:
        cautions.append(f"freight not known and not counted: {', '.join(unknown)}")
    return cautions


def _new_plan_path(folder: Path, name: str) -> Path:
    path = Path(name if name.endswith(".toml") else f"{name}.toml")
    if not path.is_absolute():
        path = folder / (path if path.parent != Path() else Path("builds") / path)
    if path.exists():
        raise FileError(f"{path} is there already, and nothing is written over: choose another name")
    make_writable(path.parent)
    return path


def _write_plan(
    folder: Path, shop: Shop, plan_name: str, answer: Answer, offers: Sequence[Offer], target: Path
) -> list[str]:
    """Write the answer as a plan and read it back; what is still to be asked comes back as cautions."""
    from kitvalue.decisions.sourcing import plan_from
    from kitvalue.intake.settings.plan import read_plan
    from kitvalue.pages.files import plan_text

    plan = read_plan(plan_name, folder, shop)
    made = plan_from(answer, plan, shop, offers, target.stem)
    remark = f"Made by kitvalue source from {plan.name}; donors and drums are those of the cheapest answer."
    write_whole(target, plan_text(made, remark, shop.shop.size_order))
    found = (
        [f"{plan.surplus[0].what} and what else the old donors' surplus brought is not in it"] if plan.surplus else []
    )
    try:
        read_plan(str(target), folder, shop)
    except KitvalueError as error:
        found += [p.line() for p in error.problems if p.level is not Level.WARNING] or [error.message]
    return found


@dataclass(frozen=True, slots=True, eq=False)
class OffersSeen:
    """The offers as the report shows them, and how their files were read."""

    offers: tuple[OfferSeen, ...]
    files: tuple[FileCounts, ...]
    problems: tuple[Problem, ...]


def offers_seen(folder: Path, shop: Shop, fit: Fit) -> OffersSeen:
    """Every offer with its value and, where the shop's settings allow, up to what price it pays. Nothing is raised for
    what stands in the files: it is among the problems."""
    from kitvalue.intake.books.offers import read_offers
    from kitvalue.intake.books.parts import read_parts

    reading = read_offers(folder / OFFERS, shop)
    files, problems, parts = [reading.counts], list(reading.problems), None
    if (folder / PARTS).exists():
        read = read_parts(folder / PARTS, shop)
        files.append(read.counts)
        problems += read.problems
        parts = read.rows
    try:
        listed = shortlisted(grounds_of(shop, fit, None, parts, None), reading.rows).judged
    except KitvalueError:
        listed = ()  # no [tax] or [selling], or asked prices only: each offer below says what can be said of it
    found = {one.offer.offer: one for one in listed}
    offers = tuple(_offer_seen(offer, fit, found.get(offer.offer)) for offer in reading.rows)
    return OffersSeen(offers, tuple(files), tuple(problems))


def _offer_seen(offer: Offer, fit: Fit, found: JudgedOffer | None) -> OfferSeen:
    from kitvalue.pages.report import OfferSeen

    valuation, reason = None, None
    try:
        valuation = value_kit(fit, kit_offered(offer, fit).kit, float(sold_condition(offer)), 80)
    except KitvalueError as error:
        reason = error.message
    return OfferSeen(
        offer.offer, offer.series, offer.pieces, float(offer.condition), offer.price, offer.freight, valuation, reason,
        found, offer.features, offer.finished, offer.hours,
    )  # fmt: skip
