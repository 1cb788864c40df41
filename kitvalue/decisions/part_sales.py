"""What a kit fetches in parts: scenarios in which each part is sold with its own chance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from kitvalue.intake.book import FloatArray
from kitvalue.intake.parts import Part
from kitvalue.intake.sizes import Size

SCENARIOS: Final = 400  # a chance in whole percent is a whole number of them
SEED: Final = 20260105
WEEKS_A_MONTH: Final = 365.25 / 12 / 7


@dataclass(frozen=True, slots=True, eq=False)
class PartSales:
    """m kits in parts; money, gross. `outcomes` are equally likely, a part's chance its share of them."""

    outcomes: FloatArray  # (m, SCENARIOS)
    values: FloatArray  # (m,) all parts sold
    months: FloatArray  # (m,) until the slowest is sold


@dataclass(frozen=True, slots=True)
class KitParts:
    """The parts of one kit: rows of parts.csv by place, a drum's row as often as the kit has such drums.

    `unknown` are the drums that no row means.
    """

    rows: tuple[int, ...]
    unknown: tuple[Size, ...]


def parts_of(sizes: Sequence[Size], parts: Sequence[Part]) -> KitParts:
    """Each drum by the row that means it most exactly, and once every part that is no drum."""
    rows, unknown = [], []
    for size in sizes:
        fits = [part.fits(size) for part in parts]
        best = max(fits, default=0)
        if best:
            rows.append(fits.index(best))
        else:
            unknown.append(size)
    rows += [i for i, part in enumerate(parts) if not part.is_drum]
    return KitParts(tuple(rows), tuple(unknown))


def drum_value(size: Size, parts: Sequence[Part]) -> float:
    """What a single drum is expected to fetch, gross: value times chance; 0 where no row means it."""
    best = max(parts, key=lambda part: part.fits(size), default=None)
    return 0.0 if best is None or not best.fits(size) else float(best.value * best.chance)


def part_sales(kits: Sequence[KitParts], parts: Sequence[Part]) -> PartSales:
    """The sales of kits in parts. Every copy of a part has its own fixed draw, the same for all kits."""
    most = max((kit.rows.count(i) for kit in kits for i in set(kit.rows)), default=0)
    rng = np.random.default_rng(SEED)
    sold = np.zeros((len(parts), most + 1, SCENARIOS))  # how much the first c copies bring
    for i, part in enumerate(parts):
        hits = np.arange(SCENARIOS) < round(float(part.chance) * SCENARIOS)
        draws = np.array([hits[rng.permutation(SCENARIOS)] for _ in range(most)]).reshape(most, SCENARIOS)
        sold[i, 1:] = float(part.value) * draws.cumsum(axis=0)
    copies = np.array([[kit.rows.count(i) for i in range(len(parts))] for kit in kits], dtype=np.int64)
    outcomes = np.zeros((len(kits), SCENARIOS))
    for i in range(len(parts)):
        outcomes += sold[i, copies[:, i]]
    values = copies @ np.array([float(p.value) for p in parts])
    weeks = (copies > 0) * np.array([float(p.weeks) for p in parts])
    return PartSales(outcomes, values, weeks.max(axis=1) / WEEKS_A_MONTH)
