"""What a fit leaves behind: enough to value any kit later without the price book."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kitvalue.intake.book import FloatArray, PriceBook
from kitvalue.market import columns
from kitvalue.market.recipe import Recipe, encode
from kitvalue.market.scaling import Scaling, indicators


@dataclass(frozen=True, slots=True)
class TermEstimate:
    """One coefficient of the log price with its 95 % range. The percents say the same of the price: one unit
    more, twice the pieces for log_pieces, None for the intercept."""

    name: str
    coefficient: float
    se: float
    low: float
    high: float
    percent: float | None
    percent_low: float | None
    percent_high: float | None


@dataclass(frozen=True, slots=True)
class SeriesEffect:
    """How far a series lies from the average one (pooled) or from the first (indicators), everything else equal."""

    name: str
    rows: int
    effect: float
    percent: float


@dataclass(frozen=True, slots=True)
class UnusualRow:
    """A row far from what the others say of it. `expected` is its left-out price, `studentised` how far off that is in
    its own standard deviations; `moves_percent` is what the row does to the price expected of a kit like it; `hint`
    names a likely slip."""

    row: int
    series: str
    weight: float
    observed: float
    expected: float
    studentised: float
    leverage: float
    moves_percent: float
    hint: str


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How well the fit foretells prices that it has not seen; the names are those of ratio studies. A figure that
    cannot be had is None, with its reason in `reasons`."""

    median_ape: float  # percent, left-out
    median_ratio: float
    cod: float  # coefficient of dispersion, percent of the median ratio
    prd: float | None  # price-related differential
    prd_expected: float | None  # exp(sigma2): what a perfect model would show
    prb: float | None  # price-related bias
    coverage_80: float | None  # share of held-out prices inside their 80 % range, percent
    forward_median_ape: float | None  # percent, each quarter foretold from the ones before
    forward_rows: int
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted market. n rows are kept as the outlook's sample; k = p fixed columns + q series.

    Coefficients are those of the standardised columns; the series part is divided by sqrt(theta).
    """

    recipe: Recipe
    robust: bool
    scaling: Scaling
    theta: float
    sigma2: float
    tau2: float
    scatter: float  # s, the robust scale of the residuals
    coef: FloatArray  # (k,)
    root: FloatArray  # (k, k): root @ root.T = A^-1
    level_root: FloatArray  # (k, k): the same for A without the robust weights
    df: float  # n - tr H
    level_t: tuple[float, ...]  # Student t quantiles of the two-sided 1, 2, ... 99 % ranges at df
    book: PriceBook  # (n,) the sample's rows
    weights: FloatArray  # (n,) precision times robust weight
    residuals: FloatArray  # (n,) of the log price
    leverage: FloatArray  # (n,) h_i
    rows_used: int
    exact: bool  # the prices follow a formula: there is no scatter to form a range from
    terms: tuple[TermEstimate, ...]
    series: tuple[SeriesEffect, ...]
    unusual: tuple[UnusualRow, ...]
    accuracy: Accuracy | None
    cautions: tuple[str, ...]

    def columns_of(self, rows: columns.Columns) -> FloatArray:
        """(m, k) standardised fixed columns and scaled series indicators of any kits."""
        fixed = self.scaling.apply(encode(rows, self.recipe))
        if not self.recipe.pooled:
            return fixed
        Z = indicators(rows.series, len(self.recipe.series))
        return np.column_stack([fixed, np.sqrt(self.theta) * Z])

    def with_accuracy(self, accuracy: Accuracy) -> Fit:
        """The same fit, assessed."""
        return replace(self, accuracy=accuracy)

    @property
    def left_out_residuals(self) -> FloatArray:
        """(n,) log price less what the other rows say, weights and theta held fixed: e / (1 - h)."""
        return self.residuals / (1.0 - self.leverage)
