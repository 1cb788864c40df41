"""`take`: a newer export of the owner's sheet, merged into the price book."""

from __future__ import annotations

import datetime as dt
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
    rows: Mapping[int, RowAsRead]  # those that count, by number

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
    olds, news = ({n: sheet_row(row, both) for n, row in sheet.rows.items()} for sheet in (book, export))
    merged = merge([*olds.values()], [*news.values()], _listings(book) if "ref" in both else {})
    refused: list[Problem] = []
    while True:
        added = {n: row_cells(book.style, _values(book, export, n)) for n in merged.added}
        changed, cells = _changes(book, export, merged.changed, olds, news)
        grown = with_rows(with_changed(data, book.style, cells, folder.shop.files), book.style, [*added.values()])
        lost = _lost(_sheet(grown, PRICES, folder.shop, rates, folder.today), olds, news, merged, both)
        if not lost:
            break
        refused += [_unheld(path.name, n) for n in lost]
        merged = replace(merged, added=tuple(n for n in merged.added if n not in lost),
                         changed=tuple(pair for pair in merged.changed if pair.row not in lost))  # fmt: skip
    return Taken(
        path.name,
        export.reading.counts.read,
        tuple(export.rows[n] for n in merged.added),
        tuple(changed),
        tuple(_changes(book, export, merged.open, olds, news)[0]),
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
    rows = {row.row: row for row in reading.rows_as_read}
    return _Sheet(data, shop, file_style(data, file, wanted, shop.files), reading, rows)


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
    return values_of(export.rows[row], export.raw(row), book.style.header.places.keys(), book.shop)


def _changes(
    book: _Sheet, export: _Sheet, pairs: Iterable[Pair], olds: Mapping[int, SheetRow], news: Mapping[int, SheetRow]
) -> tuple[list[ChangedRow], dict[int, Sequence[str]]]:
    """What changes in each row of the book, and its cells then."""
    header, told = book.style.header, list[ChangedRow]()
    rows: dict[int, Sequence[str]] = {}
    for pair in pairs:
        before, values = book.style.rows[pair.of_row], _values(book, export, pair.row)
        old = olds.get(pair.of_row)
        values = values if old is None else changed_values(values, says_otherwise(news[pair.row], old))
        after = row_cells(book.style, values, before)
        cells = (
            CellChange(header.name(name), before[place], after[place])
            for name, place in header.places.items()
            if before[place] != after[place]
        )
        rows[pair.of_row] = after
        told.append(ChangedRow(pair.row, pair.of_row, tuple(cells)))
    return told, rows


def _lost(
    grown: _Sheet, olds: Mapping[int, SheetRow], news: Mapping[int, SheetRow], merged: Merge, both: Iterable[str]
) -> set[int]:
    """Rows of the export that the book would not hold as they are. Raises FileError where another row changes."""
    read = {n: sheet_row(row, both) for n, row in grown.rows.items()}
    changed = {pair.of_row: pair.row for pair in merged.changed}
    others = [n for n, old in olds.items() if n not in changed and read.get(n) != old]
    behind = [*grown.style.rows][len(grown.style.rows) - len(merged.added) :]
    now = {**changed, **dict(zip(behind, merged.added, strict=True))}
    lost = {new for n, new in now.items() if n not in read or says_otherwise(news[new], read[n])}
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
