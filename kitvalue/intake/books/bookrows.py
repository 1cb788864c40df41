"""The rows of prices.csv: what each says once its cells are put together, or why it is refused."""

from __future__ import annotations

import bisect
import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from operator import itemgetter
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from kitvalue.intake.books.book import IntArray
from kitvalue.intake.books.specs import NO_PREMIUM, PRICES, RATES, FeatureValue, feature_specs, price_refusal
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import (
    FEWEST_OF_TEN,
    is_digit,
    is_number_to_ten,
    is_of_ten,
    is_school_mark,
    mark_grade,
    scale_said,
)
from kitvalue.intake.tables.specification import Column, Columns, read_columns, read_rows
from kitvalue.intake.tables.table import BoolArray, Coded, TextTable
from kitvalue.intake.text.languages import word_lists
from kitvalue.intake.text.numbers import Amount, currencies_said
from kitvalue.intake.text.problems import FileCounts, Problem, shown
from kitvalue.intake.text.vocabulary import PRICE_KINDS, REQUIRED
from kitvalue.intake.text.words import Refusal, fold, listed, trimmed


@dataclass(frozen=True, slots=True)
class Rates:
    """What one unit of another currency costs of the shop's; with the problems of the file."""

    by_currency: Mapping[str, Sequence[tuple[dt.date, Decimal]]]  # its code -> from which day on how much, in order
    problems: tuple[Problem, ...] = ()
    counts: FileCounts | None = None  # None where there is no such file

    def on(self, currency: str, date: dt.date) -> Decimal | None:
        """The newest rate that is not after the day; None where there is none."""
        known = self.by_currency.get(currency, ())
        at = bisect.bisect_right(known, date, key=itemgetter(0))
        return known[at - 1][1] if at else None

    def turning(self, codes: Sequence[str], own: str, date: dt.date) -> Decimal | None:
        """What one unit of a currency that `codes` can stand for is worth; None where no rate tells, or two do."""
        known = [code for code in codes if code in self.by_currency]
        if own in codes:
            return Decimal(1)
        return self.on(known[0], date) if len(known) == 1 else None


def read_rates(path: Path, shop: Shop, today: dt.date = dt.date.max) -> Rates:
    """The rates of a shop; none where there is no such file."""
    if not path.exists():
        return Rates({})

    def rates(columns: Columns, rows: Sequence[int]) -> Iterator[tuple[dt.date, str, Decimal]]:
        known = columns.known
        return ((known("date", at), known("currency", at), known("rate", at)) for at in rows)

    reading = read_rows(path, RATES, shop, lambda columns: (), rates, today)
    by_currency: dict[str, list[tuple[dt.date, Decimal]]] = {}
    for date, code, rate in sorted(reading.rows, key=itemgetter(0)):
        by_currency.setdefault(code, []).append((date, rate))
    return Rates(by_currency, reading.problems, reading.counts)


T = TypeVar("T")
_NOT_FOR_TOTALS: Final = ("note", "ref")
_AS_THEY_STAND: Final = ("series", "pieces", "condition", "premium", "freight", "date", "weight", "ref", "note")
_PLACEHOLDER: Final = re.compile(r"1|1{3,}|9{4,}|1234(?:5(?:67?)?)?")


@dataclass(frozen=True, slots=True)
class FeatureRead:
    """One feature of one row; None where the cell is blank."""

    name: str
    value: FeatureValue | None


@dataclass(frozen=True, slots=True)
class RowAsRead:
    """One usable row as it was read: money in the row's own currency, None where unknown."""

    row: int
    series: str
    pieces: int
    condition: Decimal
    price: Decimal
    asked: Decimal | None  # for a kit whose price is what it then went for
    price_kind: str
    channel: str
    premium: Decimal | None
    currency: str
    freight: Decimal | None
    date: dt.date | None
    weight: Decimal | None
    ref: str | None
    note: str | None
    features: tuple[FeatureRead, ...]
    rate: Decimal  # turns its money into the shop's currency (1 for the shop's own)


def totals_refusals(table: TextTable) -> dict[int, Problem]:
    """Rows that are no kit but a total, an average or a remark: index of the row -> its one problem."""
    header, places = table.header, table.header.places
    series, pieces, condition = (table.cells[places[name]] for name in ("series", "pieces", "condition"))
    unnamed, no_pieces, no_condition = (
        column.where(lambda cell: not trimmed(cell)) for column in (series, pieces, condition)
    )
    bare = unnamed | series.where(lambda cell: says_total(trimmed(cell)))
    skipped = {places[name] for name in _NOT_FOR_TOTALS if name in places}
    refused: dict[int, Problem] = {}
    for at in np.flatnonzero(bare | (no_pieces & no_condition)).tolist():
        cells = table.row_cells(at)
        place = next((p for p, cell in enumerate(cells) if p not in skipped and says_total(cell)), None)
        if place is not None:
            lacks = "no series of its own" if bare[at] else "no pieces and no condition"
            message = f"{shown(cells[place])} looks like a totals row, with {lacks}; delete the row"
            refused[at] = table.problem(at, trimmed(header.cells[place]), cells[place], "totals_row", message)
        elif unnamed[at] and no_pieces[at]:
            message = "no series and no pieces: looks like a total, an average or a remark; delete the row"
            refused[at] = table.problem(at, header.name("series"), series[at], "totals_row", message)
    return refused


def says_total(cell: str) -> bool:
    """Does a cell name a total, an average or the like?"""
    words = re.findall(r"[^\W\d_]+", fold(cell)) if cell and len(cell) < 40 else []
    return 0 < len(words) <= 3 and words[0] in word_lists("cells")["total"]


class RowReader:
    """Puts the cells of one price book's rows together. Masks (n,): `paid` are the rows whose sold_for says anything
    (that is their price, and what was asked counts no more), `sound` those of which every cell can be taken, `doubtful`
    those whose cells together may leave something to say (`read` has the last word), `plain` the sound ones that leave
    nothing to say, and whose money is the shop's own. `kinds` (n,): what each row's price is, a place in PRICE_KINDS.
    """

    def __init__(self, table: TextTable, shop: Shop, rates: Rates, counted: BoolArray, today: dt.date) -> None:
        """Rows that are not `counted` (totals) prove nothing about a column."""
        columns = read_columns(table, (*PRICES, *feature_specs(shop, shop.prices.features)), shop, counted, today)
        columns = replace(columns, by_name={
            **columns.by_name, "pieces": _pieces_or_sizes(columns), "condition": _halved(columns, shop),
        })  # fmt: skip
        self.table, self.columns, self.rates, self.counted = table, columns, rates, counted
        self.shop, self.currency = shop, shop.shop.currency
        self.features = {name: kind for name, kind in shop.prices.features.items() if columns[name].present}
        self.paid = ~columns["sold_for"].blank()
        asked, sold = PRICE_KINDS.index("asked"), PRICE_KINDS.index("sold")
        kinds = columns["price_kind"].values.map(lambda word: PRICE_KINDS.index(word) if word in PRICE_KINDS else asked)
        self.kinds: IntArray = np.array(kinds.each, dtype=np.int64)[kinds.codes]
        if columns["sold_for"].present:  # that column alone tells what was paid, unless the kinds are those of `price`
            beside = self.kinds[self.paid & ~columns["price_kind"].blank()]
            if (beside == sold).sum() >= (beside == asked).sum():
                self.kinds[self.kinds == sold] = asked
            self.kinds[self.paid] = sold
        self.sound = counted.copy()
        self.problems = tuple(self._cell_problems())
        self.doubtful = counted & self._doubtful()
        self.plain = self.sound & ~self.doubtful

    def _cell_problems(self) -> Iterator[Problem]:
        """Column by column what cannot be taken; the rows are then no longer `sound`."""
        sold_for = self.columns["sold_for"]
        for name, column in self.columns.by_name.items():
            if name in _NOT_FOR_TOTALS:  # anything can stand there
                continue
            counted = self.counted & ~self.paid if name == "price" else self.counted  # what was asked counts no more
            odd = counted & (column.refused() | column.blank() if name in REQUIRED else column.refused())
            either = f"write what was asked, or what it went for under {sold_for.header}"
            cure = either if name == "price" and sold_for.present else None
            yield from column.problems(odd, Refusal("empty", "is empty", cure))
            self.sound &= ~odd

    def _doubtful(self) -> BoolArray:
        columns, own = self.columns, self.currency
        price, sold_for, freight = columns["price"], columns["sold_for"], columns["freight"]
        doubtful = columns["currency"].values.where(lambda codes: codes is not None and codes != (own,))
        for money in (price, sold_for, freight):
            sound = ~money.refused()
            doubtful |= says_currency(money, sound) & ~says_currency(money, sound, own)
        doubtful |= price.refused() & self.paid
        with np.errstate(invalid="ignore"):
            for name in ("price", "sold_for"):
                numbers = columns.numbers(name)
                doubtful |= (numbers < float(self.shop.prices.least)) | (numbers > float(self.shop.prices.most))
        said_hammer = columns["price_kind"].values.where(lambda kind: kind == "hammer")
        doubtful |= said_hammer & (self.paid | columns["premium"].blank())
        firm = self.kinds != PRICE_KINDS.index("asked")
        for money in (price, sold_for):
            doubtful |= firm & money.values.where(lambda one: isinstance(one, Amount) and one.negotiable)
        return doubtful

    def read(self, at: int) -> RowAsRead | list[Problem]:
        """The row at one index, or every reason beside its cells' own why it is refused."""
        problems: list[Problem] = []
        money = self._money(at, problems)
        price = self.columns.known(self.priced(at), at)
        if money is not None and price is not None and (why := price_refusal(price * money[1], self.shop)) is not None:
            problems.append(self.columns[self.priced(at)].problem(at, why))
        problems += self._across(at)
        return problems if problems or money is None or not self.sound[at] else self.row(at, *money)

    def priced(self, at: int) -> str:
        """The column whose cell gives a row its price."""
        return "sold_for" if self.paid[at] else "price"

    def _across(self, at: int) -> Iterator[Problem]:
        """What only two cells together show."""
        columns, kind, priced = self.columns, PRICE_KINDS[self.kinds[at]], self.priced(at)
        said_kind, price = columns["price_kind"], columns[priced].values[at]
        if self.paid[at] and said_kind.values[at] == "hammer":
            cure = f"a hammer price goes into {columns['price'].header}, with its premium: delete this amount, or the "
            cure += "word for hammer"
            yield columns.problem("sold_for", at, "hammer_and_sold_for", "stands in the row of a hammer price", cure)
        if kind == "hammer" and columns["premium"].values[at] is None:
            if columns["premium"].present:
                yield columns.problem("premium", at, "no_premium", "is no premium", NO_PREMIUM)
            else:
                message = "a hammer price needs a column premium with the auction's percent, 0 if there is none"
                yield self.table.problem(at, said_kind.header, said_kind.cells[at], "no_premium", message)
        if isinstance(price, Amount) and price.negotiable and kind in ("sold", "hammer"):
            reason = "says negotiable, which is an asking price"
            cure = "give the amount that was paid, or leave it blank"
            if not self.paid[at]:
                reason, cure = f"{reason}, but the row says {kind}", "give the price that was paid, or say asked"
            yield columns.problem(priced, at, "negotiable", reason, cure)

    def _said(self, at: int, name: str) -> tuple[str, ...]:
        """What a cell of money says of the row's currency. A price that counts no more still does, amount or not."""
        value = self.columns[name].values[at]
        if isinstance(value, Refusal) and not (name == "price" and self.paid[at]):
            return ()
        return currencies_said(self.columns[name].cells[at], value)

    def _money(self, at: int, problems: list[Problem]) -> tuple[str, Decimal] | None:
        """The row's currency, agreed between its currency cell, its prices and its freight, and what one unit of it is
        in the shop's.
        """
        columns, own = self.columns, self.currency
        cell = codes = columns["currency"].values[at]
        if isinstance(codes, Refusal):
            return None
        for name in ("price", "sold_for", "freight"):
            said = self._said(at, name)
            common = said if codes is None else tuple(code for code in codes if code in said)
            if said and not common:
                reason, cure = "names another currency than the currency column", "correct one of the two"
                if name != "price" and cell is None:
                    reason = "is in another currency than the price"
                    cure = columns["freight"].cure if name == "freight" else cure
                reason += f" ({listed(codes or (), 3)})"
                problems.append(columns.problem(name, at, "currency_clash", reason, cure))
                return None
            codes = common if said else codes
        if codes is None or own in codes:
            return own, Decimal(1)
        if len(codes) > 1:
            codes = tuple(code for code in codes if code in self.rates.by_currency) or codes
        rate = self._rate(at, codes)
        if isinstance(rate, Decimal):
            return codes[0], rate
        speaking = next((name for name in ("sold_for", "price") if self._said(at, name)), self.priced(at))
        problems.append(columns["currency" if cell is not None else speaking].problem(at, rate))
        return None

    def _rate(self, at: int, codes: Sequence[str]) -> Decimal | Refusal:
        """What one unit of a row's foreign currency is in the shop's, or why nothing tells."""
        date, code = self.columns["date"].values[at], codes[0]
        cure = f"write the price in {self.currency}, or add a rate for {code} to rates.csv"
        make_own = f'set currency = "{code}" under [shop]'
        if len(codes) > 1:
            cure = f"write the code in the currency column, or, if all your prices are in it, {make_own}"
            return Refusal("currency", f"can be {listed(codes, 4)}", cure)
        if code not in self.rates.by_currency:
            cure += f", or, if all your prices are in {code}, {make_own}"
            return Refusal("no_rate", f"is in {code}, for which there is no exchange rate", cure)
        if not isinstance(date, dt.date):
            reason = f"is in {code}, and the row has no date to find its exchange rate by"
            return Refusal("no_rate", reason, "add the date")
        reason = f"is in {code}, for which there is no exchange rate up to {date.isoformat()}"
        return self.rates.on(code, date) or Refusal("no_rate", reason, cure)

    def row(self, at: int, currency: str | None = None, rate: Decimal = Decimal(1)) -> RowAsRead:
        """A row that can be used, its money in a currency (the shop's own, if not given)."""
        known = self.columns.known
        asked = known("price", at) if self.paid[at] else None
        if asked is not None and price_refusal(asked * rate, self.shop) is not None:
            asked = None
        return RowAsRead(
            row=self.table.row(at),
            price=known(self.priced(at), at),
            asked=asked,
            price_kind=PRICE_KINDS[self.kinds[at]],
            channel=known("channel", at) or "private",
            currency=currency or self.currency,
            features=tuple(FeatureRead(name, known(name, at)) for name in self.features),
            rate=rate,
            **{name: known(name, at) for name in _AS_THEY_STAND},
        )


def runs_to_ten(header: str, cells: Coded[str], shop: Shop) -> bool:
    """Are plain numbers among conditions out of ten? Their header says so, or three and more are from 7 to 10, and
    nothing looks like a school mark, and shop.toml maps no digit itself.
    """
    if any(map(is_digit, shop.prices.words.get("condition", {}))) or any(map(is_school_mark, cells.each)):
        return False
    over = cells.where(lambda cell: is_number_to_ten(cell) and is_of_ten(cell))
    return scale_said(header) == "ten" or int(over.sum()) >= FEWEST_OF_TEN


def _halved(columns: Columns, shop: Shop) -> Column[Any]:
    """The conditions, their numbers halved where they run to ten."""
    column, cells = columns["condition"], columns["condition"].cells
    if not runs_to_ten(column.header, cells, shop):
        return column
    halved = [mark_grade("ten", cell) or value for cell, value in zip(cells.each, column.values.each, strict=True)]
    return replace(column, values=Coded(halved, cells.codes))


def _pieces_or_sizes(columns: Columns) -> Column[int]:
    """The column of pieces; where it is blank, as many as the column of sizes lists."""
    pieces, sizes = columns["pieces"], columns["sizes"]
    listed_there = pieces.blank() & ~sizes.blank()

    def filled(own: Coded[T], others: Coded[T]) -> Coded[T]:
        codes = np.where(listed_there, others.codes + len(own.each), own.codes)
        return Coded([*own.each, *others.each], codes)

    if not listed_there.any():
        return pieces
    return replace(pieces, cells=filled(pieces.cells, sizes.cells), values=filled(pieces.values, sizes.values))


def says_currency(column: Column[Amount], rows: BoolArray, code: str | None = None) -> BoolArray:
    """(n,) of some rows those whose cell of money names a currency (this one, if given)."""
    says = np.zeros(len(column.cells.each), dtype=bool)
    for place in np.unique(column.cells.codes[rows]).tolist():
        said = currencies_said(column.cells.each[place], column.values.each[place])
        says[place] = bool(said) if code is None else code in said
    return says[column.cells.codes] & rows


def is_placeholder(price: Decimal) -> bool:
    """Prices that sellers type when they will not name one: 1, 111, 1234, 9999 and the like."""
    return price < 1 or _PLACEHOLDER.fullmatch(format(price.normalize(), "f")) is not None
