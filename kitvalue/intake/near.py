"""Rows that may tell of one kit twice though nothing proves it: told, never dropped."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from kitvalue.intake.bookrows import RowAsRead
from kitvalue.intake.numbers import plain
from kitvalue.intake.problems import Level, Problem
from kitvalue.intake.words import fold

MOST_ROWS: Final = 5000  # of a book kept by hand; in larger ones many kits are alike by chance
_DAYS: Final = 60  # between two listings of one kit
_NOTES_ALIKE: Final = 0.5  # words that both notes have, of all words of the two


def near_duplicates(rows: Sequence[RowAsRead], file: str) -> list[Problem]:
    """A warning for each row that repeats an earlier one in all that describes the kit, at the same price or, with
    notes alike, at a lower one, within two months; unless both have a `ref`, which tells listings apart.
    """
    if len(rows) > MOST_ROWS:
        return []
    groups: dict[tuple[object, ...], list[RowAsRead]] = {}
    for row in rows:
        groups.setdefault((fold(row.series), row.pieces, row.condition, row.channel, row.currency), []).append(row)
    found = []
    for alike in groups.values():
        for at, row in enumerate(alike):
            earlier = next((one for one in reversed(alike[:at]) if _may_be_one(one, row)), None)
            if earlier is not None:
                found.append(_warning(earlier, row, file))
    return found


def _may_be_one(one: RowAsRead, other: RowAsRead) -> bool:
    if one.ref is not None and other.ref is not None:
        return False
    if (one.date is None) != (other.date is None) or any(
        a.value != b.value and a.value is not None and b.value is not None
        for a, b in zip(one.features, other.features, strict=True)
    ):
        return False
    if one.date is not None and other.date is not None and abs((other.date - one.date).days) > _DAYS:
        return False
    alike = _alike(one.note, other.note)
    if one.price == other.price:
        return alike is not False and one.price_kind == other.price_kind and one.freight == other.freight
    first, later = (one, other) if one.date is None or other.date is None or one.date <= other.date else (other, one)
    return alike is True and later.price < first.price


def _alike(one: str | None, other: str | None) -> bool | None:
    """Are two notes about one kit? None where one of them is blank."""
    a, b = (set(re.findall(r"\w+", fold(text or "")[:400])) for text in (one, other))
    if not a or not b:
        return None
    return len(a & b) >= _NOTES_ALIKE * len(a | b)


def _warning(one: RowAsRead, row: RowAsRead, file: str) -> Problem:
    price = "at the same price" if one.price == row.price else f"{plain(one.price)} there, {plain(row.price)} here"
    message = (
        f"may be the kit of row {one.row} again ({price}): both count. If it is one kit, give both rows the same ref; "
        "then only the latest does"
    )
    return Problem(file, row.row, None, None, "near_duplicate", Level.WARNING, message)
