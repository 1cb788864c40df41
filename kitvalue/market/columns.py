"""Kits as columns: the price book's rows and the kits asked about, in one shape for the encoder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.intake.book import FloatArray, IntArray, PriceBook
from kitvalue.intake.problems import RefusedError, shown
from kitvalue.intake.vocabulary import CHANNELS
from kitvalue.market.kit import Kit

DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True, eq=False)
class FeatureValues:
    """One feature of n kits, NaN where blank; for words the index into `words`."""

    name: str
    kind: str
    values: FloatArray
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """What the model sees of n kits; every array is (n,). `series` is -1 for a series that the book does not have."""

    series: IntArray
    pieces: FloatArray
    condition: FloatArray
    sold: FloatArray  # 1 sold or hammer, 0 asked
    dealer: FloatArray
    auction: FloatArray
    years: FloatArray  # since the reference date, so mostly negative; NaN where the date is unknown
    features: tuple[FeatureValues, ...]
    reference: date | None  # the day from which years count

    def __len__(self) -> int:
        return len(self.pieces)


def newest_date(book: PriceBook) -> date | None:
    """The newest date of the book, or None where no row has one."""
    newest = np.fmax.reduce(book.date, initial=np.datetime64("NaT"))
    return None if np.isnat(newest) else newest.astype("datetime64[D]").astype(object)


def of_book(book: PriceBook, reference: date | None) -> Columns:
    """The rows of a price book; `reference` is the day from which years count."""
    years = np.full(len(book), np.nan)
    if reference is not None:
        days = (book.date - np.datetime64(reference, "D")).astype("timedelta64[D]")
        np.divide(days, np.timedelta64(1, "D"), out=years)
        years /= DAYS_A_YEAR
    return Columns(
        series=book.series,
        pieces=book.pieces,
        condition=book.condition,
        sold=(book.price_kind != 0).astype(np.float64),
        dealer=(book.channel == CHANNELS.index("dealer")).astype(np.float64),
        auction=(book.channel == CHANNELS.index("auction")).astype(np.float64),
        years=years,
        features=tuple(FeatureValues(f.name, f.kind, f.values, f.words) for f in book.features),
        reference=reference,
    )


def of_kits(
    kits: Sequence[Kit], series: tuple[str, ...], reference: date | None, like: tuple[FeatureValues, ...]
) -> Columns:
    """The kits asked about, coded with the book's series and the features' words (`like`).

    Raises RefusedError for a feature or a word that the book does not have.
    """
    place = {name: i for i, name in enumerate(series)}
    for kit in kits:
        _known_features(kit, like)
    features = tuple(
        FeatureValues(f.name, f.kind, np.array([_feature(kit, f) for kit in kits], dtype=np.float64), f.words)
        for f in like
    )
    return Columns(
        series=np.array([place.get(k.series, -1) for k in kits], dtype=np.int64),
        pieces=np.array([k.pieces for k in kits], dtype=np.float64),
        condition=np.array([k.condition for k in kits], dtype=np.float64),
        sold=np.array([k.price_kind == "sold" for k in kits], dtype=np.float64),
        dealer=np.array([k.channel == "dealer" for k in kits], dtype=np.float64),
        auction=np.array([k.channel == "auction" for k in kits], dtype=np.float64),
        years=np.array([_years(k.on, reference) for k in kits], dtype=np.float64),
        features=features,
        reference=reference,
    )


def _years(on: date | None, reference: date | None) -> float:
    return 0.0 if on is None or reference is None else (on - reference).days / DAYS_A_YEAR


def _known_features(kit: Kit, like: tuple[FeatureValues, ...]) -> None:
    names = [f.name for f in like]
    for given in kit.features:
        if given.name not in names:
            known = ", ".join(names) or "none"
            raise RefusedError(f"the book has no feature {shown(given.name)}; its features: {known}")


def _feature(kit: Kit, like: FeatureValues) -> float:
    given = next((f.value for f in kit.features if f.name == like.name), None)
    if given is None:
        return float("nan")
    if like.kind != "word":
        return float(given)
    if given not in like.words:
        known = ", ".join(like.words)
        raise RefusedError(f"no row has {like.name} = {shown(str(given))}; the book has {known}")
    return float(like.words.index(str(given)))
