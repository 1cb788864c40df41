"""parts.csv: what single parts of a kit fetch, how surely and how soon."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.intake.books.specs import PARTS
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.specification import Columns, FileReading, read_rows
from kitvalue.intake.text.numbers import Amount
from kitvalue.intake.text.problems import Problem, shown
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal, fold

_DRUM_WORDS: Final = frozenset(["drum", "drums", "shell", "tom", "floor", "rack", "bass", "snare", "inch", '"'])
_SIZE: Final = re.compile(r'\d+(?:[.,]\d+)?(?: \d/\d)?"? ?[x×] ?\d+(?:[.,]\d+)?(?: \d/\d)?"?', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class DrumMeant:
    """The drums that a part's name stands for, inches; None for what it leaves open."""

    diameter: Decimal | None
    depth: Decimal | None


@dataclass(frozen=True, slots=True)
class Part:
    """One kind of part: `value` gross, in the shop's currency; `chance` a fraction; `weeks` until it is sold. One that
    is no drum counts once for each kit.
    """

    row: int
    part: str
    value: Decimal
    chance: Decimal
    weeks: Decimal
    drum: DrumMeant | None

    def fits(self, size: Size) -> int:
        """How exactly it means a drum of this size: 3 by both figures, 2 by diameter, 1 as any drum, 0 not at all."""
        if self.drum is None or self.drum.diameter not in (None, size.diameter):
            return 0
        if self.drum.depth is None:
            return 1 if self.drum.diameter is None else 2
        return 3 if self.drum.depth == size.depth else 0


def read_parts(path: Path, shop: Shop) -> FileReading[Part]:
    """Read the parts by a shop's settings. Every problem is in the result; a missing file is one of them."""

    def parts(columns: Columns, rows: Sequence[int]) -> Iterator[Part]:
        known, whole = columns.known, 1 if _are_fractions(columns) else 100
        for at in rows:
            name, row, chance = known("part", at), columns.table.row(at), known("chance", at) / whole
            drum = drum_meant(name, shop.shop.size_order)
            yield Part(row, name, known("value", at), chance, known("weeks", at), drum)

    return read_rows(path, PARTS, shop, _across, parts)


def _are_fractions(columns: Columns) -> bool:
    """Is every chance at most 1? Then percents cannot be meant."""
    known = [value.value for value in columns["chance"].values if isinstance(value, Amount)]
    return bool(known) and 0 < max(known) <= 1


def _across(columns: Columns) -> Iterator[Problem]:
    table, names = columns.table, columns["part"]
    first: dict[str, int] = {}
    for at in range(len(table)):
        name, row = names.known(at), table.row(at)
        if name is not None and first.setdefault(fold(name), row) != row:
            message = f"{shown(name)} stands in row {first[fold(name)]} already; keep one of the two"
            yield table.problem(at, names.header, name, "part_twice", message)
    if _are_fractions(columns):
        message = "no chance is above 1, so they are read as fractions (0.8 is 80 %); write percent to be clear"
        yield table.warning(columns["chance"].header, None, "fractions", message)
        return
    for at in range(len(table)):
        if 0 < (columns.known("chance", at) or 0) < 1:
            yield columns.problem("chance", at, "fraction", "is below 1 where the other rows write percent")


def drum_meant(name: str, order: str) -> DrumMeant | None:
    """ "22x16", "16 inch floor tom", "drum": which drums a name means; None for anything else, such as "bass hoops"."""
    found = _SIZE.search(name)
    rest = fold(name.replace(found[0], " ") if found else name).replace("-", " ").split()
    numbers = [word.strip('"') for word in rest if re.fullmatch(r'\d{1,2}"?', word)]
    others = [word for word in rest if not re.fullmatch(r'\d{1,2}"?', word)]
    if not set(others) <= _DRUM_WORDS or (found and numbers) or len(numbers) > 1:
        return None
    if found:
        size = read_size(found[0], order)
        return None if isinstance(size, Refusal) else DrumMeant(size.diameter, size.depth)
    if numbers:
        return DrumMeant(Decimal(numbers[0]), None)
    return DrumMeant(None, None) if others and set(others) <= {"drum", "drums", "shell"} else None
