"""Shrunken means: what several groups of few observations each say, each group leaning on all of them.

One-way random effects y_ij = m + a_i + e_ij. The variance between groups is the moment estimator (DerSimonian and
Laird 1986, Controlled Clinical Trials 7:177-188, which for a common error variance is the analysis of variance; Searle,
Casella and McCulloch 1992, Variance Components, ch. 4), the means are the empirical-Bayes ones of Efron and Morris
(1975, JASA 70:311-319), ranges as in Morris (1983, JASA 78:47-55) without his term for the estimate of the variance
between groups: with two or three groups they are a little too narrow. Citations from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

RANGE_SHARE = 0.80  # of a range
_BISECTIONS = 80


@dataclass(frozen=True, slots=True)
class Shrunken:
    """One group: its `own` mean, the `mean` that leans on all groups, and the range that holds the group's true mean.

    `weight` says how much of the way from the common mean to its own the group goes, 0 to 1. `low` and `high` are None
    where the scatter inside groups is not known.
    """

    count: int
    own: float
    mean: float
    weight: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Shrinkage:
    """All groups, in order. `within` and `between` are variances, `common` the mean that groups lean on."""

    groups: tuple[Shrunken, ...]
    common: float
    within: float
    between: float


@dataclass(frozen=True, slots=True)
class NotShrunken:
    """Why nothing can be learned."""

    reason: str


def shrunken_means(groups: Sequence[Sequence[float]], known_within: float | None = None) -> Shrinkage | NotShrunken:
    """The shrunken mean of each group; no group is empty.

    `known_within` is the variance of one observation where it is known from elsewhere; else it is estimated from the
    groups with more than one observation, of which there must be one.
    """
    if not groups:
        return NotShrunken("nothing was written down yet")
    counts = [len(group) for group in groups]
    own = [sum(group) / len(group) for group in groups]
    freedom = sum(counts) - len(groups)
    if known_within is None and freedom == 0:
        return NotShrunken("each was seen once only, so how much one job differs from the next is not known yet")
    within = known_within if known_within is not None else _within(groups, own, freedom)
    between = _between(counts, own, within)
    variances = [between + within / n for n in counts]
    common, common_variance = _weighted(own, variances)
    reach = NormalDist().inv_cdf((1 + RANGE_SHARE) / 2)
    if known_within is None:
        reach = t_quantile((1 + RANGE_SHARE) / 2, freedom)
    made = [
        _shrunken(n, mean, within, between, common, common_variance, reach) for n, mean in zip(counts, own, strict=True)
    ]
    if len(groups) == 1:  # nothing to lean on
        sd = math.sqrt(within / counts[0])
        made = [Shrunken(counts[0], own[0], own[0], 1.0, own[0] - reach * sd, own[0] + reach * sd)]
    return Shrinkage(tuple(made), common, within, between)


def _within(groups: Sequence[Sequence[float]], own: Sequence[float], freedom: int) -> float:
    squares = ((value - mean) ** 2 for group, mean in zip(groups, own, strict=True) for value in group)
    return sum(squares) / freedom


def _between(counts: Sequence[int], own: Sequence[float], within: float) -> float:
    total = sum(counts)
    if len(counts) < 2:
        return 0.0
    grand = sum(n * mean for n, mean in zip(counts, own, strict=True)) / total
    squares = sum(n * (mean - grand) ** 2 for n, mean in zip(counts, own, strict=True))
    spread = total - sum(n * n for n in counts) / total
    return max(0.0, (squares - (len(counts) - 1) * within) / spread)


def _weighted(own: Sequence[float], variances: Sequence[float]) -> tuple[float, float]:
    """The mean of all groups by their precisions, and its variance."""
    if min(variances) == 0.0:  # observations that repeat exactly
        exact = [mean for mean, variance in zip(own, variances, strict=True) if variance == 0.0]
        return sum(exact) / len(exact), 0.0
    weights = [1 / variance for variance in variances]
    return sum(w * mean for w, mean in zip(weights, own, strict=True)) / sum(weights), 1 / sum(weights)


def _shrunken(
    count: int, own: float, within: float, between: float, common: float, common_variance: float, reach: float
) -> Shrunken:
    total = between + within / count
    weight = between / total if total > 0 else 1.0
    mean = common + weight * (own - common)
    sd = math.sqrt(weight * within / count + (1 - weight) ** 2 * common_variance)
    return Shrunken(count, own, mean, weight, mean - reach * sd, mean + reach * sd)


def t_quantile(probability: float, freedom: int) -> float:
    """The quantile of Student's t above its median, for whole degrees of freedom; by bisection of `t_inside`."""
    wanted = 2 * probability - 1
    low, high = 0.0, 1.0
    while t_inside(high, freedom) < wanted:
        low, high = high, 2 * high
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if t_inside(middle, freedom) < wanted else (low, middle)
    return (low + high) / 2


def t_inside(t: float, freedom: int) -> float:
    """The probability that Student's t lies within -t to t (Abramowitz and Stegun 1964, 26.7.3 and 26.7.4)."""
    angle = math.atan(t / math.sqrt(freedom))
    cosine, odd = math.cos(angle), freedom % 2 == 1
    term = total = cosine if odd else 1.0
    for j in range(2 if odd else 1, freedom - 1, 2):
        term *= j / (j + 1) * cosine**2
        total += term
    if not odd:
        return math.sin(angle) * total
    return 2 / math.pi * (angle + math.sin(angle) * (total if freedom > 1 else 0.0))
