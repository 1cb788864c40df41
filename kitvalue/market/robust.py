"""Robust weights: Huber's first, then hardly any for rows that are gross."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.books.book import BoolArray, FloatArray, IntArray
from kitvalue.market.fitted import GROSS
from kitvalue.market.linear import Equations, Reducer, Residuals, Solution, reml_theta, residuals, solve

NORMAL_MAD = 0.6745
THETA_PASSES = 5
MAX_PASSES = 200
WEIGHT_CHANGE = 1e-8
GROSS_PASSES = 5
HUBER_K = 1.345
GROSS_WEIGHT = 1e-6  # not 0, so that the row keeps its residual and its place in the list of unusual rows
CARRYING = 1e-3  # leverage that no row of gross weight has unless a term rests on such rows alone
EXACT_SCATTER = 1e-4  # of the log price: prices rounded to the cent scatter less than this around a formula
FULL_LEVERAGE = 1 - 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class Weighted:
    """The end of the reweighting. `huber` (n,) are the robust weights alone."""

    solution: Solution
    huber: FloatArray
    left: Residuals
    scatter: float
    settled: bool


def reweight(equations: Equations, precision: FloatArray, reduced: Reducer, start: Weighted | None = None) -> Weighted:
    """Huber's M-estimate by iterated reweighting, k = 1.345 (Huber 1981, Robust Statistics, ch. 7), less gross rows.

    Huber's weights leave a slip of a factor of 10 or 100 some pull on its own series. So rows over 8 scales off are
    then given nearly no weight and the others fitted anew from where they stand, until no further row is that far off:
    a redescending second step from a monotone first one (Maronna, Martin and Yohai 2006, Robust Statistics, ch. 5).
    `start` hands on the thetas, which are then held, and the weights to begin from.
    """
    gross = carriers = np.zeros(len(precision), dtype=np.bool_)
    held = None if start is None else start.solution.thetas
    end = _settle(equations, precision, reduced, np.ones(len(precision)) if start is None else start.huber, gross, held)
    for _ in range(GROSS_PASSES):
        if end.scatter <= EXACT_SCATTER:
            break
        far = gross_rows(end.left.residuals, end.left.leverage, precision, end.scatter, equations.codes)
        fresh = (gross | far) & ~carriers
        if np.array_equal(fresh, gross):
            break
        gross, end = fresh, _settle(equations, precision, reduced, end.huber, fresh, held)
        carrying = gross & (end.left.leverage > CARRYING)
        if carrying.any():  # without them nothing would be known of some term
            carriers, gross = carriers | carrying, gross & ~carrying
            end = _settle(equations, precision, reduced, np.where(carrying, 1.0, end.huber), gross, held)
    return end


def _settle(
    equations: Equations,
    precision: FloatArray,
    reduced: Reducer,
    huber: FloatArray,
    gross: BoolArray,
    held: tuple[float, ...] | None,
) -> Weighted:
    """Reweight from the weights `huber` (n,) until they stand still, rows in `gross` (n,) with nearly none.

    theta is re-estimated in the first passes and then frozen, so that the rest is a fixed-point iteration, or `held`
    from the start; the scale allows for leverage, since a plain median absolute deviation flags too many rows of a
    small book.
    """
    huber = np.where(gross, GROSS_WEIGHT, huber)
    thetas, settled = held or (0.0,), False
    for step in range(MAX_PASSES):
        weights = precision * huber
        triangle = reduced(weights)
        if held is None and step < THETA_PASSES:
            thetas = (reml_theta(triangle),)
        solution = solve(triangle, thetas)
        left = residuals(equations, weights, solution)
        scatter = scatter_of(left, precision)
        exact = scatter <= EXACT_SCATTER
        fresh = np.ones(len(huber)) if exact else huber_weights(left.residuals, precision, scatter)
        fresh[gross] = GROSS_WEIGHT
        change = float(np.abs(fresh - huber).max())
        settled = (step >= THETA_PASSES or held is not None) and change < WEIGHT_CHANGE
        if settled:
            break
        huber = fresh
    return Weighted(solution, huber, left, scatter, settled)


def huber_weights(e: FloatArray, precision: FloatArray, scatter: float) -> FloatArray:
    """(n,) min(1, k s / |e|), k = 1.345: 95 % efficiency where the scatter is normal (Huber 1981, section 4.5)."""
    reach = HUBER_K * scatter
    return np.asarray(reach / np.maximum(np.sqrt(precision) * np.abs(e), reach))


def gross_rows(e: FloatArray, h: FloatArray, precision: FloatArray, scatter: float, codes: IntArray) -> BoolArray:
    """(n,) which rows lie over 8 scales off, studentised with their leverage. A series whose rows would all be gross
    keeps them: one that lies elsewhere as a whole is a series of its own, not a row of slips.

    e (n,) residuals, h (n,) leverages, codes (n,) which series.
    """
    free = np.where(h < 1, 1 - h, np.inf)
    gross = np.abs(e) * np.sqrt(precision / free) > GROSS * scatter
    others = np.bincount(codes, weights=~gross)
    return gross & (others[codes] > 0)


def scatter_of(left: Residuals, precision: FloatArray) -> float:
    """s = median(|e| / sqrt(1 - h)) / 0.6745 about 0, of the rows that do not carry themselves."""
    free = left.leverage < FULL_LEVERAGE
    far = np.sqrt(precision[free] / (1.0 - left.leverage[free])) * np.abs(left.residuals[free])
    return float(np.median(far, overwrite_input=True)) / NORMAL_MAD if len(far) else 0.0


def level_sigma2(left: Residuals, scatter: float, precision: FloatArray, trace: float) -> float:
    """Huber's variance of the coefficients' unit: K^2 s^2 sum(psi^2) / df / m^2 (Huber 1981, section 7.6)."""
    n = len(precision)
    t = left.residuals * np.sqrt(precision) / scatter
    psi = np.clip(t, -HUBER_K, HUBER_K)
    m = float(np.mean(np.abs(t) <= HUBER_K))
    K = 1 + (trace / n) * (1 - m) / m
    return float(K**2 * scatter**2 * (psi @ psi) / (n - trace) / m**2)
