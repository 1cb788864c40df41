"""A fit as JSON: written by `fit`, read by the commands that only need its figures. Never pickle.

What is read is checked as strictly as a stranger's file: a file that was edited, cut short or written by another
version is no fit, and the caller fits again. Its last key is a digest of all before it, which a changed figure does
not match; it guards against accidents, not against someone who makes the digest anew. The checks are `stored`'s:
pydantic's models of these records took longer to build than a kit to value.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date
from functools import partial
from typing import Any, Final, TypeVar, get_args

import numpy as np

from kitvalue.intake.books.book import DateArray, FeatureColumn, FloatArray, IntArray, PriceBook
from kitvalue.intake.settings.shop import FeatureKind
from kitvalue.intake.text.problems import FileCounts
from kitvalue.market.encoding import FeatureRecipe, LeftOut, Recipe, Scaling, Source, Term
from kitvalue.market.fitted import Accuracy, Fit, SeriesEffect, TermEstimate, UnusualRow

T = TypeVar("T")


class NotStoredError(Exception):
    """The text holds no such record."""


def parsed(text: str) -> dict[str, object]:
    """The object in a JSON text whose numbers are all finite. Raises NotStoredError."""
    try:
        found = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise NotStoredError from None
    return keyed(found)


def _no_number(word: str) -> object:
    raise NotStoredError(word)


def keyed(found: object, names: Sequence[str] | None = None) -> dict[str, object]:
    """An object, with these keys and no others where `names` are given."""
    if not isinstance(found, dict) or (names is not None and found.keys() != set(names)):
        raise NotStoredError
    return found


def listing(found: object) -> list[object]:
    """A list."""
    if not isinstance(found, list):
        raise NotStoredError
    return found


def text(found: object) -> str:
    """A text."""
    if not isinstance(found, str):
        raise NotStoredError
    return found


def truth(found: object) -> bool:
    """True or false, not 1 or 0."""
    if not isinstance(found, bool):
        raise NotStoredError
    return found


def whole(found: object) -> int:
    """A whole number."""
    if type(found) is not int:
        raise NotStoredError
    return found


def number(found: object, least: float = -math.inf) -> float:
    """A finite number that is not below `least`."""
    if type(found) not in (int, float):
        raise NotStoredError
    try:
        value = float(found)  # type: ignore[arg-type]
    except OverflowError:
        raise NotStoredError from None
    if not math.isfinite(value) or value < least:
        raise NotStoredError
    return value


def day(found: object) -> date:
    """A date in ISO form."""
    try:
        return date.fromisoformat(text(found))
    except ValueError:
        raise NotStoredError from None


def floats(found: object, shape: tuple[int, ...], *, least: float = -math.inf, blanks: bool = False) -> FloatArray:
    """An array of this shape, none below `least`; with `blanks` null stands for NaN."""
    values = listing(found)
    if blanks:
        values = [math.nan if one is None else one for one in values]
    numbers = _array(values, shape, "fi").astype(np.float64)
    known = numbers[~np.isnan(numbers)] if blanks else numbers
    if not np.all(np.isfinite(known)) or np.any(known < least):
        raise NotStoredError
    return numbers


def wholes(found: object, shape: tuple[int, ...], *, most: int | None = None) -> IntArray:
    """An array of whole numbers of this shape, from 0 to `most`."""
    numbers = _array(listing(found), shape, "i").astype(np.int64)
    if np.any(numbers < 0) or (most is not None and np.any(numbers > most)):
        raise NotStoredError
    return numbers


def days(found: object, count: int) -> DateArray:
    """(count,) dates, null for NaT."""
    values = [None if one is None else day(one) for one in listing(found)]
    if len(values) != count:
        raise NotStoredError
    return np.array(values, dtype="datetime64[D]")


def _array(values: Sequence[object], shape: tuple[int, ...], kinds: str) -> np.ndarray[Any, np.dtype[Any]]:
    try:
        array = np.array(values)
    except (ValueError, OverflowError):
        raise NotStoredError from None
    if array.shape != shape or array.dtype.kind not in kinds:
        raise NotStoredError
    return array


def record(kind: Callable[..., T], found: object, readers: Mapping[str, Callable[[object], object]]) -> T:
    """A record of plain fields: an object whose keys are its fields; `readers` knows each field's annotation."""
    given = fields(kind)  # type: ignore[arg-type]
    values = keyed(found, [field.name for field in given])
    return kind(**{field.name: readers[str(field.type)](values[field.name]) for field in given})


def many(reader: Callable[[object], T]) -> Callable[[object], tuple[T, ...]]:
    """A reader of lists."""
    return lambda found: tuple(reader(one) for one in listing(found))


def optional(reader: Callable[[object], T]) -> Callable[[object], T | None]:
    """A reader of what may be null."""
    return lambda found: None if found is None else reader(found)


def pair(found: object) -> tuple[float, float]:
    """Two numbers."""
    low, high = floats(found, (2,)).tolist()
    return low, high


FORMAT: Final = 4
SEAL: Final = ',\n "digest": "{}"\n}}\n'
TINY: Final = float(np.finfo(np.float64).tiny)  # the least of what must be above 0

R = TypeVar("R")


@dataclass(frozen=True, slots=True, eq=False)
class KeptFit:
    """A fit and how the rows behind it were read."""

    fit: Fit
    counts: FileCounts


def dump_fit(fit: Fit, counts: FileCounts, fingerprint: str) -> str:
    """The fit as JSON text, a line for each key. `fingerprint` names the inputs that it was made from."""
    values: dict[str, object] = {
        "format": FORMAT,
        "fingerprint": fingerprint,
        "counts": asdict(counts),
        "center": fit.scaling.center.tolist(),
        "scale": fit.scaling.scale.tolist(),
        "book": _save_book(fit.book),
    }
    for name in _plain_names():
        value = getattr(fit, name)
        values[name] = value.tolist() if isinstance(value, np.ndarray) else value
    lines = [f' "{key}": {json.dumps(value, ensure_ascii=False, default=_plain)}' for key, value in values.items()]
    return sealed("{\n" + ",\n".join(lines) + "\n}\n")


def _plain_names() -> list[str]:
    return [field.name for field in fields(Fit) if field.name not in ("scaling", "book")]


def _plain(value: object) -> object:
    """A record as an object, a date as its ISO form."""
    return asdict(value) if hasattr(value, "__dataclass_fields__") else str(value)  # type: ignore[call-overload]


def sealed(text: str) -> str:
    """A JSON object's text with the digest of what stands before it as the last key."""
    body = text.rstrip().removesuffix("}").rstrip()
    return body + SEAL.format(hashlib.sha256(body.encode()).hexdigest())


def load_fit(text: str, fingerprint: str) -> KeptFit | None:
    """The fit in a file's text, or None where it is of other inputs, another version or damaged."""
    body = text[: -len(SEAL.format("0" * 64))]
    if sealed(body) != text:
        return None
    try:
        found = parsed(body + "}")
        if found.get("format") != FORMAT or found.get("fingerprint") != fingerprint:
            return None
        return KeptFit(_fit(found), _counts(found["counts"]))
    except (NotStoredError, KeyError):
        return None


def _fit(found: dict[str, object]) -> Fit:
    keyed(found, ["format", "fingerprint", "counts", "center", "scale", "book", *_plain_names()])
    recipe = record(Recipe, found["recipe"], _READERS)
    book = _load_book(found["book"])
    if recipe.series != book.series_names or len(recipe.rows_by_series) != len(recipe.series):
        raise NotStoredError
    p, n = len(recipe.names), len(book)
    k = p + (len(recipe.series) if recipe.pooled else 0)
    leverage = floats(found["leverage"], (n,), least=0)
    if np.any(leverage >= 1):
        raise NotStoredError
    return Fit(
        recipe=recipe,
        robust=truth(found["robust"]),
        scaling=Scaling(floats(found["center"], (p,)), floats(found["scale"], (p,), least=TINY)),
        theta=number(found["theta"], 0),
        sigma2=number(found["sigma2"], 0),
        tau2=number(found["tau2"], 0),
        scatter=number(found["scatter"], 0),
        coef=floats(found["coef"], (k,)),
        root=floats(found["root"], (k, k)),
        level_root=floats(found["level_root"], (k, k)),
        df=number(found["df"], TINY),
        level_t=tuple(floats(found["level_t"], (99,), least=TINY).tolist()),
        book=book,
        weights=floats(found["weights"], (n,), least=TINY),
        residuals=floats(found["residuals"], (n,)),
        leverage=leverage,
        rows_used=whole(found["rows_used"]),
        exact=truth(found["exact"]),
        terms=many(_of(TermEstimate))(found["terms"]),
        series=many(_of(SeriesEffect))(found["series"]),
        unusual=many(_of(UnusualRow))(found["unusual"]),
        accuracy=optional(_of(Accuracy))(found["accuracy"]),
        cautions=many(text)(found["cautions"]),
    )


def _save_book(book: PriceBook) -> dict[str, object]:
    return {
        "rows": book.rows.tolist(),
        "series": book.series.tolist(),
        "series_names": book.series_names,
        "pieces": book.pieces.tolist(),
        "condition": book.condition.tolist(),
        "price": book.price.tolist(),
        "asked": _blanks(book.asked),
        "premium": book.premium.tolist(),
        "price_kind": book.price_kind.tolist(),
        "channel": book.channel.tolist(),
        "date": _iso(book.date),
        "freight": _blanks(book.freight),
        "weight": book.weight.tolist(),
        "features": [
            {"name": f.name, "kind": f.kind, "values": _blanks(f.values), "words": f.words} for f in book.features
        ],
    }


def _load_book(found: object) -> PriceBook:
    given = keyed(found, [field.name for field in fields(PriceBook)])
    names = many(text)(given["series_names"])
    n = len(listing(given["rows"]))
    return PriceBook(
        rows=wholes(given["rows"], (n,)),
        series=wholes(given["series"], (n,), most=len(names) - 1),
        series_names=names,
        pieces=floats(given["pieces"], (n,), least=TINY),
        condition=floats(given["condition"], (n,), least=TINY),
        price=floats(given["price"], (n,), least=TINY),
        asked=floats(given["asked"], (n,), blanks=True),
        premium=floats(given["premium"], (n,), least=0),
        price_kind=wholes(given["price_kind"], (n,), most=2),
        channel=wholes(given["channel"], (n,), most=2),
        date=days(given["date"], n),
        freight=floats(given["freight"], (n,), blanks=True),
        weight=floats(given["weight"], (n,), least=TINY),
        features=tuple(_load_feature(one, n) for one in listing(given["features"])),
    )


def _load_feature(found: object, n: int) -> FeatureColumn:
    given = keyed(found, [field.name for field in fields(FeatureColumn)])
    if given["kind"] not in get_args(FeatureKind):
        raise NotStoredError
    values, words = floats(given["values"], (n,), blanks=True), many(text)(given["words"])
    if given["kind"] == "word" and not set(values[~np.isnan(values)].tolist()) <= set(range(len(words))):
        raise NotStoredError
    return FeatureColumn(text(given["name"]), text(given["kind"]), values, words)


def _source(found: object) -> str:
    if found not in get_args(Source):
        raise NotStoredError
    return text(found)


def _of(kind: Callable[..., R]) -> Callable[[object], R]:
    return partial(_read, kind)


def _read(kind: Callable[..., R], found: object) -> R:
    return record(kind, found, _READERS)


_counts: Final = _of(FileCounts)
_READERS: Final[Mapping[str, Callable[[object], object]]] = {  # by the fields' annotations
    "str": text, "bool": truth, "int": whole, "float": number, "Source": _source,
    "str | None": optional(text), "float | None": optional(number), "date | None": optional(day),
    "tuple[str, ...]": many(text), "tuple[int, ...]": many(whole), "tuple[float, float]": pair,
    "tuple[Term, ...]": many(_of(Term)), "tuple[FeatureRecipe, ...]": many(_of(FeatureRecipe)),
    "tuple[LeftOut, ...]": many(_of(LeftOut)),
}  # fmt: skip


def _iso(dates: DateArray) -> list[str | None]:
    return [None if np.isnat(day) else str(day) for day in dates]


def _blanks(values: FloatArray) -> list[float | None]:
    return [None if np.isnan(v) else float(v) for v in values]
