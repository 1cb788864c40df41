"""A spreadsheet that comes in for the first time: where its headers stand and which of our columns each may hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.bookrows import says_total
from kitvalue.intake.cells import MOST_CELLS, RawRow, split_lines, split_rows
from kitvalue.intake.currencies import meanings
from kitvalue.intake.dates import day_order, read_date
from kitvalue.intake.decoding import decode, refused_file
from kitvalue.intake.headers import DELIMITERS, declared_delimiter
from kitvalue.intake.numbers import read_amount
from kitvalue.intake.pieces import drums_listed, read_pieces
from kitvalue.intake.tradewords import likely_headers
from kitvalue.intake.vocabulary import OPTIONAL, REQUIRED
from kitvalue.intake.words import Refusal, fold, trimmed

_SEARCHED: Final = 60  # lines in which the headers are looked for
_LOOKED_AT: Final = 2000  # rows from which a column is judged
_FEW: Final = 12  # words of a column that are few enough to be said one by one
_UNIQUE: Final = 0.9  # of the cells of a column that tells listings apart
_FEWEST: Final = 2  # cells of a header row


Test = Callable[[Sequence[str]], bool]


@dataclass(frozen=True, slots=True)
class Incoming:
    """A spreadsheet as it comes in. `data`: its bytes, byte for byte the file where nothing stands above the headers;
    else the `above` rows there are blank, so that every row keeps its number. `columns`: our column -> the header that
    likely holds it, those that have our own name among them; `unused`: headers for which there is none. `series`: the
    filled cells of that column but for totals. `currencies`: the codes that its prices can be in, () where they do not
    say or say several. `day_first`: the order that its dates show, None where they show none or both. `cells`: our
    column -> its filled cells, of the first rows.
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
    tests = {**_OF_COLUMNS, **{name: _OF_FEATURES[kind] for name, kind in features.items()}}
    columns = _likely(names, headers, cells, tests)
    found = {name: cells[headers.index(header)] for name, header in columns.items()}
    above = _rows_above(lines, header)
    if above:
        whole = "\n" * above + "\n".join(below) + "\n"
        data = whole.encode("utf-8-sig" if text.encoding == "utf-8" else text.encoding)
    unused = tuple(name for name in headers if name and name not in columns.values())
    series = _series(below, header.delimiter, {name: headers.index(header) for name, header in columns.items()})
    return Incoming(
        data, header.delimiter, above, columns, unused, series, _currencies(found.get("price", ())),
        _day_first(found.get("date", ())), found,
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


def _likely(
    names: Sequence[str], headers: Sequence[str], cells: Sequence[Sequence[str]], tests: Mapping[str, Test]
) -> dict[str, str]:
    """Our column -> the header that most likely holds it, where its cells can be such a column's."""
    own = {fold(name): name for name in names}
    found = {own[fold(header)]: header for header in reversed(headers) if fold(header) in own}
    free = [name for name in names if name not in found]
    left = [header for header in headers if header and header not in found.values()]
    ruled_out: set[tuple[str, str]] = set()
    while True:
        likely = likely_headers(free, left, ruled_out)
        wrong = {pair for pair in likely.items() if not _can_be(tests.get(pair[0]), cells[headers.index(pair[1])])}
        if not wrong:
            every = found | likely
            if "price" not in every and "sold_for" in every:  # the only column of money
                every["price"] = every.pop("sold_for")
            spare = [header for header in left if header not in every.values()]
            sizes = next((header for header in spare if _sizes(cells[headers.index(header)])), None)
            if "pieces" not in every and sizes is not None:  # whatever its header: it can be nothing else
                every["pieces"] = sizes
            return {name: every[name] for name in names if name in every}
        ruled_out |= wrong


def _can_be(test: Test | None, cells: Sequence[str]) -> bool:
    """Can these cells be those of a column of ours? An empty column says nothing either way."""
    return test is None or not cells or test(cells)


def _mostly(test: Callable[[str], bool]) -> Test:
    return lambda cells: 2 * sum(map(test, cells)) > len(cells)


def _few_words(cells: Sequence[str]) -> bool:
    """Words that come again, and that somebody can say the meaning of one by one."""
    words = {fold(cell) for cell in cells}
    return len(words) <= _FEW and (len(words) < len(cells) or len(words) < _FEWEST)


def _sizes(cells: Sequence[str]) -> bool:
    return _mostly(lambda cell: drums_listed(cell) is not None)(cells)


def _tells_apart(cells: Sequence[str]) -> bool:
    """A link or number of its own for each row: rows of one `ref` count as one kit."""
    return len({fold(cell) for cell in cells}) >= _UNIQUE * len(cells) and _mostly(_has_digit)(cells)


def _has_digit(cell: str) -> bool:
    return any(map(str.isdigit, cell))


_OF_COLUMNS: Final[Mapping[str, Test]] = {
    "price": _mostly(_has_digit),
    "sold_for": _mostly(_has_digit),
    "pieces": _mostly(lambda cell: not isinstance(read_pieces(cell), Refusal)),
    "premium": _mostly(_has_digit),
    "freight": _mostly(_has_digit),
    "weight": _mostly(_has_digit),
    "date": _mostly(lambda cell: not isinstance(read_date(cell), Refusal)),
    "currency": _mostly(lambda cell: bool(meanings(cell))),
    "price_kind": lambda cells: _few_words(cells) and not _mostly(_has_digit)(cells),
    "channel": lambda cells: _few_words(cells) and not _mostly(_has_digit)(cells),
    "ref": _tells_apart,
}
_OF_FEATURES: Final[Mapping[str, Test]] = {"number": _mostly(_has_digit), "yes-no": _few_words, "word": _few_words}


def _currencies(prices: Sequence[str]) -> tuple[str, ...]:
    readings = [read_amount(cell) for cell in prices]
    said = {one.currencies for one in readings if not isinstance(one, Refusal) and one.currencies}
    return said.pop() if len(said) == 1 else ()
