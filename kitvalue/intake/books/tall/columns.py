"""The columns of a tall price book: plain cells read in bulk, every other text once by the careful readers.

A row is `odd` where anything about it is more than plain; the careful reader then reads it as a whole.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.tall.fields import Cells, Fields, Mask
from kitvalue.intake.books.tall.groups import Codes, Groups, grouped
from kitvalue.intake.books.tall.plain_numbers import COMMA, DOT, PlainNumbers, plain_numbers
from kitvalue.intake.tables.columns import ROWS_NAMED, DaysProven, read_day, settled
from kitvalue.intake.text.dates import Day, SeveralDays, day_order
from kitvalue.intake.text.numbers import Amount, ColumnStyle, Reading, Sign, currencies_said
from kitvalue.intake.text.words import Refusal, trimmed

Floats = NDArray[np.float64]
_SIGNS: Final[Mapping[int, Sign]] = {COMMA: ",", DOT: "."}


@dataclass(frozen=True, slots=True, eq=False)
class TallNumbers:
    """A column of numbers, by row: `values` (NaN where blank or odd), `blank`, `odd`, and which `named` a currency.

    `signs` (n,): the decimal sign that each cell proves; `style`: what they prove together.
    """

    values: Floats
    blank: Mask
    odd: Mask
    named: Mask
    signs: NDArray[np.uint8]
    style: ColumnStyle


@dataclass(frozen=True, slots=True, eq=False)
class TallTexts:
    """A column of texts. `values`: what each of the groups' texts means, None where blank. By row: `blank`, `odd`."""

    groups: Groups
    values: tuple[object | None, ...]
    blank: Mask
    odd: Mask

    def same(self) -> Codes:
        """A number for each row, equal where the texts are equal but for outer spaces."""
        first: dict[str, int] = {}
        table = [first.setdefault(trimmed(text), at) for at, text in enumerate(self.groups.texts)]
        found: Codes = np.array(table, dtype=np.int64)[self.groups.codes]
        return found

    def by_row(self, meaning: Callable[[object], float], blank: float) -> Floats:
        """A number for each row, from what its text means."""
        table = [blank if v is None or isinstance(v, Refusal) else meaning(v) for v in self.values]
        found: Floats = np.array(table, dtype=np.float64)[self.groups.codes]
        return found


def tall_numbers(
    fields: Fields, cells: Cells, read: Callable[[str], Reading | None], check: Callable[[Amount], Refusal | None],
    setting: Sign | None, counted: Mask, own: str,
) -> TallNumbers:  # fmt: skip
    """Read a column of numbers; `counted` rows speak for its decimal sign."""
    plain = plain_numbers(fields, cells)
    others = np.flatnonzero(~plain.plain & (cells.length > 0))
    groups = grouped(fields, Cells(cells.start[others], cells.length[others]))
    readings = [read(text) if trimmed(text) else None for text in groups.texts]
    signs = plain.sign.copy()
    of_text = np.array([_sign_of(reading) for reading in readings], dtype=np.uint8)
    signs[others] = of_text[groups.codes] if len(others) else 0
    style = ColumnStyle(int((signs[counted] == COMMA).sum()), int((signs[counted] == DOT).sum()))
    sign = style.sign or setting
    values, blank, odd, named = (
        plain.values,
        cells.length == 0,
        np.zeros(len(plain.values), bool),
        np.zeros(len(plain.values), bool),
    )
    _refuse_plain(plain, check, odd)
    if len(others):
        table = [_taken(t, r, sign, check, own) for t, r in zip(groups.texts, readings, strict=True)]
        values[others] = np.array([one.value for one in table])[groups.codes]
        odd[others] = np.array([one.odd for one in table])[groups.codes]
        named[others] = np.array([one.named for one in table])[groups.codes]
        blank[others] |= np.array([reading is None for reading in readings])[groups.codes]
    return TallNumbers(values, blank, odd, named, signs, style)


def _sign_of(reading: Reading | None) -> int:
    if not isinstance(reading, Amount) or reading.sign is None:
        return 0
    return COMMA if reading.sign == "," else DOT


def _refuse_plain(plain: PlainNumbers, check: Callable[[Amount], Refusal | None], odd: Mask) -> None:
    """Plain numbers that the column does not allow. Every check bounds a range: its ends are looked for once."""
    known = plain.values[plain.plain]
    if not len(known):
        return
    if check(_amount(known.min())) is None and check(_amount(known.max())) is None:
        return
    distinct = np.unique(known)
    bad = distinct[[check(_amount(value)) is not None for value in distinct]]
    odd[plain.plain] = np.isin(known, bad)


def _amount(value: np.float64) -> Amount:
    return Amount(Decimal(repr(float(value))))


@dataclass(frozen=True, slots=True)
class _Taken:
    value: float
    odd: bool
    named: bool


def _taken(
    text: str, reading: Reading | None, sign: Sign | None, check: Callable[[Amount], Refusal | None], own: str
) -> _Taken:
    """A text that is no plain number: taken in bulk where it is a firm amount in the shop's own currency."""
    amount = settled(text, reading, sign, check)
    named = bool(currencies_said(text, amount))
    if amount is None:
        return _Taken(np.nan, odd=False, named=named)
    if isinstance(amount, Refusal) or amount.negotiable or (amount.currencies and own not in amount.currencies):
        return _Taken(np.nan, odd=True, named=named)
    return _Taken(float(amount.value), odd=False, named=named)


def tall_texts(
    fields: Fields, cells: Cells, parse: Callable[[str], object | None], fine: Callable[[object], bool] | None = None
) -> TallTexts:
    """Read a column of texts, each once. What is not `fine` (or refused) makes its rows odd."""
    groups = grouped(fields, cells)
    values = tuple(parse(text) if trimmed(text) else None for text in groups.texts)
    blank = np.array([value is None for value in values])
    odd = np.array([
        isinstance(value, Refusal) or (value is not None and fine is not None and not fine(value)) for value in values
    ])  # fmt: skip
    return TallTexts(groups, values, blank[groups.codes], odd[groups.codes])


def tall_dates(fields: Fields, cells: Cells, day_first: bool | None) -> TallTexts:
    """Read a column of days; one that can be several days makes its rows odd."""
    found = tall_texts(fields, cells, lambda text: read_day(text, day_first), lambda value: isinstance(value, Day))
    days = tuple(value.date if isinstance(value, Day) else value for value in found.values)
    return TallTexts(found.groups, days, found.blank, found.odd)


def days_proven(texts: TallTexts, rows: NDArray[np.int64]) -> DaysProven:
    """What a column of days shows as a whole; `rows` are the spreadsheet's row numbers."""
    any_day = any(isinstance(value, dt.date) for value in texts.values)
    if not any(isinstance(value, SeveralDays) for value in texts.values):
        return DaysProven(any_day)
    orders = np.array([{True: 1, False: -1, None: 0}[day_order(text)] for text in texts.groups.texts], dtype=np.int8)
    found = orders[texts.groups.codes]
    first, last = (tuple(rows[np.flatnonzero(found == order)[:ROWS_NAMED]].tolist()) for order in (1, -1))
    return DaysProven(any_day, first, last)


def all_blank(n: int) -> TallTexts:
    """A column that the file lacks."""
    return TallTexts(Groups(("",), np.zeros(n, np.int64)), (None,), np.ones(n, bool), np.zeros(n, bool))


def no_numbers(n: int) -> TallNumbers:
    """A column of numbers that the file lacks."""
    nothing = np.zeros(n, bool)
    return TallNumbers(np.full(n, np.nan), np.ones(n, bool), nothing, nothing, np.zeros(n, np.uint8), ColumnStyle(0, 0))


def first_rows(codes: Codes, kinds: int) -> list[int]:
    """The first place at which each code stands; -1 for one that does not."""
    first = np.full(kinds, -1, dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return [int(at) for at in first]


def dates_of(texts: TallTexts) -> NDArray[np.datetime64]:
    """A day for each row; NaT where blank or odd."""
    known = [value if isinstance(value, dt.date) else None for value in texts.values]
    found: NDArray[np.datetime64] = np.array(known, dtype="datetime64[D]")[texts.groups.codes]
    return found


def any_odd(columns: Iterable[TallNumbers | TallTexts], n: int) -> Mask:
    """Rows that are odd in any column."""
    found = np.zeros(n, bool)
    for column in columns:
        found |= column.odd
    return found


def fewest(places: Sequence[int]) -> int:
    return min(places, default=0)
