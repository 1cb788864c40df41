"""Which header of a spreadsheet holds which of our columns: by its words, and by what stands under it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import Final, Literal, cast, get_args

from kitvalue.intake.arrival.guesses import guessed_grade, guessed_truth, spelt_alike
from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.settings.words import is_number_to_ten, of_ten
from kitvalue.intake.text.dates import read_date
from kitvalue.intake.text.languages import word_lists
from kitvalue.intake.text.numbers import Amount, TwoReadings, meanings
from kitvalue.intake.text.sizes import drums_listed, read_pieces, says_pieces
from kitvalue.intake.text.vocabulary import (
    CHANNELS,
    GRADES,
    OPTIONAL,
    PRICE_KINDS,
    REQUIRED,
    TRUTHS,
    likely_headers,
    likely_word,
    speaks_of,
)
from kitvalue.intake.text.words import Refusal, fold

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


_CHANNELS: Final = {word: word for word in CHANNELS}
_PRICE_KINDS: Final = {kind: kind for kind in PRICE_KINDS}
_FEW: Final = 12  # words of a column that are few enough to be said one by one
_UNIQUE: Final = 0.9  # of the cells of a column that tells listings apart
_WENT_FOR: Final = ("paid", "sold")
_TOLD_APART: Final = {"price_kind", "sold_for"}  # columns that say what `price` is


Test = Callable[[Sequence[str]], bool]


@dataclass(frozen=True, slots=True)
class Taken:
    """Our columns -> their headers. `by_cells`: those of them that no word of their header tells, only what stands
    there; `truths`: further headers with nothing but yes and no under them; `money`: columns of money to be told of.
    """

    columns: Mapping[str, str]
    by_cells: tuple[str, ...]
    truths: tuple[str, ...]
    money: MoneyNotes


def taken_columns(
    names: Sequence[str], headers: Sequence[str], rows: Sequence[Sequence[str]], features: Mapping[str, str]
) -> Taken:
    """Our columns `names` -> the header that most likely holds each, where its cells can be such a column's. `rows`:
    the cells below the headers, as many in each; `features`: of `names` the shop's own -> their kind.
    """
    aligned = {header: [row[at] for row in rows] for at, header in reversed(list(enumerate(headers))) if header}
    by_header = {header: [cell for cell in column if cell] for header, column in aligned.items()}
    tests = {**_OF_COLUMNS, **{name: _OF_FEATURES[kind] for name, kind in features.items()}}
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
    if "price" not in every and "sold_for" in every and _asked_beside(every["sold_for"], rest, every, aligned) is None:
        every["price"] = every.pop("sold_for")  # the only column of money
    if "pieces" not in every and "sizes" in every:
        every["pieces"] = every.pop("sizes")
    if "sizes" not in every and (counts := _counts_beside(every.get("pieces", ""), rest, every, aligned)):
        every["sizes"], every["pieces"] = every["pieces"], counts
    if went and "price" not in every:
        every["price"] = _asked_beside(went[0], rest, every, aligned) or went[0]
    if went and every["price"] != went[0] and _of_price_size(by_header[went[0]], by_header[every["price"]]):
        every["sold_for"] = went[0]
    by_name = set(every.values())
    spare = {header: column for header, column in rest.items() if header not in by_name and column}
    every |= _by_cells(names, every, spare, aligned)
    named = {name: every[name] for name in names if name in every}
    unnamed = tuple(name for name, header in named.items() if header in spare)
    silent = [one for one in spare if one not in (*named.values(), ticks) and not _speaks(one, (*REQUIRED, *OPTIONAL))]
    truths = tuple(header for header in silent if _only_truths(spare[header]))
    return Taken(named, unnamed, truths, _notes(named, by_header, ticks, went[1] if len(went) > 1 else None))


def _by_cells(
    names: Sequence[str],
    every: Mapping[str, str],
    spare: Mapping[str, Sequence[str]],
    aligned: Mapping[str, Sequence[str]],
) -> dict[str, str]:
    """Our columns that the cells alone tell, whatever the header of each: of `spare` headers, as the sheet has them."""
    found: dict[str, str] = {}

    def first(name: str, *tests: Test) -> None:
        """Take the first header for a column that has none, by the first of the tests that any passes."""
        free = [header for header in spare if header not in found.values()]
        header = next((header for test in tests for header in free if test(spare[header])), None)
        if name in names and name not in (*every, *found) and header is not None:
            found[name] = header

    first("pieces", _PIECES, _SIZES)
    pieces = found.get("pieces", every.get("pieces", ""))
    if pieces and not _SIZES(_filled(aligned[pieces])):
        first("sizes", _SIZES)
    first("condition", _GRADES)
    first("channel", _SELLERS)
    first("date", lambda cells: _OF_COLUMNS["date"](cells) and not _AMOUNTS(cells))
    first("series", _series_names)
    if pieces:
        first("condition", _MARKS)
    if "price" not in every:
        first("price", _prices)
    silent = [header for header in spare if header not in found.values() and not _speaks(header, names)]
    remarks = next((header for header in silent if _remarks(spare[header])), None)
    if remarks is not None and "note" not in every:
        found["note"] = remarks
    price = found.get("price", every.get("price", ""))
    for header in spare if price and "sold_for" not in every else ():
        if header not in found.values() and _paid_beside(aligned[header], aligned[price], header):
            found.setdefault("sold_for", header)
    return found


def _filled(cells: Iterable[str]) -> list[str]:
    return [cell for cell in cells if cell]


def _asked_beside(
    paid: str, rest: Mapping[str, Sequence[str]], every: Mapping[str, str], aligned: Mapping[str, Sequence[str]]
) -> str | None:
    """The header of what was asked beside that of what was paid, where no word says so."""
    spare = (header for header in rest if header not in every.values())
    return next((header for header in spare if _paid_beside(aligned[paid], aligned[header], header)), None)


def _counts_beside(
    sizes: str, rest: Mapping[str, Sequence[str]], every: Mapping[str, str], aligned: Mapping[str, Sequence[str]]
) -> str | None:
    """The header of counts of drums beside that of their sizes: one that speaks of drums, or that has a count wherever
    no sizes stand, and blanks elsewhere.
    """
    if sizes not in rest or not _SIZES(rest[sizes]):
        return None
    blank = [not cell for cell in aligned[sizes]]
    for header in rest:
        counts = all(isinstance(read_pieces(cell), int) for cell in rest[header]) and not _SIZES(rest[header])
        filled = [bool(cell) for cell in aligned[header]]
        fills = (
            any(blank)
            and not all(filled)
            and all(there or not lacks for there, lacks in zip(filled, blank, strict=True))
        )
        if header not in every.values() and rest[header] and counts and (speaks_of("pieces", header) or fills):
            return header
    return None


_FEWEST_BOTH: Final = 3  # rows in which what was asked and what was paid stand side by side
_SELDOM, _MOSTLY = 0.8, 0.9


def _paid_beside(paid: Sequence[str], asked: Sequence[str], header: str) -> bool:
    """Is one column what was paid for some of the kits for which another says what was asked? `header`: the one that no
    word tells.
    """
    both = [(one, other) for one, other in zip(paid, asked, strict=True) if one and other]
    pairs = [(_amounts([one]), _amounts([other])) for one, other in both]
    lower = sum(one[0] <= other[0] for one, other in pairs if one and other)
    sound = _hold_prices(header, _filled(paid)) and _hold_prices(header, _filled(asked))
    fewer = len(_filled(paid)) < _SELDOM * len(_filled(asked))
    return sound and fewer and lower >= max(_FEWEST_BOTH, _MOSTLY * len(both)) and _of_price_size(paid, asked)


def _speaks(header: str, names: Iterable[str]) -> bool:
    return price_role(header) is not None or any(speaks_of(name, header) for name in names)


def _only_truths(cells: Sequence[str]) -> bool:
    """Do cells say both yes and no, and nothing else?"""
    known = {word: ours for ours, words in word_lists("values.yes-no").items() for word in words}
    said = [
        TRUTHS.get(
            fold(cell), {"yes": True, "no": False}.get(known.get(fold(cell)) or guessed_truth(cell, cells) or "")
        )
        for cell in set(cells)
    ]
    return set(said) == {True, False}


def _series_names(cells: Sequence[str]) -> bool:
    """Few names that come again, and nothing that other columns hold."""
    names = set(spelt_alike(cells).values())
    words = not _DIGITS(cells) and not _GRADES(cells) and not _AMOUNTS(cells) and not _SELLERS(cells)
    return words and not _only_truths(cells) and len(names) >= _FEWEST_NAMES and _ROWS_A_NAME * len(names) <= len(cells)


def _remarks(cells: Sequence[str]) -> bool:
    """Texts of several words each, nearly every one another."""
    several = sum(len(cell.split()) > 1 for cell in cells)
    texts = not _AMOUNTS(cells) and not _SIZES(cells) and not _OF_COLUMNS["date"](cells) and not _GRADES(cells)
    return texts and 2 * several > len(cells) and len(set(cells)) >= _SELDOM * len(cells)


def _prices(cells: Sequence[str]) -> bool:
    amounts = _amounts(cells)
    return _AMOUNTS(cells) and median(amounts) >= _LEAST_PRICE and not _YEARS_OR_NUMBERS(cells)


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
        if _of_price_size(column, cells[price]) and not _YEARS_OR_NUMBERS(column):
            left.append(header)
    return MoneyNotes(after_work, ticks, None, tuple(left))


def _mostly(test: Callable[[str], bool]) -> Test:
    return lambda cells: 2 * sum(map(test, cells)) > len(cells)


def _few_words(cells: Sequence[str]) -> bool:
    """Words that come again, and that somebody can say the meaning of one by one."""
    words = {fold(cell) for cell in cells}
    return len(words) <= _FEW and (len(words) < len(cells) or len(words) <= 1)


def _years_or_numbers(cells: Sequence[str]) -> bool:
    """Are amounts years, or numbers of rows or receipts, which rise?"""
    years = sum(cell.isdecimal() and len(cell) == 4 and int(cell) in _YEARS for cell in cells)
    rise = all(one < other for one, other in pairwise(_amounts(cells))) and all(map(str.isdecimal, cells))
    return 2 * years > len(cells) or rise


def _sellers(cells: Sequence[str]) -> bool:
    said = {likely_word("channel", cell, _CHANNELS) for cell in cells} - {None}
    return _few_words(cells) and len(said) > 1


_FEWEST_NAMES, _ROWS_A_NAME = 2, 3
_LEAST_PRICE: Final = 20
_YEARS_OR_NUMBERS: Final = _years_or_numbers
_SELLERS: Final = _sellers
_DIGITS: Final = _mostly(lambda cell: any(map(str.isdigit, cell)))
_AMOUNTS: Final = _mostly(lambda cell: bool(_amounts([cell])))
_PIECES: Final = _mostly(says_pieces)
_SIZES: Final = _mostly(lambda cell: drums_listed(cell) is not None)
_MARKS: Final = _mostly(is_number_to_ten)
_GRADES: Final = _mostly(
    lambda cell: fold(cell) in GRADES or guessed_grade(cell) is not None or of_ten(cell) is not None
)


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
