"""What stands beside prices and comparisons: the texts."""

from __future__ import annotations

from kitvalue.intake.plan import Plan
from kitvalue.market.value import ESTIMATES

NOT_A_REBUILD = (
    "The price of originals does not predict what a rebuild fetches: the share of {share} % is the plan's own guess "
    "until the shop's own sales of rebuilds are in the price book."
)
PRICED_TO_TIE = "The price is bound by what an original costs at the door: priced to tie, so customers are split."


def market_cautions(plan: Plan) -> tuple[str, ...]:
    """Cautions of every answer that leans on the market."""
    if _held_against_originals(plan):
        return (ESTIMATES, NOT_A_REBUILD.format(share=plan.finished.share))
    return (ESTIMATES,)


def _held_against_originals(plan: Plan) -> bool:
    """Whether the finished kit is a rebuild valued by prices of something else.

    It is not where it takes the full price of a series of its own, or of the series that all its donors are.
    """
    if plan.finished.share != 100:
        return True
    if plan.finished.series != plan.original.series:
        return False
    return any(donor.series != plan.finished.series for donor in plan.donor)
