"""Parts of a price book."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kitvalue.intake.book import BoolArray, FeatureColumn, IntArray, PriceBook


def subset(book: PriceBook, keep: IntArray | BoolArray) -> PriceBook:
    """Some rows of a book, by index or mask; series codes and names stay as they are."""
    return PriceBook(
        rows=book.rows[keep],
        series=book.series[keep],
        series_names=book.series_names,
        pieces=book.pieces[keep],
        condition=book.condition[keep],
        price=book.price[keep],
        asked=book.asked[keep],
        premium=book.premium[keep],
        price_kind=book.price_kind[keep],
        channel=book.channel[keep],
        date=book.date[keep],
        freight=book.freight[keep],
        weight=book.weight[keep],
        features=tuple(FeatureColumn(f.name, f.kind, f.values[keep], f.words) for f in book.features),
    )


def without_empty_series(book: PriceBook) -> PriceBook:
    """The same rows, with the names of series that none of them has taken out."""
    present = np.unique(book.series)
    return replace(
        book,
        series=np.searchsorted(present, book.series),
        series_names=tuple(book.series_names[i] for i in present),
    )
