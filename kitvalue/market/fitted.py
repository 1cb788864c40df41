"""What a fit leaves behind: enough to value any kit later without the price book, and the same as JSON, never pickle.

What is read back is checked as strictly as a stranger's file: a file that was edited, cut short or written by another
version is no fit, and the caller fits again. Its last key is a digest of all before it, which a changed figure does
not match; it guards against accidents, not against someone who makes the digest anew. The records' own annotations
say what each key holds: pydantic's models of them took longer to build than a kit to value.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date
from functools import cache
from types import UnionType
from typing import Any, Final, cast, get_args, get_origin, get_type_hints

import numpy as np

from kitvalue.intake.books.book import DateArray, FloatArray, IntArray, PriceBook
from kitvalue.intake.settings.shop import FeatureKind
from kitvalue.intake.settings.words import WORDS_TABLE, turned_words
from kitvalue.intake.text.problems import Caution, FileCounts, texts
from kitvalue.market.blocks import Block
from kitvalue.market.encoding import (
    CONDITION_ZERO,
    Columns,
    Kit,
    Recipe,
    Scaling,
    encode,
    indicators,
    of_book,
    of_kits,
)


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
    """A fitted market. n rows are kept as the outlook's sample; k = p fixed columns + q series + those of the blocks.

    Coefficients are those of the standardised columns; the random ones are divided by sqrt(theta).
    """

    recipe: Recipe
    robust: bool
    scaling: Scaling
    theta: float
    blocks: tuple[Block, ...]  # random effects beside the series, with their thetas
    ratios: FloatArray  # (q,) each series' scatter over the usual one
    sigma2: float
    tau2: float
    scatter: float  # s, the robust scale of the residuals
    coef: FloatArray  # (k,)
    root: FloatArray  # (k, k): root @ root.T = A^-1
    level_root: FloatArray  # (k, k): the same for A without the robust weights
    df: float  # n - tr H
    allowance: float  # what ranges are widened by for what was chosen and estimated, and is then held
    level_t: tuple[float, ...]  # Student t quantiles of the two-sided 1, 2, ... 99 % ranges at df, times the allowance
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
        """(m, k) standardised fixed columns and scaled random ones of any kits."""
        parts, q = [self.scaling.apply(encode(rows, self.recipe.terms, self.recipe.series))], len(self.recipe.series)
        if self.recipe.pooled:
            parts.append(np.sqrt(self.theta) * indicators(rows.series, q))
        return np.column_stack([*parts, *(np.sqrt(b.theta) * b.columns(rows, q) for b in self.blocks)])

    def at(self, block: Block) -> slice:
        """Where a block's coefficients are."""
        q, before = len(self.recipe.series), self.blocks[: self.blocks.index(block)]
        start = len(self.recipe.names) + q * self.recipe.pooled + sum(b.size(q) for b in before)
        return slice(start, start + block.size(q))

    def ratio_of(self, series: IntArray) -> FloatArray:
        """(m,) the scatter of some series over the usual one; 1 for -1, a series that the book does not have."""
        return np.asarray(np.append(self.ratios, 1.0)[series])

    @property
    def left_out_residuals(self) -> FloatArray:
        """(n,) log price less what the other rows say, weights and theta held fixed: e / (1 - h)."""
        return self.residuals / (1.0 - self.leverage)

    @property
    def usual_residuals(self) -> FloatArray:
        """(n,) the same, had every series the usual scatter, and with the allowance."""
        return self.allowance * self.left_out_residuals / self.ratio_of(self.book.series)


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
    if not fit.recipe.has("years"):
        out = next((o.reason for o in fit.recipe.left_out if o.term == "years"), "no time effect in the fit")
        return Moved(since, until, None, None, None, out)
    book = fit.recipe
    kits = [Kit(book.series[0], book.pieces_seen[0], CONDITION_ZERO, on=day) for day in (since, until)]
    rows = replace(of_kits(kits, book), series=np.array([-1, -1]))  # the market's own: that of no series
    before, after = fit.columns_of(rows)
    change, reach = float((after - before) @ fit.coef), float(np.linalg.norm((after - before) @ fit.level_root))
    reach *= fit.level_t[range_percent - 1] * math.sqrt(fit.sigma2)
    middle, low, high = (100 * math.expm1(x) for x in (change, change - reach, change + reach))
    return Moved(since, until, middle, low, high, None)


GROSS = 8.0  # scales from which a price is a slip or something else than the kit, not a dear or a cheap one
UNUSUAL_WEIGHT = 0.5
NOTHING = 0.005  # a weight under this is told as 0.00: the fit passes the row over as a slip

FORMAT: Final = 5  # one higher where a figure changes its meaning; another layout is refused by its keys
SEAL: Final = ',\n "digest": "{}"\n}}\n'
TINY: Final = float(np.finfo(np.float64).tiny)  # the least of what must be above 0


@dataclass(frozen=True, slots=True, eq=False)
class KeptFit:
    """A fit and how the rows behind it were read."""

    fit: Fit
    counts: FileCounts


def dump_fit(fit: Fit, counts: FileCounts, fingerprint: str) -> str:
    """The fit as JSON text, a line for each key. `fingerprint` names the inputs that it was made from."""
    values = {"format": FORMAT, "fingerprint": fingerprint, "counts": counts, **_record(fit), **_record(fit.scaling)}
    del values["scaling"]
    lines = [f' "{key}": {json.dumps(value, ensure_ascii=False, default=_plain)}' for key, value in values.items()]
    return sealed("{\n" + ",\n".join(lines) + "\n}\n")


def _record(value: object) -> dict[str, object]:
    return {field.name: getattr(value, field.name) for field in fields(cast(Any, value))}


def _plain(value: object) -> object:
    """An array as a list, NaN and NaT as null; a date in ISO form; a record as an object."""
    if isinstance(value, np.ndarray):
        return [None if x != x else x for x in value.tolist()]
    return value.isoformat() if isinstance(value, date) else _record(value)


def sealed(text: str) -> str:
    """A JSON object's text with the digest of what stands before it as the last key."""
    body = text.rstrip().removesuffix("}").rstrip()
    return body + SEAL.format(hashlib.sha256(body.encode()).hexdigest())


def load_fit(text: str, *fingerprints: str) -> KeptFit | None:
    """The fit in a file's text, or None where it is of other inputs than these, another version or damaged."""
    body = text[: -len(SEAL.format("0" * 64))]
    if sealed(body) != text:
        return None
    try:
        values = json.loads(body + "}", parse_constant=int)  # int takes no NaN and no infinity
        if values.pop("format") != FORMAT or values.pop("fingerprint") not in fingerprints:
            return None
        values["scaling"] = {name: values.pop(name) for name in ("center", "scale")}
        kept = KeptFit(
            counts=cast(FileCounts, _read(FileCounts, values.pop("counts"))), fit=cast(Fit, _read(Fit, values))
        )
    except (KeyError, TypeError, ValueError, OverflowError, RecursionError):
        return None
    return kept if _is_sound(kept.fit) else None


_hints = cache(get_type_hints)


def _read(kind: object, value: object) -> object:
    """The value of a field annotated so. Raises TypeError, ValueError or OverflowError where it is no such thing."""
    if kind is float and type(value) in (int, float) and math.isfinite(number := float(cast(float, value))):
        return number
    if type(value) is kind and kind is not float:
        return value
    origin, inner = get_origin(kind), get_args(kind)
    if isinstance(kind, type) and is_dataclass(kind):
        hints = _hints(kind)
        if isinstance(value, dict) and value.keys() == hints.keys():
            return kind(**{name: _read(hint, value[name]) for name, hint in hints.items()})
    elif origin is UnionType:
        return None if value is None else _read(inner[0], value)
    elif origin is tuple and isinstance(value, list):
        kinds = inner[:1] * len(value) if inner[-1] is ... else inner
        return tuple(_read(k, v) for k, v in zip(kinds, value, strict=True))
    elif origin is np.ndarray and isinstance(value, list):
        if kind == DateArray:  # null for NaT, and below for NaN
            return np.array([x if x is None else date.fromisoformat(x) for x in value], dtype="datetime64[D]")
        whole, array = kind == IntArray, np.array([math.nan if x is None else x for x in value])
        if array.dtype.kind in ("i" if whole else "fi") and not np.any(np.isinf(array)):
            return array.astype(np.int64 if whole else np.float64)
    elif kind is date and isinstance(value, str):
        return date.fromisoformat(value)
    elif isinstance(value, str) and value in inner:
        return value
    raise ValueError(value)


def _is_sound(fit: Fit) -> bool:
    """Whether the shapes belong together, and every number lies where it may."""
    book, recipe, scaling = fit.book, fit.recipe, fit.scaling
    n, p, q = len(book), len(recipe.names), len(recipe.series)
    k = p + q * recipe.pooled + sum(b.size(q) for b in fit.blocks)
    by_row = [getattr(book, f.name) for f in fields(book) if f.name not in ("series_names", "features")]
    by_row += [fit.weights, fit.residuals, fit.leverage, *(f.values for f in book.features)]
    shaped = ((scaling.center, p), (scaling.scale, p), (fit.coef, k), (fit.ratios, q), (np.array(fit.level_t), 99))
    above_0 = (book.pieces, book.condition, book.price, book.weight, fit.weights, scaling.scale, fit.ratios)
    above_0_too = (fit.df, fit.allowance, fit.level_t, *(b.theta for b in fit.blocks))
    from_0 = (book.rows, book.series, book.price_kind, book.channel, book.premium, fit.leverage)
    known = (fit.residuals, scaling.center, fit.coef, fit.root, fit.level_root)
    return (
        recipe.series == book.series_names
        and len(recipe.rows_by_series) == q
        and all(array.shape == (n,) for array in by_row)
        and all(array.shape == (length,) for array, length in shaped)
        and fit.root.shape == fit.level_root.shape == (k, k)
        and all(np.all(np.asarray(x) >= TINY) for x in (*above_0, *above_0_too))
        and all(np.all(x >= 0) for x in from_0)
        and min(fit.theta, fit.sigma2, fit.tau2, fit.scatter) >= 0
        and not any(np.any(np.isnan(x)) for x in known)
        and bool(np.all(fit.leverage < 1) and np.all(book.series < q))
        and bool(np.all(book.price_kind <= 2) and np.all(book.channel <= 2))
        and all(f.kind in get_args(FeatureKind) for f in book.features)
        and all(set(f.values[~np.isnan(f.values)]) <= {*range(len(f.words))} for f in book.features if f.kind == "word")
    )
