"""`shortlist`: the offers ranked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.offered import Tell, grounds_of, shortlisted
from kitvalue.decisions.together import bought_together
from kitvalue.intake.text.problems import Caution, Problem

if TYPE_CHECKING:
    from kitvalue.decisions.shortlist import Shortlist


@dataclass(frozen=True, slots=True, eq=False)
class ShortlistDone:
    """The offers ranked."""

    shortlist: Shortlist
    written: Path | None  # the table as CSV, where it was asked for
    problems: tuple[Problem, ...]


def shortlist(
    folder: ShopFolder, plan_name: str | None, on: date | None, *, csv: bool = False, tell: Tell | None = None
) -> ShortlistDone:
    """Judge every offer of offers.csv, for the rebuild of a plan too where one is named; `csv` writes the table."""
    from kitvalue.decisions.original import above_original
    from kitvalue.decisions.shortlist import Shortlist, reckoned_with
    from kitvalue.market.outlook import ESTIMATES, no_dealer
    from kitvalue.workshop.costing import VAT

    shop = folder.shop
    plan = None if plan_name is None else folder.plan(plan_name)
    offers = folder.offers_to_judge()
    market = folder.market
    grounds = grounds_of(shop, market.fit, plan, None if folder.parts is None else folder.parts.rows, on)
    listed = shortlisted(grounds, offers.rows, tell)
    cautions = [*market.cautions, ESTIMATES, VAT]
    if not market.fit.recipe.has("dealer"):
        cautions.append(no_dealer(market.fit))
    if plan is not None and plan.surplus:
        surplus = f"what {plan.name} sells off of a donor is counted for every offer in its place"
        cautions.append(Caution("surplus", surplus))
    if plan is not None:
        cautions += above_original(plan, market.fit, grounds.terms.freight)
    plans, left_out = ((plan,), ()) if plan is not None else folder.plans_that_read()
    together = bought_together(grounds, listed, plans)
    cautions += [*left_out, *together.cautions]
    done = Shortlist(
        currency=shop.shop.currency,
        plan=None if plan is None else plan.name,
        on=on,
        as_of=on or market.fit.recipe.reference_date,
        offers=listed.judged,
        portfolio=together.portfolio,
        holding=grounds.holding,
        reckoned_with=reckoned_with(shop),
        cautions=tuple(dict.fromkeys(cautions)),
        unread=offers.counts.refused,
    )
    written = None
    if csv:
        from kitvalue.pages.files import shortlist_csv

        folder.ready()
        written = folder.put("shortlist.csv", shortlist_csv(done))
    parts = () if folder.parts is None else folder.parts.problems
    return ShortlistDone(done, written, (*market.problems, *offers.problems, *parts))
