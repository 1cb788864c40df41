"""The usable rows of a tall price book as arrays."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.book import FeatureColumn, PriceBook
from kitvalue.intake.books.bookrows import RowAsRead
from kitvalue.intake.books.tall.columns import TallTexts, dates_of, first_rows
from kitvalue.intake.books.tall.fields import Places
from kitvalue.intake.books.tall.rows import Source
from kitvalue.intake.books.tall.seen import Seen
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS
from kitvalue.intake.text.words import fold

Floats = NDArray[np.float64]


def tall_book(source: Source, seen: Seen, careful: Mapping[int, RowAsRead], kept: Places) -> PriceBook:
    """The book of the `kept` rows. `careful`: rows that were read one by one, by their index.

    `seen` is used up: at its largest a run holds each column but once.
    """
    _take_over(seen, careful)
    texts, numbers = seen.texts, seen.numbers
    series, names = _named(texts.pop("series"), kept)
    kind = seen.kinds()[kept]
    del texts["price_kind"]
    numbers.pop("sold_for", None)
    asked = _asked(seen, careful)[kept]
    premium = np.nan_to_num(numbers.pop("premium").values[kept])
    weight = numbers.pop("weight").values[kept]
    return PriceBook(
        rows=source.fields.rows[kept],
        series=series,
        series_names=names,
        pieces=texts.pop("pieces").by_row(_number, np.nan)[kept],
        condition=texts.pop("condition").by_row(_number, np.nan)[kept],
        price=numbers.pop("price").values[kept],
        asked=asked,
        premium=np.where(kind == PRICE_KINDS.index("hammer"), premium, 0.0),
        price_kind=kind,
        channel=texts.pop("channel").by_row(lambda word: CHANNELS.index(str(word)), 0)[kept].astype(np.int64),
        date=dates_of(texts.pop("date"))[kept],
        freight=numbers.pop("freight").values[kept],
        weight=np.where(np.isnan(weight), 1.0, weight),
        features=tuple(_features(source, seen, kept)),
    )


def _number(value: object) -> float:
    return float(value) if isinstance(value, Decimal | int) else np.nan


def _take_over(seen: Seen, careful: Mapping[int, RowAsRead]) -> None:
    """The numbers of rows that were read one by one, in the shop's currency."""
    for index, row in careful.items():
        amounts = {"premium": row.premium, "weight": row.weight, "price": row.price * row.rate}
        amounts["freight"] = None if row.freight is None else row.freight * row.rate
        amounts |= {one.name: one.value for one in row.features if isinstance(one.value, Decimal)}
        for name, amount in amounts.items():
            if name in seen.numbers:
                seen.numbers[name].values[index] = np.nan if amount is None else float(amount)


def _asked(seen: Seen, careful: Mapping[int, RowAsRead]) -> Floats:
    """What was asked, by row, in the shop's currency."""
    found = np.array(seen.asked)
    for index, row in careful.items():
        found[index] = np.nan if row.asked is None else float(row.asked * row.rate)
    return found


def _named(column: TallTexts, kept: Places) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """Codes of the kept rows' words, in order of first appearance, each under the spelling that appears first."""
    codes = column.groups.codes[kept]
    first = first_rows(codes, len(column.values))
    names: dict[str, str] = {}
    for at in sorted((at for at in range(len(first)) if first[at] >= 0), key=lambda at: first[at]):
        value = column.values[at]
        if isinstance(value, str):
            names.setdefault(fold(value), value)
    places = {key: n for n, key in enumerate(names)}
    table = np.array([places.get(fold(v), -1) if isinstance(v, str) else -1 for v in column.values], dtype=np.int64)
    found: NDArray[np.int64] = table[codes]
    return found, tuple(names.values())


def _features(source: Source, seen: Seen, kept: Places) -> list[FeatureColumn]:
    found = []
    for name, kind in source.shop.prices.features.items():
        if name not in source.header.places or not len(kept):
            continue
        if kind == "number":
            found.append(FeatureColumn(name, kind, seen.numbers.pop(name).values[kept]))
        elif kind == "yes-no":
            found.append(
                FeatureColumn(name, kind, seen.texts[name].by_row(lambda value: float(value is True), np.nan)[kept])
            )
        else:
            codes, words = _named(seen.texts[name], kept)
            found.append(FeatureColumn(name, kind, np.where(codes < 0, np.nan, codes.astype(np.float64)), words))
    return found
