"""A kit in words."""

from __future__ import annotations

from datetime import date

from kitvalue.market.kit import Kit

GRADE_WORDS = {1: "harvest", 2: "remake", 3: "mend", 4: "freshen", 5: "wipe"}


def kit_words(kit: Kit) -> str:
    """`Burren, 5 pieces, condition 3 (mend), hardware yes, on 2026-11-01`."""
    parts = [kit.series, f"{kit.pieces:g} pieces", grade_words(kit.condition)]
    parts += [f"{f.name} {_feature_words(f.value)}" for f in kit.features]
    if kit.on is not None:
        parts.append(f"on {kit.on.isoformat()}")
    return ", ".join(parts)


def _feature_words(value: float | bool | str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:g}"


def grade_words(value: float) -> str:
    """`condition 3 (mend)`."""
    return f"condition {grade(value)}"


def grade(value: float) -> str:
    """`3 (mend)`."""
    word = GRADE_WORDS.get(int(value)) if value == int(value) else None
    return f"{value:g}" + (f" ({word})" if word else "")


def as_of_words(day: date | None) -> str:
    """`, at the prices of 2026-11-14`, behind a currency."""
    return "" if day is None else f", at the prices of {day.isoformat()}"
