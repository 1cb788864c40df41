"""The recipe of a fit: which terms enter, decided from the book alone, and how a kit becomes its row of numbers.

The recipe travels with the fit, so that a kit asked about later cannot be encoded differently.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal, cast

import numpy as np

from kitvalue.intake.books.book import FeatureColumn, FloatArray, IntArray, PriceBook
from kitvalue.intake.text.problems import RefusedError, shown
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS
from kitvalue.intake.text.words import rows_phrase

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
            values = feature.values
            if term.level:
                is_level = (values == feature.words.index(term.level)).astype(np.float64)
                values = np.where(np.isnan(values), np.nan, is_level)
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
    """(n, 1 + terms) columns of some terms, the intercept first, blanks filled by the book's averages; column by column
    in memory, which is how they are made and standardised."""
    return np.array([np.ones(len(rows)), *(term_values(term, rows, series) for term in terms)]).T


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

    def apply(self, F: FloatArray) -> FloatArray:
        """(n, p) raw columns -> standardised ones, in place."""
        F -= self.center
        F /= self.scale
        return F

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


MIN_SOLD = 5  # rows on each side before asked and sold are told apart
MIN_SIDE = 3  # rows on each side of any other yes/no term
MIN_SPAN_DAYS = 180


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A term on trial: its column (n,) with blanks filled, and the rows it needs on each side (0 for a number)."""

    term: Term
    values: FloatArray
    side: int


def candidates(rows: Columns) -> list[Candidate]:
    """Every term that could enter, in the order in which they are tried."""
    sides = {
        Term("log_pieces", "pieces"): 0,
        Term("condition", "condition"): 0,
        Term("sold", "sold"): MIN_SOLD,
        Term("dealer", "dealer"): MIN_SIDE,
        Term("auction", "auction"): MIN_SIDE,
        Term("years", "years"): 0,
    }
    for f in rows.features:
        if f.kind != "word":
            sides[Term(f.name, "feature", feature=f.name)] = MIN_SIDE if f.kind == "yes-no" else 0
        elif f.words:  # an indicator for each word but the most frequent
            known = f.values[~np.isnan(f.values)].astype(np.int64)
            base = int(np.argmax(np.bincount(known, minlength=len(f.words))))
            others = f.words[:base] + f.words[base + 1 :]
            sides |= {Term(f"{f.name}={word}", "feature", feature=f.name, level=word): MIN_SIDE for word in others}
    tried = []
    for term, side in sides.items():
        values = term_values(replace(term, blank=np.nan), rows, ())
        told = values[~np.isnan(values)]
        average = float(told.mean()) if len(told) else 0.0
        tried.append(Candidate(replace(term, blank=average), np.nan_to_num(values, nan=average), side))
    return tried


RANK_TOLERANCE = 1e-7
MANY = 50_000  # rows from which a part of them is looked at first
PART = 20_000
PLAIN = 1e-3  # a length this far above rounding needs no second look


def independent(columns: Sequence[FloatArray], groups: IntArray) -> tuple[bool, ...]:
    """Which columns, each (n,), taken in order, add something to the indicators of `groups` (n,) and to those before.

    A column is out where what is left of it, centred and scaled to unit length, after projecting the others out is
    shorter than 1e-7. Rank is decided before anything is fitted. One group stands for an intercept alone.
    """
    if len(groups) > MANY and len(columns) and plainly_independent(columns, groups):
        return (True,) * len(columns)
    basis = np.empty((len(columns), len(groups)))
    counts = np.maximum(np.bincount(groups), 1)
    size, kept = 0, []
    for column in columns:
        rest = column - column.mean()
        length = float(np.linalg.norm(rest))
        if length <= RANK_TOLERANCE * max(1.0, float(np.abs(column).max(initial=0.0))) * np.sqrt(len(column)):
            kept.append(False)
            continue
        rest = rest / length
        for _ in range(2):  # twice is enough: Gram-Schmidt with reorthogonalisation
            rest = rest - (np.bincount(groups, weights=rest) / counts)[groups]
            rest = rest - (basis[:size] @ rest) @ basis[:size]
        left = float(np.linalg.norm(rest))
        kept.append(left > RANK_TOLERANCE)
        if kept[-1]:
            basis[size] = rest / left
            size += 1
    return tuple(kept)


def plainly_independent(columns: Sequence[FloatArray], groups: IntArray) -> bool:
    """Whether all columns, each (n,), are far from dependent, told by every so many rows of a tall book alone.

    What is left of a column after the others are projected out is no shorter over all rows than over some of them.
    It is held against the column's whole length, about any centre: the length about its mean is no longer.
    """
    every = max(1, len(groups) // PART)
    part = np.column_stack([column[::every] for column in columns])
    centre = part.mean(axis=0)
    whole = np.sqrt([squares_about(column, c) for column, c in zip(columns, centre, strict=True)])
    some = groups[::every]
    Z = indicators(some, int(groups.max()) + 1)
    rest = part - centre
    rest -= Z @ ((Z.T @ rest) / np.maximum(Z.sum(axis=0), 1.0)[:, None])
    left = np.abs(np.diag(np.linalg.qr(rest, mode="r")))
    return bool(np.all(left > PLAIN * whole))


KINDS = {"sold": ("sold", "asked"), "dealer": ("dealer", "non-dealer"), "auction": ("auction", "non-auction")}


def _too_few(candidate: Candidate, book: PriceBook) -> str:
    """Why so few rows, or days, do not tell a term; empty where they do."""
    if candidate.term.source == "years":
        dates = book.date[~np.isnat(book.date)]
        if not len(dates):
            return "no row has a date"
        days = (dates.max() - dates.min()) // np.timedelta64(1, "D")
        return f"the dates span {days} days; {MIN_SPAN_DAYS} are needed" if days < MIN_SPAN_DAYS else ""
    if not candidate.side:
        return ""
    yes = candidate.values >= 0.5
    count, other = int(yes.sum()), int((~yes).sum())
    word, otherwise = KINDS.get(candidate.term.name, (candidate.term.name, f"other than {candidate.term.name}"))
    if count == 0:
        return f"no {word} rows"
    if other == 0:
        return f"every row is {word}"
    if min(count, other) >= candidate.side:
        return ""
    number, scarce, which = (count, word, yes) if count <= other else (other, otherwise, ~yes)
    named = rows_phrase(book.rows[which].tolist())
    return f"only {number} {scarce} row{'s' if number > 1 else ''} ({named}); {candidate.side} are needed"


def _reproduced(candidate: Candidate, kept: Sequence[Candidate], book: PriceBook) -> LeftOut:
    """Why a column adds nothing: constant, the same as another, fixed by the series, or a mix of several."""
    name, values = candidate.term.name, candidate.values
    flat = 1e-9 * max(1.0, float(np.abs(values).max()))
    if np.ptp(values) <= flat:
        told = {"log_pieces": f": {np.exp(values[0]):g} pieces", "condition": f": {values[0] + CONDITION_ZERO:g}"}
        return LeftOut(name, "flat", f"it is the same in every row{told.get(name, '')}")
    for other in (o for o in kept if candidate.side and o.side):
        same = np.array_equal(values, other.values)
        if same or np.array_equal(values, 1 - other.values):
            word = KINDS.get(name, (name, ""))[0]
            yes, no = KINDS.get(other.term.name, (other.term.name, f"non-{other.term.name}"))
            named = rows_phrase(book.rows[values >= 0.5].tolist())
            side = yes if same else no
            all_of = f"all {side} rows are {word} rows and no others are ({named})"
            return LeftOut(name, "inside", f"{all_of}; its effect is inside {other.term.name}")
    within = [np.ptp(values[book.series == s]) for s in np.unique(book.series)]
    if max(within) <= flat:
        same_in = "it is the same in all rows of each series, so its effect is inside the series effects"
        return LeftOut(name, "inside", same_in)
    names = " and ".join([*(o.term.name for o in kept), "the series"])
    return LeftOut(name, "inside", f"it can be worked out from {names}, so its effect is inside theirs")


def build_recipe(book: PriceBook, haggle: float | None, pooled: bool) -> Recipe:
    """Decide the terms from the book alone. `haggle`: the percent between asked and sold, or None.

    Raises RefusedError where sold and asked rows are mixed, cannot be told apart and no haggle is given.
    """
    newest = cast(date | None, np.fmax.reduce(book.date, initial=np.datetime64("NaT", "D")).item())
    tried = candidates(of_book(book, newest))
    few = {c.term.name: _too_few(c, book) for c in tried}
    standing = [c for c in tried if not few[c.term.name]]
    # a term that the series can reproduce is out, pooled or not: its effect could not be told from theirs
    independents = independent([c.values for c in standing], book.series)
    kept = [c for c, enters in zip(standing, independents, strict=True) if enters]
    terms = tuple(c.term for c in kept)
    left_out = tuple(
        LeftOut(c.term.name, "few", few[c.term.name]) if few[c.term.name] else _reproduced(c, kept, book)
        for c in tried if c not in kept
    )  # fmt: skip
    several = len(book.series_names) > 1
    if not several:
        only = f"every row is {book.series_names[0]}: there is no other series to tell it from"
        left_out += (LeftOut("series", "alone", only),)
    elif not pooled:
        terms += tuple(Term(f"series[{s}]", "series", level=s) for s in sorted(book.series_names)[1:])
    both = (book.price_kind == PRICE_KINDS.index("sold")) & (book.asked > 0)  # rows that tell what was asked and paid
    pairs = int(both.sum())
    steps = np.log(book.price[both] / book.asked[both])
    pair_step = min(0.0, float(np.median(steps))) if pairs >= MIN_SOLD else None
    offset, basis = _sold_basis(book, any(t.source == "sold" for t in terms), pair_step, pairs, haggle)
    return Recipe(
        terms=terms,
        series=book.series_names,
        features=tuple(FeatureRecipe(f.name, f.kind, f.words) for f in book.features),
        pooled=pooled and several,
        reference_date=newest,
        sold_offset=offset,
        sold_basis=basis,
        pairs=pairs,
        pair_step=pair_step,
        left_out=left_out,
        pieces_seen=(float(book.pieces.min()), float(book.pieces.max())),
        conditions_seen=(float(book.condition.min()), float(book.condition.max())),
        rows_by_series=tuple(np.bincount(book.series, minlength=len(book.series_names)).tolist()),
    )


def _sold_basis(
    book: PriceBook, is_term: bool, pair_step: float | None, pairs: int, haggle: float | None
) -> tuple[float | None, str]:
    """The offset of sold kits, and in words what it rests on."""
    sold = int((book.price_kind != 0).sum())
    if is_term or (pair_step is None and sold == len(book)):
        return 0.0, f"{sold} sold rows of the book"
    if pair_step is not None:
        return pair_step, by_pairs(pairs, pair_step)
    fewer, kind = min((sold, "sold"), (len(book) - sold, "asked"))
    why = f"the book has {fewer} {kind} rows, fewer than {MIN_SOLD}" if fewer < MIN_SOLD else "the book cannot tell"
    if haggle is not None:
        return float(np.log1p(-haggle / 100)), f"the haggle of {haggle:g} % in shop.toml ({why})"
    if sold:
        raise RefusedError(f"asked and sold prices cannot be told apart ({why}): set haggle in [prices] of shop.toml")
    return None, f"nothing: {why}, and shop.toml sets no haggle"
