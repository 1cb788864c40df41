"""A fit as JSON: written by `fit`, read by the commands that only need its figures. Never pickle.

What is read is checked as strictly as a stranger's file: a file that was edited, cut short or written by another
version is no fit, and the caller fits again. Its last key is a digest of all before it, which a changed figure does
not match; it guards against accidents, not against someone who makes the digest anew. The records' own annotations
say what each key holds: pydantic's models of them took longer to build than a kit to value.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from functools import cache
from types import UnionType
from typing import Any, Final, cast, get_args, get_origin, get_type_hints

import numpy as np

from kitvalue.intake.books.book import DateArray, IntArray
from kitvalue.intake.settings.shop import FeatureKind
from kitvalue.intake.text.problems import FileCounts
from kitvalue.market.fitted import Fit

FORMAT: Final = 4  # one higher where a figure changes its meaning; another layout is refused by its keys
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


def load_fit(text: str, fingerprint: str) -> KeptFit | None:
    """The fit in a file's text, or None where it is of other inputs, another version or damaged."""
    body = text[: -len(SEAL.format("0" * 64))]
    if sealed(body) != text:
        return None
    try:
        values = json.loads(body + "}", parse_constant=int)  # int takes no NaN and no infinity
        if (values.pop("format"), values.pop("fingerprint")) != (FORMAT, fingerprint):
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
        return _read_array(kind, value)
    elif kind is date and isinstance(value, str):
        return date.fromisoformat(value)
    elif isinstance(value, str) and value in inner:
        return value
    raise ValueError(value)


def _read_array(kind: object, values: list[object]) -> object:
    """Numbers or days, null for NaN and NaT."""
    if kind == DateArray:
        return np.array(
            [None if day is None else date.fromisoformat(cast(str, day)) for day in values], dtype="datetime64[D]"
        )
    whole = kind == IntArray
    array = np.array([math.nan if x is None else x for x in values])
    if array.dtype.kind not in ("i" if whole else "fi") or np.any(np.isinf(array)):
        raise ValueError(array)
    return array.astype(np.int64 if whole else np.float64)


def _is_sound(fit: Fit) -> bool:
    """Whether the shapes belong together, and every number lies where it may."""
    book, recipe, scaling = fit.book, fit.recipe, fit.scaling
    n, p, q = len(book), len(recipe.names), len(recipe.series)
    k = p + q * recipe.pooled
    by_row = [getattr(book, f.name) for f in fields(book) if f.name not in ("series_names", "features")]
    by_row += [fit.weights, fit.residuals, fit.leverage, *(f.values for f in book.features)]
    shaped = ((scaling.center, p), (scaling.scale, p), (fit.coef, k), (np.array(fit.level_t), 99))
    above_0 = (book.pieces, book.condition, book.price, book.weight, fit.weights, scaling.scale, fit.df, fit.level_t)
    from_0 = (book.rows, book.series, book.price_kind, book.channel, book.premium, fit.leverage)
    known = (fit.residuals, scaling.center, fit.coef, fit.root, fit.level_root)
    return (
        recipe.series == book.series_names
        and len(recipe.rows_by_series) == q
        and all(array.shape == (n,) for array in by_row)
        and all(array.shape == (length,) for array, length in shaped)
        and fit.root.shape == fit.level_root.shape == (k, k)
        and all(np.all(np.asarray(x) >= TINY) for x in above_0)
        and all(np.all(x >= 0) for x in from_0)
        and min(fit.theta, fit.sigma2, fit.tau2, fit.scatter) >= 0
        and not any(np.any(np.isnan(x)) for x in known)
        and bool(np.all(fit.leverage < 1) and np.all(book.series < q))
        and bool(np.all(book.price_kind <= 2) and np.all(book.channel <= 2))
        and all(f.kind in get_args(FeatureKind) for f in book.features)
        and all(set(f.values[~np.isnan(f.values)]) <= {*range(len(f.words))} for f in book.features if f.kind == "word")
    )
