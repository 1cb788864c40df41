"""What a kit is worth: to buy in as it stands, and to sell again finished."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.text.problems import Caution
from kitvalue.market.encoding import Columns, Kit, encode, of_kits, offsets, paid
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook, outlook

SHOWN = 5
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


def comparables(fit: Fit, kit: Kit, most: int = SHOWN) -> tuple[Comparable, ...]:
    """The nearest rows of the sample, same series first, then by the sum of their absolute adjustments.

    The sales-comparison grid of appraisal, with the regression's coefficients as adjustments.
    """
    book, observed = fit.book, paid(fit.book)
    logs = _log_adjustments(fit, fit.rows, of_kits([kit], fit.recipe))
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
            weight=float(fit.weights[i] / book.weight[i]),
        ))  # fmt: skip
    return tuple(nearest)


def _log_adjustments(fit: Fit, rows: Columns, target: Columns) -> FloatArray:
    """(n, groups) log factors from each row to the target, the terms gathered into groups."""
    recipe = fit.recipe
    params = (fit.scaling.back() @ fit.coef[: len(recipe.names)])[1:]
    at_kit, at_rows = (encode(some, recipe.terms, recipe.series) for some in (target, rows))
    differences = (at_kit - at_rows)[:, 1:] * params
    out = np.zeros((len(rows), len(GROUPS)))
    for j, term in enumerate(recipe.terms):
        out[:, GROUPS.index(OTHERWISE.get(term.source, term.source))] += differences[:, j]
    out[:, GROUPS.index("basis")] += offsets(target, recipe)[0] - offsets(rows, recipe)
    if recipe.pooled:
        effects = np.append(np.sqrt(fit.theta) * fit.coef[len(recipe.names) :], 0.0)  # last: unseen
        out[:, GROUPS.index("series")] += effects[target.series[0]] - effects[rows.series]
    return out


ESTIMATES = Caution("estimates", "Market values are estimates from the shop's own observations, not an appraisal.")


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
