"""The original that the customer could buy instead: what it costs at the door, and back from there to a price."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.intake.plan import OriginalTable, Plan
from kitvalue.workshop.faults import plan_problem, refuse
from kitvalue.workshop.money import ZERO, percent


def as_money(price: float) -> Decimal:
    """An estimate as a decimal, by its shortest text: 2600.1 is 2600.1. Not rounded."""
    return Decimal(repr(float(price)))


def repair_of(plan: Plan) -> Decimal:
    """What the original needs to play and look like the finished kit, gross.

    Raises FileError where the plan does not say and the original is in a lower condition than the finished kit.
    """
    repair = plan.original.repair
    if repair is None and plan.original.condition < plan.finished.condition:
        message = (
            f"the original is taken at condition {plan.original.condition} and the finished kit is "
            f"{plan.finished.condition}; add repair = what the original needs to play and look alike, gross"
        )
        refuse([plan_problem(plan.name, "original.repair", "no_repair", message)])
    return repair if repair is not None else ZERO


def on_top(original: OriginalTable) -> Decimal:
    """The factor of duty and import VAT on price and freight."""
    return (1 + percent(original.duty)) * (1 + percent(original.import_vat))


def landed(original: OriginalTable, price: Decimal, repair: Decimal) -> Decimal:
    """An original at the buyer's door, fit to play: (price + freight)(1 + duty)(1 + import VAT) + repair. Exact."""
    return (price + original.freight) * on_top(original) + repair


def price_landing_at(original: OriginalTable, door: Decimal, repair: Decimal) -> Decimal:
    """The price at which an original comes to `door` at the buyer's door: `landed` turned round. Exact."""
    return (door - repair) / on_top(original) - original.freight


def landed_sample(original: OriginalTable, prices: FloatArray, repair: Decimal) -> FloatArray:
    """`landed` for an array of prices of any shape."""
    at_the_door: FloatArray = (np.asarray(prices) + float(original.freight)) * float(on_top(original)) + float(repair)
    return at_the_door
