"""Cells that are plain numbers, read straight from the bytes: `480`, `480.5`, `480,50`.

All others are left to the careful reader. The numbers are the same as there: whole digits over a power of ten give the
nearest float, as a Decimal does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.tall.fields import Bytes, Cells, Fields, Mask

_LONGEST: Final = 15  # twelve digits, the mark, two digits
_MOST_WHOLE: Final = 12
_BLOCK: Final = 1 << 15  # rows at a time, to stay in the processor's cache
NO_SIGN, COMMA, DOT = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class PlainNumbers:
    """`values` (n,): NaN where the cell is no plain number. `plain` (n,): whether it is one. `sign` (n,): the decimal
    sign that it shows.
    """

    values: NDArray[np.float64]
    plain: Mask
    sign: NDArray[np.uint8]


def plain_numbers(fields: Fields, cells: Cells) -> PlainNumbers:
    """Every cell of a column that is a plain number."""
    n = len(cells.start)
    values = np.full(n, np.nan)
    plain = np.zeros(n, dtype=bool)
    sign = np.zeros(n, dtype=np.uint8)
    for at in range(0, n, _BLOCK):
        part = slice(at, at + _BLOCK)
        _block(fields.data, Cells(cells.start[part], cells.length[part]), values[part], plain[part], sign[part])
    return PlainNumbers(values, plain, sign)


def _block(data: Bytes, cells: Cells, values: NDArray[np.float64], plain: Mask, sign: NDArray[np.uint8]) -> None:
    """One block, written into its slices."""
    start, length = cells.start, cells.length
    fits = (length > 0) & (length <= _LONGEST)
    longest = int(length[fits].max(initial=0))
    second, third = _mark(data, start, length, 2), _mark(data, start, length, 3)
    mark = np.where(second > 0, second, third)
    behind = np.where(second > 0, 1, np.where(third > 0, 2, 0))  # digits behind the mark
    whole = length - behind - (behind > 0)
    good = fits & (whole >= 1) & (whole <= _MOST_WHOLE)
    number = np.zeros(len(start), dtype=np.int64)
    marked = np.where(behind == 0, _LONGEST + 1, whole)  # where the mark stands
    for k in range(longest):
        digit = data[start + k] - np.uint8(ord("0"))  # what is no digit comes round to more than 9
        here = (k < length) & (k != marked)
        good &= ~here | (digit <= 9)
        number = np.where(here, number * 10 + digit, number)
    values[good] = number[good] / np.power(10.0, behind[good])
    plain[:] = good
    sign[good] = mark[good]


def _mark(data: Bytes, start: NDArray[np.int64], length: NDArray[np.int64], back: int) -> NDArray[np.uint8]:
    """Which decimal sign stands so many bytes before a cell's end, with a digit's place before it."""
    byte = data[np.maximum(start + length - back, 0)]
    there = length > back
    found = np.zeros(len(start), dtype=np.uint8)
    found[there & (byte == ord(","))] = COMMA
    found[there & (byte == ord("."))] = DOT
    return found
