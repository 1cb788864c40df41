"""Random effects beside the series: what the straight lines of the fixed terms miss, let in by the data alone.

Every block is a set of columns with normal coefficients of one variance (Robinson 1991, Statistical Science 6:15-51).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.market.encoding import CONDITION_ZERO, Columns, Recipe, indicators
from kitvalue.market.linear import Triangle, reml_thetas

QUARTER = 0.25  # of a year
BlockName = Literal["trend", "walk", "slope", "bends"]


@dataclass(frozen=True, slots=True)
class Block:
    """One block. `knots` are where its lines start or are centred, `blank` the years of a row without a date.

    trend: each series' own change a year; walk: a step of the market at the start of each quarter (a random walk);
    slope: each series' own effect of the condition; bends: of the condition's line, at grades 2, 3 and 4.
    """

    name: BlockName
    knots: tuple[float, ...]
    blank: float = 0.0
    theta: float = 0.0

    @property
    def by_series(self) -> bool:
        """Has each series columns of its own?"""
        return self.name in ("trend", "slope")

    @property
    def group(self) -> Literal["time", "condition"]:
        """What it adjusts for."""
        return "time" if self.name in ("trend", "walk") else "condition"

    def size(self, series: int) -> int:
        """How many columns it has."""
        return len(self.knots) * (series if self.by_series else 1)

    def bases(self, rows: Columns) -> FloatArray:
        """(n, knots) the block's lines before they are split by series."""
        if self.group == "condition":
            return self.bases_at(rows.condition)
        return self.bases_at(np.where(np.isnan(rows.years), self.blank, rows.years))

    def bases_at(self, x: FloatArray) -> FloatArray:
        """(n, knots) the same at grades or years (n,). A straight line is taken out of bends and walk: the fit is the
        same, and the fixed effect beside them says what a grade or a year does on the whole."""
        if self.by_series:
            return np.asarray(x[:, None] - np.array(self.knots))
        start, end = (1.0, 5.0) if self.name == "bends" else (self.knots[-1] - QUARTER, 0.0)
        grid = np.linspace(start, end, 65)
        line, *_ = np.linalg.lstsq(np.vander(grid, 2), self._lines(grid), rcond=None)
        return np.asarray(self._lines(x) - np.vander(x, 2) @ line)

    def _lines(self, x: FloatArray) -> FloatArray:
        above = x[:, None] - np.array(self.knots)
        return np.asarray(above >= 0, dtype=np.float64) if self.name == "walk" else np.maximum(above, 0.0)

    def columns(self, rows: Columns, series: int) -> FloatArray:
        """(n, columns) for any kits; a series that the book does not have gives zeros."""
        bases = self.bases(rows)
        return bases * indicators(rows.series, series) if self.by_series else bases


BENDS = (2.0, 3.0, 4.0)
GAIN = 0.5  # in -2 log restricted likelihood; a test at 5 % would keep out much that ranges and levels need


def possible_blocks(rows: Columns, recipe: Recipe) -> tuple[Block, ...]:
    """Every block that the book could tell: those of time where there is a time effect, by series where there are
    several, bends where grades lie on both sides."""
    blocks = []
    if recipe.has("condition"):
        low, high = recipe.conditions_seen
        if knots := tuple(k for k in BENDS if low < k < high):
            blocks.append(Block("bends", knots))
        if recipe.pooled:
            blocks.append(Block("slope", (CONDITION_ZERO,)))
    if recipe.has("years"):
        blank = next(t.blank for t in recipe.terms if t.source == "years")
        starts = np.arange(0.0, np.nanmin(rows.years) + QUARTER / 2, -QUARTER)[1:]
        if len(starts):
            blocks.append(Block("walk", tuple(starts.tolist()), blank))
        if recipe.pooled:
            blocks.append(Block("trend", (blank,), blank))
    return tuple(blocks)


def admitted(
    reduced: Triangle, blocks: tuple[Block, ...], theta: float, criterion: float
) -> tuple[float, tuple[Block, ...]]:
    """Which blocks enter, with the thetas of the series and of each: those that gain by themselves, less those without
    which the others do as well. A theta is cut by GAIN over what the block gains, so that none enters with a jump.
    `reduced` has the columns of all, in their order; `theta` and `criterion` are those of
    the series alone."""

    def fitted(some: tuple[Block, ...]) -> tuple[tuple[float, ...], float]:
        return reml_thetas(_part(reduced, blocks, some), (theta, *(b.theta or 0.1 for b in some)))

    chosen = tuple(b for b in blocks if criterion - fitted((b,))[1] > GAIN)
    while chosen:
        thetas, best = fitted(chosen)
        chosen = tuple(replace(b, theta=t) for b, t in zip(chosen, thetas[1:], strict=True))
        losses = [(criterion if len(chosen) == 1 else fitted(_without(chosen, b))[1]) - best for b in chosen]
        weakest = int(np.argmin(losses))
        if losses[weakest] > GAIN:
            return thetas[0], tuple(
                replace(b, theta=b.theta * (1 - GAIN / lost)) for b, lost in zip(chosen, losses, strict=True)
            )
        chosen = _without(chosen, chosen[weakest])
    return theta, ()


def _without(blocks: tuple[Block, ...], one: Block) -> tuple[Block, ...]:
    return tuple(b for b in blocks if b is not one)


def _part(whole: Triangle, blocks: tuple[Block, ...], some: tuple[Block, ...]) -> Triangle:
    """The triangle of some of the blocks."""
    names = {b.name for b in some}
    ends = np.cumsum([whole.p + whole.q - sum(whole.blocks), *whole.blocks])
    columns = [np.arange(ends[0])]
    sizes = []
    for block, start, end in zip(blocks, ends, ends[1:], strict=False):
        if block.name in names:
            columns.append(np.arange(start, end))
            sizes.append(int(end - start))
    at = np.concatenate([*columns, [whole.R.shape[1] - 1]])
    q = len(at) - 1 - whole.p
    return replace(whole, R=whole.R[:, at], q=q, blocks=tuple(sizes))
