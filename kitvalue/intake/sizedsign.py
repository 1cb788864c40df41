"""The decimal sign that the sizes of a spreadsheet's prices tell where no cell shows one: a proposal, for shop.toml."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.numbers import Amount, Sign, TwoReadings
from kitvalue.intake.soldfor import read_sold_for

_FEWEST: Final = 5  # prices that are plain
_FAR: Final = 10  # times smaller or larger than the plain prices
_SIGNS: Final[dict[Sign, Sign]] = {",": ".", ".": ","}


@dataclass(frozen=True, slots=True)
class SizedSign:
    """The decimal sign under which the marks of prices such as 1,250 part thousands. `sure`: nothing else fits the
    prices beside them; `why` says so, and is blank where it is not sure.
    """

    sign: Sign
    why: str = ""

    @property
    def sure(self) -> bool:
        """Do the other prices tell?"""
        return bool(self.why)


def sign_by_size(cells: Iterable[str]) -> SizedSign | None:
    """The sign for prices that leave it open. None where none does, where one proves a sign, and where marks differ."""
    readings = [read_sold_for(cell) for cell in cells]
    both = [read for read in readings if isinstance(read, TwoReadings)]
    plain = [read for read in readings if isinstance(read, Amount)]
    marks = {read.mark for read in both}
    if len(marks) != 1 or any(read.sign is not None for read in plain):
        return None
    mark = marks.pop()
    values = [read.value for read in plain if read.value > 0]
    if len(values) < _FEWEST or not _only_thousands(both, min(values), max(values)):
        return SizedSign(_SIGNS[mark])
    smallest, largest = (_grouped(value, mark) for value in (min(values), max(values)))
    first = _grouped(both[0].as_thousands, mark)
    return SizedSign(
        _SIGNS[mark], f"{first} is more than a thousand: the other prices lie between {smallest} and {largest}"
    )


def _only_thousands(both: Iterable[TwoReadings], smallest: Decimal, largest: Decimal) -> bool:
    return all(read.as_decimal * _FAR < smallest and read.as_thousands <= largest * _FAR for read in both)


def _grouped(value: Decimal, mark: Sign) -> str:
    return f"{value:,}".replace(",", mark)
