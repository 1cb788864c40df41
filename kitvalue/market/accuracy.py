"""How well the fit predicts prices that it has not seen.

Median ratio, COD, PRD and PRB are those of ratio studies of mass appraisal (IAAO, Standard on Ratio Studies, 2013,
sections 5 and 9 and appendices B and D); the bands published there were set for real property and say nothing of kits.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import get_args

import numpy as np

from kitvalue.intake.books.book import BoolArray, FloatArray, IntArray, PriceBook
from kitvalue.intake.text.problems import RefusedError
from kitvalue.market.encoding import Channel, FeatureValue, Kit, paid
from kitvalue.market.fitted import Accuracy, Fit
from kitvalue.market.linear import subset, without_empty_series
from kitvalue.market.outlook import outlooks, typical_prices

FOLDS = 10
FOLD_SEED = 20260104
MIN_FORWARD = 60  # dated rows before the forward test is made
MIN_EARLIER = 30  # earlier rows before a quarter is predicted
MOST_HELD_OUT = 2000
MOST_ASSESSED = 10_000  # rows; more would change no figure that is printed, and refitting them takes minutes
ASSESSED_SEED = 20260108

Refit = Callable[[PriceBook], Fit]  # fits some rows of a book as the whole was fitted


@dataclass(frozen=True, slots=True)
class RatioStudy:
    """Predicted over observed, after the ratio-study standard. `prb` is None where all prices are alike."""

    median_ratio: float
    cod: float
    prd: float
    prb: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Forward:
    """Prices predicted from earlier ones: arrays are (m,); `skipped` rows were of series unseen by then."""

    observed: FloatArray
    typical: FloatArray
    skipped: int


def ratio_study(predicted: FloatArray, observed: FloatArray) -> RatioStudy:
    """COD, PRD and PRB of (n,) predictions against (n,) observed prices, both in money.

    COD: mean absolute deviation from the median ratio, in percent of it. PRD: mean ratio over the price-weighted mean
    ratio. PRB: slope of the relative deviation on log2 of the value proxy, half of price plus prediction / median.
    """
    ratio = predicted / observed
    median = float(np.median(ratio))
    cod = 100 * float(np.mean(np.abs(ratio - median))) / median
    prd = float(ratio.mean()) / float(predicted.sum() / observed.sum())
    proxy = np.log2(0.5 * (predicted / median + observed))
    centred = proxy - proxy.mean()
    spread = float(centred @ centred)
    prb = None if spread <= 1e-12 else float(centred @ ((ratio - median) / median)) / spread
    return RatioStudy(median, cod, prd, prb)


def left_out_prices(fit: Fit) -> FloatArray:
    """(n,) typical price of each sample row as the other rows tell it, weights and theta held fixed."""
    return paid(fit.book) * np.exp(-fit.left_out_residuals)


def assess(book: PriceBook, fit: Fit, refit: Refit) -> Accuracy:
    """Accuracy of a fit of `book`."""
    observed, predicted = paid(fit.book), left_out_prices(fit)
    some = assessed_rows(book)
    held, forward = hold_out_folds(some, refit), predict_quarters(some, refit)
    reasons = []
    if len(some) < len(book):
        reasons.append(f"coverage_80 and forward: from {len(some):,} rows drawn with a fixed seed")
    if held is None:
        reasons.append("coverage_80: with a tenth of the rows held out, too few are left to form a range")
    if forward is None:
        reasons.append(f"forward: it needs {MIN_FORWARD} dated rows and {MIN_EARLIER} before the last quarter")
    elif forward.skipped:
        reasons.append(f"forward: {forward.skipped} rows of series unseen by then are left out")
    return Accuracy(
        median_ape=_median_ape(predicted, observed),
        **asdict(ratio_study(predicted, observed)),
        prd_expected=float(np.exp(fit.sigma2)),
        coverage_80=None if held is None else 100 * float(held.mean()),
        forward_median_ape=None if forward is None else _median_ape(forward.typical, forward.observed),
        forward_rows=0 if forward is None else len(forward.observed),
        reasons=tuple(reasons),
    )


def assessed_rows(book: PriceBook) -> PriceBook:
    """The rows that are refitted without some of them: all, or of a large book 10,000 drawn with a fixed seed."""
    if len(book) <= MOST_ASSESSED:
        return book
    drawn = np.random.default_rng(ASSESSED_SEED).choice(len(book), MOST_ASSESSED, replace=False)
    return without_empty_series(subset(book, np.sort(drawn)))


def _median_ape(predicted: FloatArray, observed: FloatArray) -> float:
    return 100 * float(np.median(np.abs(predicted / observed - 1)))


def hold_out_folds(book: PriceBook, refit: Refit) -> BoolArray | None:
    """(m,) whether each price lies in the 80 % range of a fit of the nine tenths of the rows that it is not among.

    Tenths are drawn with a fixed seed. A series that only the held-out rows have is valued as one of which nothing is
    known; its rows are skipped where series are not pooled. None where a fold leaves too few rows.
    """
    order = np.random.default_rng(FOLD_SEED).permutation(len(book))
    inside: list[BoolArray] = []
    for k in range(FOLDS):
        fold = order[k::FOLDS]
        try:
            fit = refit(without_empty_series(subset(book, np.setdiff1d(order, fold))))
            asked = _askable(book, fold[: MOST_HELD_OUT // FOLDS], fit, unseen=fit.recipe.pooled)
            views = outlooks(fit, [kit_of(book, i) for i in asked], unseen=fit.recipe.pooled)
        except RefusedError:
            return None
        low, high = (np.array([getattr(v, end) for v in views], dtype=np.float64) for end in ("low", "high"))
        inside.append((low <= paid(book)[asked]) & (paid(book)[asked] <= high))  # an exact fit's ends are NaN
    return np.concatenate(inside)


def _askable(book: PriceBook, rows: IntArray, fit: Fit, *, unseen: bool) -> list[int]:
    """The rows whose series the fit has, or all where it may be asked about an unseen one."""
    return [int(i) for i in rows if unseen or book.series_names[book.series[i]] in fit.recipe.series]


def predict_quarters(book: PriceBook, refit: Refit) -> Forward | None:
    """Each calendar quarter predicted from the rows dated before it, reference date and defaults from those alone.

    Quarters with too few earlier rows, or whose earlier rows cannot be fitted, are passed over; None where the book is
    too young for any.
    """
    dated = np.flatnonzero(~np.isnat(book.date))
    if len(dated) < MIN_FORWARD:
        return None
    quarter = book.date[dated].astype("datetime64[M]").astype(np.int64) // 3
    rows: list[int] = []
    typical: list[float] = []
    skipped = 0
    for q in np.unique(quarter):
        earlier, now = dated[quarter < q], dated[quarter == q]
        if len(earlier) >= MIN_EARLIER:
            with suppress(RefusedError):
                fit = refit(without_empty_series(subset(book, earlier)))
                asked = _askable(book, now, fit, unseen=False)
                typical += typical_prices(fit, [kit_of(book, i) for i in asked]).tolist()
                rows += asked
                skipped += len(now) - len(asked)
    return Forward(paid(book)[rows], np.array(typical), skipped) if rows else None


def kit_of(book: PriceBook, i: int) -> Kit:
    """Row i of a book as a kit to be valued: its own market, its own day, the features that it states."""
    return Kit(
        series=book.series_names[book.series[i]],
        pieces=float(book.pieces[i]),
        condition=float(book.condition[i]),
        price_kind="asked" if book.price_kind[i] == 0 else "sold",
        channel=get_args(Channel)[book.channel[i]],
        on=book.date[i].astype("datetime64[D]").item(),
        features=tuple(
            FeatureValue(f.name, f.words[int(f.values[i])] if f.kind == "word" else float(f.values[i]))
            for f in book.features
            if not np.isnan(f.values[i])
        ),
    )
