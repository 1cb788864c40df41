"""A spreadsheet that comes in for the first time: where its headers stand and which of our columns each may hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from kitvalue.intake.arrival.columns import MoneyNotes, taken_columns
from kitvalue.intake.books.bookrows import says_total
from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.tables.headers import DELIMITERS, MOST_CELLS, RawRow, declared_delimiter, split_lines, split_rows
from kitvalue.intake.text.dates import day_order
from kitvalue.intake.text.decoding import decode, refused_file
from kitvalue.intake.text.numbers import Amount, Sign, TwoReadings, read_amount
from kitvalue.intake.text.vocabulary import OPTIONAL, REQUIRED, likely_headers
from kitvalue.intake.text.words import Refusal, fold, trimmed

_FEWEST_SIZEDSIGN: Final = 5  # prices that are plain
_FAR: Final = 10  # times smaller or larger than the plain prices
_SIGNS: Final[dict[Sign, Sign]] = {",": ".", ".": ","}


@dataclass(frozen=True, slots=True)
class SizedSign:
    """The decimal sign under which the marks of prices such as 1,250 part thousands. `sure`: nothing else fits the
    prices beside them; `why` says so, and is blank where it is not sure.
    """

    sign: Sign
    why: str = ""

    @property
    def sure(self) -> bool:
        """Do the other prices tell?"""
        return bool(self.why)


def sign_by_size(cells: Iterable[str]) -> SizedSign | None:
    """The sign for prices that leave it open. None where none does, where one proves a sign, and where marks differ."""
    readings = [read_sold_for(cell) for cell in cells]
    both = [read for read in readings if isinstance(read, TwoReadings)]
    plain = [read for read in readings if isinstance(read, Amount)]
    marks = {read.mark for read in both}
    if len(marks) != 1 or any(read.sign is not None for read in plain):
        return None
    mark = marks.pop()
    values = [read.value for read in plain if read.value > 0]
    if len(values) < _FEWEST_SIZEDSIGN or not _only_thousands(both, min(values), max(values)):
        return SizedSign(_SIGNS[mark])
    smallest, largest = (_grouped(value, mark) for value in (min(values), max(values)))
    first = _grouped(both[0].as_thousands, mark)
    return SizedSign(
        _SIGNS[mark], f"{first} is more than a thousand: the other prices lie between {smallest} and {largest}"
    )


def _only_thousands(both: Iterable[TwoReadings], smallest: Decimal, largest: Decimal) -> bool:
    return all(read.as_decimal * _FAR < smallest and read.as_thousands <= largest * _FAR for read in both)


def _grouped(value: Decimal, mark: Sign) -> str:
    return f"{value:,}".replace(",", mark)


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


@dataclass(frozen=True, slots=True)
class _HeaderRow:
    delimiter: str
    raw: RawRow
    line: int  # index of its first line in the text
    score: tuple[int, int, int]


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
    header = _header_row(lines, (declared,) if declared is not None else DELIMITERS, names, file)
    below = lines[header.line :]
    headers = [trimmed(cell) for cell in header.raw.cells]
    cells = _columns(below[: _LOOKED_AT + 1], header.delimiter, range(len(headers)))
    taken = taken_columns(names, headers, cells, features)
    columns = taken.columns
    found = {name: cells[headers.index(header)] for name, header in columns.items()}
    above = _rows_above(lines, header)
    if above:
        whole = "\n" * above + "\n".join(below) + "\n"
        data = whole.encode("utf-8-sig" if text.encoding == "utf-8" else text.encoding)
    unused = tuple(name for name in headers if name and name not in columns.values())
    series = _series(below, header.delimiter, {name: headers.index(header) for name, header in columns.items()})
    return Incoming(
        data, header.delimiter, above, columns, unused, series, _currencies(found.get("price", ())),
        _day_first(found.get("date", ())), found, taken.money,
        sign_by_size([*found.get("price", ()), *found.get("sold_for", ())]),
    )  # fmt: skip


def _header_row(lines: Sequence[str], delimiters: Sequence[str], names: Sequence[str], file: str) -> _HeaderRow:
    """The row that says most of our columns, of those alike the first."""
    delimiter = max(delimiters, key=lambda sign: _cells_in_line(lines, sign))
    rows = list(_candidates(lines, delimiter, names))
    if not rows:
        raise refused_file(
            file, "no_header", "has no row of headers; the first row of a table says what its columns are"
        )
    return max(rows, key=lambda row: (*row.score, -row.line))


def _cells_in_line(lines: Sequence[str], delimiter: str) -> int:
    """How many cells stand in rows of the commonest width, beyond the first of each: most for the true delimiter."""
    widths = Counter(raw.count for raw in split_rows(list(lines[:_SEARCHED]), delimiter) if raw.count > 1)
    return max((rows * (width - 1) for width, rows in widths.items()), default=0)


def _candidates(lines: Sequence[str], delimiter: str, names: Sequence[str]) -> Iterator[_HeaderRow]:
    """Rows of two cells and more, none of which is a figure. Their score: columns of ours that are required, all that
    are ours, and cells.
    """
    further = 0  # lines that cells with line breaks took beyond one a row
    for raw in split_rows(list(lines[:_SEARCHED]), delimiter):
        line = raw.row - 1 + further
        further += raw.lines - 1
        filled = [trimmed(cell) for cell in raw.cells if trimmed(cell)]
        if raw.damage is not None or raw.count > MOST_CELLS or len(filled) < _FEWEST or any(map(_is_figure, filled)):
            continue
        found = likely_headers(names, filled)
        own = {fold(cell) for cell in filled}.intersection(names)
        known = own.union(found)
        yield _HeaderRow(delimiter, raw, line, (len(known.intersection(REQUIRED)), len(known), len(filled)))


def _is_figure(cell: str) -> bool:
    return any(map(str.isdigit, cell)) and not any(map(str.isalpha, cell))


def _rows_above(lines: Sequence[str], header: _HeaderRow) -> int:
    """Rows above the headers, 0 where they are blank: these may stay."""
    above = [raw for raw in split_rows(list(lines[: header.line]), header.delimiter) if any(map(trimmed, raw.cells))]
    return header.raw.row - 1 if above else 0


def _columns(lines: list[str], delimiter: str, places: Sequence[int]) -> list[list[str]]:
    """The filled cells of columns, below the headers in the first line."""
    found: list[list[str]] = [[] for _ in places]
    for raw in split_rows(lines, delimiter):
        for column, place in zip(found, places, strict=True):
            if raw.row > 1 and place < len(raw.cells) and trimmed(raw.cells[place]):
                column.append(trimmed(raw.cells[place]))
    return found


def _series(lines: list[str], delimiter: str, places: Mapping[str, int]) -> tuple[str, ...]:
    """The filled cells of the column of series, but for rows that are totals; () where no column is known for it."""
    if "series" not in places:
        return ()
    found = []
    for raw in split_rows(lines, delimiter):
        cells = {name: trimmed(raw.cells[at]) for name, at in places.items() if at < len(raw.cells)}
        bare = not cells.get("pieces") and not cells.get("condition")
        if raw.row > 1 and cells.get("series") and not (bare and any(map(says_total, raw.cells))):
            found.append(cells["series"])
    return tuple(found)


def _day_first(dates: Sequence[str]) -> bool | None:
    orders = {day_order(cell) for cell in dates} - {None}
    return orders.pop() if len(orders) == 1 else None


def _currencies(prices: Sequence[str]) -> tuple[str, ...]:
    readings = [read_amount(cell) for cell in prices]
    said = {one.currencies for one in readings if not isinstance(one, Refusal) and one.currencies}
    return said.pop() if len(said) == 1 else ()
