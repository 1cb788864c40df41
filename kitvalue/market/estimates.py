"""The solved equations as tables for people: coefficients with ranges, series effects, what to be careful about."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from kitvalue.market.fitted import SeriesEffect, TermEstimate
from kitvalue.market.linear import Solution
from kitvalue.market.recipe import Recipe
from kitvalue.market.scaling import Scaling
from kitvalue.market.terms import Term
from kitvalue.market.upside import upside_down

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
