"""Penalised weighted least squares by orthogonal reduction: the one solver behind every fit.

Columns are centred and scaled, reduced by QR to a small triangle, and solved from there: cross-products would square
the condition number. Series effects are columns times sqrt(theta) with a unit penalty, which gives the solution of
the mixed-model equations (Henderson 1975, Biometrics 31:423-447) without forming them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from kitvalue.intake.books.book import BoolArray, FloatArray, IntArray, PriceBook
from kitvalue.market.encoding import BLOCK, indicators

TALL = 4_000  # rows from which cross-products, grouped by series, take the place of the QR reduction
ONE_THREAD = 2**18  # multiplications up to which OpenBLAS keeps a product on one thread: waking others costs more


@dataclass(frozen=True, slots=True, eq=False)
class Equations:
    """A book made ready: n equations in m columns of numbers and q of series indicators.

    A code of q is a series without an indicator: the one that the others are measured from.
    """

    F: FloatArray  # (n, m) standardised columns, the intercept first
    codes: IntArray  # (n,) which series, counted only where q > 0
    q: int
    y: FloatArray  # (n,)
    pooled: bool = True  # the series' columns carry the penalty; else they are as free as the others
    more: tuple[FloatArray, ...] = ()  # each (n, r): further blocks of columns, each with a variance of its own

    @property
    def beside(self) -> FloatArray:
        """(n, sum of r) the further blocks in one."""
        return np.column_stack([np.empty((len(self.y), 0)), *self.more])


@dataclass(frozen=True, slots=True, eq=False)
class Triangle:
    """The weighted equations reduced to few: columns are p free ones, q penalised ones, the target. The penalised ones
    are the pooled series and after them the further blocks, `blocks` their sizes.

    `R` has the same cross-products as the weighted equations: their QR triangle, or for tall books a root of the
    cross-products themselves.
    """

    R: FloatArray  # (at most p+q+1, p+q+1)
    p: int
    q: int
    n: int
    log_weights: float  # sum of the logs of the weights
    blocks: tuple[int, ...] = ()
    lent: float = 0.0  # unknowns that a prior tells: degrees of freedom that the free columns do not cost

    @property
    def df(self) -> float:
        """Degrees of freedom of sigma2."""
        return self.n - self.p + self.lent

    def stretch(self, thetas: Thetas) -> FloatArray:
        """(q,) what each penalised column is multiplied by."""
        sizes = (self.q - sum(self.blocks), *self.blocks)
        return np.sqrt(np.repeat(np.atleast_1d(thetas).astype(np.float64), sizes))


Reducer = Callable[[FloatArray], Triangle]
Thetas = float | Sequence[float]  # that of the series, then those of the further blocks


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """One solve. With A the mixed-model coefficient matrix, `root` @ root.T is its inverse."""

    thetas: tuple[float, ...]
    coef: FloatArray  # (p+q,): free, then penalised effects divided by sqrt(theta)
    root: FloatArray  # (p+q, p+q), the inverse of A's triangle
    rss: float  # penalised residual sum of squares
    log_det: float  # log det A

    @property
    def theta(self) -> float:
        """That of the series."""
        return self.thetas[0]


@dataclass(frozen=True, slots=True, eq=False)
class Residuals:
    """What a solution leaves: arrays are (n,), `leverage` is h_i = w_i c_i' A^-1 c_i."""

    residuals: FloatArray
    leverage: FloatArray


def reducer(equations: Equations, precision: FloatArray) -> Reducer:
    """What reduces the equations for weights (n,) that lie above 0 and nowhere above the precision weights (n,).

    A tall book is summed once. Robust weights leave most rows as they are, so from then on the others alone are summed,
    and what they weigh less is taken off.
    """
    n, m = equations.F.shape
    p = m + (0 if equations.pooled else equations.q)
    q = m + equations.q - p
    if n <= TALL:
        beside, sizes = equations.beside, tuple(block.shape[1] for block in equations.more)
        columns = np.column_stack([equations.F, indicators(equations.codes, equations.q), beside, equations.y])

        def by_qr(weights: FloatArray) -> Triangle:
            R = np.linalg.qr(columns * np.sqrt(weights)[:, None], mode="r")
            return Triangle(np.asarray(R), p, q + sum(sizes), n, float(np.log(weights).sum()), sizes)

        return by_qr
    step = block_of(m + 1, m + 1)
    whole = _cross_products(equations, precision, [slice(at, at + step) for at in range(0, n, step)])
    logs = float(np.log(precision).sum())

    def by_sums(weights: FloatArray) -> Triangle:
        light = np.flatnonzero(weights != precision)
        less = np.array_split(light, len(light) // step + 1)
        # a root of cross-products: G = V L V' gives the rows L^1/2 V'
        values, V = np.linalg.eigh(whole - _cross_products(equations, precision - weights, less))
        R = np.sqrt(np.maximum(values, 0.0))[:, None] * V.T
        return Triangle(R, p, q, n, logs + float(np.log(weights[light] / precision[light]).sum()))

    return by_sums


def block_of(m: int, n: int) -> int:
    """How many rows to multiply at a time by an (m, n) matrix: as many as one thread does on its own."""
    return max(256, min(BLOCK, ONE_THREAD // (m * n)))


def _cross_products(equations: Equations, weights: FloatArray, parts: Sequence[slice | IntArray]) -> FloatArray:
    """(m+q+1, m+q+1) weighted cross-products of some rows, the series' by grouped sums.

    The columns are standardised, so squaring the condition number costs little; the rank was decided before.
    """
    columns, q = equations.F.T, equations.q
    m = len(columns)
    ends = [*range(m), m + q]
    among, by_series = np.zeros((m + 1, m + 1)), np.zeros((m + 2, q + 1))
    for rows in parts:
        own = np.vstack([columns[:, rows], equations.y[rows]])
        weight = weights[rows]
        weighted = own * weight
        among += own @ weighted.T
        if q:
            codes = equations.codes[rows]
            for sums, column in zip(by_series, (*weighted, weight), strict=True):
                sums += np.bincount(codes, column, q + 1)
    G = np.zeros((m + q + 1, m + q + 1))
    G[np.ix_(ends, ends)] = among
    G[np.ix_(ends, range(m, m + q))] = by_series[:-1, :q]
    G[np.ix_(range(m, m + q), ends)] = by_series[:-1, :q].T
    G[range(m, m + q), range(m, m + q)] = by_series[-1, :q]
    return G


def residuals(equations: Equations, weights: FloatArray, solution: Solution) -> Residuals:
    """Residuals and leverages of a solution, from lengths of x' root.

    Tall books go by blocks from A^-1 itself, f' B f + f' c[series] + d[series]: half the work, and less exact where h
    is tiny.
    """
    F, y, codes, some = equations.F, equations.y, equations.codes, equations.q > 0
    m, stretch = F.shape[1], np.sqrt(solution.theta) if equations.pooled else 1.0
    coef, root, end = solution.coef[:m], solution.root[:m], F.shape[1] + equations.q
    effects = np.append(stretch * solution.coef[m:end], 0.0)  # the last for a series without an indicator
    roots = np.vstack([stretch * solution.root[m:end], np.zeros(len(solution.root))])
    if len(y) <= TALL:
        V, fitted = F @ root, F @ coef
        if some:
            V, fitted = V + roots[codes], fitted + effects[codes]
        for block, theta, at in blocks_of(equations, solution):
            V, fitted = (
                V + np.sqrt(theta) * block @ solution.root[at],
                fitted + np.sqrt(theta) * block @ solution.coef[at],
            )
        e, h = y - fitted, np.einsum("ij,ij->i", V, V)
    else:
        both = np.vstack([root @ root.T, coef])  # one product for leverages and fitted values
        by_series = np.vstack([2 * root @ roots.T, effects])
        d = np.einsum("ij,ij->i", roots, roots)
        e, h = np.empty(len(y)), np.empty(len(y))
        step = block_of(*both.shape)
        for rows in (slice(at, at + step) for at in range(0, len(y), step)):
            f = F.T[:, rows]
            product = both @ f
            if some:
                product += by_series.take(codes[rows], axis=1)
            np.subtract(y[rows], product[-1], out=e[rows])
            np.einsum("ij,ij->j", product[:-1], f, out=h[rows])
            if some:
                h[rows] += d[codes[rows]]
    h *= weights
    return Residuals(e, np.minimum(h, 1.0, out=h))


def blocks_of(equations: Equations, solution: Solution) -> Iterator[tuple[FloatArray, float, slice]]:
    """Each further block's columns, its theta and where its coefficients are."""
    start = equations.F.shape[1] + equations.q
    for block, theta in zip(equations.more, solution.thetas[1:], strict=True):
        yield block, theta, slice(start, start + block.shape[1])
        start += block.shape[1]


def solve(triangle: Triangle, theta: Thetas) -> Solution:
    """The fixed and random effects at given theta = tau2 / sigma2 (0 leaves a block out)."""
    p, q = triangle.p, triangle.q
    k = p + q
    augmented = np.vstack([triangle.R[:, :k], np.eye(q, k, p)])  # below, the unit penalty of the random effects
    augmented[: len(triangle.R), p:] *= triangle.stretch(theta)
    target = np.concatenate([triangle.R[:, k], np.zeros(q)])
    Q, R = np.linalg.qr(augmented)
    root = np.linalg.solve(R, np.eye(k))
    coef = root @ (Q.T @ target)
    coef = coef + root @ (Q.T @ (target - augmented @ coef))  # one refinement: the residual is known better
    residual = target - augmented @ coef
    log_det = 2.0 * float(np.log(np.abs(np.diag(R))).sum())
    thetas = tuple(np.atleast_1d(theta).astype(np.float64).tolist())
    return Solution(thetas, coef, root, float(residual @ residual), log_det)


def reml_criterion(triangle: Triangle, theta: Thetas) -> float:
    """-2 log restricted likelihood at theta, profiled over sigma2, without its constant (n - p)(1 + log 2 pi).

    Patterson and Thompson (1971), Biometrika 58:545-554; here with log|V| + log|F'V^-1 F| = log|A| - sum log w.
    """
    return _criterion(triangle, solve(triangle, theta))


def _criterion(triangle: Triangle, solution: Solution) -> float:
    df = triangle.df
    return df * float(np.log(solution.rss / df)) + solution.log_det - triangle.log_weights


FLAT = 1e-10  # a smaller gain is rounding: where no series has two rows, every theta fits alike
GRID = tuple(float(x) for x in np.linspace(np.log(1e-8), np.log(1e8), 49))


def reml_theta(triangle: Triangle) -> float:
    """The theta that minimises the REML criterion; exactly 0 where no spread between series is the best answer.

    A coarse grid finds the valley, the score's zero in it sharpens the answer to rounding (the criterion itself is flat
    there), and theta = 0 is compared exactly.
    """
    if triangle.q < 2:
        return 0.0
    from scipy.optimize import brentq, minimize_scalar

    def criterion(x: float) -> float:
        return reml_criterion(triangle, float(np.exp(x)))

    def score(x: float) -> float:
        return reml_score(triangle, float(np.exp(x)))

    best = int(np.argmin([criterion(x) for x in GRID]))
    low, high = GRID[max(best - 1, 0)], GRID[min(best + 1, len(GRID) - 1)]
    if score(low) < 0 < score(high):
        lowest = float(brentq(score, low, high, xtol=1e-14, rtol=1e-14))
    else:
        lowest = float(minimize_scalar(criterion, bounds=(low, high), method="bounded").x)
    none = reml_criterion(triangle, 0.0)
    return float(np.exp(lowest)) if criterion(lowest) < none - FLAT * (1 + abs(none)) else 0.0


def reml_score(triangle: Triangle, theta: float) -> float:
    """Slope of the REML criterion in log theta: q - tr(A^-1 on the series) - u'u / (sigma2 theta), Harville (1977).

    Negative where more spread between series fits better.
    """
    solution = solve(triangle, theta)
    series = slice(triangle.p, None)
    trace = float((solution.root[series] ** 2).sum())
    spread = float(solution.coef[series] @ solution.coef[series])
    return triangle.q - trace - spread * triangle.df / solution.rss


NEGLIGIBLE = 1e-6  # a theta this small is none


def reml_thetas(triangle: Triangle, start: Sequence[float]) -> tuple[tuple[float, ...], float]:
    """The thetas of series and further blocks that minimise the REML criterion, from `start`, and the criterion there.

    Quasi-Newton in their logs with the exact scores (Byrd, Lu, Nocedal and Zhu 1995), from cross-products, which are
    quick and near enough to find the place; thetas that come out negligible are 0.
    """
    from scipy.linalg import cho_solve, cholesky, lapack
    from scipy.optimize import minimize

    p, k, df = triangle.p, triangle.p + triangle.q, triangle.df
    sizes = (triangle.q - sum(triangle.blocks), *triangle.blocks)
    block = np.repeat(np.arange(len(sizes)), sizes)
    G, penalty = triangle.R.T @ triangle.R, np.diag(np.arange(k) >= p).astype(np.float64)

    def both(x: FloatArray) -> tuple[float, FloatArray]:
        stretch = np.append(np.ones(p), np.exp(x[block] / 2))
        L = cholesky(stretch[:, None] * G[:k, :k] * stretch + penalty, lower=True, check_finite=False)
        b = stretch * G[:k, k]
        coef = cho_solve((L, True), b, check_finite=False)
        rss = G[k, k] - b @ coef
        inverse = (lapack.dtrtri(L, lower=1)[0] ** 2).sum(axis=0)
        scores = np.bincount(block, 1.0 - inverse[p:] - coef[p:] ** 2 * df / rss, len(sizes))
        return df * float(np.log(rss / df)) + 2.0 * float(np.log(np.diag(L)).sum()), np.asarray(
            scores, dtype=np.float64
        )

    bounds = [(np.log(NEGLIGIBLE / 10), np.log(1 / NEGLIGIBLE))] * len(start)
    at = np.log(np.maximum(start, 0.01))
    found = np.exp(minimize(both, at, jac=True, method="L-BFGS-B", bounds=bounds).x)
    thetas = tuple(np.where(found < NEGLIGIBLE, 0.0, found).tolist())
    return thetas, reml_criterion(triangle, thetas)


def subset(book: PriceBook, keep: IntArray | BoolArray) -> PriceBook:
    """Some rows of a book, by index or mask; series codes and names stay as they are."""
    columns = [field.name for field in fields(book) if field.name not in ("series_names", "features")]
    features = tuple(replace(f, values=f.values[keep]) for f in book.features)
    return replace(book, **{name: getattr(book, name)[keep] for name in columns}, features=features)


def without_empty_series(book: PriceBook) -> PriceBook:
    """The same rows, with the names of series that none of them has taken out."""
    present = np.unique(book.series)
    return replace(
        book,
        series=np.searchsorted(present, book.series),
        series_names=tuple(book.series_names[i] for i in present),
    )
