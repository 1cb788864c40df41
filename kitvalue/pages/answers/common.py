"""The answers of the commands as JSON objects: what they share."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TypeAlias

from kitvalue.intake.bookrows import FeatureRead
from kitvalue.intake.counts import FileCounts
from kitvalue.intake.problems import Problem

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"
Answer: TypeAlias = dict[str, Json]


def envelope(problems: Sequence[Problem], cautions: Sequence[str]) -> Answer:
    """What every answer holds. A caution that several parts of it bring stands once, where it comes first."""
    return {
        "problems": [
            {
                "file": p.file, "row": p.row, "column": p.column, "text": p.text, "code": p.code,
                "level": p.level.value, "message": p.message,
            }
            for p in problems
        ],
        "cautions": list(dict.fromkeys(cautions)),
    }  # fmt: skip


def money(value: Decimal | float | None) -> float | None:
    """Money with two decimals, half up for Decimal; None where it cannot be told."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return round(float(value), 2)


def number(value: Decimal | float | None) -> float | None:
    """A figure that is not money: as it is, None where it cannot be told."""
    return None if value is None or not math.isfinite(value) else float(value)


def feature(f: FeatureRead) -> Json:
    """One feature as its file tells it; None where it is blank."""
    return number(f.value) if isinstance(f.value, Decimal) else f.value


def file_answer(counts: FileCounts) -> Answer:
    return {
        "file": counts.file, "read": counts.read, "used": counts.used, "refused": counts.refused,
        "set_aside": counts.set_aside, "encoding": counts.encoding, "delimiter": counts.delimiter,
        "decimal": counts.decimal,
    }  # fmt: skip
