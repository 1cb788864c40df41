"""`plan` as text for a terminal: what was understood of a new build, and the job sheets."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.decisions.layout import PlanMade
from kitvalue.intake.settings.jobs import Job
from kitvalue.intake.text.sizes import size_text
from kitvalue.pages.terminal.figures import cents, dash, figure
from kitvalue.pages.terminal.market import answer_page
from kitvalue.pages.terminal.table import bullets, facts, grouped, table, wrapped


def plan_text(made: PlanMade) -> str:
    """The verdict on a new plan, its drums, donors and work, and what was assumed of it."""
    plan = made.plan
    drums = []
    for drum in plan.drum:
        old = "-" if drum.cut_from is None else size_text(drum.cut_from)
        drums.append((drum.name, drum.from_, old, drum.positions, drum.holes, dash(drum.price, cents)))
    donors = [
        (one.id, f"{one.series}, {one.pieces} drums, {cents(one.price)}, freight {cents(one.freight)}")
        for one in plan.donor
    ]
    dress = f"{plan.finished.series}, condition {plan.finished.condition:f}, {plan.finished.share} % of its price"
    costs = [("net cost", made.sheet.total.text()), ("hours", figure(made.sheet.hours))]
    assumed = [f"{', '.join(places)}: {why}" for why, places in grouped((why, at) for at, why in made.assumed.items())]
    return answer_page(
        made.cautions,
        "" if made.verdict is None else wrapped(made.verdict.sentence, ""),
        wrapped(plan.title, ""),
        table("drum< | from< | cut from< | positions | holes | new shell", drums),
        facts([*donors, ("finished", dress), *costs]),
        bullets("Work, in this order", [line.what for line in plan.work]),
        bullets("Parts", [line.what for line in plan.part]),
        bullets("Assumed, and marked so in the plan", assumed),
    )


def jobs_text(jobs: Sequence[Job]) -> str:
    """The job sheets that a plan can name, with what each does."""
    rows = [(job.name, f"{job.title}: {', '.join(line.what.lower() for line in job.work)}") for job in jobs]
    cure = (
        "kitvalue plan NAME --job NAME. A file of that name in jobs/ of the shop goes before the program's; hours and"
    )
    return f"{facts(rows)}\n\n{wrapped(f'{cure} prices of these are from memory.', '')}"
