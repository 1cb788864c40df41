"""Means of groups that lean on all groups together: one-way random effects.

The variance between groups by moments (DerSimonian and Laird 1986; Searle, Casella and McCulloch 1992, ch. 4), shrunken
means (Efron and Morris 1975), ranges as in Morris 1983.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

RANGE_SHARE = 0.80  # of a range


@dataclass(frozen=True, slots=True)
class Shrunken:
    """One group: its `own` mean, the `mean` that leans on all groups, and the range that holds the group's true mean.

    `weight` says how much of the way from the common mean to its own the group goes, 0 to 1.
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


def shrunken_means(groups: Sequence[Sequence[float]], known_within: float | None = None) -> Shrinkage | str:
    """The shrunken mean of each group, or why nothing can be learned; no group is empty.

    `known_within` is the variance of one observation where it is known from elsewhere; else it is estimated from the
    groups with more than one observation, of which there must be one.
    """
    if not groups:
        return "nothing was written down yet"
    counts = [len(group) for group in groups]
    own = [sum(group) / len(group) for group in groups]
    freedom = sum(counts) - len(groups)
    if known_within is not None:
        within, reach = known_within, NormalDist().inv_cdf((1 + RANGE_SHARE) / 2)
    elif freedom == 0:
        return "each was seen once only, so how much one job differs from the next is not known yet"
    else:
        from scipy.special import stdtrit

        within = sum((x - centre) ** 2 for group, centre in zip(groups, own, strict=True) for x in group) / freedom
        reach = float(stdtrit(freedom, (1 + RANGE_SHARE) / 2))
    between = 0.0
    if len(groups) > 1:
        grand = sum(n * mean for n, mean in zip(counts, own, strict=True)) / sum(counts)
        squares = sum(n * (mean - grand) ** 2 for n, mean in zip(counts, own, strict=True))
        spread = sum(counts) - sum(n * n for n in counts) / sum(counts)
        between = max(0.0, (squares - (len(groups) - 1) * within) / spread)
    variances = [between + within / n for n in counts]
    if min(variances) == 0.0:  # observations that repeat exactly
        exact = [mean for mean, variance in zip(own, variances, strict=True) if variance == 0.0]
        common, common_variance = sum(exact) / len(exact), 0.0
    else:
        weights = [1 / variance for variance in variances]
        common = sum(w * mean for w, mean in zip(weights, own, strict=True)) / sum(weights)
        common_variance = 1 / sum(weights)
    shrunken = []
    for n, centre, variance in zip(counts, own, variances, strict=True):
        # a group alone has nothing to lean on, and one without scatter needs nothing
        weight = between / variance if len(groups) > 1 and variance > 0 else 1.0
        leaning = common + weight * (centre - common)
        sd = math.sqrt(weight * within / n + (1 - weight) ** 2 * common_variance)
        shrunken.append(Shrunken(n, centre, leaning, weight, leaning - reach * sd, leaning + reach * sd))
    return Shrinkage(tuple(shrunken), common, within, between)
