"""`take`: a newer export of the owner's sheet, merged into the price book."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from kitvalue.commands.folder import ShopFolder, refuse_file, state_of
from kitvalue.commands.writing import PRICES, RATES
from kitvalue.intake.arrival.merging import (
    CellChange,
    ChangedRow,
    Merge,
    Pair,
    SheetRow,
    Taken,
    changed_values,
    merge,
    plain,
    says_otherwise,
    sheet_row,
    values_of,
)
from kitvalue.intake.arrival.takeover import incoming
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.style import FileStyle, file_style, row_cells, with_changed, with_rows
from kitvalue.intake.text.decoding import decode, read_bytes
from kitvalue.intake.text.problems import Caution, FileError, Level, Problem
from kitvalue.intake.text.words import fold, listed, trimmed

if TYPE_CHECKING:
    from kitvalue.intake.books.bookrows import Rates, RowAsRead
    from kitvalue.intake.books.pricebook import PriceReading

_TELLS_KIND: Final = ("price_kind", "sold_for")


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """A table of prices: its bytes, the settings that it is read by, how it writes its rows, and its reading."""

    data: bytes
    shop: Shop
    style: FileStyle
    reading: PriceReading
    places: Mapping[int, int]  # the numbers of the rows that count -> their places in the reading

    def row(self, number: int) -> RowAsRead:
        return self.reading.rows_as_read[self.places[number]]

    def said(self, number: int, columns: Iterable[str]) -> SheetRow | None:
        """What a row says in some columns; None where it does not count."""
        return sheet_row(self.row(number), columns) if number in self.places else None

    def raw(self, row: int) -> dict[str, str]:
        """The cells of a row, by our columns."""
        cells = self.style.rows[row]
        return {name: trimmed(cells[place]) for name, place in self.style.header.places.items()}


def take(folder: ShopFolder, path: Path) -> Taken:
    """Hold an export against prices.csv and make the book with it; nothing is written. Raises FileError where one of
    them cannot be read, or the book's other rows would then be read otherwise.
    """
    from kitvalue.intake.books.bookrows import read_rates

    data, rates = folder.bytes_of(PRICES), read_rates(folder.path / RATES, folder.shop, folder.today)
    if data is None:
        raise FileError(f"there is no {PRICES} in {folder.path}; kitvalue new FOLDER --prices {path.name} lays one out")
    book = _sheet(data, PRICES, folder.shop, rates, folder.today)
    export = _export(read_bytes(path, path.name), path.name, folder.shop, rates, folder.today)
    both = book.style.header.places.keys() & export.style.header.places.keys()
    known = _same_rows(book, export, both)
    known_rows, taken_rows = {pair.of_row for pair in known}, {pair.row for pair in known}
    olds = [sheet_row(book.row(n), both) for n in book.places if n not in known_rows]
    news = [sheet_row(export.row(n), both) for n in export.places if n not in taken_rows]
    merged = merge(olds, news, _listings(book) if "ref" in both else {}, known)
    refused: list[Problem] = []
    while True:
        added = {n: row_cells(book.style, _values(book, export, n)) for n in merged.added}
        changed, cells = _changes(book, export, merged.changed, both)
        grown = with_rows(with_changed(data, book.style, cells, folder.shop.files), book.style, [*added.values()])
        if grown == data:
            break
        lost = _lost(book, export, _sheet(grown, PRICES, folder.shop, rates, folder.today), merged, both)
        if not lost:
            break
        refused += [_unheld(path.name, n) for n in lost]
        merged = replace(merged, added=tuple(n for n in merged.added if n not in lost),
                         changed=tuple(pair for pair in merged.changed if pair.row not in lost))  # fmt: skip
    return Taken(
        path.name,
        export.reading.counts.read,
        tuple(export.row(n) for n in merged.added),
        tuple(changed),
        tuple(_changes(book, export, merged.open, both)[0]),
        merged.left,
        (*(p for p in export.reading.problems if p.file == path.name), *refused),
        tuple(_notices(book, export)),
        grown,
        state_of(data),
    )


def write_taken(folder: ShopFolder, taken: Taken) -> None:
    """Write the book with what an export brings. Raises FileError where it has changed since or cannot be written."""
    if taken.brings:
        folder.change({PRICES: taken.data}, {PRICES: taken.state})


def _sheet(data: bytes, file: str, shop: Shop, rates: Rates, today: dt.date) -> _Sheet:
    from kitvalue.intake.books.pricebook import read_prices, wanted_columns
    from kitvalue.intake.tables.table import table_from_text

    wanted = wanted_columns(shop)
    text = decode(data, file, shop.files.encoding)
    reading = read_prices(table_from_text(text, file, wanted, shop.files.delimiter), shop, rates, today)
    refuse_file(reading.problems)
    rows = () if reading.book is None else reading.book.rows.tolist()
    return _Sheet(data, shop, file_style(data, file, wanted, shop.files), reading, {n: at for at, n in enumerate(rows)})


def _export(data: bytes, file: str, shop: Shop, rates: Rates, today: dt.date) -> _Sheet:
    """An export by the shop's own headers, else by those that are likely; delimiter, encoding, decimal sign and order
    of days as it shows them itself, else as shop.toml has them.
    """
    try:
        data.decode("utf-8")
        encoding = None
    except UnicodeDecodeError:
        encoding = shop.files.encoding
    sheet = incoming(data, file, shop.prices.features)
    known: dict[str, object] = {"delimiter": None, "encoding": encoding}
    if sheet.day_first is not None:
        known["day_first"] = sheet.day_first
    if sheet.sized is not None and (sheet.sized.why or shop.files.decimal is None):
        known["decimal"] = sheet.sized.sign
    own = shop.model_copy(update={"files": shop.files.model_copy(update=known)})
    try:
        return _sheet(data, file, own, rates, today)
    except FileError as why:
        if not any(problem.code in ("missing_column", "late_header") for problem in why.problems):
            raise
        columns = shop.prices.model_copy(update={"columns": {**sheet.columns}})
        try:
            return _sheet(sheet.data, file, own.model_copy(update={"prices": columns}), rates, today)
        except FileError:
            raise why from None


def _listings(book: _Sheet) -> Mapping[str, Sequence[int]]:
    """The rows of each ref of a book, also those that do not count."""
    place, found = book.style.header.places["ref"], dict[str, list[int]]()
    for row, cells in book.style.rows.items():
        if trimmed(cells[place]):
            found.setdefault(fold(plain(cells[place])), []).append(row)
    return found


def _values(book: _Sheet, export: _Sheet, row: int) -> dict[str, str]:
    return values_of(export.row(row), export.raw(row), book.style.header.places.keys(), book.shop)


def _changes(
    book: _Sheet, export: _Sheet, pairs: Iterable[Pair], both: Iterable[str]
) -> tuple[list[ChangedRow], dict[int, Sequence[str]]]:
    """What changes in each row of the book, and its cells then."""
    header, told = book.style.header, list[ChangedRow]()
    rows: dict[int, Sequence[str]] = {}
    for pair in pairs:
        before, values = book.style.rows[pair.of_row], _values(book, export, pair.row)
        old, new = book.said(pair.of_row, both), sheet_row(export.row(pair.row), both)
        values = values if old is None else changed_values(values, says_otherwise(new, old))
        after = row_cells(book.style, values, before)
        cells = (
            CellChange(header.name(name), before[place], after[place])
            for name, place in header.places.items()
            if before[place] != after[place]
        )
        rows[pair.of_row] = after
        told.append(ChangedRow(pair.row, pair.of_row, tuple(cells)))
    return told, rows


def _same_rows(book: _Sheet, export: _Sheet, both: Iterable[str]) -> list[Pair]:
    """Rows that say the same in both, told by whole columns; those that need a look one by one are none of them."""
    from kitvalue.intake.books.pricebook import numbered_alike

    ours, theirs = numbered_alike(book.reading, export.reading, both)
    waiting: dict[int, list[int]] = defaultdict(list)
    for number, row in reversed([*zip(ours, book.places, strict=True)]):
        waiting[number].append(row)
    rows = ((new, waiting[number]) for number, new in zip(theirs, export.places, strict=True) if number >= 0)
    return [Pair(new, olds.pop()) for new, olds in rows if olds]


def _lost(book: _Sheet, export: _Sheet, grown: _Sheet, merged: Merge, both: Iterable[str]) -> set[int]:
    """Rows of the export that the book would not hold as they are. Raises FileError where another row changes."""
    changed = {pair.of_row: pair.row for pair in merged.changed}
    as_they_were = {pair.row for pair in _same_rows(book, grown, both) if pair.row == pair.of_row}
    unsure = (n for n in book.places if n not in changed and n not in as_they_were)
    others = [n for n in unsure if grown.said(n, both) != book.said(n, both)]
    behind = [*grown.style.rows][len(grown.style.rows) - len(merged.added) :]
    now = {**changed, **dict(zip(behind, merged.added, strict=True))}
    read = {n: grown.said(n, both) for n in now}
    lost = {
        new
        for n, new in now.items()
        if (row := read[n]) is None or says_otherwise(sheet_row(export.row(new), both), row)
    }
    if others and not lost:
        raise FileError(
            f"row {others[0]} of {PRICES} would be read otherwise with these rows; nothing is written: set decimal and "
            "day_first under [files], so that no row depends on the others"
        )
    return lost


def _unheld(file: str, row: int) -> Problem:
    message = (
        f"{PRICES} cannot hold the row as it is read here: it lacks a column for what the row says, or has that row"
    )
    return Problem(file, row, None, None, "not_held", Level.REFUSED, message)


def _notices(book: _Sheet, export: _Sheet) -> Iterable[Caution]:
    """What the export has and the book has no column for; what it does not say."""
    ours, theirs = book.style.header.places.keys(), export.style.header.places.keys()
    lost = [name for name in theirs if name not in ours and name not in _TELLS_KIND]
    if lost:
        yield Caution("no_column", f"{PRICES} has no column {listed(lost, last='or')}, so that is not taken over")
    if not ours.isdisjoint(_TELLS_KIND) and theirs.isdisjoint(_TELLS_KIND):
        yield Caution("no_kind", "the export has no column that says asked or sold, so its prices count as asked")
