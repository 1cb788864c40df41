"""Comparables: the nearest sightings, each adjusted term by term to the kit asked about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.market import columns
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import Kit
from kitvalue.market.recipe import encode, like, offsets

SHOWN = 5
GROUPS = ("series", "pieces", "condition", "time", "basis", "channel", "features")
GROUP_OF = {
    "pieces": "pieces", "condition": "condition", "sold": "basis", "dealer": "channel", "auction": "channel",
    "years": "time", "feature": "features", "series": "series",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Adjustment:
    """What one difference is worth: the factor on the price, and the same in percent."""

    name: str
    factor: float
    percent: float


@dataclass(frozen=True, slots=True)
class Comparable:
    """A sighting and its price adjusted to the kit: observed times every factor is adjusted.

    `net_percent` is what all adjustments come to, `gross_percent` the sum of their sizes: the smaller, the nearer.
    `weight` is its weight in the fit; under one half the row is an unusual one.
    """

    row: int
    series: str
    pieces: float
    condition: float
    date: date | None
    observed: float  # with the premium of a hammer price
    adjustments: tuple[Adjustment, ...]
    adjusted: float
    net_percent: float
    gross_percent: float
    weight: float


def comparables(fit: Fit, kit: Kit, most: int = SHOWN) -> tuple[Comparable, ...]:
    """The nearest rows of the sample, same series first, then by the sum of their absolute adjustments.

    The sales-comparison grid of appraisal, with the regression's coefficients as adjustments.
    """
    target = columns.of_kits([kit], fit.recipe.series, fit.recipe.reference_date, like(fit.recipe))
    rows = columns.of_book(fit.book, fit.recipe.reference_date)
    logs = _log_adjustments(fit, rows, target)
    total = np.abs(logs).sum(axis=1)
    same = np.array([fit.book.series_names[s] == kit.series for s in fit.book.series])
    order = np.lexsort((fit.book.rows, total, ~same))[:most]
    return tuple(_comparable(fit, int(i), logs[i]) for i in order)


def _log_adjustments(fit: Fit, rows: columns.Columns, target: columns.Columns) -> FloatArray:
    """(n, groups) log factors from each row to the target, the terms gathered into groups."""
    recipe = fit.recipe
    params = (fit.scaling.back() @ fit.coef[: len(recipe.names)])[1:]
    differences = (encode(target, recipe) - encode(rows, recipe))[:, 1:] * params
    out = np.zeros((len(rows), len(GROUPS)))
    for j, term in enumerate(recipe.terms):
        out[:, GROUPS.index(GROUP_OF[term.source])] += differences[:, j]
    out[:, GROUPS.index("basis")] += offsets(target, recipe)[0] - offsets(rows, recipe)
    if recipe.pooled:
        effects = np.append(np.sqrt(fit.theta) * fit.coef[len(recipe.names) :], 0.0)  # last: unseen
        out[:, GROUPS.index("series")] += effects[target.series[0]] - effects[rows.series]
    return out


def _comparable(fit: Fit, i: int, logs: FloatArray) -> Comparable:
    book = fit.book
    observed = float(book.price[i] * (1 + book.premium[i] / 100))
    day = None if np.isnat(book.date[i]) else book.date[i].astype("datetime64[D]").astype(object)
    adjustments = tuple(
        Adjustment(name, float(np.exp(x)), 100 * float(np.expm1(x))) for name, x in zip(GROUPS, logs, strict=True)
    )
    return Comparable(
        row=int(book.rows[i]),
        series=book.series_names[book.series[i]],
        pieces=float(book.pieces[i]),
        condition=float(book.condition[i]),
        date=day,
        observed=observed,
        adjustments=adjustments,
        adjusted=observed * float(np.exp(logs.sum())),
        net_percent=100 * float(np.expm1(logs.sum())),
        gross_percent=sum(abs(a.percent) for a in adjustments),
        weight=float(fit.weights[i] / book.weight[i]),
    )
