"""A spreadsheet that comes in for the first time: where its headers stand and which of our columns each may hold."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import Final, Literal, cast, get_args

from kitvalue.intake.books.bookrows import says_total
from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.tables.headers import (
    commonest_delimiter,
    declared_delimiter,
    likely_header,
    split_lines,
    split_rows,
)
from kitvalue.intake.text.dates import day_order, read_date
from kitvalue.intake.text.decoding import decode, refused_file
from kitvalue.intake.text.languages import word_lists
from kitvalue.intake.text.numbers import Amount, Sign, TwoReadings, meanings, read_amount
from kitvalue.intake.text.sizes import drums_listed, read_pieces, says_pieces
from kitvalue.intake.text.vocabulary import (
    CHANNELS,
    OPTIONAL,
    PRICE_KINDS,
    REQUIRED,
    likely_headers,
    likely_word,
    speaks_of,
)
from kitvalue.intake.text.words import Refusal, fold, trimmed

Role = Literal["asked", "paid", "sold"]

_NO_MARKS: Final = str.maketrans({"ł": "l", "ø": "o"})  # letters that do not come apart
_NO_PRICE: Final = ("freight", "premium", "date", "ref", "currency", "pieces")  # columns that hold figures too
_SMALLEST, _LARGEST = Decimal("0.1"), Decimal(10)  # times the median price
_YEARS: Final = range(1900, 2101)


@dataclass(frozen=True, slots=True)
class MoneyNotes:
    """Headers that their owner has to be told of."""

    after_work: str | None = None  # what was got for kits, beside what was paid for them
    ticks: str | None = None  # which kits are sold, beside prices that were asked
    paid: str | None = None  # of the price column where it says paid or sold, and no column says so of its rows
    left: tuple[str, ...] = ()  # amounts of the size of prices that are not used


def price_role(header: str) -> Role | None:
    """What a header says of its amounts, if anything. Of words of two roles the first one's counts."""
    spelt = unicodedata.normalize("NFD", fold(header[:200]).translate(_NO_MARKS))
    tokens = re.findall(r"[^\W\d_]+", "".join(c for c in spelt if not unicodedata.combining(c)))
    words = word_lists("roles")
    for role in get_args(Role):
        stems = words.get(f"{role} within", ())
        if any(token in words[role] or any(stem in token for stem in stems) for token in tokens):
            return cast(Role, role)
    return None


def _of_price_size(cells: Sequence[str], prices: Sequence[str]) -> bool:
    """Are the amounts of a column about as large as the prices?"""
    amounts, known = _amounts(cells), _amounts(prices)
    return bool(amounts and known) and _SMALLEST * median(known) <= median(amounts) <= _LARGEST * median(known)


def _hold_prices(header: str, cells: Sequence[str]) -> bool:
    """Is most of what the cells say an amount (that a kit is unsold says nothing), and the header none of others?"""
    readings = [read for read in map(read_sold_for, cells) if read is not None]
    if 2 * sum(not isinstance(read, Refusal) for read in readings) <= len(readings):
        return False
    numbered = not set(word_lists("cells")["numbering"]).isdisjoint(re.findall(r"[^\W\d_]+", fold(header[:200])))
    return not numbered and not any(speaks_of(name, header) for name in _NO_PRICE)


def _amounts(cells: Iterable[str]) -> list[Decimal]:
    readings = [read for read in map(read_sold_for, cells) if isinstance(read, Amount | TwoReadings)]
    return [read.as_thousands if isinstance(read, TwoReadings) else read.value for read in readings]


_FEWEST_SIZEDSIGN: Final = 5  # prices that are plain
_FAR: Final = 10  # times smaller or larger than the plain prices


@dataclass(frozen=True, slots=True)
class SizedSign:
    """The decimal sign under which the marks of prices such as 1,250 part thousands."""

    sign: Sign
    why: str = ""  # nothing else fits the prices beside them; blank where that is not sure


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


_LOOKED_AT: Final = 2000  # rows from which a column is judged


@dataclass(frozen=True, slots=True)
class Incoming:
    """A spreadsheet as it comes in."""

    data: bytes  # the file's; where something stands above the headers, with blank rows there: rows keep their numbers
    delimiter: str
    above: int  # rows that were made blank
    columns: Mapping[str, str]  # our column -> the header that likely holds it, also where that is our own name
    unused: tuple[str, ...]  # headers for which there is none
    series: tuple[str, ...]  # the filled cells of that column but for totals
    currencies: tuple[str, ...]  # the codes that its prices can be in, () where they do not say or say several
    day_first: bool | None  # the order that its dates show, None where they show none or both
    cells: Mapping[str, Sequence[str]]  # our column -> its filled cells, of the first rows
    money: MoneyNotes = field(default_factory=MoneyNotes)
    sized: SizedSign | None = None  # None where the prices leave no sign open


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
    sign = declared or commonest_delimiter(lines)
    found = likely_header(lines, sign, names)
    if found is None:
        message = "has no row of headers; the first row of a table says what its columns are"
        raise refused_file(file, "no_header", message)
    header, first = found.raw, found.line
    below = lines[first:]
    headers = [trimmed(cell) for cell in header.cells]
    cells: list[list[str]] = [[] for _ in headers]  # the filled ones of each column
    for raw in split_rows(below[: _LOOKED_AT + 1], sign):
        for column, cell in zip(cells, raw.cells if raw.row > 1 else (), strict=False):
            column += [trimmed(cell)] if trimmed(cell) else []
    taken, money = _taken_columns(names, headers, cells, features)
    places = {name: headers.index(header) for name, header in taken.items()}
    columns = {name: cells[place] for name, place in places.items()}
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
        taken,
        unused=tuple(name for name in headers if name and name not in taken.values()),
        series=_series(below, sign, places),
        currencies=currencies.pop() if len(currencies) == 1 else (),
        day_first=orders.pop() if len(orders) == 1 else None,
        cells=columns,
        money=money,
        sized=sign_by_size([*columns.get("price", ()), *columns.get("sold_for", ())]),
    )


def _series(lines: list[str], delimiter: str, places: Mapping[str, int]) -> tuple[str, ...]:
    """The filled cells of the column of series, but for rows that are totals; () where no column is known for it."""
    found = []
    for raw in split_rows(lines, delimiter) if "series" in places else ():
        cells = {name: trimmed(raw.cells[at]) for name, at in places.items() if at < len(raw.cells)}
        bare = not cells.get("pieces") and not cells.get("condition")
        if raw.row > 1 and cells.get("series") and not (bare and any(map(says_total, raw.cells))):
            found.append(cells["series"])
    return tuple(found)


_CHANNELS: Final = {word: word for word in CHANNELS}
_PRICE_KINDS: Final = {kind: kind for kind in PRICE_KINDS}
_FEW: Final = 12  # words of a column that are few enough to be said one by one
_UNIQUE: Final = 0.9  # of the cells of a column that tells listings apart
_WENT_FOR: Final = ("paid", "sold")
_TOLD_APART: Final = {"price_kind", "sold_for"}  # columns that say what `price` is


Test = Callable[[Sequence[str]], bool]


def _taken_columns(
    names: Sequence[str], headers: Sequence[str], cells: Sequence[Sequence[str]], features: Mapping[str, str]
) -> tuple[Mapping[str, str], MoneyNotes]:
    """Our columns `names` -> the header that most likely holds each, where its `cells` (the filled ones) can be such a
    column's; and the columns of money to be told of. `features`: of `names` the shop's own -> their kind.
    """
    tests = {**_OF_COLUMNS, **{name: _OF_FEATURES[kind] for name, kind in features.items()}}
    by_header = {header: column for header, column in reversed(list(zip(headers, cells, strict=True))) if header}
    own = {fold(name): name for name in names}
    found = {own[fold(header)]: header for header in reversed(headers) if fold(header) in own}
    left = {header: by_header[header] for header in headers if header and header not in found.values()}
    said: dict[Role, str] = {}  # of amounts -> the first header that says it and has them
    for header, column in left.items():
        role = price_role(header)
        if role is not None and role not in said and _hold_prices(header, column):
            said[role] = header
    if "asked" in said and not ("price" in found and _TOLD_APART & found.keys()):
        found["price"] = said["asked"]  # also beside a header "Price", which is then something else
    went = [] if "sold_for" in found else [said[role] for role in _WENT_FOR if role in said]
    rest = {header: column for header, column in left.items() if header not in (*went, found.get("price"))}
    free = [name for name in names if name not in found and not (went and name == "sold_for")]
    every, ticks = _likely(free, rest, tests, found)
    if "price" not in every and "sold_for" in every:  # the only column of money
        every["price"] = every.pop("sold_for")
    if went and "price" not in every:
        every["price"] = went[0]
    elif went and _of_price_size(by_header[went[0]], by_header[every["price"]]):
        every["sold_for"] = went[0]
    spare = [header for header in rest if header not in every.values() and rest[header]]
    drums = next((header for test in _DRUMS for header in spare if test(rest[header])), None)
    if "pieces" not in every and drums is not None:  # whatever its header: it can be nothing else
        every["pieces"] = drums
    for header in spare if "channel" in free and "channel" not in every else ():
        sellers = {likely_word("channel", cell, _CHANNELS) for cell in rest[header]} - {None}
        if header != drums and _few_words(rest[header]) and len(sellers) > 1:
            every.setdefault("channel", header)
    columns = {name: every[name] for name in names if name in every}
    return columns, _notes(columns, by_header, ticks, went[1] if len(went) > 1 else None)


def _likely(
    free: Sequence[str], left: Mapping[str, Sequence[str]], tests: Mapping[str, Test], found: Mapping[str, str]
) -> tuple[dict[str, str], str | None]:
    """`found` with the likely headers of the columns that are `free`, and the header of ticks that is not taken."""
    ruled_out: set[tuple[str, str]] = set()
    ticks = None
    while True:
        likely = likely_headers(free, list(left), ruled_out)
        wrong = {  # an empty column says nothing either way
            (name, header)
            for name, header in likely.items()
            if name in tests and left[header] and not tests[name](left[header])
        }
        every = {**found, **likely}
        if not wrong:
            kind = likely.get("price_kind")
            if kind is None or price_role(every.get("price", "")) != "asked":
                return every, ticks
            if any(likely_word("price_kind", cell, _PRICE_KINDS) == "hammer" for cell in {*left[kind]}):
                return every, ticks  # the cells say more than sold or not
            ticks = kind if left[kind] else ticks  # an asking price stays one, whether or not the kit is sold
            wrong = {("price_kind", kind), ("sold_for", kind)}
        ruled_out |= wrong


def _notes(
    columns: Mapping[str, str], cells: Mapping[str, Sequence[str]], ticks: str | None, after_work: str | None
) -> MoneyNotes:
    price = columns.get("price")
    if price is None:
        return MoneyNotes()
    if "sold_for" in columns:
        return MoneyNotes(after_work)
    if "price_kind" not in columns and price_role(price) in _WENT_FOR:
        return MoneyNotes(after_work, ticks, price)
    left = []
    for header, column in cells.items():
        if header in (*columns.values(), after_work) or not _hold_prices(header, column):
            continue
        years = sum(cell.isdecimal() and len(cell) == 4 and int(cell) in _YEARS for cell in column)
        rise = all(one < other for one, other in pairwise(_amounts(column))) and all(map(str.isdecimal, column))
        if _of_price_size(column, cells[price]) and 2 * years <= len(column) and not rise:  # rows' or receipts' numbers
            left.append(header)
    return MoneyNotes(after_work, ticks, None, tuple(left))


def _mostly(test: Callable[[str], bool]) -> Test:
    return lambda cells: 2 * sum(map(test, cells)) > len(cells)


def _few_words(cells: Sequence[str]) -> bool:
    """Words that come again, and that somebody can say the meaning of one by one."""
    words = {fold(cell) for cell in cells}
    return len(words) <= _FEW and (len(words) < len(cells) or len(words) <= 1)


_DIGITS: Final = _mostly(lambda cell: any(map(str.isdigit, cell)))
_DRUMS: Final = (_mostly(says_pieces), _mostly(lambda cell: drums_listed(cell) is not None))
_OF_COLUMNS: Final[Mapping[str, Test]] = {
    **dict.fromkeys(("price", "sold_for", "premium", "freight", "weight"), _DIGITS),
    **dict.fromkeys(("price_kind", "channel"), lambda cells: _few_words(cells) and not _DIGITS(cells)),
    "pieces": _mostly(lambda cell: not isinstance(read_pieces(cell), Refusal)),
    "date": _mostly(lambda cell: not isinstance(read_date(cell), Refusal)),
    "currency": _mostly(lambda cell: bool(meanings(cell))),
    # A link or number of its own for each row: rows of one `ref` count as one kit.
    "ref": lambda cells: len(set(map(fold, cells))) >= _UNIQUE * len(cells) and _DIGITS(cells),
}
_OF_FEATURES: Final[Mapping[str, Test]] = {"number": _DIGITS, "yes-no": _few_words, "word": _few_words}
