"""How columns are made alike before they are solved for: centred and scaled, series as indicators."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.book import FloatArray, IntArray

BLOCK = 16_384  # rows worked on at a time, so that they stay in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class Scaling:
    """How fixed columns are standardised: (column - center) / scale. The intercept, column 0, stays as it is."""

    center: FloatArray  # (p,)
    scale: FloatArray  # (p,)

    def apply(self, F: FloatArray, out: FloatArray | None = None) -> FloatArray:
        """(n, p) raw columns -> (n, p) standardised ones, column by column in memory; `out` may be F itself."""
        result = np.empty((F.shape[1], len(F))).T if out is None else out
        for j, center in enumerate(self.center):
            np.subtract(F[:, j], center, out=result[:, j])
            result[:, j] /= self.scale[j]
        return result

    def beside(self, raw: int) -> Scaling:
        """The same with so many further columns that stay as they are."""
        return Scaling(np.append(self.center, np.zeros(raw)), np.append(self.scale, np.ones(raw)))

    def back(self) -> FloatArray:
        """(p, p) matrix that turns standardised coefficients into those of the raw columns."""
        M = np.diag(1.0 / self.scale)
        M[0, 1:] = -self.center[1:] / self.scale[1:]
        return M


def standardise(F: FloatArray) -> Scaling:
    """Centre and scale of each column of F (n, p), whose column 0 is the intercept."""
    center, scale = np.zeros(F.shape[1]), np.ones(F.shape[1])
    for j in range(1, F.shape[1]):
        center[j] = F[:, j].mean()
        scale[j] = np.sqrt(squares_about(F[:, j], center[j]) / len(F)) or 1.0
    return Scaling(center, scale)


def squares_about(column: FloatArray, center: float) -> float:
    """The sum of squares of a column (n,) about a value."""
    squares = 0.0
    for at in range(0, len(column), BLOCK):
        spread = column[at : at + BLOCK] - center
        squares += float(np.einsum("i,i->", spread, spread))  # a long @ would wake other threads
    return squares


def indicators(codes: IntArray, q: int) -> FloatArray:
    """(n, q) series indicators; a code of -1 gives a row of zeros."""
    return np.asarray(codes[:, None] == np.arange(q)[None, :], dtype=np.float64)
