"""What a fit leaves behind: enough to value any kit later without the price book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from kitvalue.intake.books.book import BoolArray, FloatArray, IntArray, PriceBook
from kitvalue.intake.settings.words import WORDS_TABLE, turned_words
from kitvalue.intake.text.problems import Caution, texts
from kitvalue.market.encoding import DAYS_A_YEAR, Columns, Recipe, Scaling, encode, indicators, of_book, paid


@dataclass(frozen=True, slots=True)
class TermEstimate:
    """One coefficient of the log price with its 95 % range. The percents say the same of the price: one unit
    more, twice the pieces for log_pieces, None for the intercept."""

    name: str
    coefficient: float
    se: float
    low: float
    high: float
    percent: float | None
    percent_low: float | None
    percent_high: float | None


@dataclass(frozen=True, slots=True)
class SeriesEffect:
    """How far a series lies from the average one (pooled) or from the first (indicators), everything else equal."""

    name: str
    rows: int
    effect: float
    percent: float


@dataclass(frozen=True, slots=True)
class UnusualRow:
    """A row far from what the others say of it. `expected` is its left-out price, `studentised` how far off that is in
    its own standard deviations; `moves_percent` is what the row does to the price expected of a kit like it; `hint`
    names a likely slip."""

    row: int
    series: str
    weight: float
    observed: float
    expected: float
    studentised: float
    leverage: float
    moves_percent: float
    hint: str


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How well the fit predicts prices that it has not seen; the names are those of ratio studies. A figure that
    cannot be had is None, with its reason in `reasons`."""

    median_ape: float  # percent, left-out
    median_ratio: float
    cod: float  # coefficient of dispersion, percent of the median ratio
    prd: float | None  # price-related differential
    prd_expected: float | None  # exp(sigma2): what a perfect model would show
    prb: float | None  # price-related bias
    coverage_80: float | None  # share of held-out prices inside their 80 % range, percent
    forward_median_ape: float | None  # percent, each quarter predicted from the ones before
    forward_rows: int
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted market. n rows are kept as the outlook's sample; k = p fixed columns + q series.

    Coefficients are those of the standardised columns; the series part is divided by sqrt(theta).
    """

    recipe: Recipe
    robust: bool
    scaling: Scaling
    theta: float
    sigma2: float
    tau2: float
    scatter: float  # s, the robust scale of the residuals
    coef: FloatArray  # (k,)
    root: FloatArray  # (k, k): root @ root.T = A^-1
    level_root: FloatArray  # (k, k): the same for A without the robust weights
    df: float  # n - tr H
    level_t: tuple[float, ...]  # Student t quantiles of the two-sided 1, 2, ... 99 % ranges at df
    book: PriceBook  # (n,) the sample's rows
    weights: FloatArray  # (n,) precision times robust weight
    residuals: FloatArray  # (n,) of the log price
    leverage: FloatArray  # (n,) h_i
    rows_used: int
    exact: bool  # the prices follow a formula: there is no scatter to form a range from
    terms: tuple[TermEstimate, ...]
    series: tuple[SeriesEffect, ...]
    unusual: tuple[UnusualRow, ...]
    accuracy: Accuracy | None
    cautions: tuple[Caution, ...]

    @property
    def rows(self) -> Columns:
        """The sample's rows as the model sees them."""
        return of_book(self.book, self.recipe.reference_date)

    def columns_of(self, rows: Columns) -> FloatArray:
        """(m, k) standardised fixed columns and scaled series indicators of any kits."""
        fixed = self.scaling.apply(encode(rows, self.recipe.terms, self.recipe.series))
        if not self.recipe.pooled:
            return fixed
        return np.column_stack([fixed, np.sqrt(self.theta) * indicators(rows.series, len(self.recipe.series))])

    @property
    def left_out_residuals(self) -> FloatArray:
        """(n,) log price less what the other rows say, weights and theta held fixed: e / (1 - h)."""
        return self.residuals / (1.0 - self.leverage)


TURNED: Final = "grades_turned"  # the code of the caution without which no answer may be read


def upside_down(terms: Sequence[TermEstimate]) -> Caution | None:
    """The caution where the whole 95 % range of the condition's effect lies below zero; None where it does not."""
    condition = next((term for term in terms if term.name == "condition"), None)
    if condition is None or condition.high >= 0 or condition.percent is None:
        return None
    less = f"{-condition.percent:.0f}" if condition.percent <= -1 else f"{-condition.percent:.1f}"
    return Caution(
        TURNED,
        f"conditions look upside down: one grade better comes out {less} % cheaper in this book. Here 5 is the best "
        f"grade and 1 the worst. If 1 is the best in your sheet, map the numbers under {WORDS_TABLE} of shop.toml: "
        f"{turned_words()}. If they are read rightly, look for misread rows",
    )


def leading(cautions: Sequence[Caution]) -> tuple[str, ...]:
    """What those cautions say without which no answer may be read."""
    return texts(caution for caution in cautions if caution.code == TURNED)


def following(cautions: Sequence[Caution]) -> tuple[str, ...]:
    """What the others say, each once."""
    return texts(caution for caution in cautions if caution.code != TURNED)


@dataclass(frozen=True, slots=True)
class Moved:
    """How far prices have moved between two days, everything else equal: percent with a range, or why not."""

    since: date
    to: date
    percent: float | None
    low: float | None
    high: float | None
    reason: str | None


def moved(fit: Fit, since: date, to: date | None, range_percent: int) -> Moved:
    """The move from `since` to `to` (the newest date of the book where None). The range is that of the time effect."""
    until = to or fit.recipe.reference_date or since
    years = (until - since).days / DAYS_A_YEAR
    term = next((t for t in fit.terms if t.name == "years"), None)
    if term is None:
        out = next((o.reason for o in fit.recipe.left_out if o.term == "years"), "no time effect in the fit")
        return Moved(since, until, None, None, None, out)
    reach = fit.level_t[range_percent - 1] * term.se
    low, high = sorted(100 * float(np.expm1(years * b)) for b in (term.coefficient - reach, term.coefficient + reach))
    return Moved(since, until, 100 * float(np.expm1(years * term.coefficient)), low, high, None)


HUBER_K = 1.345
GROSS = 8.0  # scales from which a price is a slip or something else than the kit, not a dear or a cheap one
GROSS_WEIGHT = 1e-6  # not 0, so that the row keeps its residual and its place in the list of unusual rows
UNUSUAL_WEIGHT = 0.5
MOST_SHOWN = 1000
NOTHING = 0.005  # a weight that is told as 0.00
MANY_PIECES = 6  # more drums than most kits have
SLIP = 0.35  # how near the log of the ratio must lie to the log of 10 or 100


def huber_weights(e: FloatArray, precision: FloatArray, scatter: float) -> FloatArray:
    """(n,) min(1, k s / |e|), k = 1.345: 95 % efficiency where the scatter is normal (Huber 1981, section 4.5)."""
    far = np.sqrt(precision)
    far *= np.abs(e)
    reach = HUBER_K * scatter
    np.maximum(far, reach, out=far)
    return np.divide(reach, far, out=far)


def gross_rows(e: FloatArray, h: FloatArray, precision: FloatArray, scatter: float, codes: IntArray) -> BoolArray:
    """(n,) which rows lie over 8 scales off, studentised with their leverage. A series whose rows would all be gross
    keeps them: one that lies elsewhere as a whole is a series of its own, not a row of slips.

    e (n,) residuals, h (n,) leverages, codes (n,) which series.
    """
    free = np.where(h < 1, 1 - h, np.inf)
    gross = np.abs(e) * np.sqrt(precision / free) > GROSS * scatter
    if not gross.any():
        return gross
    others = np.bincount(codes, weights=~gross)
    return gross & (others[codes] > 0)


def unusual_rows(
    book: PriceBook, weights: FloatArray, e: FloatArray, h: FloatArray, scatter: float, terms: tuple[TermEstimate, ...]
) -> tuple[UnusualRow, ...]:
    """The rows with a robust weight (n,) under one half, the furthest first, at most 1,000; e and h as above."""
    light = np.flatnonzero(weights < UNUSUAL_WEIGHT)
    e, h = e[light], h[light]
    free = np.where(h < 1, 1 - h, np.inf)
    left_out = e / free
    studentised = e * np.sqrt(book.weight[light] / free) / scatter
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


def weighs_nothing(weight: float) -> bool:
    """Is it a row that the fit passes over as a slip?"""
    return weight < NOTHING


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
