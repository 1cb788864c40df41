"""The solver of integer programs, without the line that it writes to standard output now and then."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import numpy as np

from kitvalue.intake.books.book import FloatArray

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint, OptimizeResult


def least(costs: FloatArray, constraints: LinearConstraint, seconds: float) -> OptimizeResult:
    """The least of costs @ x over whole x of 0 and 1 within the constraints, proven or what is found in `seconds`."""
    from scipy.optimize import Bounds, milp

    with _hushed():
        return milp(
            costs, integrality=np.ones(len(costs), dtype=np.int64), bounds=Bounds(0, 1), constraints=constraints,
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )  # fmt: skip


@contextmanager
def _hushed() -> Iterator[None]:
    """HiGHS 1.8 prints where a solution is a hair outside a constraint, whatever it is told; such a line would stand in
    the middle of an answer. What C has buffered is emptied before the place for answers is back."""
    try:
        kept = os.dup(1)
    except OSError:  # it is closed
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        with suppress(OSError, TypeError, AttributeError):  # where C's library is not to be had so
            ctypes.CDLL(None).fflush(None)
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
