"""Penalised weighted least squares by orthogonal reduction: the one solver behind every fit.

Columns are centred and scaled, reduced by QR to a small triangle, and solved from there: cross-products would square
the condition number. Series effects are columns times sqrt(theta) with a unit penalty, which gives the solution of
the mixed-model equations (Henderson 1975, Biometrics 31:423-447) without forming them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.pricebook import FloatArray, IntArray

RANK_TOLERANCE = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class Scaling:
    """How fixed columns are standardised: (column - center) / scale. The intercept, column 0, stays as it is."""

    center: FloatArray  # (p,)
    scale: FloatArray  # (p,)

    def apply(self, F: FloatArray) -> FloatArray:
        """(n, p) raw columns -> (n, p) standardised ones."""
        return (F - self.center) / self.scale

    def back(self) -> FloatArray:
        """(p, p) matrix that turns standardised coefficients into those of the raw columns."""
        M = np.diag(1.0 / self.scale)
        M[0, 1:] = -self.center[1:] / self.scale[1:]
        return M


@dataclass(frozen=True, slots=True, eq=False)
class Triangle:
    """The weighted problem reduced to its QR triangle: columns are p fixed ones, q series indicators, the target."""

    R: FloatArray  # (min(n, p+q+1), p+q+1)
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


def standardise(F: FloatArray) -> Scaling:
    """Centre and scale of each column of F (n, p), whose column 0 is the intercept."""
    center = F.mean(axis=0)
    center[0] = 0.0
    scale = np.sqrt(((F - center) ** 2).mean(axis=0))
    scale[0] = 1.0
    return Scaling(center, np.where(scale > 0, scale, 1.0))


def indicators(codes: IntArray, q: int) -> FloatArray:
    """(n, q) series indicators; a code of -1 gives a row of zeros."""
    return np.asarray(codes[:, None] == np.arange(q)[None, :], dtype=np.float64)


def reduce(F: FloatArray, Z: FloatArray, y: FloatArray, weights: FloatArray) -> Triangle:
    """Reduce F (n, p), Z (n, q) and y (n,) with precision weights (n,), all above 0, to a triangle."""
    root_w = np.sqrt(weights)[:, None]
    stacked = np.column_stack([F, Z, y]) * root_w
    R = np.linalg.qr(stacked, mode="r")
    return Triangle(np.asarray(R), F.shape[1], Z.shape[1], len(y), float(np.log(weights).sum()))


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


def independent(columns: FloatArray, given: FloatArray, tolerance: float = RANK_TOLERANCE) -> tuple[bool, ...]:
    """Which columns (n, m), taken in order, add something to `given` (n, k) and to the ones taken before.

    A column is out where what is left of it, centred and scaled to unit length, after projecting the others out is
    shorter than `tolerance`. Rank is decided before anything is fitted.
    """
    basis = _orthonormal(given - given.mean(axis=0), tolerance)
    kept = []
    for column in columns.T:
        rest = column - column.mean()
        length = float(np.linalg.norm(rest))
        if length <= tolerance * max(1.0, float(np.abs(column).max(initial=0.0))) * np.sqrt(len(column)):
            kept.append(False)
            continue
        rest = rest / length
        for _ in range(2):  # twice is enough: Gram-Schmidt with reorthogonalisation
            rest = rest - basis @ (basis.T @ rest)
        left = float(np.linalg.norm(rest))
        kept.append(left > tolerance)
        if kept[-1]:
            basis = np.column_stack([basis, rest / left])
    return tuple(kept)


def _orthonormal(columns: FloatArray, tolerance: float) -> FloatArray:
    if columns.shape[1] == 0:
        return columns
    U, singular, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(U[:, singular > tolerance * max(1.0, float(singular.max()))])
