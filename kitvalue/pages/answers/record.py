"""Records as JSON objects: the keys in their order, figures as plain numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from enum import Enum
from typing import TypeAlias, cast

from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.text.problems import Caution, Problem

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"
Answer: TypeAlias = dict[str, Json]


def answer(record: object, keys: str, **made: Json) -> Answer:
    """The record under these keys, in this order; a value that no field has as it is to be told comes from `made`.

    A key is a field's name, or `key=field` or `key=part.field`: null where there is no such part. A `$` behind it is
    for money, which has two decimals.
    """
    found: Answer = {}
    for key in keys.split():
        name, _, path = key.removesuffix("$").partition("=")
        if name in made:
            found[name] = made[name]
            continue
        value = record
        for field in (path or name).split("."):
            value = None if value is None else getattr(value, field)
        found[name] = money(cast("Decimal | float | None", value)) if key.endswith("$") else _json(value)
    return found


def _json(value: object) -> Json:
    """One value: days and codes as text, tuples as lists, a figure as it is."""
    if isinstance(value, Decimal | float):
        return number(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return cast("str", value.value)
    return [_json(part) for part in value] if isinstance(value, tuple) else cast("Json", value)


def money(value: Decimal | float | None) -> float | None:
    """Money with two decimals, half up for Decimal; None where it cannot be told."""
    return None if value is None or not math.isfinite(value) else round(float(value), 2)


def number(value: Decimal | float | None) -> float | None:
    """A figure that is not money: as it is, None where it cannot be told."""
    return None if value is None or not math.isfinite(value) else float(value)


def features(read: Sequence[FeatureRead]) -> Answer:
    """Features as their file tells them; null where one is blank."""
    return {f.name: _json(f.value) for f in read}


def envelope(problems: Sequence[Problem], cautions: Sequence[Caution]) -> Answer:
    """What every answer holds. A caution that several parts of it bring stands once, where it comes first."""
    return {
        "problems": [answer(p, "file row column text code level message") for p in problems],
        **cautions_told(cautions),
    }


def cautions_told(cautions: Sequence[Caution]) -> Answer:
    """What cautions say and, in the same order, their codes."""
    each = tuple(dict.fromkeys(cautions))
    return {"cautions": [caution.text for caution in each], "caution_codes": [caution.code for caution in each]}
