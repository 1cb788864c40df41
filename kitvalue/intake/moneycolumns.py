"""The columns of money of a spreadsheet: what was asked for a kit, what it went for, and what is neither."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import Final, Literal

from kitvalue.intake.numbers import Amount, TwoReadings
from kitvalue.intake.soldfor import read_sold_for
from kitvalue.intake.tradewords import likely_word, speaks_of
from kitvalue.intake.vocabulary import PRICE_KINDS
from kitvalue.intake.words import Refusal, fold

Role = Literal["asked", "paid", "sold"]

# Words of headers, without accents (from memory). Where a header has words of two roles, the first of them has it.
_ROLES: Final[Mapping[Role, str]] = {
    "asked": (
        "asked asking ask vb vhb verhandlungsbasis gefordert verlangt wunschpreis preisvorstellung angebotspreis "
        "demande affiche vraagprijs gevraagd pedido pedian richiesto richiesta chiesto wywolawcza zadana begart "
        "utgangspris priside forlangt udbudspris"
    ),
    "paid": (
        "paid bought purchase purchased bezahlt gezahlt gekauft einkauf ek kaufpreis ankauf paye achete achat betaald "
        "gekocht inkoop aankoop pagado compra comprado pagato acquisto acquistato comprato zaplacono zaplacone kupione "
        "kupiono zakup zakupu betalt betald kopt inkop inkopspris kobt kobspris kjopt"
    ),
    "sold": (
        "sold went fetched realised realized verkauft verkauf vk erlos vendu vente verkocht verkoop opbrengst vendido "
        "venta venduto vendita sprzedane sprzedano sprzedaz sprzedazy sald salt forsaljning forsaljningspris solgt "
        "salgspris"
    ),
}
_STEMS: Final[Mapping[Role, tuple[str, ...]]] = {  # also inside a longer word
    "paid": ("einkauf", "ankauf", "inkoop", "aankoop"), "sold": ("verkauf", "verkoop"),
}  # fmt: skip
_NO_MARKS: Final = str.maketrans({"ł": "l", "ø": "o"})  # letters that do not come apart
_NO_PRICE: Final = ("freight", "premium", "date", "ref", "currency", "pieces")  # columns that hold figures too
_NUMBERS: Final = (
    "nr",
    "no",
    "num",
    "number",
    "nummer",
    "numero",
    "numéro",
    "lot",
    "row",
    "zeile",
)  # of rows or things
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
    """What a header says of its amounts; None where it does not say."""
    spelt = unicodedata.normalize("NFD", fold(header[:200]).translate(_NO_MARKS))
    tokens = re.findall(r"[^\W\d_]+", "".join(c for c in spelt if not unicodedata.combining(c)))
    for role, words in _ROLES.items():
        stems = _STEMS.get(role, ())
        if any(token in words.split() or any(stem in token for stem in stems) for token in tokens):
            return role
    return None


def price_headers(cells: Mapping[str, Sequence[str]]) -> dict[Role, str]:
    """What is said of amounts -> the first header that says it and has them. `cells`: header -> its filled cells."""
    found: dict[Role, str] = {}
    for header, column in cells.items():
        role = price_role(header)
        if role is not None and role not in found and _are_amounts(column) and not _speaks_of_others(header):
            found[role] = header
    return found


def of_price_size(cells: Sequence[str], prices: Sequence[str]) -> bool:
    """Are the amounts of a column about as large as the prices?"""
    amounts, known = _amounts(cells), _amounts(prices)
    if not amounts or not known:
        return False
    middle = median(known)
    return _SMALLEST * middle <= median(amounts) <= _LARGEST * middle


def only_ticks(cells: Iterable[str]) -> bool:
    """Do the cells say no more than sold or not, whatever their words?"""
    known = {kind: kind for kind in PRICE_KINDS}
    return not any(likely_word("price_kind", cell, known) == "hammer" for cell in set(cells))


def left_over(unused: Mapping[str, Sequence[str]], prices: Sequence[str]) -> tuple[str, ...]:
    """The headers, of those that are not used, whose cells are amounts as large as the prices."""
    return tuple(
        header
        for header, cells in unused.items()
        if _are_amounts(cells) and of_price_size(cells, prices)
        if not _speaks_of_others(header) and not _are_years(cells) and not _count_on(cells)
    )


def _speaks_of_others(header: str) -> bool:
    numbered = not set(_NUMBERS).isdisjoint(re.findall(r"[^\W\d_]+", fold(header[:200])))
    return numbered or any(speaks_of(name, header) for name in _NO_PRICE)


def _amounts(cells: Iterable[str]) -> list[Decimal]:
    readings = map(read_sold_for, cells)
    return [
        read.as_thousands if isinstance(read, TwoReadings) else read.value
        for read in readings
        if isinstance(read, Amount | TwoReadings)
    ]


def _are_amounts(cells: Sequence[str]) -> bool:
    """Is most of what the cells say an amount? That a kit is unsold says nothing."""
    readings = [read for read in map(read_sold_for, cells) if read is not None]
    return 2 * sum(not isinstance(read, Refusal) for read in readings) > len(readings)


def _are_years(cells: Sequence[str]) -> bool:
    return 2 * sum(cell.isdecimal() and len(cell) == 4 and int(cell) in _YEARS for cell in cells) > len(cells)


def _count_on(cells: Sequence[str]) -> bool:
    """Numbers that only rise, as those of a list's rows or of receipts."""
    amounts = _amounts(cells)
    return all(one < other for one, other in pairwise(amounts)) and all(map(str.isdecimal, cells))
