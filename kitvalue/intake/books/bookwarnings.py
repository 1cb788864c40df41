"""What is used from prices.csv and yet must be said: defaults for blank cells, placeholders, negotiable prices."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.books.bookcolumns import BookColumns, far_apart, without_amount
from kitvalue.intake.books.bookrows import RowAsRead, is_placeholder
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import is_digit, of_another_scale, scale_warning, speaks_of_digits
from kitvalue.intake.tables.columns import Column
from kitvalue.intake.tables.table import TextTable
from kitvalue.intake.text.numbers import Amount, currencies_said, plain
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.sizes import drums_listed
from kitvalue.intake.text.words import fold, has_part, listed, look_alike, rows_phrase, trimmed

MOST_ROWS: Final = 5000  # of a book kept by hand; in larger ones many kits are alike by chance
_DAYS: Final = 60  # between two listings of one kit
_NOTES_ALIKE: Final = 0.5  # words that both notes have, of all words of the two


def near_duplicates(rows: Sequence[RowAsRead], file: str) -> list[Problem]:
    """A warning for each row that repeats an earlier one in all that describes the kit, at the same price or, with
    notes alike, at a lower one, within two months; unless both have a `ref`, which tells listings apart.
    """
    if len(rows) > MOST_ROWS:
        return []
    groups: dict[tuple[object, ...], list[RowAsRead]] = {}
    for row in rows:
        groups.setdefault((fold(row.series), row.pieces, row.condition, row.channel, row.currency), []).append(row)
    found = []
    for alike in groups.values():
        for at, row in enumerate(alike):
            earlier = next((one for one in reversed(alike[:at]) if _may_be_one(one, row)), None)
            if earlier is not None:
                found.append(_warning_near(earlier, row, file))
    return found


def _may_be_one(one: RowAsRead, other: RowAsRead) -> bool:
    if one.ref is not None and other.ref is not None:
        return False
    if (one.date is None) != (other.date is None) or any(
        a.value != b.value and a.value is not None and b.value is not None
        for a, b in zip(one.features, other.features, strict=True)
    ):
        return False
    if one.date is not None and other.date is not None and abs((other.date - one.date).days) > _DAYS:
        return False
    alike = _alike(one.note, other.note)
    if one.price == other.price:
        return alike is not False and one.price_kind == other.price_kind and one.freight == other.freight
    first, later = (one, other) if one.date is None or other.date is None or one.date <= other.date else (other, one)
    return alike is True and later.price < first.price


def _alike(one: str | None, other: str | None) -> bool | None:
    """Are two notes about one kit? None where one of them is blank."""
    a, b = (set(re.findall(r"\w+", fold(text or "")[:400])) for text in (one, other))
    if not a or not b:
        return None
    return len(a & b) >= _NOTES_ALIKE * len(a | b)


def _warning_near(one: RowAsRead, row: RowAsRead, file: str) -> Problem:
    price = "at the same price" if one.price == row.price else f"{plain(one.price)} there, {plain(row.price)} here"
    message = (
        f"may be the kit of row {one.row} again ({price}): both count. If it is one kit, give both rows the same ref; "
        "then only the latest does"
    )
    return Problem(file, row.row, None, None, "near_duplicate", Level.WARNING, message)


_MOST_NAMES: Final = 400  # comparing every pair of names grows with the square of their number


@dataclass(frozen=True, slots=True)
class Kept:
    """The rows that count, the problems of the others, and how many of these were set aside and refused."""

    rows: tuple[RowAsRead, ...]
    problems: tuple[Problem, ...]
    set_aside: int
    refused: int


def without_repeats(rows: Sequence[RowAsRead], file: str, ref_header: str) -> Kept:
    """Set aside rows that repeat another in every column, and of each listing's rows all but the latest."""
    problems: list[Problem] = []
    seen: dict[tuple[str, ...], int] = {}
    once: list[RowAsRead] = []
    for row in rows:
        first = seen.setdefault(tuple(trimmed(cell) for cell in row.cells), row.row)
        if first == row.row:
            once.append(row)
        else:
            message = f"the row repeats row {first} in every column, so it is set aside; delete it, or tell them apart"
            problems.append(Problem(file, row.row, None, None, "repeated_row", Level.WARNING, message))
    dropped: set[int] = set()
    refused = 0
    for same in _listings(once):
        found = _one_listing(same, file, ref_header)
        problems += found
        refused += sum(problem.level is Level.REFUSED for problem in found)
        dropped.update(problem.row for problem in found if problem.row is not None)
    kept = tuple(row for row in once if row.row not in dropped)
    return Kept(kept, tuple(problems), len(rows) - len(kept) - refused, refused)


def _listings(rows: Sequence[RowAsRead]) -> list[list[RowAsRead]]:
    by_ref: dict[str, list[RowAsRead]] = {}
    for row in rows:
        if row.ref is not None:
            by_ref.setdefault(row.ref, []).append(row)
    return [same for same in by_ref.values() if len(same) > 1]


def _one_listing(rows: list[RowAsRead], file: str, header: str) -> list[Problem]:
    """The problems of rows that share one ref: each but the latest set aside, or all refused if they are no one kit."""
    ref = rows[0].ref
    if len({fold(row.series) for row in rows}) > 1:
        phrase = rows_phrase([row.row for row in rows])
        message = f"{shown(ref or '')} stands for kits of different series ({phrase}); correct the ref or the series"
        return [Problem(file, row.row, header, ref, "ref_clash", Level.REFUSED, message) for row in rows]
    latest = max(rows, key=lambda row: (row.date or dt.date.min, row.row))
    message = f"{shown(ref or '')} is listed again in row {latest.row}, which is later: this row is set aside"
    return [
        Problem(file, row.row, header, ref, "relisted", Level.WARNING, message) for row in rows if row is not latest
    ]


def spelling_warnings(where: Mapping[str, Sequence[int]], file: str, header: str) -> list[Problem]:
    """Where shop.toml lists no series: names in the book that are probably one name. They are not merged. `where`: the
    rows of each name as it is spelt.
    """
    names = sorted(where, key=lambda name: (-len(where[name]), where[name][0]))
    if len(names) > _MOST_NAMES:
        return []
    found = []
    for at, rare in enumerate(names):
        common = next((name for name in names[:at] if look_alike(rare, name)), None)
        if common is None:
            continue
        shared = min(rare, common, key=len)  # a maker's name alone is near to every series of his
        of = [name for name in names if name != shared and has_part(name, shared)]
        message = _near_name(rare, common, where) if len(of) < 2 else _shared_name(shared, of, where)
        subject = rare if len(of) < 2 else shared
        found.append(Problem(file, int(where[subject][0]), header, subject, "series_spelling", Level.WARNING, message))
    return list(dict.fromkeys(found))


def _near_name(rare: str, common: str, where: Mapping[str, Sequence[int]]) -> str:
    return (
        f"{shown(rare)} in {rows_phrase(where[rare])} is close to {shown(common)} but another series; "
        f"did you mean {common}? If both are right, list them in shop.toml"
    )


def _shared_name(shared: str, of: Sequence[str], where: Mapping[str, Sequence[int]]) -> str:
    rows, names = rows_phrase(where[shared]), listed(of, 6, last="or")
    return (
        f"{shown(shared)} in {rows} can be any of {names} and counts as another series; "
        "write which it is, or list it in shop.toml if it is one of its own"
    )


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
