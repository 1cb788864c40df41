"""Values out of JSON text, taken only where they are of the kind that belongs there: what is read is a stranger's."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from datetime import date
from typing import Any, TypeVar

import numpy as np

from kitvalue.intake.book import DateArray, FloatArray, IntArray

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
