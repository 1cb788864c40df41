"""A fit as JSON: written by `fit`, read by the commands that only need its figures. Never pickle.

What is read is checked as strictly as a stranger's file: a file that was edited, cut short or written by another
version is no fit, and the caller fits again. Its last key is a digest of all before it, which a changed figure does
not match; it guards against accidents, not against someone who makes the digest anew. The checks are `stored`'s:
pydantic's models of these records took longer to build than a kit to value.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields
from functools import partial
from typing import Final, TypeVar, get_args

import numpy as np

from kitvalue.intake.book import DateArray, FeatureColumn, FloatArray, PriceBook
from kitvalue.intake.counts import FileCounts
from kitvalue.intake.shop import FeatureKind
from kitvalue.market import stored
from kitvalue.market.fitted import Accuracy, Fit, SeriesEffect, TermEstimate, UnusualRow
from kitvalue.market.recipe import FeatureRecipe, LeftOut, Recipe
from kitvalue.market.scaling import Scaling
from kitvalue.market.stored import NotStoredError, floats, many, number, optional, record, text, truth, whole, wholes
from kitvalue.market.terms import Source, Term

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
        found = stored.parsed(body + "}")
        if found.get("format") != FORMAT or found.get("fingerprint") != fingerprint:
            return None
        return KeptFit(_fit(found), _counts(found["counts"]))
    except (NotStoredError, KeyError):
        return None


def _fit(found: dict[str, object]) -> Fit:
    stored.keyed(found, ["format", "fingerprint", "counts", "center", "scale", "book", *_plain_names()])
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
    given = stored.keyed(found, [field.name for field in fields(PriceBook)])
    names = many(text)(given["series_names"])
    n = len(stored.listing(given["rows"]))
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
        date=stored.days(given["date"], n),
        freight=floats(given["freight"], (n,), blanks=True),
        weight=floats(given["weight"], (n,), least=TINY),
        features=tuple(_load_feature(one, n) for one in stored.listing(given["features"])),
    )


def _load_feature(found: object, n: int) -> FeatureColumn:
    given = stored.keyed(found, [field.name for field in fields(FeatureColumn)])
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
    "str | None": optional(text), "float | None": optional(number), "date | None": optional(stored.day),
    "tuple[str, ...]": many(text), "tuple[int, ...]": many(whole), "tuple[float, float]": stored.pair,
    "tuple[Term, ...]": many(_of(Term)), "tuple[FeatureRecipe, ...]": many(_of(FeatureRecipe)),
    "tuple[LeftOut, ...]": many(_of(LeftOut)),
}  # fmt: skip


def _iso(dates: DateArray) -> list[str | None]:
    return [None if np.isnat(day) else str(day) for day in dates]


def _blanks(values: FloatArray) -> list[float | None]:
    return [None if np.isnan(v) else float(v) for v in values]
