"""The hedonic regression: log price on what a kit is, how and when it was sold, series pooled, weights robust."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import stdtrit

from kitvalue.intake.books.book import FloatArray, IntArray, PriceBook
from kitvalue.intake.text.problems import RefusedError
from kitvalue.market import encoding as columns
from kitvalue.market.design import build_recipe
from kitvalue.market.encoding import Recipe, Scaling, Term, encode_terms, offsets, standardise
from kitvalue.market.fitted import (
    GROSS_WEIGHT,
    HUBER_K,
    BoolArray,
    Fit,
    SeriesEffect,
    TermEstimate,
    UnusualRow,
    gross_rows,
    huber_weights,
    unusual_rows,
    upside_down,
)
from kitvalue.market.linear import (
    Equations,
    Reducer,
    Residuals,
    Solution,
    Triangle,
    reducer,
    reml_criterion,
    residuals,
    solve,
    subset,
)

LOOK = "look for misread rows, or add more kits"


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """A solved fit: `level` is the solution whose A carries no robust weights, from which standard errors come."""

    recipe: Recipe
    scaling: Scaling
    solution: Solution
    level: Solution
    sigma2: float
    df: float


def term_estimates(estimate: Estimate) -> tuple[TermEstimate, ...]:
    """Each fixed coefficient in its own unit with its standard error and 95 % range (Student t, df = n - tr H)."""
    back = estimate.scaling.back()
    p = len(back)
    params = back @ estimate.solution.coef[:p]
    bse = np.sqrt(estimate.sigma2 * ((back @ estimate.level.root[:p]) ** 2).sum(axis=1))
    reach = float(stdtrit(estimate.df, 0.975)) * bse
    terms: tuple[Term | None, ...] = (None, *estimate.recipe.terms)
    return tuple(
        TermEstimate(
            name=name,
            coefficient=float(b),
            se=float(se),
            low=float(b - r),
            high=float(b + r),
            percent=_percent(term, float(b)),
            percent_low=_percent(term, float(b - r)),
            percent_high=_percent(term, float(b + r)),
        )
        for name, term, b, se, r in zip(estimate.recipe.names, terms, params, bse, reach, strict=True)
    )


def _percent(term: Term | None, coefficient: float) -> float | None:
    """What one unit more does to the price, in percent; for pieces what twice as many do."""
    if term is None:
        return None
    power = coefficient * np.log(2) if term.source == "pieces" else coefficient
    return 100 * float(np.expm1(power))


def series_effects(estimate: Estimate) -> tuple[SeriesEffect, ...]:
    """Each series' effect on the log price: from the average where pooled, else from the alphabet's first."""
    recipe = estimate.recipe
    if recipe.pooled:
        effects = np.sqrt(estimate.solution.theta) * estimate.solution.coef[len(recipe.names) :]
    else:
        params = estimate.scaling.back() @ estimate.solution.coef
        own = {t.level: float(b) for t, b in zip(recipe.terms, params[1:], strict=True) if t.source == "series"}
        effects = np.array([own.get(name, 0.0) for name in recipe.series])
    return tuple(
        SeriesEffect(name, rows, float(effect), 100 * float(np.expm1(effect)))
        for name, rows, effect in zip(recipe.series, recipe.rows_by_series, effects, strict=True)
    )


def fit_cautions(estimate: Estimate, settled: bool, exact: bool, kept: int, self_carried: int) -> tuple[str, ...]:
    """What a reader of this fit has to know."""
    terms = term_estimates(estimate)
    turned = upside_down(terms)
    found = [] if turned is None else [turned]
    if exact:
        found.append(
            "the prices follow a formula exactly, so there is no range: were they calculated rather than seen?"
        )
    if not settled:
        found.append("the robust weights had not settled after 200 passes: look at the unusual rows first")
    if self_carried:
        found.append(f"{self_carried} rows carry their own estimate alone and are not in the ranges' sample")
    if kept + self_carried < sum(estimate.recipe.rows_by_series):
        found.append(f"ranges and chances come from {kept} rows drawn from the book with a fixed seed")
    found += [_wrong_sign(e) for e in terms if _is_wrong(e)]
    return tuple(found)


def _is_wrong(e: TermEstimate) -> bool:
    """A sign that no market has; of a condition that is wrong beyond doubt `upside_down` says more."""
    if e.name == "sold":
        return e.coefficient > 0
    return e.coefficient < 0 and (e.name == "log_pieces" or (e.name == "condition" and e.high >= 0))


def _wrong_sign(e: TermEstimate) -> str:
    what, cure = {
        "condition": ("kits in better condition come out cheaper", LOOK),
        "log_pieces": ("bigger kits come out cheaper", LOOK),
        "sold": ("sold kits come out dearer than those asked for", "are their prices those that were paid?"),
    }[e.name]
    sure = "" if e.high < 0 or e.low > 0 else " (the range allows the opposite)"
    return f"{what} in this book{sure}: {cure}"


FLAT = 1e-10  # a smaller gain is rounding: where no series has two rows, every theta fits alike
GRID = tuple(float(x) for x in np.linspace(np.log(1e-8), np.log(1e8), 49))


def reml_theta(triangle: Triangle) -> float:
    """The theta that minimises the REML criterion; exactly 0 where no spread between series is the best answer.

    A coarse grid finds the valley, the score's zero in it sharpens the answer to rounding (the criterion itself is flat
    there), and theta = 0 is compared exactly.
    """
    if triangle.q < 2:
        return 0.0
    values = [reml_criterion(triangle, float(np.exp(x))) for x in GRID]
    best = int(np.argmin(values))
    low, high = GRID[max(best - 1, 0)], GRID[min(best + 1, len(GRID) - 1)]
    theta = float(np.exp(_valley(triangle, low, high)))
    none = reml_criterion(triangle, 0.0)
    return theta if reml_criterion(triangle, theta) < none - FLAT * (1 + abs(none)) else 0.0


def reml_score(triangle: Triangle, theta: float) -> float:
    """Slope of the REML criterion in log theta: q - tr(A^-1 on the series) - u'u / (sigma2 theta), Harville (1977).

    Negative where more spread between series fits better.
    """
    solution = solve(triangle, theta)
    series = slice(triangle.p, None)
    trace = float((solution.root[series] ** 2).sum())
    spread = float(solution.coef[series] @ solution.coef[series])
    return triangle.q - trace - spread * (triangle.n - triangle.p) / solution.rss


def _valley(triangle: Triangle, low: float, high: float) -> float:
    """The lowest point in log theta between two bounds."""

    def score(x: float) -> float:
        return reml_score(triangle, float(np.exp(x)))

    if score(low) < 0 < score(high):
        return float(brentq(score, low, high, xtol=1e-14, rtol=1e-14))
    found = minimize_scalar(lambda x: reml_criterion(triangle, float(np.exp(x))), bounds=(low, high), method="bounded")
    return float(found.x)


MIN_ROWS = 12
NORMAL_MAD = 0.6745
THETA_PASSES = 5
MAX_PASSES = 200
WEIGHT_CHANGE = 1e-8
GROSS_PASSES = 5
CARRYING = 1e-3  # leverage that no row of gross weight has unless a term rests on such rows alone
EXACT_SCATTER = 1e-4  # of the log price: prices rounded to the cent scatter less than this around a formula
FULL_LEVERAGE = 1 - 1e-8
SAMPLE_ROWS = 5000
SAMPLE_SEED = 20260101


@dataclass(frozen=True, slots=True, eq=False)
class Weighted:
    """The end of the reweighting. Arrays are (n,); `huber` are the robust weights alone."""

    solution: Solution
    huber: FloatArray
    left: Residuals
    scatter: float
    settled: bool

    @property
    def residuals(self) -> FloatArray:
        return self.left.residuals

    @property
    def leverage(self) -> FloatArray:
        return self.left.leverage


def fit_book(book: PriceBook, haggle: float | None, *, robust: bool = True, pooled: bool = True) -> Fit:
    """Fit a price book. Raises RefusedError under 12 usable rows or with fewer rows than unknowns."""
    if len(book) < MIN_ROWS:
        short = MIN_ROWS - len(book)
        raise RefusedError(
            f"{len(book)} usable rows; a fit needs {MIN_ROWS}: add {short} more observed kit{'s' if short > 1 else ''}"
        )
    return fit_rows(book, haggle, robust=robust, pooled=pooled)


def fit_rows(book: PriceBook, haggle: float | None, *, robust: bool, pooled: bool) -> Fit:
    """Fit however few rows there are; `fit_book` is the one that asks for enough."""
    rows = columns.of_book(book, columns.newest_date(book))
    recipe = build_recipe(book, rows, haggle, pooled)
    F = encode_terms(rows, recipe.numbers, recipe.series)
    unknowns = len(recipe.names)
    if len(book) <= unknowns:
        raise RefusedError(f"{len(book)} usable rows for {unknowns} unknowns: add more observed kits")
    scaling = standardise(F)
    y = np.log(book.price * (1 + book.premium / 100)) - offsets(rows, recipe)
    equations = _equations(book, recipe, scaling.apply(F, out=F), y)
    reduced = reducer(equations, book.weight)
    found = (reweight if robust else plain)(equations, book.weight, reduced)
    return _finish(book, recipe, scaling.beside(unknowns - F.shape[1]), reduced, found, robust)


def _equations(book: PriceBook, recipe: Recipe, F: FloatArray, y: FloatArray) -> Equations:
    """Series as pooled columns, or as the recipe's own indicators, the first of the alphabet without one."""
    if recipe.pooled:
        return Equations(F, book.series, len(recipe.series), y)
    levels = [term.level for term in recipe.terms if term.source == "series"]
    codes = np.array([levels.index(name) if name in levels else len(levels) for name in recipe.series])
    return Equations(F, codes[book.series], len(levels), y, pooled=False)


def plain(equations: Equations, precision: FloatArray, reduced: Reducer) -> Weighted:
    """Least squares (with series: REML) with precision weights (n,) alone."""
    triangle = reduced(precision)
    solution = solve(triangle, reml_theta(triangle))
    left = residuals(equations, precision, solution)
    return Weighted(solution, np.ones(len(precision)), left, scatter_of(left, precision), True)


def reweight(equations: Equations, precision: FloatArray, reduced: Reducer) -> Weighted:
    """Huber's M-estimate by iterated reweighting, k = 1.345 (Huber 1981, Robust Statistics, ch. 7), less gross rows.

    Huber's weights leave a slip of a factor of 10 or 100 some pull on its own series. So rows over 8 scales off are
    then given nearly no weight and the others fitted anew from where they stand, until no further row is that far off:
    a redescending second step from a monotone first one (Maronna, Martin and Yohai 2006, Robust Statistics, ch. 5).
    """
    gross = carriers = np.zeros(len(precision), dtype=np.bool_)
    found = _settle(equations, precision, reduced, np.ones(len(precision)), gross)
    for _ in range(GROSS_PASSES):
        if found.scatter <= EXACT_SCATTER:
            break
        left = found.left
        far = gross_rows(left.residuals, left.leverage, precision, found.scatter, equations.codes)
        fresh = (gross | far) & ~carriers
        if np.array_equal(fresh, gross):
            break
        gross, found = fresh, _settle(equations, precision, reduced, found.huber, fresh)
        carrying = gross & (found.leverage > CARRYING)
        if carrying.any():  # without them nothing would be known of some term
            carriers, gross = carriers | carrying, gross & ~carrying
            found = _settle(equations, precision, reduced, np.where(carrying, 1.0, found.huber), gross)
    return found


def _settle(
    equations: Equations, precision: FloatArray, reduced: Reducer, huber: FloatArray, gross: BoolArray
) -> Weighted:
    """Reweight from the weights `huber` (n,) until they stand still, rows in `gross` (n,) with nearly none.

    theta is re-estimated in the first passes and then frozen, so that the rest is a fixed-point iteration; the scale
    allows for leverage, since a plain median absolute deviation flags too many rows of a small book.
    """
    huber = np.where(gross, GROSS_WEIGHT, huber)
    theta, settled = 0.0, False
    for step in range(MAX_PASSES):
        weights = precision * huber
        triangle = reduced(weights)
        if step < THETA_PASSES:
            theta = reml_theta(triangle)
        solution = solve(triangle, theta)
        left = residuals(equations, weights, solution)
        scatter = scatter_of(left, precision)
        exact = scatter <= EXACT_SCATTER
        fresh = np.ones(len(huber)) if exact else huber_weights(left.residuals, precision, scatter)
        fresh[gross] = GROSS_WEIGHT
        change = float(np.abs(fresh - huber).max())
        settled = step >= THETA_PASSES and change < WEIGHT_CHANGE
        if settled:
            break
        huber = fresh
    return Weighted(solution, huber, left, scatter, settled)


def scatter_of(left: Residuals, precision: FloatArray) -> float:
    """s = median(|e| / sqrt(1 - h)) / 0.6745 about 0, of the rows that do not carry themselves."""
    e, h = left.residuals, left.leverage
    free = h < FULL_LEVERAGE
    if not np.any(free):
        return 0.0
    if not np.all(free):
        e, h, precision = e[free], h[free], precision[free]
    far = np.subtract(1.0, h)
    np.divide(precision, far, out=far)
    np.sqrt(far, out=far)
    far *= np.abs(e)
    return float(np.median(far, overwrite_input=True)) / NORMAL_MAD


def level_sigma2(found: Weighted, precision: FloatArray, trace: float) -> float:
    """Huber's variance of the coefficients' unit: K^2 s^2 sum(psi^2) / df / m^2 (Huber 1981, section 7.6)."""
    n = len(precision)
    t = found.residuals * np.sqrt(precision) / found.scatter
    psi = np.clip(t, -HUBER_K, HUBER_K)
    m = float(np.mean(np.abs(t) <= HUBER_K))
    K = 1 + (trace / n) * (1 - m) / m
    return float(K**2 * found.scatter**2 * (psi @ psi) / (n - trace) / m**2)


def _finish(book: PriceBook, recipe: Recipe, scaling: Scaling, reduced: Reducer, found: Weighted, robust: bool) -> Fit:
    n, p = len(book), len(recipe.names)
    trace = float(found.leverage.sum())
    if n - trace <= 0:
        raise RefusedError(f"{n} usable rows cannot tell {trace:.0f} unknowns apart: add more observed kits")
    exact = found.scatter <= EXACT_SCATTER
    level, sigma2 = found.solution, found.solution.rss / (n - p)
    if robust and not exact:
        known = np.where(found.huber <= GROSS_WEIGHT, GROSS_WEIGHT, 1.0)  # a row passed over tells nothing of the level
        level = solve(reduced(book.weight * known), found.solution.theta)
        sigma2 = level_sigma2(found, book.weight, trace)
    estimate = Estimate(recipe, scaling, found.solution, level, sigma2, n - trace)
    terms = term_estimates(estimate)
    keep = _sample(found.leverage)
    return Fit(
        recipe=recipe,
        robust=robust,
        scaling=scaling,
        theta=found.solution.theta,
        sigma2=sigma2,
        tau2=found.solution.theta * sigma2,
        scatter=found.scatter,
        coef=found.solution.coef,
        root=found.solution.root,
        level_root=level.root,
        df=n - trace,
        level_t=tuple(float(t) for t in stdtrit(n - trace, 0.5 + np.arange(1, 100) / 200)),
        book=subset(book, keep),
        weights=(book.weight * found.huber)[keep],
        residuals=found.residuals[keep],
        leverage=found.leverage[keep],
        rows_used=n,
        exact=exact,
        terms=terms,
        series=series_effects(estimate),
        unusual=() if exact else _unusual(book, found, robust, terms),
        accuracy=None,
        cautions=fit_cautions(estimate, found.settled, exact, len(keep), int((found.leverage > FULL_LEVERAGE).sum())),
    )


def _unusual(book: PriceBook, found: Weighted, robust: bool, terms: tuple[TermEstimate, ...]) -> tuple[UnusualRow, ...]:
    """By the robust weights; of a plain fit by those that a robust one would start from."""
    weights = found.huber if robust else huber_weights(found.residuals, book.weight, found.scatter)
    return unusual_rows(book, weights, found.left, found.scatter, terms)


def _sample(leverage: FloatArray) -> IntArray:
    """The rows of the outlook's sample: all that do not carry themselves, at most 5,000 drawn with a fixed seed."""
    keep = np.flatnonzero(leverage <= FULL_LEVERAGE)
    if len(keep) > SAMPLE_ROWS:
        keep = np.sort(np.random.default_rng(SAMPLE_SEED).choice(keep, SAMPLE_ROWS, replace=False))
    return keep
