"""What a fit of straight lines and one scatter is refined by where the data ask for it: blocks, a series' scatter."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kitvalue.intake.books.book import FloatArray, IntArray
from kitvalue.market.blocks import Block, admitted, possible_blocks
from kitvalue.market.encoding import Columns, Recipe, Scaling
from kitvalue.market.linear import TALL, Equations, Reducer, reducer, reml_criterion
from kitvalue.market.robust import FULL_LEVERAGE, GROSS_WEIGHT, Weighted, reweight

MIN_BLOCK_ROWS = 60
MOST_BENT_BACK = 12
REFITTED = 0.4  # over root n: by how much residuals of books refitted in full, choices and all, exceed frozen ones;
# 6 % at 40 rows, 4.6 at 60, 3.9 at 120 in invented books


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """A reweighted fit with its blocks; `precision` (n,) are the book's weights over each series' own variance, whose
    roots are `ratios` (series,)."""

    equations: Equations
    precision: FloatArray
    reduced: Reducer
    weighted: Weighted
    blocks: tuple[Block, ...]
    ratios: FloatArray
    allowance: float = 1.0  # what ranges are widened by for what is chosen here


def refine(plain: Refined, recipe: Recipe, scaling: Scaling, rows: Columns, counted: int) -> Refined:
    """The fit with what its data admit. `counted` are the rows before any were merged."""
    if counted < MIN_BLOCK_ROWS or len(rows) > TALL:
        return plain
    better = with_blocks(plain, recipe, scaling, rows)
    if recipe.pooled:
        better = with_scatters(better, rows.series, len(recipe.series))
    return replace(better, allowance=1 + REFITTED / np.sqrt(len(rows)))


def with_blocks(plain: Refined, recipe: Recipe, scaling: Scaling, rows: Columns) -> Refined:
    """Blocks chosen at the weights as they stand, then the weights anew with the thetas held."""
    tried = possible_blocks(rows, recipe)
    if not tried:
        return plain
    wide, start, q = plain.equations, plain.weighted, len(recipe.series)
    weights = plain.precision * start.huber
    criterion = reml_criterion(plain.reduced(weights), start.solution.theta)
    wide = replace(wide, more=tuple(block.columns(rows, q) for block in tried))
    theta, blocks = admitted(reducer(wide, plain.precision)(weights), tried, start.solution.theta, criterion)
    if not blocks:
        return plain
    equations = replace(wide, more=tuple(block.columns(rows, q) for block in blocks))
    reduced = reducer(equations, plain.precision)
    for _ in range(MOST_BENT_BACK):
        solution = replace(start.solution, thetas=(theta, *(b.theta for b in blocks)))
        better = Refined(equations, plain.precision, reduced,
                         reweight(equations, plain.precision, reduced, replace(start, solution=solution)),
                         blocks, plain.ratios)  # fmt: skip
        if _one_way(better, recipe, scaling):
            break
        blocks = tuple(replace(b, theta=b.theta / 4) if b.name == "bends" else b for b in blocks)
    return better


def _one_way(fit: Refined, recipe: Recipe, scaling: Scaling) -> bool:
    """Does a better grade never cost less (or, upside down, never more), for the average series?"""
    if all(block.name != "bends" for block in fit.blocks):
        return True
    coef, grades, at = fit.weighted.solution.coef, np.arange(1.0, 6.0), recipe.names.index("condition")
    start = fit.equations.F.shape[1] + fit.equations.q
    for block in fit.blocks:
        if block.name == "bends":
            bends = np.sqrt(block.theta) * block.bases_at(grades) @ coef[start : start + len(block.knots)]
            steps = np.diff(coef[at] / scaling.scale[at] * grades + bends)
            return bool(np.all(steps >= 0) or np.all(steps <= 0))
        start += block.size(len(recipe.series))
    return True


FAR = 4.0
LOG_MEAN = np.pi / 2 - 1  # variance of the log of a mean of |t| of normal t, times how many


def with_scatters(plain: Refined, series: IntArray, q: int) -> Refined:
    """Each series' own scatter in the weights; the weights then settle once more."""
    e, h, usual = plain.weighted.left.residuals, plain.weighted.left.leverage, plain.weighted.scatter
    told = (plain.weighted.huber > GROSS_WEIGHT) & (h < FULL_LEVERAGE)
    far = np.abs(e[told]) * np.sqrt(plain.precision[told] / (1 - h[told])) / usual
    ratios = scatter_ratios(far, series[told], q)
    if np.all(ratios == 1.0):
        return plain
    precision = plain.precision / ratios[series] ** 2
    reduced = reducer(plain.equations, precision)
    return replace(
        plain, precision=precision, reduced=reduced, ratios=ratios,
        weighted=reweight(plain.equations, precision, reduced, plain.weighted),
    )  # fmt: skip


def scatter_ratios(far: FloatArray, series: IntArray, q: int) -> FloatArray:
    """(q,) each series' scatter over the usual one, from (n,) studentised sizes of residuals, shrunk.

    The log of a series' mean size scatters with a known variance, (pi/2 - 1)/n; what the logs scatter more is the
    variance between series by moments (DerSimonian and Laird 1986), by which each is shrunk (Morris 1983). The
    ratio is the root of the mean square of what is then still possible, so a series with few rows comes out wider.
    """
    counts = np.bincount(series, minlength=q).astype(np.float64)
    sums = np.bincount(series, np.minimum(far, FAR), minlength=q)
    seen = (counts > 0) & (sums > 0)
    noise = LOG_MEAN / counts[seen]
    logs = np.log(sums[seen] / counts[seen]) + noise / 2
    w = 1 / noise
    middle = float(w @ logs / w.sum())
    beyond = float(w @ (logs - middle) ** 2) - (len(w) - 1)
    between = beyond / float(w.sum() - (w @ w) / w.sum()) if beyond > 0 and len(w) > 1 else 0.0
    log_ratios = np.full(q, between)
    log_ratios[seen] = between / (between + noise) * (logs - middle + noise)
    return np.asarray(np.exp(log_ratios))
