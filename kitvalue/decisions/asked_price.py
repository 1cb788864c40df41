"""What somebody asks for one kit: against its value, and against the most that it may cost."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.shortlist import OfferFound, ReckonedWith


@dataclass(frozen=True, slots=True)
class Asking:
    """A price asked, and what is done to the kit before it is sold: bench hours on top of `prepare`, and what is bought
    for it, net of the VAT that is deducted; None where nothing is said."""

    price: Decimal
    hours: Decimal | None = None
    parts: Decimal | None = None


@dataclass(frozen=True, slots=True, eq=False)
class AskedFor:
    """A price asked, judged: the kit sold on as it is, and where another grade was asked about in that one, too.

    `judged` is empty beside a `reason`; then the value alone says something. `loss_percent` is the shop's limit on the
    chance of a loss.
    """

    asking: Asking
    against_percent: float  # of the typical buy-in value
    judged: tuple[OfferFound, ...]
    loss_percent: float
    reckoned: ReckonedWith | None
    reason: str | None
