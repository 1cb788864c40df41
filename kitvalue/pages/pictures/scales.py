"""Round values for an axis, and bounds that one far value cannot stretch."""

from __future__ import annotations

import math
from collections.abc import Sequence

FEWEST = 3  # ticks that an axis needs to be read
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
LOG_SETS = ((1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0), (1.0, 2.0, 3.0, 5.0, 7.0), (1.0, 2.0, 5.0), (1.0, 3.0), (1.0,))


def linear_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """At most so many round values from low to high, low < high."""
    rough = (high - low) / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    for step in (s * power for s in (*STEPS, *(10 * s for s in STEPS))):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if step >= rough * (1 - 1e-9) and last - first + 1 <= most:
            return tuple(k * step for k in range(first, last + 1))
    return (low, high)


def log_ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """At most so many round values of a log axis, 0 < low < high: the finest set of digits that fits.

    Between two neighbouring digits of a short axis the values are evenly spaced instead.
    """
    powers = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
    for digits in LOG_SETS:
        inside = [d * 10.0**p for p in powers for d in digits if low <= d * 10.0**p <= high]
        if len(inside) <= most:
            return tuple(inside) if len(inside) >= FEWEST else linear_ticks(low, high, most)
    step = math.ceil(len(powers) / most)
    return tuple(10.0**p for p in powers if p % step == 0 and low <= 10.0**p <= high)


def bounds(cores: Sequence[tuple[float, float]], reach: float) -> tuple[float, float]:
    """Log-axis bounds around the (low, high) of every core, `reach` times further on either side."""
    return min(low for low, _ in cores) / reach, max(high for _, high in cores) * reach


def spread(wanted: Sequence[float], gap: float) -> tuple[float, ...]:
    """Heights near the wanted ones and at least `gap` apart, so that labels do not cover each other; order kept."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    clusters: list[list[int]] = []
    for i in order:
        clusters.append([i])
        while len(clusters) > 1 and _centre(clusters[-1], wanted) - _centre(clusters[-2], wanted) < (
            gap * (len(clusters[-1]) + len(clusters[-2])) / 2
        ):
            clusters[-2:] = [clusters[-2] + clusters[-1]]
    out = [0.0] * len(wanted)
    for cluster in clusters:
        start = _centre(cluster, wanted) - gap * (len(cluster) - 1) / 2
        for place, i in enumerate(cluster):
            out[i] = start + place * gap
    return tuple(out)


def _centre(cluster: Sequence[int], wanted: Sequence[float]) -> float:
    return sum(wanted[i] for i in cluster) / len(cluster)


def clamped(value: float, low: float, high: float) -> float:
    """The value, or the bound that it passes."""
    return min(max(value, low), high)
