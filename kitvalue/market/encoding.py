"""The recipe of a fit: how a kit becomes its row of numbers.

The recipe travels with the fit, so that a kit asked about later cannot be encoded differently.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, cast

import numpy as np

from kitvalue.intake.books.book import FeatureColumn, FloatArray, IntArray, PriceBook
from kitvalue.intake.text.problems import RefusedError, shown
from kitvalue.intake.text.vocabulary import CHANNELS

PriceKind = Literal["asked", "sold"]
Channel = Literal["private", "dealer", "auction"]


@dataclass(frozen=True, slots=True)
class FeatureValue:
    """What is known of one declared feature: the number, yes or no, or the word."""

    name: str
    value: float | bool | str


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit on a day, in a market: what one row of the price book would say of it, but for the price.

    `on` None means the newest date of the book. Features that are not given count at the book's average.
    """

    series: str
    pieces: float
    condition: float
    price_kind: PriceKind = "sold"
    channel: Channel = "private"
    on: date | None = None
    features: tuple[FeatureValue, ...] = ()


DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """What the model sees of n kits; every array is (n,). `series` is -1 for a series that the book does not have."""

    series: IntArray
    pieces: FloatArray
    condition: FloatArray
    sold: FloatArray  # 1 sold or hammer, 0 asked
    dealer: FloatArray
    auction: FloatArray
    years: FloatArray  # since the reference date, so mostly negative; NaN where the date is unknown
    features: tuple[FeatureColumn, ...]

    def __len__(self) -> int:
        return len(self.pieces)


def paid(book: PriceBook) -> FloatArray:
    """(n,) what buyers paid: hammer prices with their premium."""
    return book.price * (1 + book.premium / 100)


def newest_date(book: PriceBook) -> date | None:
    """The newest date of the book, or None where no row has one."""
    return cast(date | None, np.fmax.reduce(book.date, initial=np.datetime64("NaT", "D")).item())


def of_book(book: PriceBook, reference: date | None) -> Columns:
    """The rows of a price book; `reference` is the day from which years count."""
    years = np.full(len(book), np.nan)
    if reference is not None:
        days = (book.date - np.datetime64(reference, "D")).astype("timedelta64[D]")
        np.divide(days, np.timedelta64(1, "D"), out=years)
        years /= DAYS_A_YEAR
    return Columns(
        series=book.series,
        pieces=book.pieces,
        condition=book.condition,
        sold=(book.price_kind != 0).astype(np.float64),
        dealer=(book.channel == CHANNELS.index("dealer")).astype(np.float64),
        auction=(book.channel == CHANNELS.index("auction")).astype(np.float64),
        years=years,
        features=book.features,
    )


def of_kits(kits: Sequence[Kit], recipe: Recipe) -> Columns:
    """The kits asked about, coded with the book's series and its features' words.

    Raises RefusedError for a feature or a word that the book does not have.
    """
    names, reference = [f.name for f in recipe.features], recipe.reference_date
    for given in (f.name for kit in kits for f in kit.features):
        if given not in names:
            raise RefusedError(f"the book has no feature {shown(given)}; its features: {', '.join(names) or 'none'}")
    days = [0 if k.on is None or reference is None else (k.on - reference).days for k in kits]
    place = {name: i for i, name in enumerate(recipe.series)}
    return Columns(
        series=np.array([place.get(k.series, -1) for k in kits], dtype=np.int64),
        pieces=np.array([k.pieces for k in kits], dtype=np.float64),
        condition=np.array([k.condition for k in kits], dtype=np.float64),
        sold=np.array([k.price_kind == "sold" for k in kits], dtype=np.float64),
        dealer=np.array([k.channel == "dealer" for k in kits], dtype=np.float64),
        auction=np.array([k.channel == "auction" for k in kits], dtype=np.float64),
        years=np.array(days, dtype=np.float64) / DAYS_A_YEAR,
        features=tuple(
            FeatureColumn(f.name, f.kind, np.array([_feature(kit, f) for kit in kits], dtype=np.float64), f.words)
            for f in recipe.features
        ),
    )


def _feature(kit: Kit, feature: FeatureRecipe) -> float:
    given = next((f.value for f in kit.features if f.name == feature.name), None)
    if given is None or feature.kind != "word":
        return np.nan if given is None else float(given)
    if given not in feature.words:
        words = ", ".join(feature.words)
        raise RefusedError(f"no row has {feature.name} = {shown(str(given))}; the book has {words}")
    return float(feature.words.index(str(given)))


CONDITION_ZERO = 3.0  # condition enters as grade less 3

Source = Literal["pieces", "condition", "sold", "dealer", "auction", "years", "feature", "series"]


@dataclass(frozen=True, slots=True)
class Term:
    """One fixed column after the intercept. `blank` is what a kit counts at where it does not say."""

    name: str
    source: Source
    blank: float = 0.0
    feature: str = ""
    level: str = ""  # the word or the series of an indicator


def level_values(f: FeatureColumn, level: int) -> FloatArray:
    """(n,) 1 where the word is this one, 0 where it is another, NaN where blank."""
    return np.where(np.isnan(f.values), np.nan, (f.values == level).astype(np.float64))


def term_values(term: Term, rows: Columns, series: tuple[str, ...]) -> FloatArray:
    """(n,) one term's column for any kits, blanks filled by the book's average."""
    values: FloatArray
    match term.source:
        case "pieces":
            values = np.log(rows.pieces)
        case "condition":
            values = rows.condition - CONDITION_ZERO
        case "series":
            values = (rows.series == series.index(term.level)).astype(np.float64)
        case "feature":
            feature = next(f for f in rows.features if f.name == term.feature)
            values = level_values(feature, feature.words.index(term.level)) if term.level else feature.values
        case _:
            values = getattr(rows, term.source)
    missing = np.isnan(values)
    return np.where(missing, term.blank, values) if missing.any() else values


@dataclass(frozen=True, slots=True)
class FeatureRecipe:
    """A feature of the book: its kind and, for words, the ones that occur."""

    name: str
    kind: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A term that did not enter, and why.

    `code`: few (rows of one kind), flat (the same in all rows), inside (the effect of others), alone (one series).
    """

    term: str
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Recipe:
    """Everything needed to encode a kit the way the book was encoded."""

    terms: tuple[Term, ...]
    series: tuple[str, ...]
    features: tuple[FeatureRecipe, ...]
    pooled: bool  # series effects are drawn from a normal; else they are indicators among `terms`
    reference_date: date | None  # years count from here
    sold_offset: float | None  # added to the log price of sold kits where sold is no term; None where it is unknown
    sold_basis: str  # what the step from asked to sold rests on, in words
    pairs: int  # rows that tell both what was asked and what was paid
    pair_step: float | None  # the median of log(paid / asked) over these, at most 0; None where they are too few
    left_out: tuple[LeftOut, ...]
    pieces_seen: tuple[float, float]
    conditions_seen: tuple[float, float]
    rows_by_series: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The fixed columns' names, the intercept first."""
        return ("intercept", *(t.name for t in self.terms))

    def has(self, source: str) -> bool:
        """Does a term of this source enter?"""
        return any(t.source == source for t in self.terms)


def by_pairs(pairs: int, step: float) -> str:
    """What a step rests on that rows with both prices tell, in words."""
    return f"{pairs} rows that tell what was asked and what was paid ({100 * np.expm1(step):.1f} %)"


def encode(rows: Columns, terms: tuple[Term, ...], series: tuple[str, ...]) -> FloatArray:
    """(n, 1 + terms) columns of some terms, the intercept first, blanks filled by the book's averages.

    Column by column in memory, which is how they are made and standardised.
    """
    columns_first = np.empty((1 + len(terms), len(rows)))
    columns_first[0] = 1.0
    for place, term in enumerate(terms, start=1):
        columns_first[place] = term_values(term, rows, series)
    return columns_first.T


def offsets(rows: Columns, recipe: Recipe) -> FloatArray:
    """(n,) what is added to the log price outside the regression: the haggle of sold kits where sold is no term.

    Raises RefusedError where a sold price is asked for and nothing says how far it lies under the asked one.
    """
    sold = rows.sold > 0
    if recipe.sold_offset is None and np.any(sold):
        raise RefusedError("the book holds asked prices only: set haggle in [prices] of shop.toml to value a sale")
    return np.where(sold, recipe.sold_offset or 0.0, 0.0)


BLOCK = 16_384  # rows worked on at a time, so that they stay in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class Scaling:
    """How fixed columns are standardised: (column - center) / scale. The intercept, column 0, stays as it is."""

    center: FloatArray  # (p,)
    scale: FloatArray  # (p,)

    def apply(self, F: FloatArray, out: FloatArray | None = None) -> FloatArray:
        """(n, p) raw columns -> (n, p) standardised ones, column by column in memory; `out` may be F itself."""
        result = np.empty((F.shape[1], len(F))).T if out is None else out
        for j, center in enumerate(self.center):
            np.subtract(F[:, j], center, out=result[:, j])
            result[:, j] /= self.scale[j]
        return result

    def back(self) -> FloatArray:
        """(p, p) matrix that turns standardised coefficients into those of the raw columns."""
        M = np.diag(1.0 / self.scale)
        M[0, 1:] = -self.center[1:] / self.scale[1:]
        return M


def standardise(F: FloatArray) -> Scaling:
    """Centre and scale of each column of F (n, p), whose column 0 is the intercept."""
    center, scale = np.zeros(F.shape[1]), np.ones(F.shape[1])
    for j in range(1, F.shape[1]):
        center[j] = F[:, j].mean()
        scale[j] = np.sqrt(squares_about(F[:, j], center[j]) / len(F)) or 1.0
    return Scaling(center, scale)


def squares_about(column: FloatArray, center: float) -> float:
    """The sum of squares of a column (n,) about a value."""
    squares = 0.0
    for at in range(0, len(column), BLOCK):
        spread = column[at : at + BLOCK] - center
        squares += float(np.einsum("i,i->", spread, spread))  # a long @ would wake other threads
    return squares


def indicators(codes: IntArray, q: int) -> FloatArray:
    """(n, q) series indicators; a code of -1 gives a row of zeros."""
    return np.asarray(codes[:, None] == np.arange(q)[None, :], dtype=np.float64)
