"""What is used from prices.csv and yet must be said: defaults for blank cells, placeholders, negotiable prices."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.book import BoolArray, IntArray
from kitvalue.intake.books.bookrows import RowAsRead, RowReader, is_placeholder, runs_to_ten, says_currency
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import (
    WORDS_TABLE,
    halved_words,
    is_digit,
    is_number_to_ten,
    is_school_mark,
    of_ten,
    turned_words,
)
from kitvalue.intake.tables.specification import Columns
from kitvalue.intake.tables.table import TextTable
from kitvalue.intake.text.languages import any_of, pattern
from kitvalue.intake.text.numbers import Amount, plain
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.sizes import drums_listed
from kitvalue.intake.text.vocabulary import PRICE_KINDS
from kitvalue.intake.text.words import fold, has_part, listed, look_alike, rows_phrase, trimmed

MOST_ROWS: Final = 5000  # of a book kept by hand; in larger ones many kits are alike by chance
_MOST_BEFORE: Final = 200  # rows of one series, drums and condition above it that a row is held against
_DAYS: Final = 60  # between two listings of one kit
_MOST_SUNK: Final = Decimal("0.85")  # of the price asked before, where no notes tell
_NOTES_ALIKE: Final = 0.5  # words that both notes have, of all words of the two


def near_duplicates(rows: Sequence[RowAsRead], file: str) -> list[Problem]:
    """A warning for each row that repeats an earlier one in all that describes the kit, at the same price or, with
    notes alike, or without notes up to 15 % under what was asked, at a lower one, within two months; unless both have
    a `ref`, which tells listings apart.
    """
    if len(rows) > MOST_ROWS:
        return []
    groups: dict[tuple[object, ...], list[RowAsRead]] = {}
    for row in rows:
        groups.setdefault((fold(row.series), row.pieces, row.condition, row.channel, row.currency), []).append(row)
    found = []
    for alike in groups.values():
        notes = [set(re.findall(r"\w+", fold(row.note or "")[:400])) for row in alike]
        for at, row in enumerate(alike):
            near = range(max(0, at - _MOST_BEFORE), at)
            before = (alike[n] for n in reversed(near) if _may_be_one(alike[n], row, notes[n], notes[at]))
            earlier = next(before, None)
            if earlier is None:
                continue
            price = f"{plain(earlier.price)} there, {plain(row.price)} here"
            price = "at the same price" if earlier.price == row.price else price
            message = f"may be the kit of row {earlier.row} again ({price}): both count. If it is one kit, give both "
            message += "rows the same ref; then only the latest does"
            found.append(Problem(file, row.row, None, None, "near_duplicate", Level.WARNING, message))
    return found


def _may_be_one(one: RowAsRead, other: RowAsRead, its: set[str], others: set[str]) -> bool:
    """Every row of a kit meets every other one here: what tells most of them apart comes first."""
    if (one.ref and other.ref) or (one.date is None) != (other.date is None):
        return False
    first, later = (other, one) if one.date and other.date and other.date < one.date else (one, other)
    if later.price > first.price or (first.date and later.date and (later.date - first.date).days > _DAYS):
        return False
    if any(len({a.value, b.value} - {None}) > 1 for a, b in zip(one.features, other.features, strict=True)):
        return False
    unsaid, alike = not its or not others, len(its & others) >= _NOTES_ALIKE * len(its | others)
    if one.price == other.price:
        return one.price_kind == other.price_kind and one.freight == other.freight and (unsaid or alike)
    if not unsaid:
        return alike
    return first.price_kind == "asked" and later.price >= _MOST_SUNK * first.price


_TEN_YEARS: Final = 3653  # days
_MOST_NAMES: Final = 400  # comparing every pair of names grows with the square of their number


def repeats(columns: Columns, at: IntArray) -> list[Problem]:
    """Those of the rows `at` that do not count: a warning for each that is set aside, since it repeats another in every
    column or is not the latest of its listing's rows; all rows of a ref are refused where they are no one kit.
    """
    problems: list[Problem] = []
    table, refs = columns.table, columns["ref"].values
    for again in _alike_in_all([cells.map(trimmed).same()[at] for cells in table.cells]):
        row = table.row(at[again[0]])
        message = f"the row repeats row {row} in every column, so it is set aside; delete it, or tell them apart"
        problems += [
            Problem(table.file, n, None, None, "repeated_row", Level.WARNING, message)
            for n in table.rows[at[again[1:]]].tolist()
        ]
    once = at[~np.isin(table.rows[at], [problem.row or 0 for problem in problems])]
    named = once[refs.where(lambda ref: ref is not None)[once]]
    for listing in _alike_in_all([refs.same()[named]]):
        places = named[listing].tolist()
        ref, header, code, level = columns.known("ref", places[0]), columns["ref"].header, "relisted", Level.WARNING
        latest = max(places, key=lambda place: (columns.known("date", place) or dt.date.min, place))
        message = f"{shown(ref)} is listed again in row {table.row(latest)}, which is later: this row is set aside"
        if len({fold(columns.known("series", place)) for place in places}) > 1:
            phrase, latest, code, level = rows_phrase(table.rows[places].tolist()), None, "ref_clash", Level.REFUSED
            message = f"{shown(ref)} stands for kits of different series ({phrase}); correct the ref or the series"
        problems += [table.problem(at, header, ref, code, message, level) for at in places if at != latest]
    return problems


def far_in_time(columns: Columns, at: IntArray) -> list[Problem]:
    """Those of the rows `at` that do not count since their day is more than ten years from that of any other."""
    column = columns["date"]
    days = np.array([day.toordinal() if isinstance(day, dt.date) else 0 for day in column.values.each])
    days = days[column.values.codes[at]]
    known = np.unique(days[days > 0])
    wide = np.diff(known, prepend=-_TEN_YEARS, append=known[-1:] + 2 * _TEN_YEARS) > _TEN_YEARS
    single = known[wide[:-1] & wide[1:]] if len(known) > 1 else known[:0]
    several, counts = np.unique(days, return_counts=True)
    single = single[np.isin(single, several[counts == 1])]
    message = "is more than ten years from the day of any other row, so the row is set aside: is it a slip?"
    return [
        columns.table.problem(n, column.header, column.cells[n], "far_in_time",
                              f"{columns.known('date', n).isoformat()} {message}", Level.WARNING)
        for n in at[np.isin(days, single)].tolist()
    ]  # fmt: skip


def _alike_in_all(columns: Sequence[NDArray[np.integer[Any]]]) -> list[IntArray]:
    """The groups of rows that are alike in every column, each by its places in order, the first group first."""
    at = np.arange(len(columns[0]))
    same = np.zeros(len(at), dtype=np.int64)
    for column in sorted(columns, key=lambda column: -int(column.max(initial=0))):
        keys = same * (int(column.max(initial=0)) + 1) + column[at]
        _, same, counts = np.unique(keys, return_inverse=True, return_counts=True)
        several = counts[same] > 1
        at, same = at[several], same[several]
    return sorted((at[group] for group in _groups(same)), key=lambda group: int(group[0]))


def _groups(numbers: NDArray[np.integer[Any]]) -> list[IntArray]:
    """The places of each number, in order."""
    order = np.argsort(numbers, kind="stable")
    return [part for part in np.split(order, np.flatnonzero(np.diff(numbers[order])) + 1) if len(part)]


def spelling_warnings(where: Mapping[str, Sequence[int]], file: str, header: str) -> list[Problem]:
    """Where shop.toml lists no series: names in the book that are probably one name. They are not merged. `where`: the
    rows of each name as it is spelt.
    """
    names = sorted(where, key=lambda name: (-len(where[name]), where[name][0]))
    found = []
    for at, rare in enumerate(names if len(names) <= _MOST_NAMES else ()):
        common = next((name for name in names[:at] if look_alike(rare, name)), None)
        if common is None:
            continue
        shared = min(rare, common, key=len)  # a maker's name alone is near to every series of his
        of = [name for name in names if name != shared and has_part(name, shared)]
        subject = rare if len(of) < 2 else shared
        why = f"is close to {shown(common)} but another series; did you mean {common}"
        cure = "? If both are right, list them in shop.toml"
        if len(of) > 1:
            why = f"can be any of {listed(of, 6, last='or')} and counts as another series"
            cure = "; write which it is, or list it in shop.toml if it is one of its own"
        message = f"{shown(subject)} in {rows_phrase(where[subject])} {why}{cure}"
        found.append(Problem(file, int(where[subject][0]), header, subject, "series_spelling", Level.WARNING, message))
    return list(dict.fromkeys(found))


_DEFAULTS: Final = {  # what a blank cell counts as; one of a currency as the shop's own
    "date": "the book's mean date", "price_kind": "asked", "channel": "private", "currency": "",
    "freight": "unknown, never 0", "weight": "1",
}  # fmt: skip
_FAR_APART: Final = 3  # times: haggling alone never takes two prices of one kit as far apart (from memory)


def row_warnings(reader: RowReader, rows: Sequence[RowAsRead], at: IntArray, shop: Shop) -> list[Problem]:
    """Every warning about the rows that are used: `rows`, which stand at `at` in the table."""
    table, columns = reader.table, reader.columns
    numbers = table.rows[at]
    problems = [*absent_warnings(table, shop), *_blanks(reader, at), *_asked_after_all(reader, at)]
    problems += _hammer_in_notes(reader, at)
    for place in np.flatnonzero(to_be_looked_at(reader)[at]).tolist():
        problems += single_warnings(rows[place], int(at[place]), reader)
    if not shop.series:
        series = columns["series"].values.take(at)
        where = {str(series[int(part[0])]): numbers[part].tolist() for part in _groups(series.same())}
        problems += spelling_warnings(where, table.file, columns["series"].header)
    problems += near_duplicates(rows, table.file)
    return problems


def to_be_looked_at(reader: RowReader) -> BoolArray:
    """(n,) the rows about which `single_warnings` may have something to say."""
    columns, paid = reader.columns, reader.paid
    maybe = columns["pieces"].cells.where(lambda cell: drums_listed(cell) is not None)
    for name, counts in (("price", ~paid), ("sold_for", paid)):
        maybe |= counts & columns[name].values.where(
            lambda one: isinstance(one, Amount) and (one.negotiable or is_placeholder(one.value))
        )
    asked, sold = columns.numbers("price"), columns.numbers("sold_for")
    with np.errstate(invalid="ignore"):  # a little more than far apart: the careful look decides
        maybe |= paid & (np.maximum(asked, sold) > 0.999 * _FAR_APART * np.minimum(asked, sold))
        maybe |= (columns.numbers("premium") > 0) & (reader.kinds != PRICE_KINDS.index("hammer"))
    return maybe


def scale_warning(columns: Columns, shop: Shop) -> list[Problem]:
    """The warning about a scale that is not ours: conditions that were halved, since they run to ten or say so; else
    that digits are read as our grades although marks beside them look like those of a school, or say that they are of
    ten, and shop.toml says of no digit what it means.
    """
    condition, table = columns["condition"], columns.table
    digits = frozenset(filter(is_digit, condition.cells.each))
    if any(map(is_digit, shop.prices.words.get("condition", {}))):
        return []
    ten = runs_to_ten(condition.header, condition.cells, shop)
    tens = condition.cells.where(lambda cell: of_ten(cell) is not None or (ten and is_number_to_ten(cell)))
    school = condition.cells.where(lambda cell: bool(digits) and is_school_mark(cell))
    at = np.flatnonzero(school if school.any() and not ten else tens)
    if not len(at):
        return []
    where, cell = rows_phrase(table.rows[at].tolist(), 6), trimmed(condition.cells[int(at[0])])
    code = "marks_scale"
    if school.any() and not ten:
        looks = "looks like a school mark" if len(at) == 1 else "and the like look like school marks"
        message = f"numbers are read as our grades, 5 the best; {shown(cell)} {looks} ({where}), where 1 is the best. "
        message += f'If so, map "1" to "5" as well, under {WORDS_TABLE}: {turned_words()}. If 5 is the best, write '
        message += '"5" = "wipe" there'
        return [table.warning(condition.header, cell, code, message)]
    message = f"conditions out of ten are halved ({where}): {shown(cell)} counts as {condition.known(int(at[0]))}"
    if ten:
        code, message = "halved", f"{message}. offers.csv speaks our grades until the numbers are mapped, under "
        message += f"{WORDS_TABLE}: {halved_words()}; map them otherwise if they are not of ten"
    elif digits:
        message += "; plain numbers are read as our grades, 5 the best. If they are of ten as well, map every one of "
        message += f"them under {WORDS_TABLE}: {halved_words()}"
    else:
        code = "halved"
    return [table.problem(int(at[0]), condition.header, cell, code, message, Level.WARNING)]


def _asked_after_all(reader: RowReader, at: IntArray) -> Iterator[Problem]:
    """One warning about rows that say sold and hold nothing in the file's sold_for column, and one about rows of
    auctions that do not say what kind of price theirs is: often it is what was paid.
    """
    table, columns, open_ = reader.table, reader.columns, ~reader.paid[at]
    kind, price, sold_for = (columns[name].header for name in ("price_kind", "price", "sold_for"))
    says_sold = columns["price_kind"].values.where(lambda said: said == "sold")[at]
    asked = reader.kinds[at] == PRICE_KINDS.index("asked")
    alone = table.rows[at][says_sold & open_ & asked].tolist()
    if alone and columns["sold_for"].present:
        message = f"blank in {rows_phrase(alone)}, where {kind} says sold: what stands in {price} counts as asked, "
        message += f"since in a file with this column it does not tell what was paid; fill in {sold_for}"
        yield table.warning(sold_for, None, "sold_without_amount", message)
    auction = columns["channel"].values.where(lambda channel: channel == "auction")[at]
    auctions = table.rows[at][auction & columns["price_kind"].blank()[at] & open_].tolist()
    if auctions:
        say, they, count = ("says", "it", "counts") if len(auctions) == 1 else ("say", "they", "count")
        cure = f"write sold or hammer there if that is what {they} went for"
        if columns["sold_for"].present:
            cure = f"write what was paid under {sold_for}, or hammer under {kind}"
        message = f"{rows_phrase(auctions)} {say} auction and nothing under {kind}, so {they} {count} as asked: {cure}"
        yield table.warning(kind, None, "auction_asked", message)


def _hammer_in_notes(reader: RowReader, at: IntArray) -> Iterator[Problem]:
    """The warning about rows whose note speaks of a hammer and whose price does not say that it is one."""
    notes, rows = reader.columns["note"], reader.table.rows[at]
    hammer = pattern(rf"(?<!\w){any_of('adverts', 'hammer')}(?!\w)")
    said = notes.cells.where(lambda cell: hammer.search(cell) is not None)[at]
    found = rows[said & (reader.kinds[at] != PRICE_KINDS.index("hammer"))].tolist()
    if found:
        message = (
            f"these look like hammer prices ({rows_phrase(found)}), which a premium comes on top of: if they are, "
        )
        message += "write hammer under price_kind, the amount under price, and the percent under premium"
        cell = notes.cells[int(at[np.flatnonzero(rows == found[0])[0]])]
        yield reader.table.warning(notes.header, cell, "hammer_in_note", message)


def absent_warnings(table: TextTable, shop: Shop) -> Iterator[Problem]:
    """Columns that the file lacks altogether: their default holds for every row."""
    present = table.header.places
    counted_as = _DEFAULTS | {"currency": shop.shop.currency}
    if "sold_for" in present:
        counted_as["price_kind"] = f"asked, or sold where {table.header.name('sold_for')} is filled in"
    lacking = [f"{name} ({what})" for name, what in counted_as.items() if name not in present and name != "weight"]
    if lacking:
        message = f"there is no column for {listed(lacking)}: every row counts as said in brackets"
        yield table.warning(None, None, "absent_columns", message)
    for name in shop.prices.features:
        if name not in present:
            message = f"{name} is declared in shop.toml as a feature but is not in {table.file}, so it is left out"
            message += f"; where its column has another header, add {name} under [prices.columns]"
            yield table.warning(name, name, "absent_feature", message)


def _blanks(reader: RowReader, at: IntArray) -> Iterator[Problem]:
    """One warning for each column with blank cells, naming the rows."""
    table, columns = reader.table, reader.columns
    used = np.zeros(len(table), dtype=bool)
    used[at] = True
    counted_as = _DEFAULTS | {"currency": reader.currency} | dict.fromkeys(reader.features, "unknown")
    for name, default in counted_as.items():
        column = columns[name]
        if not column.present:
            continue
        blank = column.blank() & used
        if name == "currency":  # a price that says its currency leaves nothing to assume
            blank &= ~(says_currency(columns["price"], blank) | says_currency(columns["sold_for"], blank))
        if name == "price_kind":  # nor does an amount that it was sold for
            blank &= ~reader.paid
        rows = table.rows[blank].tolist()
        if rows:
            message = f"blank in {rows_phrase(rows)}: counts as {default}"
            yield table.warning(column.header, None, f"blank_{name}", message)


def single_warnings(row: RowAsRead, at: int, reader: RowReader) -> Iterator[Problem]:
    """Warnings about one row by itself."""
    columns, priced = reader.columns, reader.priced(at)

    def warning(name: str, code: str, message: str) -> Problem:
        return reader.table.problem(at, columns[name].header, columns[name].cells[at], code, message, Level.WARNING)

    price, cell = columns[priced].values[at], columns[priced].cells[at]
    if isinstance(price, Amount) and price.negotiable:
        message = f"{shown(cell)} says negotiable: {plain(price.value)} counts as an asking price"
        yield warning(priced, "negotiable", message)
    pieces = columns["pieces"].cells[at]
    if drums_listed(pieces) is not None:
        message = f"{shown(trimmed(pieces))} lists sizes: as many drums count, {row.pieces}"
        yield warning("pieces", "pieces_from_sizes", message)
    asked, paid = columns.known("price", at), row.price
    apart = priced == "sold_for" and asked is not None and max(asked, paid) > _FAR_APART * min(asked, paid)
    if apart and not is_placeholder(asked) and not is_placeholder(paid):  # these name no price in earnest
        message = f"asked {plain(asked)} and sold for {plain(paid)}: is one of them a slip?"
        yield warning(priced, "asked_and_sold_far_apart", message)
    if is_placeholder(paid):
        message = f"{shown(trimmed(cell))} looks like a placeholder, not a price; delete the row if it is one"
        yield warning(priced, "placeholder", message)
    if row.premium and row.price_kind != "hammer":
        message = f"a premium counts on a hammer price only, and this row says {row.price_kind}; it is left out"
        yield warning("premium", "premium_unused", message)
