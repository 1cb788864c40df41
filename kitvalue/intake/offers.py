"""offers.csv: donor kits that are on offer now."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Final, Literal

from kitvalue.intake.bookcolumns import (
    FREIGHT_CURE,
    PRICE_CURE,
    freight_check,
    price_check,
    read_series,
    read_shop_grade,
)
from kitvalue.intake.columns import Column, number_column, word_column
from kitvalue.intake.counts import FileCounts
from kitvalue.intake.headers import WantedColumns
from kitvalue.intake.numbers import Amount, Reading, TwoReadings, plain, read_amount, read_percent
from kitvalue.intake.pieces import read_pieces
from kitvalue.intake.problems import FileError, Level, Problem, shown
from kitvalue.intake.rates import Rates, read_rates
from kitvalue.intake.shop import FilesTable, Shop
from kitvalue.intake.sizes import Size, read_size
from kitvalue.intake.tables import TextTable, read_table
from kitvalue.intake.vocabulary import vocabulary
from kitvalue.intake.words import Refusal, fold, rows_phrase, trimmed

BoughtFrom = Literal["private", "trade", "import"]
WANTED: Final = WantedColumns(
    ("offer", "series", "pieces", "condition", "price"), ("freight", "sizes", "bought_from", "haggle", "note")
)
_SOURCES: Final = ("private", "trade", "import")
_FIXED: Final = ("fixed", "fix", "firm", "fest", "festpreis", "fp", "none")
_FRACTION: Final = r"(?:1/2|[13]/4|[1357]/8)(?!\d)"  # belongs to the number before it
_LONGEST_SIZES: Final = 1000
_LEAST_BASS: Final = 18  # inches: no drum is deeper than wide and as deep as that
_SIZE_SIGNS: Final = re.compile(r"\s*(?:[x×X*/]|by)\s*")


@dataclass(frozen=True, slots=True)
class Offer:
    """One kit on offer: money in the shop's currency, `haggle` in percent, "fixed" where the price is firm."""

    row: int
    offer: str
    series: str
    pieces: int
    condition: Decimal
    price: Decimal
    freight: Decimal | None
    sizes: tuple[Size, ...]
    bought_from: BoughtFrom
    haggle: Decimal | Literal["fixed"] | None
    note: str | None


@dataclass(frozen=True, slots=True)
class OffersReading:
    """What came of reading offers.csv: the usable offers in file order, every problem, and the counts."""

    offers: tuple[Offer, ...]
    problems: tuple[Problem, ...]
    counts: FileCounts


@dataclass(frozen=True, slots=True)
class _Columns:
    offer: Column[str]
    series: Column[str]
    pieces: Column[int]
    condition: Column[Decimal]
    price: Column[Amount]
    freight: Column[Amount]
    sizes: Column[tuple[Size, ...]]
    bought_from: Column[str]
    haggle: Column[Amount | str]
    note: Column[str]


def read_offers(path: Path, shop: Shop) -> OffersReading:
    """Read the offers by a shop's settings. Every problem is in the result; a missing file is one of them."""
    try:
        table = read_table(path, WANTED, shop.files)
    except FileError as error:
        return OffersReading((), error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    counted = [True] * len(table.rows)
    price = number_column(table, "price", read_amount, price_check, PRICE_CURE, shop.files.decimal, counted)
    freight = number_column(table, "freight", read_amount, freight_check, FREIGHT_CURE, shop.files.decimal, counted)
    undecided = [one for one in (price.undecided, freight.undecided) if one is not None]
    if undecided:
        counts = FileCounts(
            table.file, table.read, 0, table.read, 0, table.encoding, table.delimiter, price.sign or shop.files.decimal
        )
        return OffersReading((), (*table.problems, *undecided), counts)
    columns = _columns(table, shop, price.column, freight.column)
    problems = [*table.problems, *price.warnings, *freight.warnings]
    offers: list[Offer] = []
    rates = read_rates(path.parent / "rates.csv", shop)
    twice = _named_twice(table, columns)
    for at in range(len(table.rows)):
        found = [*_cell_problems(table, columns, at), *_across(table, columns, shop, rates, at), *twice.get(at, ())]
        problems += found
        if not any(problem.level is Level.REFUSED for problem in found):
            offers.append(_offer(table, columns, shop, rates, at))
    problems.sort(key=lambda problem: problem.row or 0)
    counts = FileCounts(
        table.file, table.read, len(offers), table.read - len(offers), 0, table.encoding, table.delimiter, price.sign
    )
    return OffersReading(tuple(offers), tuple(problems), counts)


def _columns(table: TextTable, shop: Shop, price: Column[Amount], freight: Column[Amount]) -> _Columns:
    sources = vocabulary(_SOURCES, {})

    def source(text: str) -> str | Refusal:
        return sources.find(text) or Refusal("unknown_word", "is no known word", "write private, trade or import")

    return _Columns(
        offer=word_column(table, "offer", trimmed, "write a name or number of your choice"),
        series=word_column(table, "series", read_series(shop), "write the series' name"),
        pieces=word_column(table, "pieces", read_pieces, "write the number of drums in digits, such as 4"),
        condition=word_column(table, "condition", read_shop_grade(shop), "write its grade"),
        price=price,
        freight=freight,
        sizes=word_column(table, "sizes", _sizes_reader(shop), 'write sizes such as "22x16 16x16 13x11 12x10"'),
        bought_from=word_column(table, "bought_from", source, "write private, trade or import"),
        haggle=word_column(table, "haggle", _haggle_reader(shop.files), 'write a percentage, such as 10, or "fixed"'),
        note=word_column(table, "note", str, ""),
    )


def _sizes_reader(shop: Shop) -> Callable[[str], tuple[Size, ...] | Refusal]:
    order = shop.shop.size_order

    def read(text: str) -> tuple[Size, ...] | Refusal:
        if len(text) > _LONGEST_SIZES:
            return Refusal("too_long", "is too long for a kit's sizes")
        found: list[Size] = []
        for one in split_sizes(text):
            size = read_size(one, order)
            if isinstance(size, Refusal):
                return Refusal(size.code, f"holds {shown(one)}, which {size.reason}", size.cure)
            found.append(size)
        if not found:
            return Refusal("not_a_size", "holds no drum size")
        swapped = next((size for size in found if size.depth > size.diameter and size.depth >= _LEAST_BASS), None)
        if swapped is not None:
            other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
            return Refusal(
                "size_order",
                f"has a drum {plain(swapped.depth)} inches deep and {plain(swapped.diameter)} wide read as {order}",
                f'swap its numbers, or set size_order = "{other}" under [shop] if all sizes are written so',
            )
        widest = max(found, key=lambda size: size.diameter)
        if all(size.depth >= size.diameter for size in found) and widest.depth > widest.diameter:
            other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
            return Refusal(
                "size_order", f"has every drum deeper than wide when read as {order}",
                f'swap the numbers, or set size_order = "{other}" under [shop] if all sizes are written so',
            )  # fmt: skip
        return tuple(found)

    return read


def split_sizes(text: str) -> list[str]:
    """The sizes in a cell, apart at spaces, commas, semicolons or plus signs: "22x16 16x16, 13 x 7 1/4"."""
    joined = _SIZE_SIGNS.sub(lambda found: found[0].strip(), text.replace("\n", " "))
    parts = re.split(rf"\s*[;+&]\s*|,\s+|\s+(?!{_FRACTION})", joined.strip())
    return [part for part in (trimmed(one).strip(",") for one in parts) if part]


def _haggle_reader(files: FilesTable) -> Callable[[str], Amount | str | Refusal]:
    def read(text: str) -> Amount | str | Refusal:
        if fold(text) in _FIXED:
            return "fixed"
        found: Reading = read_percent(text)
        if isinstance(found, TwoReadings):
            found = found.under(files.decimal or ".")
        if isinstance(found, Refusal):
            return Refusal(found.code, "is no percentage")
        return found if 0 <= found.value < 100 else Refusal("range", "is no percentage from 0 to below 100")

    return read


def _named_twice(table: TextTable, columns: _Columns) -> dict[int, list[Problem]]:
    """Offers with one name: all of them are refused, since a command could not tell them apart."""
    where: dict[str, list[int]] = {}
    for at, name in enumerate(columns.offer.values):
        if isinstance(name, str):
            where.setdefault(fold(name), []).append(at)
    found: dict[int, list[Problem]] = {}
    for places in where.values():
        if len(places) > 1:
            rows = rows_phrase([table.rows[at].row for at in places])
            for at in places:
                why = Refusal("offer_twice", f"names more than one offer ({rows})", "give each a name of its own")
                found[at] = [columns.offer.problem(table, at, why)]
    return found


def _cell_problems(table: TextTable, columns: _Columns, at: int) -> Iterator[Problem]:
    for name in (*WANTED.required, "freight", "sizes", "bought_from", "haggle"):
        column: Column[object] = getattr(columns, name)
        value = column.values[at]
        if isinstance(value, Refusal):
            yield column.problem(table, at, value)
        elif value is None and name in WANTED.required:
            yield column.problem(table, at, Refusal("empty", "is empty"))


def _across(table: TextTable, columns: _Columns, shop: Shop, rates: Rates, at: int) -> Iterator[Problem]:
    sizes, pieces = columns.sizes.values[at], columns.pieces.values[at]
    if isinstance(sizes, tuple) and isinstance(pieces, int) and len(sizes) != pieces:
        why = Refusal("sizes_count", f"names {len(sizes)} drums, and pieces says {pieces}", "correct one of the two")
        yield columns.sizes.problem(table, at, why)
    own = shop.shop.currency
    for column in (columns.price, columns.freight):
        amount = column.values[at]
        if isinstance(amount, Amount) and _rate(amount, own, rates) is None:
            cure = f"write the amount in {own}, or give the rate of its currency in rates.csv"
            yield column.problem(table, at, Refusal("currency", f"is not in {own}", cure))


def _rate(amount: Amount, own: str, rates: Rates) -> Decimal | None:
    """What one unit of an amount's currency is worth today: by the newest rate, since an offer stands now."""
    if not amount.currencies or own in amount.currencies:
        return Decimal(1)
    return rates.on(amount.currencies[0], dt.date.max) if len(amount.currencies) == 1 else None


def _own_money(amount: Amount, own: str, rates: Rates) -> Decimal:
    """The amount in the shop's currency, to the cent where it was turned into it."""
    rate = _rate(amount, own, rates) or Decimal(1)
    return amount.value if rate == 1 else (amount.value * rate).quantize(Decimal("0.01"), ROUND_HALF_UP)


def _offer(table: TextTable, columns: _Columns, shop: Shop, rates: Rates, at: int) -> Offer:
    own = shop.shop.currency
    haggle, source = columns.haggle.known(at), columns.bought_from.known(at)
    freight = columns.freight.known(at)
    return Offer(
        row=table.rows[at].row,
        offer=columns.offer.sure(at),
        series=columns.series.sure(at),
        pieces=columns.pieces.sure(at),
        condition=columns.condition.sure(at),
        price=_own_money(columns.price.sure(at), own, rates),
        freight=None if freight is None else _own_money(freight, own, rates),
        sizes=columns.sizes.known(at) or (),
        bought_from="trade" if source == "trade" else "import" if source == "import" else "private",
        haggle=haggle.value if isinstance(haggle, Amount) else None if haggle is None else "fixed",
        note=columns.note.known(at),
    )
