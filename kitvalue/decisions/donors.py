"""Up to what price another kit may take the place of a plan's donor."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from kitvalue.decisions.ceiling import REBUILD, donor_needs, own_route, rebuild_bases
from kitvalue.decisions.offered import grounds_of
from kitvalue.decisions.plans import finished_kit
from kitvalue.decisions.shortlist import UseBatch, judged_uses
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.sizes import size_text
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import kit_samples
from kitvalue.workshop.money import percent


@dataclass(frozen=True, slots=True)
class DonorCeiling:
    """What may be paid in a donor's place; None where even a gift would not leave the margin, or for the `reason`."""

    donor: str
    sizes: tuple[str, ...]  # of the drums that the plan takes from it
    freight: Decimal | None  # counted on top; None: comes off
    ceiling: float | None  # leaves the margin on average
    safe_ceiling: float | None  # and loses no more often than [buying] allows
    reason: str | None


def donor_ceilings(plan: Plan, shop: Shop, fit: Fit) -> tuple[DonorCeiling, ...]:
    """For each donor of the plan, by the plan's own VAT route, bought and sent as the plan's donor is."""
    grounds = grounds_of(shop, fit, plan, None, None)
    sold = kit_samples(fit, [finished_kit(plan, len(plan.drum), fit)])
    share, route = float(percent(plan.finished.share)), own_route(shop, plan, REBUILD)
    one, ceilings = np.zeros(1, dtype=np.int64), []
    for need in donor_needs(plan):
        donor = plan.donor[need.at]
        bases = rebuild_bases(plan, shop, need.at, donor.pieces, donor.bought_from)
        base = next(base for base in bases if base.route == route)
        batch = UseBatch(
            base, one, share * sold.sample, share * sold.clipped, one,
            np.array([grounds.holding + float(donor.freight or 0)]), float(grounds.terms.freight),
        )  # fmt: skip
        use = judged_uses(batch, np.zeros(1), grounds.terms, grounds.loss_chance)[0]
        sizes = tuple(size_text(drum.size, shop.shop.size_order) for drum in plan.drum if drum.from_ == donor.id)
        ceilings.append(DonorCeiling(donor.id, sizes, donor.freight, use.ceiling, use.safe_ceiling, use.reason))
    return tuple(ceilings)
