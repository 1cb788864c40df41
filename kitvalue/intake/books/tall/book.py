"""A tall price book: what is plain is read in bulk, every other row by the careful reader, and both as one book.

It gives what the careful reader would give for the whole file, problem by problem; the tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from kitvalue.intake.books.bookcolumns import Proofs
from kitvalue.intake.books.bookrows import Rates
from kitvalue.intake.books.bookwarnings import (
    MANY_PIECES,
    MOST_ROWS,
    Kept,
    absent_warnings,
    auction_warning,
    blank_warning,
    defaults,
    many_warning,
    near_duplicates,
    single_warnings,
    sold_alone_warning,
    spelling_warnings,
    without_repeats,
)
from kitvalue.intake.books.pricebook import PriceReading, refused_whole, wanted_columns
from kitvalue.intake.books.tall.arrays import tall_book
from kitvalue.intake.books.tall.fields import Fields, Mask, Places, split_fields
from kitvalue.intake.books.tall.groups import Groups, digest, grouped, mixed, repeated, tight
from kitvalue.intake.books.tall.plain_numbers import COMMA, DOT
from kitvalue.intake.books.tall.rows import CarefulRows, Source, TallRows, careful_rows
from kitvalue.intake.books.tall.seen import Seen, see
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import is_digit, of_another_scale, scale_warning, speaks_of_digits
from kitvalue.intake.tables.columns import mixed_warning
from kitvalue.intake.tables.headers import RawRow, declared_delimiter, find_header, split_lines
from kitvalue.intake.tables.table import Body, nameless
from kitvalue.intake.text.decoding import DecodedText
from kitvalue.intake.text.numbers import Sign
from kitvalue.intake.text.problems import FileCounts, FileError, Problem
from kitvalue.intake.text.vocabulary import REQUIRED
from kitvalue.intake.text.words import fold, trimmed

_HEAD: Final = 1 << 16  # characters in which the header of a table is looked for


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """The table's rows as bytes, what is to be said of its shape, and how many rows it holds in all."""

    source: Source
    problems: tuple[Problem, ...]
    read: int


def read_tall(shape: Shape, rates: Rates) -> PriceReading:
    """The reading of a tall price book."""
    source, read, file = shape.source, shape.read, shape.source.file
    seen = see(source)
    proofs = seen.proofs
    careful = careful_rows(source, np.flatnonzero(seen.odd), proofs, rates)
    problems: list[Problem] = [
        *rates.problems,
        *shape.problems,
        *_mixed(source, seen),
        *careful.totals,
        *_scale(source, seen),
        *careful.problems,
    ]
    if careful.columns.undecided:
        problems += [*careful.columns.undecided, *absent_warnings(careful.table, source.shop)]
        return refused_whole(file, problems, careful.table, read, careful.columns.decimal)
    usable = ~seen.odd
    usable[list(careful.usable)] = True
    kept = _kept(source, seen, usable, proofs, rates)
    rows = TallRows(source, np.flatnonzero(usable), proofs, rates)
    problems += kept.problems
    problems += _row_warnings(source, seen, careful, usable, rows)
    problems.sort(key=lambda problem: (problem.file == file, problem.row or 0))
    refused = read - len(rows) - kept.set_aside
    delimiter, decimal = source.header.delimiter, careful.columns.decimal
    counts = FileCounts(file, read, len(rows), refused, kept.set_aside, source.encoding, delimiter, decimal)
    book = tall_book(source, seen, careful.usable, np.flatnonzero(usable))
    return PriceReading(book, tuple(problems), counts, rows if len(rows) else ())


def tall_shape(text: DecodedText, file: str, shop: Shop) -> Shape | None:
    """The rows of a tall price book; None where its shape (quotes within cells, line breaks in them, short rows) needs
    the careful reader from the first row to the last.
    """
    head = split_lines(text.text[:_HEAD])
    declared = declared_delimiter(head)
    body_text = text.text if declared is None else _below_first(text.text)
    lines = split_lines(body_text[:_HEAD])[:-1]
    try:
        header = find_header(lines, wanted_columns(shop), file, shop.files.delimiter or declared)
    except FileError:
        return None
    fields = split_fields(body_text, header.delimiter, header.row, len(header.cells))
    if fields is None:
        return None
    body = Body(file, header)
    for raw in fields.odd:
        body.take(raw)
    if body.rows:  # short rows that are filled up
        return None
    source = _without_rows(Source(file, text.encoding, header, fields, shop), body)
    if not len(source.fields):
        return None
    body.refuse_ragged()
    body.problems.sort(key=lambda problem: problem.row or 0)
    problems = (*text.problems, *header.problems, *_nameless(source), *body.problems)
    return Shape(source, problems, body.read + len(source.fields))


def _below_first(text: str) -> str:
    """The text without its first line."""
    ends = [at for at in (text.find("\n"), text.find("\r")) if at >= 0]
    first = min(ends, default=len(text))
    return text[first + (2 if text.startswith("\r\n", first) else 1) :]


def _without_rows(source: Source, body: Body) -> Source:
    """The table without rows that are blank but for spaces or quotes, and without rows that repeat the header."""
    fields = source.fields
    places = [source.header.places[name] for name in REQUIRED]
    first = fields.cells(places[0])
    groups = grouped(fields, first)
    doubtful = np.array([not trimmed(t) or fold(t) == body.names[places[0]] for t in groups.texts])[groups.codes]
    alive = np.ones(len(fields), dtype=bool)
    for at in np.flatnonzero(doubtful).tolist():
        cells = fields.row_texts(at)
        if not any(map(trimmed, cells)):
            alive[at] = False
        elif [fold(cell) for cell in cells] == body.names:
            body.take(RawRow(int(fields.rows[at]), cells, len(cells)))
            alive[at] = False
    if alive.all():
        return source
    left = replace(
        fields, ends=np.ascontiguousarray(fields.ends[:, alive]), begins=fields.begins[alive], rows=fields.rows[alive]
    )
    return replace(source, fields=left)


def _nameless(source: Source) -> list[Problem]:
    """The warnings about columns without a name that hold something."""
    found: list[Problem] = []
    for place, cell in enumerate(source.header.cells):
        filled = np.flatnonzero(source.fields.cells(place).length > 0) if not trimmed(cell) else np.empty(0, np.int64)
        if len(filled):
            only = tuple("" if at == place else name or "x" for at, name in enumerate(source.header.cells))
            found += nameless(source.file, replace(source.header, cells=only), source.table(filled).rows)
    return found


def _kept(source: Source, seen: Seen, usable: Mask, proofs: Proofs, rates: Rates) -> Kept:
    """Set repeated rows and superseded relistings aside; `usable` loses them."""
    at = np.flatnonzero(_alike(source, seen, usable))
    if not len(at):
        return Kept((), (), 0, 0)
    rows = careful_rows(source, at, proofs, rates).usable
    kept = without_repeats([rows[index] for index in at.tolist()], source.file, source.header.name("ref"))
    numbers = np.array([row.row for row in kept.rows], dtype=np.int64)
    usable[at[~np.isin(source.fields.rows[at], numbers)]] = False
    return kept


def _alike(source: Source, seen: Seen, usable: Mask) -> Mask:
    """Rows that another usable row may repeat, in every column or in its ref."""
    fields = source.fields
    found = np.zeros(len(usable), dtype=bool)
    at = np.flatnonzero(usable & repeated(seen.key()))  # alike in what is read of them; then every cell is looked at
    if len(at):
        keys = np.zeros(len(at), dtype=np.uint64)
        for place in range(fields.width):
            keys = mixed(keys, digest(fields, tight(fields, fields.cells(place, at))))
        found[at[repeated(keys)]] = True
    place_of_ref = source.header.places.get("ref")
    if place_of_ref is not None:
        at = np.flatnonzero(usable)
        cells = tight(fields, fields.cells(place_of_ref, None if len(at) == len(fields) else at))
        twice = at[repeated(digest(fields, cells)) & (cells.length > 0)]
        found[twice[_named(fields, place_of_ref, twice)]] = True
    return found


def _named(fields: Fields, place: int, at: Places) -> Mask:
    """Rows whose ref is one: a dash is none."""
    groups: Groups = grouped(fields, fields.cells(place, at))
    names = np.array([any(c.isalnum() for c in text) for text in groups.texts], dtype=bool)
    found: Mask = names[groups.codes]
    return found


def _mixed(source: Source, seen: Seen) -> Iterator[Problem]:
    """The warnings about number columns that prove both decimal signs."""
    for name, column in seen.numbers.items():
        if not column.style.mixed:
            continue
        place = source.header.places[name]
        rows: dict[Sign, Sequence[int]] = {}
        samples: dict[Sign, str] = {}
        signs: Mapping[int, Sign] = {COMMA: ",", DOT: "."}
        for code, sign in signs.items():
            at = np.flatnonzero(column.signs == code)
            rows[sign] = source.fields.rows[at].tolist()
            samples[sign] = source.fields.texts(source.fields.cells(place, at[:1]))[0]
        yield mixed_warning(source.file, source.header.name(name), rows, samples)


def _scale(source: Source, seen: Seen) -> Iterator[Problem]:
    """The warning about digits beside school marks."""
    groups = seen.texts["condition"].groups
    if speaks_of_digits(source.shop) or not any(map(is_digit, groups.texts)):
        return
    found = of_another_scale(groups.texts)
    marks = np.array([text in found for text in groups.texts], dtype=bool)
    at = np.flatnonzero(marks[groups.codes])
    if len(at):
        cell = groups.texts[groups.codes[at[0]]]
        header = source.header.name("condition")
        warning = scale_warning(source.file, header, cell, source.fields.rows[at].tolist())
        yield from (warning,) if warning is not None else ()


def _row_warnings(source: Source, seen: Seen, careful: CarefulRows, usable: Mask, rows: TallRows) -> Iterator[Problem]:
    """What is used and must be said, in the careful reader's order."""
    table, numbers = careful.table, source.fields.rows
    yield from absent_warnings(table, source.shop)
    features = {name: "unknown" for name in source.shop.prices.features if name in source.header.places}
    for name, default in (defaults(source.shop) | features).items():
        if name in source.header.places:
            blank = seen.blank(name) & usable
            if blank.any():
                yield blank_warning(table, source.header.name(name), name, numbers[blank].tolist(), default)
    yield from sold_alone_warning(table, numbers[seen.sold_alone() & usable].tolist())
    yield from auction_warning(table, numbers[seen.bare_auctions() & usable].tolist())
    place = {row.row: n for n, row in enumerate(table.rows)}
    for index in sorted(careful.usable):
        if usable[index]:
            row = careful.usable[index]
            yield from single_warnings(row, place[row.row], table, careful.columns)
    if not source.shop.series:
        yield from spelling_warnings(_spelt(source, seen, usable), source.file, source.header.name("series"))
    if len(rows) <= MOST_ROWS:
        yield from near_duplicates(list(rows), source.file)
    pieces = seen.texts["pieces"].by_row(lambda value: float(str(value)), 0.0)
    yield from many_warning(table, numbers[(pieces > MANY_PIECES) & usable].tolist())


def _spelt(source: Source, seen: Seen, usable: Mask) -> dict[str, Sequence[int]]:
    """The rows of each series name as it is spelt, in order of first appearance."""
    column = seen.texts["series"]
    names = list(dict.fromkeys(value for value in column.values if isinstance(value, str)))
    of_name = {name: n for n, name in enumerate(names)}
    codes = column.by_row(lambda value: float(of_name[str(value)]), -1.0)
    found = {name: source.fields.rows[(codes == n) & usable].tolist() for name, n in of_name.items()}
    return dict(sorted(((k, v) for k, v in found.items() if v), key=lambda pair: pair[1][0]))
