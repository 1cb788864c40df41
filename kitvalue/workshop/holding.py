"""What keeping a kit until it is sold costs."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.intake.shop import SellingTable
from kitvalue.workshop.faults import refuse, shop_problem
from kitvalue.workshop.money import ZERO


def holding_cost(selling: SellingTable) -> Decimal:
    """What keeping one kit until it is sold costs, net: months times the cost of a month; 0 where neither is set.

    Raises FileError where only the cost of a month is set.
    """
    if selling.holding is None:
        return ZERO
    if selling.months_to_sell is None:
        message = "holding is set and months_to_sell is not: add the months from buying a kit to selling it"
        refuse([shop_problem("selling.months_to_sell", "no_months", message)])
        return ZERO
    return selling.holding * selling.months_to_sell
