"""The outlook of one kit: what it will sell for, as a sample of the market's own scatter.

Every left-out prediction comes in closed form from one solve, never from n refits: with r_i = e_i / (1 - h_i), leaving
row i out moves the prediction at x by -w_i (x' A^-1 c_i) r_i, weights and theta held fixed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import NormalDist, median  # numpy's median loads numpy.ma, a sixth of a start

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.text.problems import RefusedError, shown
from kitvalue.intake.text.words import listed, rows_phrase
from kitvalue.market import encoding as columns
from kitvalue.market.encoding import Kit, like, offsets
from kitvalue.market.fitted import GROSS, Fit

CLIP = 4.0  # residuals beyond this many s enter a mean as this many
UNSEEN_SEED = 20260102
DRAW_SEED = 20260103


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What a kit sells for, in money.

    `low` and `high` hold one sale (jackknife+), `level_low` and `level_high` the market's level; all four are None
    where the prices follow a formula exactly. `sample` (n,) is the signed sample from which chances are counted.
    """

    typical: float  # the median
    mean: float  # what expected profit is computed from
    low: float | None
    high: float | None
    level_low: float | None
    level_high: float | None
    range_percent: int
    sample: FloatArray
    rests_on: str  # what the step from asked to sold rests on
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """The fit's rows as every outlook uses them."""

    weighted: FloatArray  # (n, k) w_i c_i' root
    residuals: FloatArray  # (n,) left-out residuals
    typical_g: float  # median of the rows' own left-out x' A^-1 x


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """One kit's predictive sample on the log scale; arrays are (n,)."""

    typical: float
    predictions: FloatArray  # left-out predictions
    residuals: FloatArray  # left-out residuals, stretched
    clipped: FloatArray  # the same, made fit for means before stretching
    level_sd: float


def outlook(fit: Fit, kit: Kit, range_percent: int = 80, *, stretch: bool = True, unseen: bool = False) -> Outlook:
    """The outlook of one kit; see `outlooks`."""
    return outlooks(fit, [kit], range_percent, stretch=stretch, unseen=unseen)[0]


def outlooks(
    fit: Fit, kits: Sequence[Kit], range_percent: int = 80, *, stretch: bool = True, unseen: bool = False
) -> tuple[Outlook, ...]:
    """The outlook of each kit.

    `stretch=False` gives the jackknife+ exactly as published (Barber, Candes, Ramdas and Tibshirani 2021, Annals of
    Statistics 49:486-507); by default residuals are stretched for kits far from the book, which that range is too
    narrow for. `unseen` allows a series that the book does not have. Raises RefusedError for an unknown series, and
    where the book is too small for the range asked for.
    """
    cautions = [known_cautions(fit, kit, unseen=unseen) for kit in kits]
    rows = columns.of_kits(kits, fit.recipe.series, fit.recipe.reference_date, like(fit.recipe))
    shifts = offsets(rows, fit.recipe)
    X = fit.columns_of(rows)
    sample = sample_of(fit)
    return tuple(
        _in_money(
            fit,
            kit,
            scatter_at(fit, sample, X[i], stretch=stretch, unseen=bool(rows.series[i] < 0)),
            float(shifts[i]),
            range_percent,
            cautions[i],
        )
        for i, kit in enumerate(kits)
    )


def _in_money(
    fit: Fit, kit: Kit, scatter: Scatter, offset: float, range_percent: int, cautions: tuple[str, ...]
) -> Outlook:
    """Ends of ranges are simply exponentiated; the mean is the average of the sample in money."""
    centre = scatter.typical + offset
    low, high, level_low, level_high = None, None, None, None
    mean = float(np.exp(centre))
    if not fit.exact:
        ends = jackknife_plus(scatter.predictions, scatter.residuals, range_percent)
        low, high = (float(np.exp(x + offset)) for x in ends)
        reach = fit.level_t[range_percent - 1] * scatter.level_sd
        level_low, level_high = float(np.exp(centre - reach)), float(np.exp(centre + reach))
        mean = float(np.exp(scatter.predictions + scatter.clipped + offset).mean())
        far = fit.book.rows[np.abs(fit.left_out_residuals) > CLIP * fit.scatter]
        if len(far):
            told = "lies far from all others and counts" if len(far) == 1 else "lie far from all others and count"
            cautions += (
                f"{rows_phrase(far.tolist())} {told} in part or not at all in the mean: kitvalue fit says more",
            )
    return Outlook(
        typical=float(np.exp(centre)),
        mean=mean,
        low=low,
        high=high,
        level_low=level_low,
        level_high=level_high,
        range_percent=range_percent,
        sample=np.exp(scatter.predictions + scatter.residuals + offset),
        rests_on=fit.recipe.sold_basis if kit.price_kind == "sold" else "asked prices",
        cautions=cautions,
    )


def sample_of(fit: Fit) -> Sample:
    """What every kit's outlook needs of the fit's rows."""
    V = fit.columns_of(columns.of_book(fit.book, fit.recipe.reference_date)) @ fit.root
    own = (fit.leverage / fit.weights) / (1.0 - fit.leverage)
    return Sample(V * fit.weights[:, None], fit.left_out_residuals, median(own.tolist()))


def scatter_at(fit: Fit, sample: Sample, x: FloatArray, *, stretch: bool, unseen: bool) -> Scatter:
    """The predictive sample at encoded kit x (k,).

    The stretch is max(1, sqrt((1 + g) / (1 + median of the rows' own left-out g))), g = x' A^-1 x: how uncertain the
    prediction at x is, against how uncertain it was where the residuals come from.
    """
    v = x @ fit.root
    r = sample.residuals
    factor = max(1.0, float(np.sqrt((1.0 + v @ v) / (1.0 + sample.typical_g)))) if stretch else 1.0
    cut = for_means(r, fit.scatter)
    variance = fit.sigma2 * float(((x @ fit.level_root) ** 2).sum())
    spread = np.zeros(len(r))
    if unseen:
        spread = np.sqrt(fit.tau2) * normal_scores(len(r))
        variance += fit.tau2
    typical = float(x @ fit.coef)
    return Scatter(
        typical=typical,
        predictions=typical - (sample.weighted @ v) * r,
        residuals=factor * r + spread,
        clipped=factor * cut + spread,
        level_sd=float(np.sqrt(variance)),
    )


def for_means(r: FloatArray, scatter: float) -> FloatArray:
    """(n,) residuals as they enter a mean: cut at 4 s, and 0 over 8 s, where a row tells nothing of such a kit."""
    return np.where(np.abs(r) > GROSS * scatter, 0.0, np.clip(r, -CLIP * scatter, CLIP * scatter))


def jackknife_plus(predictions: FloatArray, residuals: FloatArray, percent: int) -> tuple[float, float]:
    """The range that holds `percent` of new sales: order statistics of prediction -+ |residual|.

    With a = 1 - percent/100 they are number floor(a (n + 1)) from below and ceil((1 - a)(n + 1)), counted in exact
    arithmetic, since a float ceiling is off by one at some n. Raises RefusedError where n has no such number.
    """
    n = len(predictions)
    share = Fraction(percent, 100)
    low_at, high_at = math.floor((1 - share) * (n + 1)), math.ceil(share * (n + 1))
    if low_at < 1 or high_at > n:
        needed = math.ceil(share / (1 - share))
        raise RefusedError(f"{n} rows are too few for a {percent} % range: it needs {needed}; add kits or ask for less")
    reach = np.abs(residuals)
    low = np.sort(predictions - reach)[low_at - 1]
    high = np.sort(predictions + reach)[high_at - 1]
    return float(low), float(high)


def normal_scores(n: int) -> FloatArray:
    """(n,) quantiles of the standard normal in a fixed random order."""
    law = NormalDist()
    scores = np.array([law.inv_cdf((i + 0.5) / n) for i in range(n)])
    return scores[np.random.default_rng(UNSEEN_SEED).permutation(n)]


def typical_prices(fit: Fit, kits: Sequence[Kit]) -> FloatArray:
    """(kits,) typical prices alone. Every kit's series is in the book. Raises RefusedError as `outlooks` does where
    nothing says how far a sold price lies under an asked one."""
    if not kits:
        return np.empty(0)
    rows = columns.of_kits(kits, fit.recipe.series, fit.recipe.reference_date, like(fit.recipe))
    return np.asarray(np.exp(fit.columns_of(rows) @ fit.coef + offsets(rows, fit.recipe)))


def typical_draws(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
    """(draws, kits) typical prices under draws of the coefficients around their estimates, with a fixed seed."""
    rows = columns.of_kits(kits, fit.recipe.series, fit.recipe.reference_date, like(fit.recipe))
    X = fit.columns_of(rows)
    noise = np.random.default_rng(DRAW_SEED).standard_normal((draws, len(fit.coef)))
    coefs = fit.coef + np.sqrt(fit.sigma2) * noise @ fit.level_root.T
    return np.asarray(np.exp(coefs @ X.T + offsets(rows, fit.recipe)))


def no_such_series(series: str, known: Sequence[str]) -> RefusedError:
    """The refusal of a series that the book does not have: the one that may be meant, and all that there are."""
    from kitvalue.intake.text.words import likeness  # only a mistake needs it

    near = likeness(series, {name: name for name in known}).names[:3]
    hint = f"did you mean {listed(near, last='or')}? It" if near else "it"
    return RefusedError(f"no rows of {shown(series)} in the price book; {hint} has {listed(known)}")


def known_cautions(fit: Fit, kit: Kit, *, unseen: bool = False) -> tuple[str, ...]:
    """What to say beside a kit's outlook. Raises RefusedError for a series that the book does not have."""
    recipe = fit.recipe
    found = list(fit.cautions)
    if kit.series not in recipe.series:
        if not unseen:
            raise no_such_series(kit.series, recipe.series)
        if not recipe.pooled:
            raise RefusedError(f"{shown(kit.series)} is not in the book, and without pooling nothing is known of it")
        found.append(f"{kit.series} is not in the book: valued as a series of which nothing is known")
    else:
        count = recipe.rows_by_series[recipe.series.index(kit.series)]
        if count < 3:
            leans = "it leans on the other series" if recipe.pooled else "its range rests on very little"
            found.append(f"{kit.series} has only {count} row{'s' if count > 1 else ''} in the book: {leans}")
    found += _outside(fit, kit)
    found += [f"{name} left out: {why}" for name, why in _missing_terms(fit, kit)]
    return tuple(found)


def _outside(fit: Fit, kit: Kit) -> list[str]:
    found = []
    for what, value, (low, high) in (
        ("pieces", kit.pieces, fit.recipe.pieces_seen),
        ("condition", kit.condition, fit.recipe.conditions_seen),
    ):
        if not low <= value <= high:
            seen = f"{low:g}" if low == high else f"{low:g} to {high:g}"
            found.append(f"{what} {value:g} is outside the book ({seen}): the range may be too narrow")
    reference = fit.recipe.reference_date
    if kit.on is not None and reference is not None and kit.on > reference:
        found.append(f"{kit.on.isoformat()} is past the book's newest date ({reference.isoformat()})")
    return found


def _missing_terms(fit: Fit, kit: Kit) -> list[tuple[str, str]]:
    """Left-out terms that this kit would need: a channel mixed up with another term, or a feature that it names."""
    features = {f.name for f in kit.features} | {f"{f.name}={f.value}" for f in kit.features}
    needed = []
    for out in fit.recipe.left_out:
        mixed = out.term in ("dealer", "auction") and "inside" in out.reason
        asked = out.term == kit.channel or out.term in features
        if mixed or asked:
            needed.append((out.term, out.reason))
    return needed


SCATTER_SEED = 20260107


@dataclass(frozen=True, slots=True, eq=False)
class KitSamples:
    """m kits, n rows of the book; money.

    `sample` is the signed sample from which chances are counted; `clipped` the same with far residuals cut, from which
    means are taken. Column j is the market's scatter as row j of the book shows it, for every kit.
    """

    typical: FloatArray  # (m,)
    sample: FloatArray  # (m, n)
    clipped: FloatArray  # (m, n)


def kit_samples(fit: Fit, kits: Sequence[Kit]) -> KitSamples:
    """The samples of kits whose series are in the book: `outlook.outlooks` for all of them in one product.

    Raises RefusedError where nothing says how far a sold price lies under an asked one.
    """
    rows = columns.of_kits(kits, fit.recipe.series, fit.recipe.reference_date, like(fit.recipe))
    X = fit.columns_of(rows)
    shift = offsets(rows, fit.recipe)[:, None]
    base = sample_of(fit)
    V = X @ fit.root
    typical = (X @ fit.coef)[:, None] + shift
    r = base.residuals
    predictions = typical - (V @ base.weighted.T) * r
    stretch = np.maximum(1.0, np.sqrt((1.0 + (V**2).sum(axis=1)) / (1.0 + base.typical_g)))[:, None]
    cut = for_means(r, fit.scatter)
    sample = np.exp(predictions + stretch * r)
    clipped = sample if np.array_equal(cut, r) else np.exp(predictions + stretch * cut)
    return KitSamples(np.exp(typical[:, 0]), sample, clipped)


def shared_draws(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
    """(m, draws) prices of one sale of each kit: the coefficients drawn once for all kits, each sale's own scatter
    drawn for itself from e_i / sqrt(1 - h_i). Fixed seed. Two equal kits share the level and not the scatter."""
    level = np.log(typical_draws(fit, kits, draws).T)
    scatter = fit.residuals / np.sqrt(1.0 - fit.leverage)
    scatter = for_means(scatter, fit.scatter) if fit.scatter > 0 else scatter
    own = np.random.default_rng(SCATTER_SEED).integers(len(scatter), size=level.shape)
    prices: FloatArray = np.exp(level + scatter[own])
    return prices
