"""Which of our columns the headers of a spreadsheet may hold: by their words, and only where the cells fit."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import Final, Literal, cast, get_args

from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.text.dates import read_date
from kitvalue.intake.text.languages import word_lists
from kitvalue.intake.text.numbers import Amount, TwoReadings, meanings
from kitvalue.intake.text.sizes import drums_listed, read_pieces, says_pieces
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS, likely_headers, likely_word, speaks_of
from kitvalue.intake.text.words import Refusal, fold

Role = Literal["asked", "paid", "sold"]

_NO_MARKS: Final = str.maketrans({"ł": "l", "ø": "o"})  # letters that do not come apart
_NO_PRICE: Final = ("freight", "premium", "date", "ref", "currency", "pieces")  # columns that hold figures too
_SMALLEST, _LARGEST = Decimal("0.1"), Decimal(10)  # times the median price
_YEARS: Final = range(1900, 2101)


@dataclass(frozen=True, slots=True)
class MoneyNotes:
    """Headers that their owner has to be told of. `after_work`: what was got for kits, beside what was paid for them.
    `ticks`: which kits are sold, beside prices that were asked. `paid`: that of the price column where it says paid or
    sold, and no column says so of its rows. `left`: amounts of the size of prices that are not used.
    """

    after_work: str | None = None
    ticks: str | None = None
    paid: str | None = None
    left: tuple[str, ...] = ()


def price_role(header: str) -> Role | None:
    """What a header says of its amounts; None where it does not say. Of words of two roles the first one's counts."""
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
    readings = map(read_sold_for, cells)
    return [
        read.as_thousands if isinstance(read, TwoReadings) else read.value
        for read in readings
        if isinstance(read, Amount | TwoReadings)
    ]


def _are_years_or_count_on(cells: Sequence[str]) -> bool:
    """Numbers that are years, or that only rise, as those of a list's rows or of receipts."""
    years = sum(cell.isdecimal() and len(cell) == 4 and int(cell) in _YEARS for cell in cells)
    rise = all(one < other for one, other in pairwise(_amounts(cells))) and all(map(str.isdecimal, cells))
    return 2 * years > len(cells) or rise


_CHANNELS: Final = {word: word for word in CHANNELS}
_PRICE_KINDS: Final = {kind: kind for kind in PRICE_KINDS}
_FEW: Final = 12  # words of a column that are few enough to be said one by one
_FEWEST: Final = 2
_UNIQUE: Final = 0.9  # of the cells of a column that tells listings apart
_WENT_FOR: Final = ("paid", "sold")
_TOLD_APART: Final = {"price_kind", "sold_for"}  # columns that say what `price` is


Test = Callable[[Sequence[str]], bool]


@dataclass(frozen=True, slots=True)
class Taken:
    """Our column -> the header that likely holds it, and the columns of money that are to be told of."""

    columns: Mapping[str, str]
    money: MoneyNotes = field(default_factory=MoneyNotes)


def taken_columns(
    names: Sequence[str], headers: Sequence[str], cells: Sequence[Sequence[str]], features: Mapping[str, str]
) -> Taken:
    """The headers that most likely hold our columns `names`, where their cells can be such a column's. `cells`: the
    filled ones of each header; `features`: those of `names` that are the shop's own -> their kind.
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
    drums = next((header for test in (_PIECES, _SIZES) for header in spare if test(rest[header])), None)
    if "pieces" not in every and drums is not None:  # whatever its header: it can be nothing else
        every["pieces"] = drums
    sellers = next((header for header in spare if header != drums and _sellers(rest[header])), None)
    if "channel" in free and "channel" not in every and sellers is not None:
        every["channel"] = sellers
    columns = {name: every[name] for name in names if name in every}
    return Taken(columns, _notes(columns, by_header, ticks, went[1] if len(went) > 1 else None))


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
    left = tuple(
        header
        for header, column in cells.items()
        if header not in (*columns.values(), after_work) and _hold_prices(header, column)
        if _of_price_size(column, cells[price]) and not _are_years_or_count_on(column)
    )
    return MoneyNotes(after_work, ticks, None, left)


def _mostly(test: Callable[[str], bool]) -> Test:
    return lambda cells: 2 * sum(map(test, cells)) > len(cells)


def _few_words(cells: Sequence[str]) -> bool:
    """Words that come again, and that somebody can say the meaning of one by one."""
    words = {fold(cell) for cell in cells}
    return len(words) <= _FEW and (len(words) < len(cells) or len(words) < _FEWEST)


def _sellers(cells: Sequence[str]) -> bool:
    """Few words, of which some say one kind of seller and some another."""
    return _few_words(cells) and len({likely_word("channel", cell, _CHANNELS) for cell in cells} - {None}) > 1


_DIGITS: Final = _mostly(lambda cell: any(map(str.isdigit, cell)))
_PIECES: Final = _mostly(says_pieces)
_SIZES: Final = _mostly(lambda cell: drums_listed(cell) is not None)


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
