"""What is used from prices.csv and yet must be said: defaults for blank cells, placeholders, negotiable prices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final

from kitvalue.intake.bookcolumns import BookColumns
from kitvalue.intake.bookrows import RowAsRead, is_placeholder
from kitvalue.intake.columns import Column
from kitvalue.intake.marks import is_digit, of_another_scale, scale_warning, speaks_of_digits
from kitvalue.intake.near import near_duplicates
from kitvalue.intake.numbers import Amount, currencies_said, plain
from kitvalue.intake.pieces import drums_listed
from kitvalue.intake.problems import Level, Problem, shown
from kitvalue.intake.repeats import spelling_warnings
from kitvalue.intake.shop import Shop
from kitvalue.intake.soldfor import far_apart, without_amount
from kitvalue.intake.tables import TextTable
from kitvalue.intake.words import listed, rows_phrase, trimmed

MANY_PIECES: Final = 40


def row_warnings(rows: Sequence[RowAsRead], table: TextTable, columns: BookColumns, shop: Shop) -> list[Problem]:
    """Every warning about the rows that are used."""
    places = {row.row: at for at, row in enumerate(table.rows)}
    used = [places[row.row] for row in rows]
    found = [*absent_warnings(table, shop), *_blanks(table, columns, shop, used)]
    found += sold_alone_warning(table, [table.rows[at].row for at in used if columns.says_sold_alone(at)])
    found += auction_warning(table, [table.rows[at].row for at in used if columns.is_bare_auction(at)])
    for row, at in zip(rows, used, strict=True):
        found += single_warnings(row, at, table, columns)
    if not shop.series:
        where: dict[str, list[int]] = {}
        for row in rows:
            where.setdefault(row.series, []).append(row.row)
        found += spelling_warnings(where, table.file, table.header.name("series"))
    found += near_duplicates(rows, table.file)
    return [*found, *many_warning(table, [row.row for row in rows if row.pieces > MANY_PIECES])]


def scale_warnings(condition: Column[Decimal], table: TextTable, shop: Shop) -> Iterator[Problem]:
    """One warning where plain digits stand beside marks that a school gives, and shop.toml maps no digit."""
    texts = set(condition.cells)
    if speaks_of_digits(shop) or not any(map(is_digit, texts)):
        return
    marks = of_another_scale(texts)
    at = [n for n, cell in enumerate(condition.cells) if cell in marks]
    if at:
        rows = [table.rows[n].row for n in at]
        warning = scale_warning(table.file, condition.header, condition.cells[at[0]], rows)
        yield from (warning,) if warning is not None else ()


def many_warning(table: TextTable, many: Sequence[int]) -> Iterator[Problem]:
    """One warning about rows with more drums than a kit can well have."""
    if len(many):
        message = f"more than {MANY_PIECES} drums in {rows_phrase(many)}; check the column"
        yield _warning(table, None, table.header.name("pieces"), None, "many_pieces", message)


def sold_alone_warning(table: TextTable, rows: Sequence[int]) -> Iterator[Problem]:
    """One warning about rows that say sold and hold nothing in the file's sold_for column."""
    if len(rows):
        kind, price, sold_for = (table.header.name(name) for name in ("price_kind", "price", "sold_for"))
        message = without_amount(rows_phrase(rows), kind, price, sold_for)
        yield _warning(table, None, sold_for, None, "sold_without_amount", message)


def auction_warning(table: TextTable, rows: Sequence[int]) -> Iterator[Problem]:
    """One warning about rows of auctions that do not say what kind of price theirs is: often it is what was paid."""
    if not len(rows):
        return
    kind, one = table.header.name("price_kind"), len(rows) == 1
    cure = f"write sold or hammer there if that is what {'it' if one else 'they'} went for"
    if "sold_for" in table.header.places:
        cure = f"write what was paid under {table.header.name('sold_for')}, or hammer under {kind}"
    message = (
        f"{rows_phrase(rows)} {'says' if one else 'say'} auction and nothing under {kind}, so "
        f"{'it counts' if one else 'they count'} as asked: {cure}"
    )
    yield _warning(table, None, kind, None, "auction_asked", message)


def _warning(
    table: TextTable, row: int | None, column: str | None, text: str | None, code: str, message: str
) -> Problem:
    return Problem(table.file, row, column, text, code, Level.WARNING, message)


def defaults(shop: Shop) -> dict[str, str]:
    """What a blank cell counts as, by column."""
    return {
        "date": "the book's mean date",
        "price_kind": "asked",
        "channel": "private",
        "currency": shop.shop.currency,
        "freight": "unknown, never 0",
        "weight": "1",
    }


def absent_warnings(table: TextTable, shop: Shop) -> Iterator[Problem]:
    """Columns that the file lacks altogether: their default holds for every row."""
    present = table.header.places
    counted_as = defaults(shop)
    if "sold_for" in present:
        counted_as["price_kind"] = f"asked, or sold where {table.header.name('sold_for')} is filled in"
    lacking = [f"{name} ({what})" for name, what in counted_as.items() if name not in present and name != "weight"]
    if lacking:
        message = f"there is no column for {listed(lacking)}: every row counts as said in brackets"
        yield _warning(table, None, None, None, "absent_columns", message)
    for name in shop.prices.features:
        if name not in present:
            message = f"{name} is declared in shop.toml as a feature but is not in {table.file}, so it is left out"
            message += f"; where its column has another header, add {name} under [prices.columns]"
            yield _warning(table, None, name, name, "absent_feature", message)


def _blanks(table: TextTable, columns: BookColumns, shop: Shop, used: Sequence[int]) -> Iterator[Problem]:
    """One warning for each column with blank cells, naming the rows."""
    known = columns.checked()
    counted_as = defaults(shop) | {one.name: "unknown" for one in columns.features}
    for name, default in counted_as.items():
        column = known[name]
        if not column.present:
            continue
        blank = [at for at in used if column.values[at] is None]
        if name == "currency":  # a price that says its currency leaves nothing to assume
            blank = [at for at in blank if not _says_currency(columns, at)]
        if name == "price_kind":  # nor does an amount that it was sold for
            blank = [at for at in blank if columns.sold_for.values[at] is None]
        if blank:
            yield blank_warning(table, column.header, name, [table.rows[at].row for at in blank], default)


def blank_warning(table: TextTable, header: str, name: str, rows: Sequence[int], default: str) -> Problem:
    """The warning that a column is blank in some rows, and what they count as."""
    return _warning(table, None, header, None, f"blank_{name}", f"blank in {rows_phrase(rows)}: counts as {default}")


def _says_currency(columns: BookColumns, at: int) -> bool:
    return any(currencies_said(one.cells[at], one.values[at]) for one in (columns.price, columns.sold_for))


def single_warnings(row: RowAsRead, at: int, table: TextTable, columns: BookColumns) -> Iterator[Problem]:
    """Warnings about one row by itself."""
    column = columns.priced(at)
    price, cell = column.values[at], column.cells[at]
    if isinstance(price, Amount) and price.negotiable:
        message = f"{shown(cell)} says negotiable: {plain(price.value)} counts as an asking price"
        yield _warning(table, row.row, column.header, cell, "negotiable", message)
    pieces = columns.pieces.cells[at]
    if drums_listed(pieces) is not None:
        message = f"{shown(trimmed(pieces))} lists sizes: as many drums count, {row.pieces}"
        yield _warning(table, row.row, columns.pieces.header, pieces, "pieces_from_sizes", message)
    asked = columns.price.values[at]
    if column is columns.sold_for and isinstance(asked, Amount) and _slip(asked.value, row.price):
        message = f"asked {plain(asked.value)} and sold for {plain(row.price)}: is one of them a slip?"
        yield _warning(table, row.row, column.header, cell, "asked_and_sold_far_apart", message)
    if is_placeholder(row.price):
        message = f"{shown(trimmed(cell))} looks like a placeholder, not a price; delete the row if it is one"
        yield _warning(table, row.row, column.header, cell, "placeholder", message)
    if row.premium and row.price_kind != "hammer":
        message = f"a premium counts on a hammer price only, and this row says {row.price_kind}; it is left out"
        yield _warning(table, row.row, columns.premium.header, columns.premium.cells[at], "premium_unused", message)


def _slip(asked: Decimal, paid: Decimal) -> bool:
    """Are two prices of one kit too far apart? One that names no price in earnest is no slip."""
    return far_apart(asked, paid) and not is_placeholder(asked) and not is_placeholder(paid)
