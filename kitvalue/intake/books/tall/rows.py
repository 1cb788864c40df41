"""Rows of a tall table as the careful reader sees them: some of them, or each only when it is asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np

from kitvalue.intake.books.bookcolumns import BookColumns, Proofs, read_columns
from kitvalue.intake.books.bookrows import Rates, RowAsRead, RowReader, totals_refusals
from kitvalue.intake.books.tall.fields import Fields, Places
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.headers import Header
from kitvalue.intake.tables.table import TableRow, TextTable
from kitvalue.intake.text.problems import Problem

_BLOCK = 2000  # rows that are read together when all are asked for


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A tall table and the settings that it is read by."""

    file: str
    encoding: str
    header: Header
    fields: Fields
    shop: Shop

    def table(self, at: Places) -> TextTable:
        """Some rows as a table of texts."""
        columns = [self.fields.texts(self.fields.cells(place, at)) for place in range(self.fields.width)]
        numbers = self.fields.rows[at].tolist()
        rows = tuple(TableRow(n, list(cells)) for n, cells in zip(numbers, zip(*columns, strict=True), strict=True))
        return TextTable(self.file, self.encoding, self.header.delimiter, self.header, rows, len(rows), 0, ())


@dataclass(frozen=True, slots=True, eq=False)
class CarefulRows:
    """Some rows read one by one: `usable` by their index in the tall table, and the problems of the others."""

    table: TextTable
    columns: BookColumns
    usable: dict[int, RowAsRead]
    totals: tuple[Problem, ...]
    problems: tuple[Problem, ...]


def careful_rows(source: Source, at: Places, proofs: Proofs, rates: Rates) -> CarefulRows:
    """Read some rows as the careful reader does, under what the whole columns show."""
    table = source.table(at)
    totals = totals_refusals(table)
    columns = read_columns(table, source.shop, [n not in totals for n in range(len(table.rows))], proofs)
    reader = RowReader(table, columns, rates, source.shop.shop.currency)
    usable: dict[int, RowAsRead] = {}
    problems: list[Problem] = []
    for n, index in enumerate(at.tolist()):
        read = reader.read(n) if n not in totals else []
        if isinstance(read, RowAsRead):
            usable[index] = read
        else:
            problems += read
    return CarefulRows(table, columns, usable, tuple(totals.values()), tuple(problems))


class TallRows(Sequence[RowAsRead]):
    """The usable rows of a tall book, each made when it is asked for."""

    def __init__(self, source: Source, kept: Places, proofs: Proofs, rates: Rates) -> None:
        self._source = source
        self._kept = kept
        self._proofs = proofs
        self._rates = rates

    def __len__(self) -> int:
        return len(self._kept)

    @overload
    def __getitem__(self, at: int) -> RowAsRead: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[RowAsRead, ...]: ...
    def __getitem__(self, at: int | slice) -> RowAsRead | tuple[RowAsRead, ...]:
        if isinstance(at, slice):
            return self._read(self._kept[at])
        return self._read(np.array([self._kept[at]], dtype=np.int64))[0]

    def __iter__(self) -> Iterator[RowAsRead]:
        for start in range(0, len(self._kept), _BLOCK):
            yield from self._read(self._kept[start : start + _BLOCK])

    def _read(self, at: Places) -> tuple[RowAsRead, ...]:
        if not len(at):
            return ()
        read = careful_rows(self._source, at, self._proofs, self._rates).usable
        return tuple(read[index] for index in at.tolist())
