"""One original that a customer names: where its price stands, what it comes to at the door, which is the better buy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.named import OriginalNamed
from kitvalue.decisions.original import landed, original_kit, share_dearer
from kitvalue.decisions.verdict import Verdict, count_words, original_verdict
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.words import grade_name
from kitvalue.intake.text.problems import Caution
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlook
from kitvalue.workshop.money import ZERO, cents


@dataclass(frozen=True, slots=True)
class Against:
    """The original named, gross money. `door` is what it comes to there and put right, `share_below` the share of
    originals of its size and grade that come to less; `ours_pieces` the size of the build that it is held against."""

    price: Decimal
    pieces: int
    condition: Decimal
    freight: Decimal
    repair: Decimal
    door: Decimal
    share_below: float
    ours_pieces: int
    verdict: Verdict
    cautions: tuple[Caution, ...]


def held_against(plan: Plan, fit: Fit, ours: Mapping[int, Decimal], named: OriginalNamed) -> Against:
    """Hold the build against one original. `ours` is the build at the door by pieces, the plan's own size the last.

    What is not said of it is the plan's original's, its repair by the drums; none where it is as good as the build.
    """
    size = len(plan.drum)
    pieces = named.pieces or size
    condition = plan.original.condition if named.condition is None else named.condition
    repair = (plan.original.repair or ZERO) * pieces / size if condition < plan.finished.condition else ZERO
    repair = repair if named.repair is None else named.repair
    said = []
    if named.repair is None and repair and condition != plan.original.condition:
        planned = grade_name(plan.original.condition)
        said.append(Caution("planned_repair", f"the repair is the plan's, of an original in {planned}: say --repair"))
    freight = plan.original.freight if named.freight is None else named.freight
    his = plan.original.model_copy(update={"condition": condition, "freight": freight})
    look = outlook(fit, original_kit(plan.model_copy(update={"original": his}), pieces))
    door = cents(landed(his, named.price, repair))
    ours_pieces = pieces if pieces in ours else size
    return Against(
        price=named.price,
        pieces=pieces,
        condition=condition,
        freight=freight,
        repair=cents(repair),
        door=door,
        share_below=1 - share_dearer(his, look.sample, repair, door),
        ours_pieces=ours_pieces,
        verdict=original_verdict(ours[ours_pieces], door, f"that original of {count_words(pieces)}"),
        cautions=(*said, *look.cautions),
    )
