"""The build and the original side by side, point by point, in words for the owner and the customer."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kitvalue.intake.plan import Plan
from kitvalue.intake.vocabulary import GRADES
from kitvalue.workshop.money import PartlyKnown, money_text

# What a buyer may claim where consumer law follows the union's directives; the shop's own country may give more.
SHOP_GUARANTEE = "the shop's legal guarantee (used goods: at least one year where a term under two was agreed)"
SHOP_RETURN = "14 days to withdraw from a purchase online, unless made to the buyer's own specification"
GUARANTEE = {
    "private": "none from a private seller",
    "dealer": "the dealer's legal guarantee",
    "auction": "as a rule none; see the auction's terms",
}
RETURN = {
    "private": "none from a private seller",
    "dealer": "14 days where bought online from a dealer",
    "auction": "as a rule none; see the auction's terms",
}


@dataclass(frozen=True, slots=True)
class Point:
    """One point of comparison."""

    what: str
    build: str
    original: str


def like_for_like(
    plan: Plan, currency: str, build_door: PartlyKnown, original_door: Decimal, repair: Decimal
) -> tuple[Point, ...]:
    """Pieces, condition, what is still needed, guarantee, return right and the total at the door (gross money)."""
    size = f"{len(plan.drum)} drums"
    needs = f"{money_text(repair)} {currency} of work to play and look alike" if repair > 0 else "nothing"
    channel = plan.original.channel
    return (
        Point("Kit", plan.title, f"{plan.original.series}, as found ({channel})"),
        Point("Pieces", size, size),
        Point("Condition", _grade(plan.finished.condition), _grade(plan.original.condition)),
        Point("Still needs", "nothing", needs),
        Point("Guarantee", SHOP_GUARANTEE, GUARANTEE[channel]),
        Point("Return right", SHOP_RETURN, RETURN[channel]),
        Point("Total at the door", f"{build_door.text()} {currency}", f"{money_text(original_door)} {currency}"),
    )


def _grade(grade: Decimal) -> str:
    words = [word for word, value in GRADES.items() if value == grade]
    return f"{grade.normalize():f} of 5" + (f" ({words[0]})" if words else "")
