"""A fit as JSON: written by `fit`, read by the commands that only need its figures. Never pickle.

What is read is checked as strictly as a stranger's file: a file that was edited, cut short or written by another
version is no fit, and the caller fits again. Its last key is a digest of all before it, which a changed figure does
not match; it guards against accidents, not against someone who makes the digest anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sized
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from kitvalue.intake.book import FeatureColumn, FloatArray, PriceBook
from kitvalue.intake.counts import FileCounts
from kitvalue.market.design import Recipe
from kitvalue.market.fitted import Accuracy, Fit, SeriesEffect, TermEstimate, UnusualRow
from kitvalue.market.linear import Scaling

FORMAT: Literal[3] = 3
SEAL = ',\n "digest": "{}"\n}}\n'

Positive = Annotated[float, Field(gt=0)]
Share = Annotated[float, Field(ge=0, lt=1)]


class Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class SavedFeature(Record):
    name: str
    kind: Literal["number", "yes-no", "word"]
    values: list[float | None]
    words: tuple[str, ...]


class SavedBook(Record):
    rows: list[int]
    series: list[Annotated[int, Field(ge=0)]]
    series_names: tuple[str, ...]
    pieces: list[Positive]
    condition: list[Positive]
    price: list[Positive]
    premium: list[Annotated[float, Field(ge=0)]]
    price_kind: list[Annotated[int, Field(ge=0, le=2)]]
    channel: list[Annotated[int, Field(ge=0, le=2)]]
    date: list[date | None]
    freight: list[float | None]
    weight: list[Positive]
    features: tuple[SavedFeature, ...]

    @model_validator(mode="after")
    def _same_length(self) -> Self:
        columns: list[Sized] = [
            self.series, self.pieces, self.condition, self.price, self.premium, self.price_kind, self.channel,
            self.date, self.freight, self.weight, *(f.values for f in self.features),
        ]  # fmt: skip
        if any(len(c) != len(self.rows) for c in columns):
            raise ValueError("columns of different lengths")
        if any(code >= len(self.series_names) for code in self.series):
            raise ValueError("a series without a name")
        return self


class SavedFit(Record):
    """The file. `fingerprint` names the inputs that the fit was made from, `counts` how they were read."""

    format: Literal[3]
    fingerprint: str
    counts: FileCounts
    recipe: Recipe
    robust: bool
    center: list[float]
    scale: list[Positive]
    theta: Annotated[float, Field(ge=0)]
    sigma2: Annotated[float, Field(ge=0)]
    tau2: Annotated[float, Field(ge=0)]
    scatter: Annotated[float, Field(ge=0)]
    coef: list[float]
    root: list[list[float]]
    level_root: list[list[float]]
    df: Positive
    level_t: Annotated[tuple[Positive, ...], Field(min_length=99, max_length=99)]
    book: SavedBook
    weights: list[Positive]
    residuals: list[float]
    leverage: list[Share]
    rows_used: int
    exact: bool
    terms: tuple[TermEstimate, ...]
    series: tuple[SeriesEffect, ...]
    unusual: tuple[UnusualRow, ...]
    accuracy: Accuracy | None
    cautions: tuple[str, ...]

    @model_validator(mode="after")
    def _shapes(self) -> Self:
        k, p, n = len(self.coef), len(self.center), len(self.book.rows)
        series = len(self.recipe.series) if self.recipe.pooled else 0
        square = all(len(m) == k and all(len(row) == k for row in m) for m in (self.root, self.level_root))
        lengths = {len(self.weights), len(self.residuals), len(self.leverage)}
        if not square or p != len(self.scale) or p != len(self.recipe.names) or k != p + series or lengths != {n}:
            raise ValueError("arrays of the wrong shape")
        if self.recipe.series != self.book.series_names or len(self.recipe.rows_by_series) != len(self.recipe.series):
            raise ValueError("series of recipe and rows differ")
        return self


@dataclass(frozen=True, slots=True, eq=False)
class KeptFit:
    """A fit and how the rows behind it were read."""

    fit: Fit
    counts: FileCounts


def dump_fit(fit: Fit, counts: FileCounts, fingerprint: str) -> str:
    """The fit as JSON text."""
    saved = SavedFit(
        format=FORMAT,
        fingerprint=fingerprint,
        counts=counts,
        recipe=fit.recipe,
        robust=fit.robust,
        center=fit.scaling.center.tolist(),
        scale=fit.scaling.scale.tolist(),
        theta=fit.theta,
        sigma2=fit.sigma2,
        tau2=fit.tau2,
        scatter=fit.scatter,
        coef=fit.coef.tolist(),
        root=fit.root.tolist(),
        level_root=fit.level_root.tolist(),
        df=fit.df,
        level_t=fit.level_t,
        book=_save_book(fit.book),
        weights=fit.weights.tolist(),
        residuals=fit.residuals.tolist(),
        leverage=fit.leverage.tolist(),
        rows_used=fit.rows_used,
        exact=fit.exact,
        terms=fit.terms,
        series=fit.series,
        unusual=fit.unusual,
        accuracy=fit.accuracy,
        cautions=fit.cautions,
    )
    return sealed(saved.model_dump_json(indent=1))


def sealed(text: str) -> str:
    """A JSON object's text with the digest of what stands before it as the last key."""
    body = text.rstrip().removesuffix("}").rstrip()
    return body + SEAL.format(hashlib.sha256(body.encode()).hexdigest())


def load_fit(text: str, fingerprint: str) -> KeptFit | None:
    """The fit in a file's text, or None where it is of other inputs, another version or damaged."""
    body = text[: -len(SEAL.format("0" * 64))]
    if sealed(body) != text:
        return None
    try:
        saved = SavedFit.model_validate_json(body + "}")
    except ValidationError:
        return None
    if saved.fingerprint != fingerprint:
        return None
    return KeptFit(_fit(saved), saved.counts)


def _fit(saved: SavedFit) -> Fit:
    return Fit(
        recipe=saved.recipe,
        robust=saved.robust,
        scaling=Scaling(np.array(saved.center), np.array(saved.scale)),
        theta=saved.theta,
        sigma2=saved.sigma2,
        tau2=saved.tau2,
        scatter=saved.scatter,
        coef=np.array(saved.coef),
        root=np.array(saved.root),
        level_root=np.array(saved.level_root),
        df=saved.df,
        level_t=saved.level_t,
        book=_load_book(saved.book),
        weights=np.array(saved.weights),
        residuals=np.array(saved.residuals),
        leverage=np.array(saved.leverage),
        rows_used=saved.rows_used,
        exact=saved.exact,
        terms=saved.terms,
        series=saved.series,
        unusual=saved.unusual,
        accuracy=saved.accuracy,
        cautions=saved.cautions,
    )


def _save_book(book: PriceBook) -> SavedBook:
    return SavedBook(
        rows=book.rows.tolist(),
        series=book.series.tolist(),
        series_names=book.series_names,
        pieces=book.pieces.tolist(),
        condition=book.condition.tolist(),
        price=book.price.tolist(),
        premium=book.premium.tolist(),
        price_kind=book.price_kind.tolist(),
        channel=book.channel.tolist(),
        date=book.date.astype("datetime64[D]").tolist(),
        freight=_blanks(book.freight),
        weight=book.weight.tolist(),
        features=tuple(
            SavedFeature.model_validate({"name": f.name, "kind": f.kind, "values": _blanks(f.values), "words": f.words})
            for f in book.features
        ),
    )


def _load_book(saved: SavedBook) -> PriceBook:
    return PriceBook(
        rows=np.array(saved.rows, dtype=np.int64),
        series=np.array(saved.series, dtype=np.int64),
        series_names=saved.series_names,
        pieces=np.array(saved.pieces, dtype=np.float64),
        condition=np.array(saved.condition, dtype=np.float64),
        price=np.array(saved.price, dtype=np.float64),
        premium=np.array(saved.premium, dtype=np.float64),
        price_kind=np.array(saved.price_kind, dtype=np.int64),
        channel=np.array(saved.channel, dtype=np.int64),
        date=np.array(saved.date, dtype="datetime64[D]"),
        freight=np.array(saved.freight, dtype=np.float64),
        weight=np.array(saved.weight, dtype=np.float64),
        features=tuple(
            FeatureColumn(f.name, f.kind, np.array(f.values, dtype=np.float64), f.words) for f in saved.features
        ),
    )


def _blanks(values: FloatArray) -> list[float | None]:
    return [None if np.isnan(v) else float(v) for v in values]
