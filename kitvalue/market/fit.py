"""The hedonic regression: log price on what a kit is, how and when it was sold, series pooled, weights robust."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from kitvalue.intake.pricebook import FloatArray, IntArray, PriceBook
from kitvalue.intake.problems import RefusedError
from kitvalue.market import columns
from kitvalue.market.design import Recipe, build_recipe, encode, offsets
from kitvalue.market.estimates import Estimate, fit_cautions, series_effects, term_estimates
from kitvalue.market.fitted import Fit
from kitvalue.market.linear import Scaling, Solution, indicators, reduce, solve, standardise
from kitvalue.market.mixed import reml_theta
from kitvalue.market.subset import subset
from kitvalue.market.unusual import HUBER_K, huber_weights, unusual_rows

MIN_ROWS = 12
NORMAL_MAD = 0.6745
THETA_PASSES = 5
MAX_PASSES = 200
WEIGHT_CHANGE = 1e-8
EXACT_SCATTER = 1e-4  # of the log price: prices rounded to the cent scatter less than this around a formula
FULL_LEVERAGE = 1 - 1e-8
SAMPLE_ROWS = 5000
SAMPLE_SEED = 20260101


@dataclass(frozen=True, slots=True, eq=False)
class Weighted:
    """The end of the reweighting. Arrays are (n,); `huber` are the robust weights alone."""

    solution: Solution
    huber: FloatArray
    residuals: FloatArray
    leverage: FloatArray
    scatter: float
    settled: bool


@dataclass(frozen=True, slots=True, eq=False)
class Setup:
    """A book made ready: F (n, p) standardised fixed columns, Z (n, q) series indicators, y (n,) log prices."""

    book: PriceBook
    recipe: Recipe
    scaling: Scaling
    F: FloatArray
    Z: FloatArray
    y: FloatArray


def fit_book(book: PriceBook, haggle: float | None, *, robust: bool = True, pooled: bool = True) -> Fit:
    """Fit a price book. Raises RefusedError under 12 usable rows or with fewer rows than unknowns."""
    if len(book) < MIN_ROWS:
        short = MIN_ROWS - len(book)
        raise RefusedError(
            f"{len(book)} usable rows; a fit needs {MIN_ROWS}: add {short} more observed kit{'s' if short > 1 else ''}"
        )
    return fit_rows(book, haggle, robust=robust, pooled=pooled)


def fit_rows(book: PriceBook, haggle: float | None, *, robust: bool, pooled: bool) -> Fit:
    """Fit however few rows there are; `fit_book` is the one that asks for enough."""
    recipe = build_recipe(book, haggle, pooled)
    rows = columns.of_book(book, recipe.reference_date)
    F = encode(rows, recipe)
    if len(book) <= F.shape[1]:
        raise RefusedError(f"{len(book)} usable rows for {F.shape[1]} unknowns: add more observed kits")
    scaling = standardise(F)
    q = len(recipe.series) if recipe.pooled else 0
    Z = indicators(book.series, q)
    y = np.log(book.price * (1 + book.premium / 100)) - offsets(rows, recipe)
    standard = scaling.apply(F)
    setup = Setup(book, recipe, scaling, standard, Z, y)
    found = reweight(standard, Z, y, book.weight) if robust else plain(standard, Z, y, book.weight)
    return _finish(setup, found, robust)


def plain(F: FloatArray, Z: FloatArray, y: FloatArray, precision: FloatArray) -> Weighted:
    """Least squares (with series: REML) without robust weights. F (n, p) is standardised, Z (n, q)."""
    triangle = reduce(F, Z, y, precision)
    solution = solve(triangle, reml_theta(triangle))
    e, h = _residuals(F, Z, y, precision, solution)
    return Weighted(solution, np.ones(len(y)), e, h, scatter_of(e, h, precision), True)


def reweight(F: FloatArray, Z: FloatArray, y: FloatArray, precision: FloatArray) -> Weighted:
    """Huber's M-estimate by iterated reweighting, k = 1.345 (Huber 1981, Robust Statistics, ch. 7).

    theta is re-estimated in the first passes and then frozen, so that the rest is a fixed-point iteration; the scale
    allows for leverage, since a plain median absolute deviation flags too many rows of a small book.
    """
    huber = np.ones(len(y))
    theta, settled = 0.0, False
    for step in range(MAX_PASSES):
        weights = precision * huber
        triangle = reduce(F, Z, y, weights)
        if step < THETA_PASSES:
            theta = reml_theta(triangle)
        solution = solve(triangle, theta)
        e, h = _residuals(F, Z, y, weights, solution)
        scatter = scatter_of(e, h, precision)
        fresh = huber_weights(e, precision, scatter) if scatter > EXACT_SCATTER else np.ones(len(y))
        change = float(np.abs(fresh - huber).max())
        settled = step >= THETA_PASSES and change < WEIGHT_CHANGE
        if settled:
            break
        huber = fresh
    return Weighted(solution, huber, e, h, scatter, settled)


def scatter_of(e: FloatArray, h: FloatArray, precision: FloatArray) -> float:
    """s = median(|e| / sqrt(1 - h)) / 0.6745 about 0, of the rows that do not carry themselves."""
    free = h < FULL_LEVERAGE
    if not np.any(free):
        return 0.0
    return float(np.median(np.abs(e[free]) * np.sqrt(precision[free] / (1 - h[free])))) / NORMAL_MAD


def _residuals(
    F: FloatArray, Z: FloatArray, y: FloatArray, weights: FloatArray, solution: Solution
) -> tuple[FloatArray, FloatArray]:
    """(n,) residuals and leverages h_i = w_i c_i' A^-1 c_i."""
    C = np.column_stack([F, np.sqrt(solution.theta) * Z])
    h = weights * ((C @ solution.root) ** 2).sum(axis=1)
    return y - C @ solution.coef, np.minimum(h, 1.0)


def level_sigma2(found: Weighted, precision: FloatArray, trace: float) -> float:
    """Huber's variance of the coefficients' unit: K^2 s^2 sum(psi^2) / df / m^2 (Huber 1981, section 7.6)."""
    n = len(precision)
    t = found.residuals * np.sqrt(precision) / found.scatter
    psi = np.clip(t, -HUBER_K, HUBER_K)
    m = float(np.mean(np.abs(t) <= HUBER_K))
    K = 1 + (trace / n) * (1 - m) / m
    return float(K**2 * found.scatter**2 * (psi @ psi) / (n - trace) / m**2)


def _finish(setup: Setup, found: Weighted, robust: bool) -> Fit:
    book, recipe = setup.book, setup.recipe
    n, p = setup.F.shape
    trace = float(found.leverage.sum())
    if n - trace <= 0:
        raise RefusedError(f"{n} usable rows cannot tell {trace:.0f} unknowns apart: add more observed kits")
    exact = found.scatter <= EXACT_SCATTER
    level, sigma2 = found.solution, found.solution.rss / (n - p)
    if robust and not exact:
        level = solve(reduce(setup.F, setup.Z, setup.y, book.weight), found.solution.theta)
        sigma2 = level_sigma2(found, book.weight, trace)
    estimate = Estimate(recipe, setup.scaling, found.solution, level, sigma2, n - trace)
    terms = term_estimates(estimate)
    keep = _sample(found.leverage)
    return Fit(
        recipe=recipe,
        robust=robust,
        scaling=setup.scaling,
        theta=found.solution.theta,
        sigma2=sigma2,
        tau2=found.solution.theta * sigma2,
        scatter=found.scatter,
        coef=found.solution.coef,
        root=found.solution.root,
        level_root=level.root,
        df=n - trace,
        level_t=tuple(float(t) for t in stdtrit(n - trace, 0.5 + np.arange(1, 100) / 200)),
        book=subset(book, keep),
        weights=(book.weight * found.huber)[keep],
        residuals=found.residuals[keep],
        leverage=found.leverage[keep],
        rows_used=n,
        exact=exact,
        terms=terms,
        series=series_effects(estimate),
        unusual=() if exact else unusual_rows(book, found.residuals, found.leverage, found.scatter, terms),
        accuracy=None,
        cautions=fit_cautions(estimate, found.settled, exact, len(keep), int((found.leverage > FULL_LEVERAGE).sum())),
    )


def _sample(leverage: FloatArray) -> IntArray:
    """The rows of the outlook's sample: all that do not carry themselves, at most 5,000 drawn with a fixed seed."""
    keep = np.flatnonzero(leverage <= FULL_LEVERAGE)
    if len(keep) > SAMPLE_ROWS:
        keep = np.sort(np.random.default_rng(SAMPLE_SEED).choice(keep, SAMPLE_ROWS, replace=False))
    return keep
