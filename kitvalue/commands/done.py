"""`done`: finished builds against their plans, and what they teach."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kitvalue.commands.folder import ShopFolder, refuse_file
from kitvalue.commands.writing import DONE
from kitvalue.decisions.original import finished_kit
from kitvalue.decisions.shares import LearnedShares, SoldBuild, learned_shares
from kitvalue.intake.text.problems import Caution, FileError, KitvalueError, Problem, RefusedError
from kitvalue.market.outlook import outlook
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.outcome import JobOutcome, LearnedOperations, Planned, job_outcomes, learned_hours


@dataclass(frozen=True, slots=True, eq=False)
class Finished:
    """The outcome book, worked out."""

    jobs: tuple[JobOutcome, ...]
    hours: LearnedOperations
    shares: LearnedShares
    currency: str
    problems: tuple[Problem, ...]
    cautions: tuple[Caution, ...]


def done(folder: ShopFolder) -> Finished:
    """Read done.csv and hold each job against its plan.

    A job whose plan cannot be costed is left out, and the plan's problems say why. Raises FileError where there is no
    done.csv or it cannot be used as a whole, RefusedError where it holds no build.
    """
    shop = folder.shop
    if not folder.has(DONE):
        missing = f"there is no {DONE} in {folder.path}: it holds the finished builds, a row a job (plan, finished_on)"
        raise FileError(missing)
    reading = folder.finished
    refuse_file(reading.problems)
    if not reading.counts.read:
        raise RefusedError(f"{DONE} has no finished build in it yet: write a row for each job (plan, finished_on)")
    if not reading.rows:
        rows = "the one row" if reading.counts.read == 1 else f"all {reading.counts.read} rows"
        raise RefusedError(f"{rows} of {DONE} cannot be read: kitvalue check lists what to mend", reading.problems)
    plans: dict[str, Planned] = {}
    problems = [*reading.problems]
    for name in dict.fromkeys(build.plan for build in reading.rows):
        try:
            plan = folder.plan(name)
            plans[name] = Planned(plan, cost_sheet(plan, shop, parts=folder.parts_for(plan)))
        except KitvalueError as error:
            problems += error.problems
    jobs = job_outcomes([b for b in reading.rows if b.plan in plans], plans, shop)
    cautions: list[Caution] = []
    sales: list[SoldBuild] = []
    sold = [job for job in jobs if job.build.sold_on is not None and job.build.sold_for is not None]
    if sold:
        try:
            market = folder.market
            kits = [replace(finished_kit(job.planned.plan, market.fit), on=job.build.sold_on) for job in sold]
            sales = [SoldBuild(job, outlook(market.fit, kit)) for job, kit in zip(sold, kits, strict=True)]
            cautions += market.cautions
        except RefusedError as why:
            untold = f"what the kits were sold for cannot be held against the market: {why.message}"
            cautions.append(Caution("no_market", untold))
    shares = learned_shares(sales)
    said = tuple(dict.fromkeys((*cautions, *shares.cautions)))
    return Finished(jobs, learned_hours(jobs, shop), shares, shop.shop.currency, tuple(problems), said)
