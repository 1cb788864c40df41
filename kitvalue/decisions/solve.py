"""Where a function of one unknown is 0: bisection on decimals, to far below a cent."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

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
