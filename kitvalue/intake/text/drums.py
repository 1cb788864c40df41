"""Which drums a few words stand for: `22x16`, `16 inch floor tom`, `drum`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal, fold

_DRUM_WORDS: Final = frozenset(["drum", "drums", "shell", "tom", "floor", "rack", "bass", "snare", "inch", '"'])
_SIZE: Final = re.compile(r'\d+(?:[.,]\d+)?(?: \d/\d)?"? ?[x×] ?\d+(?:[.,]\d+)?(?: \d/\d)?"?', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class DrumMeant:
    """The drums that a name stands for, inches; None for what it leaves open."""

    diameter: Decimal | None
    depth: Decimal | None

    def fits(self, size: Size) -> int:
        """How exactly it means a drum of this size: 3 by both figures, 2 by diameter, 1 as any drum, 0 not at all."""
        if self.diameter not in (None, size.diameter):
            return 0
        if self.depth is None:
            return 1 if self.diameter is None else 2
        return 3 if self.depth == size.depth else 0


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


def drum_sold(what: str, order: str) -> DrumMeant | None:
    """The drum that a surplus is, "snare drum" without any size too; None where it is something else."""
    words = fold(what).replace("-", " ").split()
    return drum_meant(what, order) or (DrumMeant(None, None) if words and set(words) <= _DRUM_WORDS else None)
