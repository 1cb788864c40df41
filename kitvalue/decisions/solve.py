"""Where a function of one unknown is 0: bisection on decimals, to far below a cent."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import numpy as np

from kitvalue.intake.books.book import FloatArray

Function = Callable[[Decimal], Decimal]

DOUBLINGS = 40  # of the first guess, before a root above it counts as none
HALVINGS = 90  # leaves 1e-27 of the interval, the precision of the decimals


def root_between(function: Function, low: Decimal, high: Decimal) -> Decimal | None:
    """A root in [low, high] of a continuous function; None where both ends have the same sign."""
    at_low, at_high = function(low), function(high)
    if at_low == 0:
        return low
    if at_high == 0:
        return high
    if (at_low > 0) == (at_high > 0):
        return None
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        value = function(middle)
        if value == 0 or middle in (low, high):
            return middle
        if (value > 0) == (at_low > 0):
            low = middle
        else:
            high = middle
    return (low + high) / 2


def root_above(function: Function, low: Decimal, guess: Decimal) -> Decimal | None:
    """The root at or above `low` of a continuous monotone function; None where it keeps its sign.

    The interval starts at `guess` (above `low`) and doubles until the sign changes.
    """
    step = guess - low
    for _ in range(DOUBLINGS):
        found = root_between(function, low, low + step)
        if found is not None:
            return found
        step *= 2
    return None


def nearest_root(function: Function, low: Decimal, high: Decimal, near: Decimal, cells: int) -> Decimal | None:
    """Of the roots found in `cells` equal parts of [low, high] the one nearest to `near`; None where there is none.

    For functions that may turn: two roots inside one cell are not seen.
    """
    width = (high - low) / cells
    edges = [low + width * i for i in range(cells)] + [high]
    values = [function(edge) for edge in edges]
    roots = [edge for edge, value in zip(edges, values, strict=True) if value == 0]
    for left, right, a, b in zip(edges, edges[1:], values, values[1:], strict=False):
        if a != 0 and b != 0 and (a > 0) != (b > 0):
            root = root_between(function, left, right)
            roots += [root] if root is not None else []
    return min(roots, key=lambda root: abs(root - near), default=None)


MOST_WITHOUT = 0.20  # share of draws without a crossing beyond which no range is told
LOW, HIGH = 10.0, 90.0  # percentiles of the range


@dataclass(frozen=True, slots=True)
class Crossing:
    """One crossing, in pieces; `low` and `high` hold it in 80 of 100 draws and are None where `reason` says why.

    `build_cheaper` tells on which side of it the build costs less than the original.
    """

    pieces: float
    low: float | None
    high: float | None
    build_cheaper: Literal["below", "above"]
    reason: str | None


@dataclass(frozen=True, slots=True)
class Crossings:
    """All crossings. `chance_none` is the share of draws without any; `text` is the answer in words."""

    crossings: tuple[Crossing, ...]
    chance_none: float
    text: str


def find_crossings(pieces: Sequence[int], build: FloatArray, original: FloatArray, draws: FloatArray) -> Crossings:
    """Where `build` (K,) crosses `original` (K,), straight between the whole `pieces` (K,), all money at the door.

    `draws` (n, K) are the original's under n draws of the regression's coefficients, n above 0.
    """
    ks = np.asarray(pieces, dtype=np.float64)
    points, turns = _positions(ks, (build - original)[None, :])
    all_points, all_turns = _positions(ks, build[None, :] - draws)
    chance_none = float(np.mean(np.isnan(all_points).all(axis=1)))
    found = tuple(
        _crossing(float(points[0, i]), int(turns[0, i]), all_points, all_turns, chance_none)
        for i in np.flatnonzero(~np.isnan(points[0]))
    )
    return Crossings(found, chance_none, _text(pieces, build, original, found))


def _positions(ks: FloatArray, gap: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Crossings of each row of `gap` (n, K): positions (n, K-1), NaN where a cell has none, and which way it turns.

    +1: the build becomes the dearer one. A gap of exactly 0 counts as not dearer.
    """
    left, right = gap[:, :-1], gap[:, 1:]
    turns = (right > 0).astype(np.float64) - (left > 0).astype(np.float64)
    step = np.where(turns != 0, left - right, 1.0)
    positions = ks[:-1] + np.where(turns != 0, left / step, np.nan) * np.diff(ks)
    return positions, turns


def _crossing(at: float, turn: int, points: FloatArray, turns: FloatArray, chance_none: float) -> Crossing:
    side: Literal["below", "above"] = "below" if turn > 0 else "above"
    if chance_none > MOST_WITHOUT:
        reason = f"no range: {chance_none * 100:.0f} % of the draws have no crossing"
        return Crossing(at, None, None, side, reason)
    distance = np.where(turns == turn, np.abs(points - at), np.inf)
    nearest = np.argmin(distance, axis=1)
    rows = np.isfinite(distance[np.arange(len(distance)), nearest])
    if np.mean(~rows) > MOST_WITHOUT:
        return Crossing(at, None, None, side, "no range: too many draws lack a crossing of this kind")
    like = points[np.arange(len(points)), nearest][rows]
    low, high = np.percentile(like, [LOW, HIGH])
    return Crossing(at, float(low), float(high), side, None)


def _text(pieces: Sequence[int], build: FloatArray, original: FloatArray, found: Sequence[Crossing]) -> str:
    dearer = "dearer" if build[0] > original[0] else "no dearer"
    if len(pieces) == 1:
        return f"At {pieces[0]} pieces, the only size compared, the build at cost is {dearer} than the original."
    if not found:
        span = f"{pieces[0]} to {pieces[-1]} pieces"
        return f"Never within {span}: the build at cost is {dearer} than the original at every size."
    told = [f"{c.build_cheaper} {c.pieces:.1f} pieces{_range(c)}" for c in found]
    return f"The build at cost is the cheaper one {', and '.join(told)}."


def _range(crossing: Crossing) -> str:
    if crossing.low is None or crossing.high is None:
        return f" ({crossing.reason})"
    return f" (8 in 10: {crossing.low:.1f} to {crossing.high:.1f})"
