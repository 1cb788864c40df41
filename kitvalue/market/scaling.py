"""How columns are made alike before they are solved for: centred and scaled, series as indicators."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.book import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Scaling:
    """How fixed columns are standardised: (column - center) / scale. The intercept, column 0, stays as it is."""

    center: FloatArray  # (p,)
    scale: FloatArray  # (p,)

    def apply(self, F: FloatArray) -> FloatArray:
        """(n, p) raw columns -> (n, p) standardised ones, column by column in memory."""
        columns_first = np.empty((F.shape[1], len(F)))
        for j, column in enumerate(columns_first):
            np.divide(F[:, j] - self.center[j], self.scale[j], out=column)
        return columns_first.T

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
        spread = F[:, j] - center[j]
        scale[j] = np.sqrt(spread @ spread / len(F)) or 1.0
    return Scaling(center, scale)


def indicators(codes: IntArray, q: int) -> FloatArray:
    """(n, q) series indicators; a code of -1 gives a row of zeros."""
    return np.asarray(codes[:, None] == np.arange(q)[None, :], dtype=np.float64)
