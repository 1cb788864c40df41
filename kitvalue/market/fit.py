"""The hedonic regression: log price on what a kit is, how and when it was sold, series pooled, weights robust."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from kitvalue.intake.books.book import FloatArray, PriceBook
from kitvalue.intake.text.problems import Caution, RefusedError
from kitvalue.market.encoding import Recipe, Scaling, build_recipe, encode, of_book, offsets, paid, standardise
from kitvalue.market.fitted import UNUSUAL_WEIGHT, Fit, SeriesEffect, TermEstimate, UnusualRow, upside_down
from kitvalue.market.linear import Equations, Solution, reducer, reml_theta, residuals, solve, subset
from kitvalue.market.priors import leaning
from kitvalue.market.refine import Refined, refine
from kitvalue.market.robust import (
    EXACT_SCATTER,
    FULL_LEVERAGE,
    GROSS_WEIGHT,
    Weighted,
    huber_weights,
    level_sigma2,
    reweight,
    scatter_of,
)


def term_estimates(recipe: Recipe, params: FloatArray, bse: FloatArray, t: float) -> tuple[TermEstimate, ...]:
    """Each fixed coefficient with its standard error, arrays (p,), and 95 % range: t is Student's at df = n - tr H."""
    estimates = []
    for name, b, se in zip(recipe.names, params.tolist(), bse.tolist(), strict=True):
        ends = (b, b - t * se, b + t * se)
        unit = np.log(2) if name == "log_pieces" else 1.0  # twice the pieces
        percents = [None if name == "intercept" else 100 * float(np.expm1(unit * x)) for x in ends]
        estimates.append(TermEstimate(name, b, se, *ends[1:], *percents))
    return tuple(estimates)


def series_effects(recipe: Recipe, params: FloatArray, solution: Solution) -> tuple[SeriesEffect, ...]:
    """Each series' effect on the log price: from the average where pooled, else from the alphabet's first."""
    if recipe.pooled:
        effects = np.sqrt(solution.theta) * solution.coef[len(params) : len(params) + len(recipe.series)]
    else:
        own = {t.level: b for t, b in zip(recipe.terms, params[1:], strict=True) if t.source == "series"}
        effects = np.array([own.get(name, 0.0) for name in recipe.series])
    return tuple(
        SeriesEffect(name, rows, effect, 100 * float(np.expm1(effect)))
        for name, rows, effect in zip(recipe.series, recipe.rows_by_series, effects.tolist(), strict=True)
    )


LOOK = "look for misread rows, or add more kits"
WRONG = {
    "condition": ("kits in better condition come out cheaper", LOOK),
    "log_pieces": ("bigger kits come out cheaper", LOOK),
    "sold": ("sold kits come out dearer than those asked for", "are their prices those that were paid?"),
}


def wrong_signs(terms: Sequence[TermEstimate]) -> list[Caution]:
    """The signs that no market has; of a condition that is wrong beyond doubt `upside_down` says more."""
    said = []
    for e in terms:
        wrong = e.coefficient > 0 if e.name == "sold" else e.coefficient < 0
        if wrong and e.name in WRONG and (e.name != "condition" or e.high >= 0):
            what, cure = WRONG[e.name]
            sure = "" if e.high < 0 or e.low > 0 else " (the range allows the opposite)"
            said.append(Caution(f"wrong_sign_{e.name}", f"{what} in this book{sure}: {cure}"))
    return said


MIN_ROWS = 12
SPARE_ROWS = 4  # beyond the unknowns, before prices are said to follow a formula
SAMPLE_ROWS = 5000
SAMPLE_SEED = 20260101


def fit_book(
    book: PriceBook, haggle: float | None, *, robust: bool = True, pooled: bool = True, least: int = MIN_ROWS
) -> Fit:
    """Fit a price book. Raises RefusedError under `least` usable rows or with fewer rows than unknowns."""
    if (short := least - len(book)) > 0:
        raise RefusedError(
            f"{len(book)} usable rows; a fit needs {least}: add {short} more observed kit{'s' if short > 1 else ''}"
        )
    recipe = build_recipe(book, haggle, pooled)
    rows = of_book(book, recipe.reference_date)
    if len(book) <= len(recipe.names):
        raise RefusedError(f"{len(book)} usable rows for {len(recipe.names)} unknowns: add more observed kits")
    F = encode(rows, tuple(term for term in recipe.terms if term.source != "series"), recipe.series)
    scaling = standardise(F)
    F, y = scaling.apply(F), np.log(paid(book)) - offsets(rows, recipe)
    levels = recipe.series
    if not recipe.pooled:  # indicators of all series but the first of the alphabet
        levels = tuple(term.level for term in recipe.terms if term.source == "series")
        scaling = Scaling(np.append(scaling.center, [0.0] * len(levels)), np.append(scaling.scale, [1.0] * len(levels)))
    codes = np.array([levels.index(name) if name in levels else len(levels) for name in recipe.series])
    equations = Equations(F, codes[book.series], len(levels), y, recipe.pooled)
    reduced = reducer(equations, book.weight)
    if robust:
        weighted = reweight(equations, book.weight, reduced)
        fitted = Refined(equations, book.weight, reduced, weighted, (), np.ones(len(recipe.series)))
        spare = len(book) - float(weighted.left.leverage.sum())
        if pooled and (weighted.scatter > EXACT_SCATTER or spare < SPARE_ROWS):
            fitted = leaning(fitted, recipe, scaling, len(book))
        if pooled and weighted.scatter > EXACT_SCATTER:
            fitted = refine(fitted, recipe, scaling, rows, len(book))
    else:  # least squares, with series REML
        triangle = reduced(book.weight)
        solution = solve(triangle, reml_theta(triangle))
        left = residuals(equations, book.weight, solution)
        weighted = Weighted(solution, np.ones(len(book)), left, scatter_of(left, book.weight), True)
        fitted = Refined(equations, book.weight, reduced, weighted, (), np.ones(len(recipe.series)))
    return _finish(book, recipe, scaling, fitted, robust)


MOST_SHOWN = 1000
MANY_PIECES = 6  # more drums than most kits have
SLIP = 0.35  # how near the log of the ratio must lie to the log of 10 or 100


def unusual_rows(
    book: PriceBook,
    precision: FloatArray,
    weights: FloatArray,
    e: FloatArray,
    h: FloatArray,
    scatter: float,
    terms: tuple[TermEstimate, ...],
) -> tuple[UnusualRow, ...]:
    """The rows with a robust weight (n,) under one half, the furthest first, at most 1,000; e and h as above."""
    light = np.flatnonzero(weights < UNUSUAL_WEIGHT)
    e, h = e[light], h[light]
    free = np.where(h < 1, 1 - h, np.inf)
    left_out = e / free
    studentised = e * np.sqrt(precision[light] / free) / scatter
    observed = paid(book)[light]
    hits = np.argsort(-np.abs(studentised), kind="stable")[:MOST_SHOWN]
    return tuple(
        UnusualRow(
            row=int(book.rows[at]),
            series=book.series_names[book.series[at]],
            weight=float(weights[at]),
            observed=float(observed[i]),
            expected=float(observed[i] * np.exp(-left_out[i])),
            studentised=float(studentised[i]),
            leverage=float(h[i]),
            moves_percent=100 * float(np.expm1(left_out[i] - e[i])),
            hint=hint(float(left_out[i]), book.pieces[at], book.price_kind[at] > 0, scatter, terms),
        )
        for i, at in zip(hits, light[hits], strict=True)
    )


def hint(log_ratio: float, pieces: float, sold: bool, scatter: float, terms: tuple[TermEstimate, ...]) -> str:
    """What single slip would explain a row that far off, in the order of likelihood; empty where none would."""
    for times, word in ((100, "a hundred times"), (10, "ten times")):
        if abs(abs(log_ratio) - np.log(times)) < SLIP:
            return f"about {word} too {'high' if log_ratio > 0 else 'low'}: a slip of the decimal sign?"
    effects = {t.name: t.coefficient for t in terms}
    power = effects.get("log_pieces", 0.0)
    counted = round(float(pieces * np.exp(log_ratio / power))) if power > 0.1 else pieces  # at the expected price
    if log_ratio < 0 and pieces >= MANY_PIECES and 1 <= counted <= pieces - 2:
        return f"priced like {counted:g} drums: are cymbals or stands counted as pieces?"
    if sold and log_ratio > 0 and abs(log_ratio + effects.get("sold", 0.0)) < scatter:
        return "priced like one that is asked for: is it the price paid?"
    return "far too high: a bundle, or more than the kit in the price?" if log_ratio > np.log(2) else ""


CALCULATED = "were they calculated rather than seen?"
UNUSUAL_FIRST = "look at the unusual rows first"


def fit_cautions(terms: Sequence[TermEstimate], weighted: Weighted, free: int, kept: int) -> tuple[Caution, ...]:
    """What a reader of this fit has to know: of its rows `free` do not carry themselves, and `kept` are the sample."""
    turned, exact = upside_down(terms), weighted.scatter <= EXACT_SCATTER
    said = [] if turned is None else [turned]
    carried = len(weighted.huber) - free
    told = (
        (exact, "no_scatter", f"the prices follow a formula exactly, so there is no range: {CALCULATED}"),
        (not weighted.settled, "not_settled", f"the robust weights had not settled after 200 passes: {UNUSUAL_FIRST}"),
        (carried > 0, "own_rows", f"{carried} rows carry their own estimate alone and are not in the ranges' sample"),
        (kept < free, "drawn_rows", f"ranges and chances come from {kept} rows drawn from the book with a fixed seed"),
    )
    said += [Caution(code, text) for so, code, text in told if so]
    return (*said, *wrong_signs(terms))


def _finish(book: PriceBook, recipe: Recipe, scaling: Scaling, fitted: Refined, robust: bool) -> Fit:
    """Standard errors come from `level`, the solution whose A carries no robust weights."""
    n, p, weighted, precision = len(book), len(recipe.names), fitted.weighted, fitted.precision
    solution, left, scatter = weighted.solution, weighted.left, weighted.scatter
    trace = float(left.leverage.sum())
    if n - trace <= 0:
        raise RefusedError(f"{n} usable rows cannot tell {trace:.0f} unknowns apart: add more observed kits")
    free_rows = max(n - trace, 1.0)  # Student's t of less than one degree of freedom says nothing any more
    exact = scatter <= EXACT_SCATTER
    level, sigma2 = solution, solution.rss / (n - p)
    if robust and not exact:
        known = np.where(weighted.huber <= GROSS_WEIGHT, GROSS_WEIGHT, 1.0)  # a row passed over tells nothing
        level = solve(fitted.reduced(precision * known), solution.thetas)
        sigma2 = level_sigma2(left, scatter, precision, trace)
    back = scaling.back()
    params, bse = back @ solution.coef[:p], np.sqrt(sigma2 * ((back @ level.root[:p]) ** 2).sum(axis=1))
    terms = term_estimates(recipe, params, bse, fitted.allowance * float(stdtrit(free_rows, 0.975)))
    unusual: tuple[UnusualRow, ...] = ()
    if not exact:  # those of a plain fit are told by the weights that a robust one would start from
        weights = weighted.huber if robust else huber_weights(left.residuals, precision, scatter)
        unusual = unusual_rows(book, precision, weights, left.residuals, left.leverage, scatter, terms)
    free = np.flatnonzero(left.leverage <= FULL_LEVERAGE)
    keep = free
    if len(free) > SAMPLE_ROWS:
        keep = np.sort(np.random.default_rng(SAMPLE_SEED).choice(free, SAMPLE_ROWS, replace=False))
    return Fit(
        recipe=recipe,
        robust=robust,
        scaling=scaling,
        theta=solution.theta,
        blocks=fitted.blocks,
        ratios=fitted.ratios,
        sigma2=sigma2,
        tau2=solution.theta * sigma2,
        scatter=scatter,
        coef=solution.coef,
        root=solution.root,
        level_root=level.root,
        df=n - trace,
        allowance=fitted.allowance,
        level_t=tuple((fitted.allowance * stdtrit(free_rows, 0.5 + np.arange(1, 100) / 200)).tolist()),
        book=subset(book, keep),
        weights=(precision * weighted.huber)[keep],
        residuals=left.residuals[keep],
        leverage=left.leverage[keep],
        rows_used=n,
        exact=exact,
        terms=terms,
        series=series_effects(recipe, params, solution),
        unusual=unusual,
        accuracy=None,
        cautions=fit_cautions(terms, weighted, len(free), len(keep)),
    )
