"""The price book as records: columns of checked values. What the market works on; reading them is pricebook.py's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
DateArray = NDArray[np.datetime64]  # whole days, NaT where the date is unknown


@dataclass(frozen=True, slots=True, eq=False)
class FeatureColumn:
    """One declared feature. `values` (n,): the number, 1/0 for yes/no, the index into `words`; NaN where blank."""

    name: str
    kind: str  # number | yes-no | word
    values: FloatArray
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class PriceBook:
    """The usable rows of prices.csv in file order, relistings reduced to their latest row. Every array is (n,).

    `price` is the price as seen in the shop's currency, `premium` the auction's percent on a hammer price (0 for all
    other rows); what a buyer paid is price * (1 + premium / 100).
    """

    rows: IntArray  # the spreadsheet's row numbers
    series: IntArray  # index into series_names
    series_names: tuple[str, ...]
    pieces: FloatArray
    condition: FloatArray  # bench grade, 1 to 5, halves allowed
    price: FloatArray
    asked: FloatArray  # what was asked for a kit whose price is what was then paid; NaN where nothing says
    premium: FloatArray
    price_kind: IntArray  # index into PRICE_KINDS
    channel: IntArray  # index into CHANNELS
    date: DateArray
    freight: FloatArray  # NaN where unknown
    weight: FloatArray  # precision weight, 1 where the file has none
    features: tuple[FeatureColumn, ...]

    def __len__(self) -> int:
        return len(self.rows)
