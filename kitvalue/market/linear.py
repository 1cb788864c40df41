"""Penalised weighted least squares by orthogonal reduction: the one solver behind every fit.

Columns are centred and scaled, reduced by QR to a small triangle, and solved from there: cross-products would square
the condition number. Series effects are columns times sqrt(theta) with a unit penalty, which gives the solution of
the mixed-model equations (Henderson 1975, Biometrics 31:423-447) without forming them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.book import FloatArray, IntArray
from kitvalue.market.scaling import BLOCK, indicators

RANK_TOLERANCE = 1e-7
TALL = 4_000  # rows from which cross-products, grouped by series, take the place of the QR reduction
PLAIN = 1e-3  # a length this far above rounding needs no second look
ONE_THREAD = 2**18  # multiplications up to which OpenBLAS keeps a product on one thread: waking others costs more


@dataclass(frozen=True, slots=True, eq=False)
class Equations:
    """A book made ready: n equations in p fixed columns and q pooled series (0 where none are pooled)."""

    F: FloatArray  # (n, p) standardised fixed columns, the intercept first
    codes: IntArray  # (n,) which series, counted only where q > 0
    q: int
    y: FloatArray  # (n,)

    def rows(self, keep: IntArray) -> Equations:
        """Some of the equations."""
        return Equations(self.F[keep], self.codes[keep], self.q, self.y[keep])


@dataclass(frozen=True, slots=True, eq=False)
class Triangle:
    """The weighted equations reduced to few: columns are p fixed ones, q series indicators, the target.

    `R` has the same cross-products as the weighted equations: their QR triangle, or for tall books a root of the
    cross-products themselves.
    """

    R: FloatArray  # (at most p+q+1, p+q+1)
    p: int
    q: int
    n: int
    log_weights: float  # sum of the logs of the weights


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """One solve. With A the mixed-model coefficient matrix, `root` @ root.T is its inverse."""

    theta: float
    coef: FloatArray  # (p+q,): fixed, then series effects divided by sqrt(theta)
    root: FloatArray  # (p+q, p+q), the inverse of A's triangle
    rss: float  # penalised residual sum of squares
    log_det: float  # log det A


@dataclass(frozen=True, slots=True, eq=False)
class Residuals:
    """What a solution leaves: arrays are (n,), `leverage` is h_i = w_i c_i' A^-1 c_i."""

    residuals: FloatArray
    leverage: FloatArray


def reduce(equations: Equations, weights: FloatArray) -> Triangle:
    """Reduce equations with precision weights (n,), all above 0. Tall books go by cross-products."""
    root = _cross_root if len(equations.y) > TALL else _qr_root
    p = equations.F.shape[1]
    return Triangle(root(equations, weights), p, equations.q, len(weights), float(np.log(weights).sum()))


def block_of(m: int, n: int) -> int:
    """How many rows to multiply at a time by an (m, n) matrix: as many as one thread does on its own."""
    return max(256, min(BLOCK, ONE_THREAD // (m * n)))


def _qr_root(equations: Equations, weights: FloatArray) -> FloatArray:
    """The QR triangle of the weighted rows."""
    Z = indicators(equations.codes, equations.q)
    stacked = np.column_stack([equations.F, Z, equations.y]) * np.sqrt(weights)[:, None]
    return np.asarray(np.linalg.qr(stacked, mode="r"))


def _cross_root(equations: Equations, weights: FloatArray) -> FloatArray:
    """A root of the cross-products, summed by series: G = V L V' gives the rows L^1/2 V'.

    The columns are standardised, so squaring the condition number costs little; the rank was decided before.
    """
    columns, codes, q = equations.F.T, equations.codes, equations.q
    p, n = columns.shape
    G = np.zeros((p + q + 1, p + q + 1))
    ends = [*range(p), p + q]
    step = block_of(p + 1, p + 1)
    own, weighted = np.empty((p + 1, step)), np.empty((p + 1, step))
    for at in range(0, n, step):
        rows = slice(at, at + step)
        size = len(weights[rows])
        own[:p, :size], own[p, :size] = columns[:, rows], equations.y[rows]
        np.multiply(own[:, :size], weights[rows], out=weighted[:, :size])
        G[np.ix_(ends, ends)] += own[:, :size] @ weighted[:, :size].T
        if q:
            for end, column in zip(ends, weighted[:, :size], strict=True):
                G[p : p + q, end] += np.bincount(codes[rows], column, q)
            G[range(p, p + q), range(p, p + q)] += np.bincount(codes[rows], weights[rows], q)
    G[np.ix_(ends, range(p, p + q))] = G[p : p + q, ends].T
    values, vectors = np.linalg.eigh(G)
    return np.asarray(np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T)


def residuals(equations: Equations, weights: FloatArray, solution: Solution) -> Residuals:
    """Residuals and leverages of a solution. Tall books go by blocks."""
    p, stretch = equations.F.shape[1], np.sqrt(solution.theta)
    effects, roots = stretch * solution.coef[p:], stretch * solution.root[p:]
    by_size = _by_blocks if len(weights) > TALL else _at_once
    e, h = by_size(equations, solution.coef[:p], effects, solution.root[:p], roots)
    h *= weights
    return Residuals(e, np.minimum(h, 1.0, out=h))


def _at_once(
    equations: Equations, coef: FloatArray, effects: FloatArray, root: FloatArray, roots: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(n,) residuals and (n,) x' A^-1 x, as lengths of x' root."""
    V, fitted = equations.F @ root, equations.F @ coef
    if equations.q:
        V, fitted = V + roots[equations.codes], fitted + effects[equations.codes]
    return equations.y - fitted, np.einsum("ij,ij->i", V, V)


def _by_blocks(
    equations: Equations, coef: FloatArray, effects: FloatArray, root: FloatArray, roots: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The same from A^-1 itself, f' B f + f' c[series] + d[series]: half the work, and less exact where h is tiny."""
    columns, codes = equations.F.T, equations.codes
    both = np.vstack([root @ root.T, coef])  # one product for leverages and fitted values
    c, d = 2 * root @ roots.T, np.einsum("ij,ij->i", roots, roots)
    e, h = np.empty(len(codes)), np.empty(len(codes))
    step = block_of(*both.shape)
    for at in range(0, len(codes), step):
        rows = slice(at, at + step)
        f, series = columns[:, rows], codes[rows]
        product = both @ f
        np.subtract(equations.y[rows], product[-1], out=e[rows])
        if equations.q:
            product[:-1] += c[:, series]
            e[rows] -= effects[series]
        np.einsum("ij,ij->j", product[:-1], f, out=h[rows])
        if equations.q:
            h[rows] += d[series]
    return e, h


def solve(triangle: Triangle, theta: float) -> Solution:
    """The fixed and series effects at a given theta = tau2 / sigma2 (0 leaves the series out)."""
    p, q = triangle.p, triangle.q
    k = p + q
    C = triangle.R[:, :k].copy()
    C[:, p:] *= np.sqrt(theta)
    penalty = np.zeros((q, k))
    penalty[:, p:] = np.eye(q)
    augmented = np.vstack([C, penalty])
    target = np.concatenate([triangle.R[:, k], np.zeros(q)])
    Q, R = np.linalg.qr(augmented)
    inverse = np.linalg.solve(R, np.eye(k))
    coef = inverse @ (Q.T @ target)
    residual = target - augmented @ coef
    step = inverse @ (Q.T @ residual)  # one refinement: the residual is known better than the coefficients
    coef = coef + step
    residual = target - augmented @ coef
    return Solution(
        theta=theta,
        coef=coef,
        root=inverse,
        rss=float(residual @ residual),
        log_det=2.0 * float(np.log(np.abs(np.diag(R))).sum()),
    )


def reml_criterion(triangle: Triangle, theta: float) -> float:
    """-2 log restricted likelihood at theta, profiled over sigma2, without its constant (n - p)(1 + log 2 pi).

    Patterson and Thompson (1971), Biometrika 58:545-554; here with log|V| + log|F'V^-1 F| = log|A| - sum log w.
    """
    solution = solve(triangle, theta)
    df = triangle.n - triangle.p
    return df * float(np.log(solution.rss / df)) + solution.log_det - triangle.log_weights


def independent(columns: FloatArray, groups: IntArray, tolerance: float = RANK_TOLERANCE) -> tuple[bool, ...]:
    """Which columns (n, m), taken in order, add something to the indicators of `groups` (n,) and to those before.

    A column is out where what is left of it, centred and scaled to unit length, after projecting the others out is
    shorter than `tolerance`. Rank is decided before anything is fitted. One group stands for an intercept alone.
    """
    if len(columns) > TALL and _plainly_independent(columns, groups):
        return tuple(True for _ in columns.T)
    basis = np.empty((columns.shape[1], len(columns)))
    size, kept = 0, []
    for column in columns.T:
        rest = column - column.mean()
        length = float(np.linalg.norm(rest))
        if length <= tolerance * max(1.0, float(np.abs(column).max(initial=0.0))) * np.sqrt(len(column)):
            kept.append(False)
            continue
        rest = rest / length
        for _ in range(2):  # twice is enough: Gram-Schmidt with reorthogonalisation
            rest = _less_group_means(rest, groups)
            rest = rest - (basis[:size] @ rest) @ basis[:size]
        left = float(np.linalg.norm(rest))
        kept.append(left > tolerance)
        if kept[-1]:
            basis[size] = rest / left
            size += 1
    return tuple(kept)


def _plainly_independent(columns: FloatArray, groups: IntArray) -> bool:
    """Whether all columns (n, m) are far from dependent, told by cross-products alone.

    The Cholesky pivots of the columns' correlations within the groups are squared lengths of what is left of each;
    they are good to about 1e-15, so only lengths well above its root count.
    """
    m, q = columns.shape[1], int(groups.max()) + 1
    G, sums = np.zeros((m, m)), np.zeros((q, m))
    centre = columns[:BLOCK].mean(axis=0)
    for at in range(0, len(columns), BLOCK):
        block = columns[at : at + BLOCK] - centre
        G += block.T @ block
        sums += indicators(groups[at : at + BLOCK], q).T @ block
    counts = np.maximum(np.bincount(groups, minlength=q), 1)
    total = sums.sum(axis=0)
    lengths = np.diag(G) - total**2 / len(columns)
    if np.any(lengths <= PLAIN * np.diag(G)):
        return False
    within = (G - sums.T @ (sums / counts[:, None])) / np.sqrt(np.outer(lengths, lengths))
    try:
        pivots = np.diag(np.linalg.cholesky(within))
    except np.linalg.LinAlgError:
        return False
    return bool(np.all(pivots > PLAIN))


def _less_group_means(column: FloatArray, groups: IntArray) -> FloatArray:
    """The projection of a column off the indicators of its groups."""
    counts = np.bincount(groups)
    means = np.bincount(groups, weights=column) / np.maximum(counts, 1)
    return np.asarray(column - means[groups])
