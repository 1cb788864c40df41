"""parts.csv: what single parts of a kit fetch, how surely and how soon."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.columns import Column, known_amount, number_column, word_column
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.table import TextTable, read_table
from kitvalue.intake.text.numbers import Amount, read_amount, read_number, read_percent
from kitvalue.intake.text.problems import FileCounts, FileError, Level, Problem, shown
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal, fold, trimmed

WANTED: Final = WantedColumns(("part", "value", "chance", "weeks"), ("note",))
VALUE_CURE: Final = "write what one fetches, such as 45.00"
CHANCE_CURE: Final = "write how many of 100 are sold, such as 80"
WEEKS_CURE: Final = "write the weeks until it is sold, such as 6"
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


@dataclass(frozen=True, slots=True)
class PartsReading:
    """What came of reading parts.csv: the usable parts in file order, every problem, and the counts."""

    parts: tuple[Part, ...]
    problems: tuple[Problem, ...]
    counts: FileCounts


@dataclass(frozen=True, slots=True)
class _Columns:
    part: Column[str]
    value: Column[Amount]
    chance: Column[Amount]
    weeks: Column[Amount]


def read_parts(path: Path, shop: Shop) -> PartsReading:
    """Read the parts by a shop's settings. Every problem is in the result; a missing file is one of them."""
    try:
        table = read_table(path, WANTED, shop.files)
    except FileError as error:
        return PartsReading((), error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    decimal = shop.files.decimal
    value = number_column(table, "value", read_amount, _value_check(shop), VALUE_CURE, decimal)
    sign = value.sign or decimal
    chance = number_column(table, "chance", read_percent, _chance_check, CHANCE_CURE, sign)
    weeks = number_column(table, "weeks", read_number, _weeks_check, WEEKS_CURE, sign)
    fractions = _are_fractions(chance.column)
    found = [*table.problems, *value.warnings, *chance.warnings, *weeks.warnings]
    if fractions:
        message = "no chance is above 1, so they are read as fractions (0.8 is 80 %); write percent to be clear"
        found.append(Problem(table.file, None, chance.column.header, None, "fractions", Level.WARNING, message))
    undecided = [one for one in (value.undecided, chance.undecided, weeks.undecided) if one is not None]
    usable: list[Part] = []
    if not undecided:
        columns = _Columns(
            word_column(table, "part", trimmed, "name the part"), value.column, chance.column, weeks.column
        )
        first: dict[str, int] = {}
        for at in range(len(table)):
            problems = [*_cell_problems(table, columns, at), *_twice(table, columns, at, first)]
            if not fractions:
                problems += _unclear(table, columns, at)
            found += problems
            if not problems:
                usable.append(_part(table, columns, shop, at, Decimal(1) if fractions else Decimal(100)))
    counts = table.counts(len(usable), sign)
    return PartsReading(tuple(usable), (*found, *undecided), counts)


def _value_check(shop: Shop) -> Callable[[Amount], Refusal | None]:
    own = shop.shop.currency

    def check(amount: Amount) -> Refusal | None:
        if amount.currencies and own not in amount.currencies:
            return Refusal("currency", f"is not in {own}", f"write the amount in {own}")
        return None if amount.value > 0 else Refusal("not_positive", "must be above 0")

    return check


def _chance_check(amount: Amount) -> Refusal | None:
    return None if 0 <= amount.value <= 100 else Refusal("range", "is no percentage from 0 to 100")


def _weeks_check(amount: Amount) -> Refusal | None:
    return None if 0 <= amount.value <= 520 else Refusal("range", "is no sensible number of weeks")


def _cell_problems(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    every: Sequence[Column[object]] = (
        columns.part.plain(), columns.value.plain(), columns.chance.plain(), columns.weeks.plain(),
    )  # fmt: skip
    for column in every:
        value = column.values[at]
        if isinstance(value, Refusal):
            yield column.problem(table, at, value)
        elif value is None:
            yield column.problem(table, at, Refusal("empty", "is empty"))


def _twice(table: TextTable, columns: _Columns, at: int, first: dict[str, int]) -> Iterator[Problem]:
    name = columns.part.known(at)
    row = table.row(at)
    if name is not None and first.setdefault(fold(name), row) != row:
        message = f"{shown(name)} stands in row {first[fold(name)]} already; keep one of the two"
        yield Problem(table.file, row, columns.part.header, name, "part_twice", Level.REFUSED, message)


def _are_fractions(column: Column[Amount]) -> bool:
    """Is every chance at most 1? Then percents cannot be meant."""
    known = [value.value for value in column.values if isinstance(value, Amount)]
    return bool(known) and max(known) <= 1 and max(known) > 0


def _unclear(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    chance = columns.chance.known(at)
    if chance is not None and 0 < chance.value < 1:
        why = Refusal("fraction", "is below 1 where the other rows write percent", CHANCE_CURE)
        yield columns.chance.problem(table, at, why)


def _part(table: TextTable, columns: _Columns, shop: Shop, at: int, whole: Decimal) -> Part:
    name = columns.part.sure(at)
    size = drum_meant(name, shop.shop.size_order)
    return Part(
        row=table.row(at),
        part=name,
        value=columns.value.sure(at).value,
        chance=columns.chance.sure(at).value / whole,
        weeks=known_amount(columns.weeks, at) or Decimal(0),
        diameter=size.diameter if size is not None else None,
        depth=size.depth if size is not None else None,
        any_drum=size is not None and size.diameter is None,
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
