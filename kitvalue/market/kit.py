"""One kit that the market is asked about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

PriceKind = Literal["asked", "sold"]
Channel = Literal["private", "dealer", "auction"]


@dataclass(frozen=True, slots=True)
class FeatureValue:
    """What is known of one declared feature: the number, yes or no, or the word."""

    name: str
    value: float | bool | str


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit on a day, in a market: what one row of the price book would say of it, but for the price.

    `on` None means the newest date of the book. Features that are not given count at the book's average.
    """

    series: str
    pieces: float
    condition: float
    price_kind: PriceKind = "sold"
    channel: Channel = "private"
    on: date | None = None
    features: tuple[FeatureValue, ...] = ()
