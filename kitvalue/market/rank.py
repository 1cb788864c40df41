"""Which columns say something that the others and the series do not: rank, decided before anything is fitted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kitvalue.intake.book import FloatArray, IntArray
from kitvalue.market.scaling import indicators, squares_about

RANK_TOLERANCE = 1e-7
MANY = 50_000  # rows from which a part of them is looked at first
PART = 20_000
PLAIN = 1e-3  # a length this far above rounding needs no second look


def independent(columns: Sequence[FloatArray], groups: IntArray, tolerance: float = RANK_TOLERANCE) -> tuple[bool, ...]:
    """Which columns, each (n,), taken in order, add something to the indicators of `groups` (n,) and to those before.

    A column is out where what is left of it, centred and scaled to unit length, after projecting the others out is
    shorter than `tolerance`. Rank is decided before anything is fitted. One group stands for an intercept alone.
    """
    if len(groups) > MANY and len(columns) and plainly_independent(columns, groups):
        return (True,) * len(columns)
    basis = np.empty((len(columns), len(groups)))
    size, kept = 0, []
    for column in columns:
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


def plainly_independent(columns: Sequence[FloatArray], groups: IntArray) -> bool:
    """Whether all columns, each (n,), are far from dependent, told by every so many rows of a tall book alone.

    What is left of a column after the others are projected out is no shorter over all rows than over some of them.
    It is held against the column's whole length, about any centre: the length about its mean is no longer.
    """
    every = max(1, len(groups) // PART)
    part = np.column_stack([column[::every] for column in columns])
    centre = part.mean(axis=0)
    whole = np.sqrt([squares_about(column, c) for column, c in zip(columns, centre, strict=True)])
    some = groups[::every]
    Z = indicators(some, int(groups.max()) + 1)
    rest = part - centre
    rest -= Z @ ((Z.T @ rest) / np.maximum(Z.sum(axis=0), 1.0)[:, None])
    left = np.abs(np.diag(np.linalg.qr(rest, mode="r")))
    return bool(np.all(left > PLAIN * whole))


def _less_group_means(column: FloatArray, groups: IntArray) -> FloatArray:
    """The projection of a column off the indicators of its groups."""
    counts = np.bincount(groups)
    means = np.bincount(groups, weights=column) / np.maximum(counts, 1)
    return np.asarray(column - means[groups])
