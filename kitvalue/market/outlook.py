"""The outlook of one kit: what it will sell for, as a sample of the market's own scatter; and what it is worth by that,
to buy in as it stands and to sell again finished.

Every left-out prediction comes in closed form from one solve, never from n refits: with r_i = e_i / (1 - h_i), leaving
row i out moves the prediction at x by -w_i (x' A^-1 c_i) r_i, weights and theta held fixed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import NormalDist, median  # numpy's median loads numpy.ma, a sixth of a start

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.text.problems import Caution, RefusedError, shown
from kitvalue.intake.text.words import likeness, listed, rows_phrase
from kitvalue.market.encoding import Kit, encode, of_kits, offsets, paid
from kitvalue.market.fitted import GROSS, Fit

CLIP = 4.0  # residuals beyond this many s enter a mean as this many
UNSEEN_SEED = 20260102
DRAW_SEED = 20260103
SHARED_SEED = 20260107


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
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """The fit's rows as every outlook uses them."""

    weighted: FloatArray  # (n, k) w_i c_i' root
    residuals: FloatArray  # (n,) left-out residuals
    usual: FloatArray  # (n,) the same, had every series the usual scatter
    clipped: FloatArray  # (n,) these, made fit for means
    typical_g: float  # median of the rows' own left-out x' A^-1 x


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """One kit's predictive sample on the log scale; arrays are (n,)."""

    typical: float
    predictions: FloatArray  # left-out predictions
    residuals: FloatArray  # left-out residuals, stretched
    clipped: FloatArray  # the same, made fit for means before stretching
    level_sd: float


@dataclass(frozen=True, slots=True, eq=False)
class KitSamples:
    """m kits, n rows of the book; money.

    `sample` is the signed sample from which chances are counted; `clipped` the same with far residuals cut, from which
    means are taken. Column j is the market's scatter as row j of the book shows it, for every kit.
    """

    typical: FloatArray  # (m,)
    sample: FloatArray  # (m, n)
    clipped: FloatArray  # (m, n)


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
    rows = of_kits(kits, fit.recipe)
    shifts = offsets(rows, fit.recipe).tolist()
    sample, unseens = sample_of(fit), (rows.series < 0).tolist()
    return tuple(
        _in_money(fit, kit, scatter_at(fit, sample, x, ratio, stretch=stretch, unseen=new), shift, range_percent, said)
        for kit, x, ratio, new, shift, said in zip(
            kits, fit.columns_of(rows), fit.ratio_of(rows.series).tolist(), unseens, shifts, cautions, strict=True
        )
    )


def _in_money(
    fit: Fit, kit: Kit, scatter: Scatter, shift: float, range_percent: int, cautions: tuple[Caution, ...]
) -> Outlook:
    """Ends of ranges are simply exponentiated; the mean is the average of the sample in money."""
    centre = scatter.typical + shift
    mean, low, high, level_low, level_high = float(np.exp(centre)), None, None, None, None
    if not fit.exact:
        ends = jackknife_plus(scatter.predictions, scatter.residuals, range_percent)
        low, high = (float(np.exp(x + shift)) for x in ends)
        reach = fit.level_t[range_percent - 1] * scatter.level_sd
        level_low, level_high = float(np.exp(centre - reach)), float(np.exp(centre + reach))
        mean = float(np.exp(scatter.predictions + scatter.clipped + shift).mean())
        far = fit.book.rows[np.abs(fit.usual_residuals) > CLIP * fit.scatter]
        if len(far):
            told = "lies far from the others and counts" if len(far) == 1 else "lie far from the others and count"
            some = f"{rows_phrase(far.tolist())} {told} little: see kitvalue fit"
            cautions += (Caution("far_rows", some),)
    return Outlook(
        typical=float(np.exp(centre)),
        mean=mean,
        low=low,
        high=high,
        level_low=level_low,
        level_high=level_high,
        range_percent=range_percent,
        sample=np.exp(scatter.predictions + scatter.residuals + shift),
        rests_on=fit.recipe.sold_basis if kit.price_kind == "sold" else "asked prices",
        cautions=cautions,
    )


def kit_samples(fit: Fit, kits: Sequence[Kit]) -> KitSamples:
    """The samples of kits whose series are in the book: those of `outlooks` for all of them in one product.

    Raises RefusedError where nothing says how far a sold price lies under an asked one.
    """
    rows, sample = of_kits(kits, fit.recipe), sample_of(fit)
    X = fit.columns_of(rows)
    V, typical = X @ fit.root, (X @ fit.coef)[:, None] + offsets(rows, fit.recipe)[:, None]
    r, cut, ratio = sample.usual, sample.clipped, fit.ratio_of(rows.series)
    predictions = typical - (V @ sample.weighted.T) * sample.residuals
    g = (V**2).sum(axis=1) / ratio**2
    stretch = (ratio * np.maximum(1.0, np.sqrt((1.0 + g) / (1.0 + sample.typical_g))))[:, None]
    signed = np.exp(predictions + stretch * r)
    clipped = signed if np.array_equal(cut, r) else np.exp(predictions + stretch * cut)
    return KitSamples(np.exp(typical[:, 0]), signed, clipped)


def sample_of(fit: Fit) -> Sample:
    """What every kit's outlook needs of the fit's rows."""
    weighted = fit.columns_of(fit.rows) @ fit.root * fit.weights[:, None]
    own = fit.leverage / (fit.weights * fit.ratio_of(fit.book.series) ** 2) / (1.0 - fit.leverage)
    r = fit.usual_residuals
    return Sample(weighted, fit.left_out_residuals, r, for_means(r, fit.scatter), median(own.tolist()))


def scatter_at(fit: Fit, sample: Sample, x: FloatArray, ratio: float = 1.0, *, stretch: bool, unseen: bool) -> Scatter:
    """The predictive sample at encoded kit x (k,), whose series scatters `ratio` times the usual. `unseen`: is its
    series not in the book?

    The stretch is max(1, sqrt((1 + g) / (1 + median of the rows' own left-out g))), g = x' A^-1 x / ratio^2: how
    uncertain the prediction at x is, against how uncertain it was where the residuals come from.
    """
    v, typical = x @ fit.root, float(x @ fit.coef)
    g = float(v @ v) / ratio**2
    factor = ratio * (max(1.0, float(np.sqrt((1.0 + g) / (1.0 + sample.typical_g)))) if stretch else 1.0)
    spread = np.sqrt(fit.tau2) * normal_scores(len(sample.residuals)) if unseen else 0.0
    variance = fit.sigma2 * float(((x @ fit.level_root) ** 2).sum()) + (fit.tau2 if unseen else 0.0)
    return Scatter(
        typical=typical,
        predictions=typical - (sample.weighted @ v) * sample.residuals,
        residuals=factor * sample.usual + spread,
        clipped=factor * sample.clipped + spread,
        level_sd=float(np.sqrt(variance)),
    )


def for_means(r: FloatArray, scatter: float) -> FloatArray:
    """(n,) residuals as they enter a mean: cut at 4 s, and 0 over 8 s, where a row tells nothing of such a kit."""
    return np.where(np.abs(r) > GROSS * scatter, 0.0, np.clip(r, -CLIP * scatter, CLIP * scatter))


def jackknife_plus(predictions: FloatArray, residuals: FloatArray, percent: int) -> tuple[float, float]:
    """The range that holds `percent` of new sales: order statistics of prediction -+ |residual|. Raises RefusedError
    where there are too few."""
    n = len(predictions)
    low_at, high_at = places(n, percent)
    if low_at < 1 or high_at > n:
        needed = -(-percent // (100 - percent))
        raise RefusedError(f"{n} rows are too few for a {percent} % range: it needs {needed}; add kits or ask for less")
    reach = np.abs(residuals)
    return float(np.sort(predictions - reach)[low_at - 1]), float(np.sort(predictions + reach)[high_at - 1])


def places(n: int, percent: int) -> tuple[int, int]:
    """Which of n order statistics hold `percent` of new sales, counted from 1: floor(a (n + 1)), ceil((1 - a)(n + 1))
    with a = 1 - percent/100, in whole numbers, since a float ceiling is off by one at some n."""
    return (100 - percent) * (n + 1) // 100, -(-percent * (n + 1) // 100)


def normal_scores(n: int) -> FloatArray:
    """(n,) quantiles of the standard normal in a fixed random order."""
    scores = np.array([NormalDist().inv_cdf((i + 0.5) / n) for i in range(n)])
    return scores[np.random.default_rng(UNSEEN_SEED).permutation(n)]


def typical_prices(fit: Fit, kits: Sequence[Kit]) -> FloatArray:
    """(kits,) typical prices alone. Every kit's series is in the book. Raises RefusedError as `outlooks` does where
    nothing says how far a sold price lies under an asked one."""
    rows = of_kits(kits, fit.recipe)
    return np.asarray(np.exp(fit.columns_of(rows) @ fit.coef + offsets(rows, fit.recipe)))


def typical_draws(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
    """(draws, kits) typical prices under draws of the coefficients around their estimates, with a fixed seed."""
    rows = of_kits(kits, fit.recipe)
    noise = np.random.default_rng(DRAW_SEED).standard_normal((draws, len(fit.coef)))
    coefs = fit.coef + np.sqrt(fit.sigma2) * noise @ fit.level_root.T
    return np.asarray(np.exp(coefs @ fit.columns_of(rows).T + offsets(rows, fit.recipe)))


def shared_draws(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
    """(m, draws) prices of one sale of each kit: the coefficients drawn once for all kits, each sale's own scatter
    drawn for itself from e_i / sqrt(1 - h_i). Fixed seed. Two equal kits share the level and not the scatter."""
    level = np.log(typical_draws(fit, kits, draws).T)
    scatter = fit.residuals / np.sqrt(1.0 - fit.leverage) / fit.ratio_of(fit.book.series)
    scatter = for_means(scatter, fit.scatter) if fit.scatter > 0 else scatter
    own = np.random.default_rng(SHARED_SEED).integers(len(scatter), size=level.shape)
    ratio = fit.ratio_of(of_kits(kits, fit.recipe).series)[:, None]
    return np.asarray(np.exp(level + ratio * scatter[own]))


def known_cautions(fit: Fit, kit: Kit, *, unseen: bool = False) -> tuple[Caution, ...]:
    """What to say beside a kit's outlook. Raises RefusedError for a series that the book does not have."""
    recipe = fit.recipe
    said = list(fit.cautions)
    if kit.series in recipe.series:
        count = recipe.rows_by_series[recipe.series.index(kit.series)]
        if count < 3:
            leans = "it leans on the other series" if recipe.pooled else "its range rests on very little"
            few = f"{kit.series} has only {count} row{'s' if count > 1 else ''} in the book: {leans}"
            said.append(Caution("thin_series", few))
    elif not unseen:
        near = likeness(kit.series, {name: name for name in recipe.series}).names[:3]
        hint = f"did you mean {listed(near, last='or')}? It" if near else "it"
        raise RefusedError(f"no rows of {shown(kit.series)} in the price book; {hint} has {listed(recipe.series)}")
    elif not recipe.pooled:
        raise RefusedError(f"{shown(kit.series)} is not in the book, and without pooling nothing is known of it")
    else:
        unknown = f"{kit.series} is not in the book: valued as a series of which nothing is known"
        said.append(Caution("unseen_series", unknown))
    ranges = [("pieces", kit.pieces, recipe.pieces_seen), ("condition", kit.condition, recipe.conditions_seen)]
    asked = {feature.name: feature.value for feature in kit.features}
    for seen in fit.book.features:
        value, known = asked.get(seen.name), seen.values[~np.isnan(seen.values)]
        if seen.kind == "number" and isinstance(value, float | int) and len(known):
            ranges.append((seen.name, value, (float(known.min()), float(known.max()))))
    for what, value, (low, high) in ranges:
        if not low <= value <= high:
            ends = f"{low:g}" if low == high else f"{low:g} to {high:g}"
            outside = f"{what} {value:g} is outside the book ({ends}): the range may be too narrow"
            said.append(Caution(f"{what}_outside", outside))
    newest = recipe.reference_date
    if kit.on is not None and newest is not None and kit.on > newest:
        past = f"{kit.on.isoformat()} is past the book's newest date ({newest.isoformat()})"
        said.append(Caution("past_newest", past))
    given = {f.name for f in kit.features} | {f"{f.name}={f.value}" for f in kit.features}
    for out in recipe.left_out:  # of these the kit needs its features, its channel and what is mixed up with another
        mixed = out.term in ("dealer", "auction") and out.code == "inside"
        if mixed or out.term == kit.channel or out.term in given:
            said.append(Caution("left_out", f"{out.term} left out: {out.reason}"))
    return tuple(said)


GROUPS = ("series", "pieces", "condition", "time", "basis", "channel", "features")
OTHERWISE = {"sold": "basis", "dealer": "channel", "auction": "channel", "years": "time", "feature": "features"}


@dataclass(frozen=True, slots=True)
class Adjustment:
    """What one difference is worth: the factor on the price, and the same in percent."""

    name: str
    factor: float
    percent: float


@dataclass(frozen=True, slots=True)
class Comparable:
    """A sighting and its price adjusted to the kit: observed times every factor is adjusted.

    `net_percent` is what all adjustments come to, `gross_percent` the sum of their sizes: the smaller, the nearer.
    `weight` is its weight in the fit; under one half the row is an unusual one.
    """

    row: int
    series: str
    pieces: float
    condition: float
    date: date | None
    observed: float  # with the premium of a hammer price
    adjustments: tuple[Adjustment, ...]
    adjusted: float
    net_percent: float
    gross_percent: float
    weight: float


def comparables(fit: Fit, kit: Kit, most: int = 5) -> tuple[Comparable, ...]:
    """The nearest rows of the sample, same series first, then by the sum of their absolute adjustments.

    The sales-comparison grid of appraisal, with the regression's coefficients as adjustments.
    """
    recipe, book, observed = fit.recipe, fit.book, paid(fit.book)
    rows, target = fit.rows, of_kits([kit], recipe)
    params = (fit.scaling.back() @ fit.coef[: len(recipe.names)])[1:]
    at_kit, at_rows = (encode(some, recipe.terms, recipe.series) for some in (target, rows))
    differences = (at_kit - at_rows)[:, 1:] * params
    logs = np.zeros((len(rows), len(GROUPS)))  # of the factors from each row to the kit, the terms gathered into groups
    for j, term in enumerate(recipe.terms):
        logs[:, GROUPS.index(OTHERWISE.get(term.source, term.source))] += differences[:, j]
    logs[:, GROUPS.index("basis")] += offsets(target, recipe)[0] - offsets(rows, recipe)
    if recipe.pooled:
        own = slice(len(recipe.names), len(recipe.names) + len(recipe.series))
        effects = np.append(np.sqrt(fit.theta) * fit.coef[own], 0.0)  # last: unseen
        logs[:, GROUPS.index("series")] += effects[target.series[0]] - effects[rows.series]
    for block in fit.blocks:
        at_kit, at_rows = (np.sqrt(block.theta) * block.columns(some, len(recipe.series)) for some in (target, rows))
        logs[:, GROUPS.index(block.group)] += (at_kit - at_rows) @ fit.coef[fit.at(block)]
    same = np.array([book.series_names[s] == kit.series for s in book.series])
    nearest: list[Comparable] = []
    for i in np.lexsort((book.rows, np.abs(logs).sum(axis=1), ~same))[:most]:
        factors = zip(GROUPS, logs[i], strict=True)
        adjustments = tuple(Adjustment(name, float(np.exp(x)), 100 * float(np.expm1(x))) for name, x in factors)
        nearest.append(Comparable(
            row=int(book.rows[i]),
            series=book.series_names[book.series[i]],
            pieces=float(book.pieces[i]),
            condition=float(book.condition[i]),
            date=book.date[i].astype("datetime64[D]").item(),
            observed=float(observed[i]),
            adjustments=adjustments,
            adjusted=float(observed[i]) * float(np.exp(logs[i].sum())),
            net_percent=100 * float(np.expm1(logs[i].sum())),
            gross_percent=sum(abs(a.percent) for a in adjustments),
            weight=float(fit.weights[i] / book.weight[i] * fit.ratios[book.series[i]] ** 2),
        ))  # fmt: skip
    return tuple(nearest)


ESTIMATES = Caution("estimates", "Market values are estimates from the shop's own book, not an appraisal.")


@dataclass(frozen=True, slots=True, eq=False)
class Valuation:
    """`buy_in` is at sold, private, the kit's own condition; `resale` at sold, dealer, the finished condition."""

    kit: Kit
    finished: float
    buy_in: Outlook
    resale: Outlook
    comparables: tuple[Comparable, ...]
    cautions: tuple[Caution, ...]
    as_of: date | None  # the day whose prices these are: the kit's own, else the newest of the book


def value_kit(fit: Fit, kit: Kit, finished: float | None, range_percent: int, *, unseen: bool = False) -> Valuation:
    """Value a kit. `finished` is the condition it will be sold in, its own where None."""
    grade = kit.condition if finished is None else finished
    bought = replace(kit, price_kind="sold", channel="private")
    sold = resale_kit(fit, replace(kit, condition=grade))
    buy_in = outlook(fit, bought, range_percent, unseen=unseen)
    resale = outlook(fit, sold, range_percent, unseen=unseen)
    cautions = [*buy_in.cautions, *resale.cautions]
    if sold.channel != "dealer":
        cautions.append(no_dealer(fit))
    if fit.recipe.sold_offset != 0.0:
        cautions.append(Caution("sold_step", f"the step from asked to sold rests on {fit.recipe.sold_basis}"))
    given = {f.name for f in kit.features}
    cautions += [
        Caution("feature_not_given", f"{f.name} was not given: it counts at the book's average")
        for f in fit.recipe.features
        if f.name not in given
    ]
    return Valuation(
        kit=bought,
        finished=grade,
        buy_in=buy_in,
        resale=resale,
        comparables=comparables(fit, bought),
        cautions=tuple(dict.fromkeys((*cautions, ESTIMATES))),
        as_of=kit.on or fit.recipe.reference_date,
    )


def resale_kit(fit: Fit, kit: Kit) -> Kit:
    """The kit as a webshop sells it: sold, dealer; private where the book cannot tell dealers."""
    return replace(kit, price_kind="sold", channel="dealer" if fit.recipe.has("dealer") else "private")


def no_dealer(fit: Fit) -> Caution:
    """Why the resale value is a private one."""
    why = next((out.reason for out in fit.recipe.left_out if out.term == "dealer"), "no dealer rows")
    return Caution("no_dealer", f"resale is valued as a private sale ({why})")


@dataclass(frozen=True, slots=True)
class SeriesKnowledge:
    """How well the typical price of one series is known, for the book's usual kit.

    `level_percent` is how far the upper end of the 80 % level range lies above the typical price, in percent;
    `one_more_percent` the same once one more such kit has been seen.
    """

    name: str
    rows: int
    level_percent: float
    one_more_percent: float


def usual_kit(fit: Fit, series: str) -> Kit:
    """A kit of the book's median pieces and condition, sold in private on the newest date."""
    book = fit.book
    return Kit(series, float(round(np.median(book.pieces))), float(np.round(2 * np.median(book.condition)) / 2))


def series_knowledge(fit: Fit) -> tuple[SeriesKnowledge, ...]:
    """Every series of the book, the one that it knows least first.

    One more sighting at x multiplies the variance of the level there by 1 / (1 + g), g = x' A^-1 x (the rank-one
    update of the inverse; Sherman and Morrison 1950).
    """
    names = fit.recipe.series
    rows = of_kits([usual_kit(fit, name) for name in names], fit.recipe)
    g = ((fit.columns_of(rows) @ fit.level_root) ** 2).sum(axis=1)
    reach = fit.level_t[79] * np.sqrt(fit.sigma2 * g)
    after = reach / np.sqrt(1 + g)
    known = (
        SeriesKnowledge(name, count, 100 * float(np.expm1(a)), 100 * float(np.expm1(b)))
        for name, count, a, b in zip(names, fit.recipe.rows_by_series, reach, after, strict=True)
    )
    return tuple(sorted(known, key=lambda k: -k.level_percent))
