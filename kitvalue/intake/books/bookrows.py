"""The rows of prices.csv: what each says once its cells are put together, or why it is refused."""

from __future__ import annotations

import bisect
import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

import numpy as np

from kitvalue.intake.books.bookcolumns import BookColumns, beside_hammer, either_of_two, not_what_was_paid
from kitvalue.intake.books.specs import FREIGHT_CURE, RATES, FeatureValue
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.columns import Column, known_amount
from kitvalue.intake.tables.specification import Columns, read_rows
from kitvalue.intake.tables.table import BoolArray, TextTable
from kitvalue.intake.text.numbers import Amount, currencies_said
from kitvalue.intake.text.problems import FileCounts, Problem, shown
from kitvalue.intake.text.vocabulary import PRICE_KINDS, REQUIRED
from kitvalue.intake.text.words import Refusal, fold, listed, trimmed


@dataclass(frozen=True, slots=True)
class Rate:
    """On `date` one unit of a foreign currency cost `rate` units of the shop's."""

    date: dt.date
    rate: Decimal


@dataclass(frozen=True, slots=True)
class Rates:
    """The usable rates, by currency code and then by day; with the problems of the file."""

    by_currency: Mapping[str, Sequence[Rate]]
    problems: tuple[Problem, ...] = ()
    counts: FileCounts | None = None  # None where there is no such file

    def on(self, currency: str, date: dt.date) -> Decimal | None:
        """The newest rate that is not after the day; None where there is none."""
        known = self.by_currency.get(currency, ())
        at = bisect.bisect_right([one.date for one in known], date)
        return known[at - 1].rate if at else None


def read_rates(path: Path, shop: Shop) -> Rates:
    """The rates of a shop; none where there is no such file."""
    if not path.exists():
        return Rates({})

    def rates(columns: Columns) -> Callable[[int], tuple[str, Rate]]:
        return lambda at: (
            columns.known("currency", at), Rate(columns.known("date", at), columns.known("rate", at)),
        )  # fmt: skip

    reading = read_rows(path, RATES, shop, lambda columns: (), rates)
    by_currency: dict[str, list[Rate]] = {}
    for code, rate in reading.rows:
        by_currency.setdefault(code, []).append(rate)
    by_day = {code: sorted(several, key=lambda rate: rate.date) for code, several in by_currency.items()}
    return Rates(by_day, reading.problems, reading.counts)


_TOTALS_WORDS: Final = """
    total totals sum sums subtotal subtotals average averages avg mean median count min max minimum maximum balance
    overall summe summen gesamt gesamtsumme gesamtbetrag zwischensumme endsumme insgesamt durchschnitt durchschnittlich
    mittelwert mittel mw ø anzahl saldo schnitt somme moyenne totale totaal totaux media suma gemiddelde
"""
_TOTALS: Final = frozenset(_TOTALS_WORDS.split())
_NOT_FOR_TOTALS: Final = ("note", "ref")
_PLACEHOLDER: Final = re.compile(r"1|1{3,}|9{4,}|1234(?:5(?:67?)?)?")


@dataclass(frozen=True, slots=True)
class FeatureRead:
    """One feature of one row; None where the cell is blank."""

    name: str
    value: FeatureValue | None


@dataclass(frozen=True, slots=True)
class RowAsRead:
    """One usable row as it was read: money in the row's own currency, None where unknown. `asked` is what was asked for
    a kit whose `price` is what it then went for.

    `rate` turns its money into the shop's currency (1 for the shop's own).
    """

    row: int
    series: str
    pieces: int
    condition: Decimal
    price: Decimal
    asked: Decimal | None
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
    rate: Decimal


@dataclass(frozen=True, slots=True)
class _Money:
    """In which currency a row speaks, and what one unit of it is in the shop's."""

    currency: str
    rate: Decimal


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
    return 0 < len(words) <= 3 and words[0] in _TOTALS


class RowReader:
    """Puts the cells of one table's rows together. Masks (n,): `sound` are the rows of which every cell can be taken,
    `plain` of these the ones whose cells leave nothing to say together, and whose money is the shop's own.
    """

    def __init__(self, table: TextTable, columns: BookColumns, rates: Rates, currency: str, counted: BoolArray) -> None:
        self.table = table
        self.columns = columns
        self.rates = rates
        self.currency = currency
        self.counted = counted
        self.checked = columns.checked()
        self.kinds = columns.kinds()
        self.paid = columns.paid
        self.sound = counted.copy()
        self.problems = tuple(self._cell_problems())
        self.doubtful = counted & self._doubtful()
        self.plain = self.sound & ~self.doubtful

    def _cell_problems(self) -> Iterator[Problem]:
        """Column by column what cannot be taken; the rows are then no longer `sound`."""
        for name, column in self.checked.items():
            counted = self.counted & ~self.paid if name == "price" else self.counted  # what was asked counts no more
            odd = counted & (column.refused() | column.blank() if name in REQUIRED else column.refused())
            sold_for = self.columns.sold_for if name == "price" else None
            cure = either_of_two(sold_for.header) if sold_for is not None and sold_for.present else None
            yield from column.problems(self.table, odd, Refusal("empty", "is empty", cure))
            self.sound &= ~odd

    def _doubtful(self) -> BoolArray:
        """The rows whose cells together may leave something to say; `read` has the last word."""
        columns = self.columns
        doubtful = columns.foreign(self.currency) | (columns.price.refused() & self.paid)
        said_hammer = columns.price_kind.values.where(lambda kind: kind == "hammer")
        doubtful |= said_hammer & (self.paid | columns.premium.blank())
        firm = self.kinds != PRICE_KINDS.index("asked")
        for price in (columns.price, columns.sold_for):
            doubtful |= firm & price.values.where(lambda one: isinstance(one, Amount) and one.negotiable)
        return doubtful

    def read(self, at: int) -> RowAsRead | list[Problem]:
        """The row at one index, or every reason beside its cells' own why it is refused."""
        problems: list[Problem] = []
        money = self._money(at, problems)
        self._across(at, problems)
        if problems or money is None or not self.sound[at]:
            return problems
        return self._row(at, money)

    def _across(self, at: int, problems: list[Problem]) -> None:
        """What only two cells together show."""
        columns = self.columns
        price, kind, premium = columns.priced(at).values[at], PRICE_KINDS[self.kinds[at]], columns.premium.values[at]
        if self.paid[at] and columns.price_kind.values[at] == "hammer":
            problems.append(columns.sold_for.problem(self.table, at, beside_hammer(columns.price.header)))
        if kind == "hammer" and premium is None:
            why = Refusal(
                "no_premium", "is no premium", "a hammer price needs the auction's premium in percent, 0 if none"
            )
            if columns.premium.present:
                problems.append(self.checked["premium"].problem(self.table, at, why))
            else:
                message = "a hammer price needs a column premium with the auction's percent, 0 if there is none"
                column = columns.price_kind
                problems.append(self.table.problem(at, column.header, column.cells[at], "no_premium", message))
        if isinstance(price, Amount) and price.negotiable and kind in ("sold", "hammer"):
            why = Refusal(
                "negotiable", f"says negotiable, which is an asking price, but the row says {kind}",
                "give the price that was paid, or say asked",
            )  # fmt: skip
            why = not_what_was_paid() if self.paid[at] else why
            problems.append(columns.priced(at).problem(self.table, at, why))

    def _money(self, at: int, problems: list[Problem]) -> _Money | None:
        """The row's currency, agreed between its currency cell, its prices and its freight."""
        codes = self.columns.currency.values[at]
        if isinstance(codes, Refusal):
            return None
        for name in ("price", "sold_for", "freight"):
            said = self._said(at, name)
            if not said:
                continue
            common = said if codes is None else tuple(c for c in codes if c in said)
            if not common:
                problems.append(self.checked[name].problem(self.table, at, self._clash(at, name, codes or ())))
                return None
            codes = common
        return self._rated(at, codes, problems)

    def _said(self, at: int, name: str) -> tuple[str, ...]:
        """What a cell of money says of the row's currency. A price that counts no more still does, amount or not."""
        column: Column[Amount] = getattr(self.columns, name)
        value = column.values[at]
        if isinstance(value, Refusal) and not (name == "price" and self.paid[at]):
            return ()
        return currencies_said(column.cells[at], value)

    def _clash(self, at: int, name: str, codes: tuple[str, ...]) -> Refusal:
        if name != "price" and self.columns.currency.values[at] is None:
            cure = FREIGHT_CURE if name == "freight" else "correct one of the two"
            return Refusal("currency_clash", f"is in another currency than the price ({listed(codes, 3)})", cure)
        return Refusal(
            "currency_clash",
            f"names another currency than the currency column ({listed(codes, 3)})",
            "correct one of the two",
        )

    def _rated(self, at: int, codes: tuple[str, ...] | None, problems: list[Problem]) -> _Money | None:
        own = self.currency
        if codes is None or own in codes:
            return _Money(own, Decimal(1))
        if len(codes) > 1:
            codes = tuple(code for code in codes if code in self.rates.by_currency) or codes
        column = self._speaking(at)
        if len(codes) > 1:
            cure = f"write the code in the currency column, or, if all your prices are in it, {_make_own(codes[0])}"
            why = Refusal("currency", f"can be {listed(codes, 4)}", cure)
            problems.append(column.problem(self.table, at, why))
            return None
        rate, why_not = self._rate(at, codes[0])
        if why_not is not None:
            problems.append(column.problem(self.table, at, why_not))
        return _Money(codes[0], rate) if rate is not None else None

    def _speaking(self, at: int) -> Column[object]:
        """The column that tells the row's currency."""
        if self.columns.currency.values[at] is not None:
            return self.checked["currency"]
        name = next((name for name in ("sold_for", "price") if self._said(at, name)), None)
        return self.checked[name] if name is not None else self.columns.priced(at).plain()

    def _rate(self, at: int, code: str) -> tuple[Decimal | None, Refusal | None]:
        date = self.columns.date.values[at]
        cure = f"write the price in {self.currency}, or add a rate for {code} to rates.csv"
        if code not in self.rates.by_currency:
            cure += f", or, if all your prices are in {code}, {_make_own(code)}"
            return None, Refusal("no_rate", f"is in {code}, for which there is no exchange rate", cure)
        if not isinstance(date, dt.date):
            return None, Refusal(
                "no_rate", f"is in {code}, and the row has no date to find its exchange rate by", "add the date"
            )
        rate = self.rates.on(code, date)
        if rate is None:
            reason = f"is in {code}, for which there is no exchange rate up to {date.isoformat()}"
            return None, Refusal("no_rate", reason, cure)
        return rate, None

    def plain_row(self, at: int) -> RowAsRead:
        """A row about which there is nothing to say."""
        return self._row(at, _Money(self.currency, Decimal(1)))

    def _row(self, at: int, money: _Money) -> RowAsRead:
        columns = self.columns
        return RowAsRead(
            row=self.table.row(at),
            series=columns.series.sure(at),
            pieces=columns.pieces.sure(at),
            condition=columns.condition.sure(at),
            price=columns.priced(at).sure(at).value,
            asked=known_amount(columns.price, at) if self.paid[at] else None,
            price_kind=PRICE_KINDS[self.kinds[at]],
            channel=columns.channel.known(at) or "private",
            premium=known_amount(columns.premium, at),
            currency=money.currency,
            freight=known_amount(columns.freight, at),
            date=columns.date.known(at),
            weight=known_amount(columns.weight, at),
            ref=columns.ref.known(at),
            note=columns.note.known(at),
            features=tuple(FeatureRead(one.name, one.column.known(at)) for one in columns.features),
            rate=money.rate,
        )


def _make_own(code: str) -> str:
    """What makes a currency the shop's own."""
    return f'set currency = "{code}" under [shop]'


def is_placeholder(price: Decimal) -> bool:
    """Prices that sellers type when they will not name one: 1, 111, 1234, 9999 and the like."""
    return price < 1 or _PLACEHOLDER.fullmatch(format(price.normalize(), "f")) is not None
