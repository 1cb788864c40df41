"""A spreadsheet that comes in for the first time: where its headers stand and which of our columns each may hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from kitvalue.intake.arrival.columns import MoneyNotes, taken_columns
from kitvalue.intake.books.bookrows import says_total
from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.tables.headers import (
    DELIMITERS,
    MOST_CELLS,
    RawRow,
    declared_delimiter,
    is_figure,
    split_lines,
    split_rows,
)
from kitvalue.intake.text.dates import day_order
from kitvalue.intake.text.decoding import decode, refused_file
from kitvalue.intake.text.numbers import Amount, Sign, TwoReadings, read_amount
from kitvalue.intake.text.vocabulary import OPTIONAL, REQUIRED, likely_headers
from kitvalue.intake.text.words import Refusal, fold, trimmed

_FEWEST_SIZEDSIGN: Final = 5  # prices that are plain
_FAR: Final = 10  # times smaller or larger than the plain prices


@dataclass(frozen=True, slots=True)
class SizedSign:
    """The decimal sign under which the marks of prices such as 1,250 part thousands. `why` says that nothing else fits
    the prices beside them; blank where that is not sure.
    """

    sign: Sign
    why: str = ""


def sign_by_size(cells: Iterable[str]) -> SizedSign | None:
    """The sign for prices that leave it open. None where none does, where one proves a sign, and where marks differ."""
    readings = [read_sold_for(cell) for cell in cells]
    both = [read for read in readings if isinstance(read, TwoReadings)]
    plain = [read for read in readings if isinstance(read, Amount)]
    marks = {read.mark for read in both}
    if len(marks) != 1 or any(read.sign is not None for read in plain):
        return None
    mark = marks.pop()
    sign: Sign = "." if mark == "," else ","
    values = [read.value for read in plain if read.value > 0]
    if len(values) < _FEWEST_SIZEDSIGN:
        return SizedSign(sign)
    low, high = min(values), max(values)
    if any(read.as_decimal * _FAR >= low or read.as_thousands > high * _FAR for read in both):
        return SizedSign(sign)
    first, smallest, largest = (f"{value:,}".replace(",", mark) for value in (both[0].as_thousands, low, high))
    return SizedSign(sign, f"{first} is more than a thousand: the other prices lie between {smallest} and {largest}")


_SEARCHED: Final = 60  # lines in which the headers are looked for
_LOOKED_AT: Final = 2000  # rows from which a column is judged
_FEWEST: Final = 2  # cells of a header row


@dataclass(frozen=True, slots=True)
class Incoming:
    """A spreadsheet as it comes in. `data`: its bytes, byte for byte the file where nothing stands above the headers;
    else the `above` rows there are blank, so that every row keeps its number. `columns`: our column -> the header that
    likely holds it, those that have our own name among them; `unused`: headers for which there is none. `series`: the
    filled cells of that column but for totals. `currencies`: the codes that its prices can be in, () where they do not
    say or say several. `day_first`: the order that its dates show, None where they show none or both. `cells`: our
    column -> its filled cells, of the first rows. `money`: columns of money that their owner has to be told of.
    `sized`: the decimal sign that the sizes of these prices tell, None where they leave none open.
    """

    data: bytes
    delimiter: str
    above: int
    columns: Mapping[str, str]
    unused: tuple[str, ...]
    series: tuple[str, ...]
    currencies: tuple[str, ...]
    day_first: bool | None
    cells: Mapping[str, Sequence[str]]
    money: MoneyNotes = field(default_factory=MoneyNotes)
    sized: SizedSign | None = None

    @property
    def conditions(self) -> Sequence[str]:
        """The conditions among `cells`."""
        return self.cells.get("condition", ())


def incoming(data: bytes, file: str, features: Mapping[str, str]) -> Incoming:
    """What a spreadsheet's export holds. `features`: further columns of ours -> their kind. Raises FileError where it
    is no text or has no row that can be its headers.
    """
    text = decode(data, file)
    lines = split_lines(text.text)
    declared = declared_delimiter(lines)
    if declared is not None:
        lines = lines[1:]
    names = (*REQUIRED, *OPTIONAL, *features)
    sign = declared or max(DELIMITERS, key=lambda sign: _cells_in_line(lines, sign))
    header, first = _header_row(lines, sign, names, file)
    below = lines[first:]
    headers = [trimmed(cell) for cell in header.cells]
    cells: list[list[str]] = [[] for _ in headers]  # the filled ones of each column
    for raw in split_rows(below[: _LOOKED_AT + 1], sign):
        for column, cell in zip(cells, raw.cells if raw.row > 1 else (), strict=False):
            column += [trimmed(cell)] if trimmed(cell) else []
    taken = taken_columns(names, headers, cells, features)
    columns = {name: cells[headers.index(header)] for name, header in taken.columns.items()}
    filled = any(any(map(trimmed, raw.cells)) for raw in split_rows(lines[:first], sign))
    above = header.row - 1 if filled else 0  # blank rows may stay
    if above:
        whole = "\n" * above + "\n".join(below) + "\n"
        data = whole.encode("utf-8-sig" if text.encoding == "utf-8" else text.encoding)
    orders = {day_order(cell) for cell in columns.get("date", ())} - {None}
    prices = [read_amount(cell) for cell in columns.get("price", ())]
    currencies = {one.currencies for one in prices if not isinstance(one, Refusal) and one.currencies}
    return Incoming(
        data,
        sign,
        above,
        taken.columns,
        unused=tuple(name for name in headers if name and name not in taken.columns.values()),
        series=_series(below, sign, {name: headers.index(header) for name, header in taken.columns.items()}),
        currencies=currencies.pop() if len(currencies) == 1 else (),
        day_first=orders.pop() if len(orders) == 1 else None,
        cells=columns,
        money=taken.money,
        sized=sign_by_size([*columns.get("price", ()), *columns.get("sold_for", ())]),
    )


def _header_row(lines: list[str], delimiter: str, names: Sequence[str], file: str) -> tuple[RawRow, int]:
    """The row that says most of our columns, of those alike the first, and the index of its first line: of rows of two
    cells and more, none of which is a figure.
    """
    rows: list[tuple[tuple[int, int, int], RawRow, int]] = []
    further = 0  # lines that cells with line breaks took beyond one a row
    for raw in split_rows(lines[:_SEARCHED], delimiter):
        line = raw.row - 1 + further
        further += raw.lines - 1
        filled = [trimmed(cell) for cell in raw.cells if trimmed(cell)]
        if raw.damage is not None or raw.count > MOST_CELLS or len(filled) < _FEWEST or any(map(is_figure, filled)):
            continue
        known = {fold(cell) for cell in filled}.intersection(names).union(likely_headers(names, filled))
        rows.append(((len(known.intersection(REQUIRED)), len(known), len(filled)), raw, line))
    if not rows:
        message = "has no row of headers; the first row of a table says what its columns are"
        raise refused_file(file, "no_header", message)
    _, best, line = max(rows, key=lambda row: row[0])
    return best, line


def _cells_in_line(lines: list[str], delimiter: str) -> int:
    """How many cells stand in rows of the commonest width, beyond the first of each: most for the true delimiter."""
    widths = Counter(raw.count for raw in split_rows(lines[:_SEARCHED], delimiter) if raw.count > 1)
    return max((rows * (width - 1) for width, rows in widths.items()), default=0)


def _series(lines: list[str], delimiter: str, places: Mapping[str, int]) -> tuple[str, ...]:
    """The filled cells of the column of series, but for rows that are totals; () where no column is known for it."""
    found = []
    for raw in split_rows(lines, delimiter) if "series" in places else ():
        cells = {name: trimmed(raw.cells[at]) for name, at in places.items() if at < len(raw.cells)}
        bare = not cells.get("pieces") and not cells.get("condition")
        if raw.row > 1 and cells.get("series") and not (bare and any(map(says_total, raw.cells))):
            found.append(cells["series"])
    return tuple(found)
