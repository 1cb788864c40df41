"""How much series differ beyond what their kits explain: theta = tau2 / sigma2 by restricted maximum likelihood."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from kitvalue.market.linear import Triangle, reml_criterion, solve

FLAT = 1e-10  # a smaller gain is rounding: where no series has two rows, every theta fits alike
GRID = tuple(float(x) for x in np.linspace(np.log(1e-8), np.log(1e8), 49))


def reml_theta(triangle: Triangle) -> float:
    """The theta that minimises the REML criterion; exactly 0 where no spread between series is the best answer.

    A coarse grid finds the valley, the score's zero in it sharpens the answer to rounding (the criterion itself is flat
    there), and theta = 0 is compared exactly.
    """
    if triangle.q < 2:
        return 0.0
    values = [reml_criterion(triangle, float(np.exp(x))) for x in GRID]
    best = int(np.argmin(values))
    low, high = GRID[max(best - 1, 0)], GRID[min(best + 1, len(GRID) - 1)]
    theta = float(np.exp(_valley(triangle, low, high)))
    none = reml_criterion(triangle, 0.0)
    return theta if reml_criterion(triangle, theta) < none - FLAT * (1 + abs(none)) else 0.0


def reml_score(triangle: Triangle, theta: float) -> float:
    """Slope of the REML criterion in log theta: q - tr(A^-1 on the series) - u'u / (sigma2 theta), Harville (1977).

    Negative where more spread between series fits better.
    """
    solution = solve(triangle, theta)
    series = slice(triangle.p, None)
    trace = float((solution.root[series] ** 2).sum())
    spread = float(solution.coef[series] @ solution.coef[series])
    return triangle.q - trace - spread * (triangle.n - triangle.p) / solution.rss


def _valley(triangle: Triangle, low: float, high: float) -> float:
    """The lowest point in log theta between two bounds."""

    def score(x: float) -> float:
        return reml_score(triangle, float(np.exp(x)))

    if score(low) < 0 < score(high):
        return float(brentq(score, low, high, xtol=1e-14, rtol=1e-14))
    found = minimize_scalar(lambda x: reml_criterion(triangle, float(np.exp(x))), bounds=(low, high), method="bounded")
    return float(found.x)
