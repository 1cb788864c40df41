"""Which columns are told to be independent, against certified sets and made ones."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.market import encoding as rank
from kitvalue.market.encoding import independent, plainly_independent
from tests.market.test_linear import nist


def test_filip_is_refused_never_answered() -> None:
    """NIST StRD Filip: a polynomial of degree 10 whose powers double precision cannot tell apart."""
    y, X = nist("filip")
    assert not all(independent(X.T, np.zeros(len(y), dtype=np.int64)))


def test_rank_is_decided_in_order() -> None:
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=50), rng.normal(size=50)
    columns = np.column_stack([a, np.full(50, 4.0), b, 2 * a - b + 1, a + 1e-3 * rng.normal(size=50)])
    assert independent(columns.T, np.zeros(50, dtype=np.int64)) == (True, False, True, False, True)


def test_what_the_series_reproduce_is_dependent() -> None:
    codes = np.repeat([0, 1, 2], 5)
    of_series = np.array([2.0, 5.0, 7.0])[codes]
    assert independent([of_series], codes) == (False,)
    assert independent([of_series], np.zeros(15, dtype=np.int64)) == (True,)


@pytest.mark.parametrize("dependent", [False, True])
def test_the_quick_look_at_rank_agrees_with_the_careful_one(monkeypatch: pytest.MonkeyPatch, dependent: bool) -> None:
    rng = np.random.default_rng(8)
    n = 3000
    groups = rng.integers(0, 5, n)
    a, b = rng.lognormal(1, 1, n), (rng.random(n) < 0.02) * 1.0
    columns = [a, b, 2 * a - b + groups if dependent else rng.normal(1e6, 1, n)]
    careful = independent(columns, groups)
    assert careful == (True, True, not dependent)
    monkeypatch.setattr(rank, "MANY", 100)
    monkeypatch.setattr(rank, "PART", 1000)
    assert independent(columns, groups) == careful
    assert plainly_independent(columns, groups) is not dependent


def test_what_the_part_looked_at_does_not_show_is_left_to_the_careful_look(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every third row is looked at: a column that differs from another elsewhere alone is independent all the same."""
    monkeypatch.setattr(rank, "MANY", 100)
    monkeypatch.setattr(rank, "PART", 1000)
    rng = np.random.default_rng(12)
    a = rng.normal(size=3000)
    b = a.copy()
    b[1::3] += rng.normal(size=1000)
    groups = np.zeros(3000, dtype=np.int64)
    assert not plainly_independent([a, b], groups)
    assert independent([a, b], groups) == (True, True)


@settings(deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.0, 1e-12, 1e-9, 1e-5, 1e-2, 1.0]))
def test_the_quick_look_never_passes_what_the_careful_one_refuses(seed: int, apart: float) -> None:
    rng = np.random.default_rng(seed)
    n, m = 400, int(rng.integers(1, 5))
    groups = rng.integers(0, 3, n)
    columns = list(rng.normal(size=(m, n)) * 10.0 ** rng.integers(-3, 4, (m, 1)))
    mixed = sum(rng.normal() * c for c in columns) + rng.normal(size=3)[groups]
    columns.append(mixed + apart * mixed.std() * rng.normal(size=n))
    if plainly_independent(columns, groups):
        assert all(independent(columns, groups))


def test_a_column_far_from_0_counts_by_how_it_varies() -> None:
    column = 1e6 + np.tile([0.15, -0.15], 10)
    assert independent([column], np.zeros(20, dtype=np.int64)) == (True,)
