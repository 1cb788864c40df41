"""Rows that tell of one kit twice, and series names that look like one name spelt twice."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.bookrows import RowAsRead
from kitvalue.intake.problems import Level, Problem, shown
from kitvalue.intake.words import fold, has_part, listed, look_alike, rows_phrase, trimmed

_MOST_NAMES: Final = 400  # comparing every pair of names grows with the square of their number


@dataclass(frozen=True, slots=True)
class Kept:
    """The rows that count, the problems of the others, and how many of these were set aside and refused."""

    rows: tuple[RowAsRead, ...]
    problems: tuple[Problem, ...]
    set_aside: int
    refused: int


def without_repeats(rows: Sequence[RowAsRead], file: str, ref_header: str) -> Kept:
    """Set aside rows that repeat another in every column, and of each listing's rows all but the latest."""
    problems: list[Problem] = []
    seen: dict[tuple[str, ...], int] = {}
    once: list[RowAsRead] = []
    for row in rows:
        first = seen.setdefault(tuple(trimmed(cell) for cell in row.cells), row.row)
        if first == row.row:
            once.append(row)
        else:
            message = f"the row repeats row {first} in every column, so it is set aside; delete it, or tell them apart"
            problems.append(Problem(file, row.row, None, None, "repeated_row", Level.WARNING, message))
    dropped: set[int] = set()
    refused = 0
    for same in _listings(once):
        found = _one_listing(same, file, ref_header)
        problems += found
        refused += sum(problem.level is Level.REFUSED for problem in found)
        dropped.update(problem.row for problem in found if problem.row is not None)
    kept = tuple(row for row in once if row.row not in dropped)
    return Kept(kept, tuple(problems), len(rows) - len(kept) - refused, refused)


def _listings(rows: Sequence[RowAsRead]) -> list[list[RowAsRead]]:
    by_ref: dict[str, list[RowAsRead]] = {}
    for row in rows:
        if row.ref is not None:
            by_ref.setdefault(row.ref, []).append(row)
    return [same for same in by_ref.values() if len(same) > 1]


def _one_listing(rows: list[RowAsRead], file: str, header: str) -> list[Problem]:
    """The problems of rows that share one ref: each but the latest set aside, or all refused if they are no one kit."""
    ref = rows[0].ref
    if len({fold(row.series) for row in rows}) > 1:
        phrase = rows_phrase([row.row for row in rows])
        message = f"{shown(ref or '')} stands for kits of different series ({phrase}); correct the ref or the series"
        return [Problem(file, row.row, header, ref, "ref_clash", Level.REFUSED, message) for row in rows]
    latest = max(rows, key=lambda row: (row.date or dt.date.min, row.row))
    message = f"{shown(ref or '')} is listed again in row {latest.row}, which is later: this row is set aside"
    return [
        Problem(file, row.row, header, ref, "relisted", Level.WARNING, message) for row in rows if row is not latest
    ]


def spelling_warnings(where: Mapping[str, Sequence[int]], file: str, header: str) -> list[Problem]:
    """Where shop.toml lists no series: names in the book that are probably one name. They are not merged. `where`: the
    rows of each name as it is spelt.
    """
    names = sorted(where, key=lambda name: (-len(where[name]), where[name][0]))
    if len(names) > _MOST_NAMES:
        return []
    found = []
    for at, rare in enumerate(names):
        common = next((name for name in names[:at] if look_alike(rare, name)), None)
        if common is None:
            continue
        shared = min(rare, common, key=len)  # a maker's name alone is near to every series of his
        of = [name for name in names if name != shared and has_part(name, shared)]
        message = _near_name(rare, common, where) if len(of) < 2 else _shared_name(shared, of, where)
        subject = rare if len(of) < 2 else shared
        found.append(Problem(file, int(where[subject][0]), header, subject, "series_spelling", Level.WARNING, message))
    return list(dict.fromkeys(found))


def _near_name(rare: str, common: str, where: Mapping[str, Sequence[int]]) -> str:
    return (
        f"{shown(rare)} in {rows_phrase(where[rare])} is close to {shown(common)} but another series; "
        f"did you mean {common}? If both are right, list them in shop.toml"
    )


def _shared_name(shared: str, of: Sequence[str], where: Mapping[str, Sequence[int]]) -> str:
    rows, names = rows_phrase(where[shared]), listed(of, 6, last="or")
    return (
        f"{shown(shared)} in {rows} can be any of {names} and counts as another series; "
        "write which it is, or list it in shop.toml if it is one of its own"
    )
