"""parts.csv: what single parts of a kit fetch, how surely and how soon."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.intake.books.specs import CHANCE_CURE, PARTS
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.specification import Columns, FileReading, read_rows
from kitvalue.intake.text.numbers import Amount
from kitvalue.intake.text.problems import Problem, shown
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal, fold

_DRUM_WORDS: Final = frozenset(["drum", "drums", "shell", "tom", "floor", "rack", "bass", "snare", "inch", '"'])
_SIZE: Final = re.compile(r'\d+(?:[.,]\d+)?(?: \d/\d)?"? ?[x×] ?\d+(?:[.,]\d+)?(?: \d/\d)?"?', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Part:
    """One kind of part: `value` gross, in the shop's currency; `chance` a fraction; `weeks` until it is sold.

    A drum has `diameter` and, where the file names it, `depth` in inches; "drum" alone stands for every drum
    (`any_drum`). A part that is no drum counts once for each kit.
    """

    row: int
    part: str
    value: Decimal
    chance: Decimal
    weeks: Decimal
    diameter: Decimal | None
    depth: Decimal | None
    any_drum: bool

    @property
    def is_drum(self) -> bool:
        return self.any_drum or self.diameter is not None

    def fits(self, size: Size) -> int:
        """How exactly it means a drum of this size: 3 by both figures, 2 by diameter, 1 as any drum, 0 not at all."""
        if self.any_drum:
            return 1
        if self.diameter != size.diameter:
            return 0
        return 2 if self.depth is None else 3 if self.depth == size.depth else 0


def read_parts(path: Path, shop: Shop) -> FileReading[Part]:
    """Read the parts by a shop's settings. Every problem is in the result; a missing file is one of them."""

    def parts(columns: Columns) -> Callable[[int], Part]:
        whole = 1 if _are_fractions(columns) else 100

        def part(at: int) -> Part:
            drum = drum_meant(columns["part"].sure(at), shop.shop.size_order)
            return Part(
                row=columns.table.row(at),
                part=columns.known("part", at),
                value=columns.known("value", at),
                chance=columns.known("chance", at) / whole,
                weeks=columns.known("weeks", at),
                diameter=drum.diameter if drum is not None else None,
                depth=drum.depth if drum is not None else None,
                any_drum=drum is not None and drum.diameter is None,
            )

        return part

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
            yield columns.problem(
                "chance", at, "fraction", "is below 1 where the other rows write percent", CHANCE_CURE
            )


@dataclass(frozen=True, slots=True)
class DrumMeant:
    """The drums that a part's name stands for, inches; None for what it leaves open."""

    diameter: Decimal | None
    depth: Decimal | None


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
