"""The columns of prices.csv, each read by its own rules."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np

from kitvalue.intake.books.book import IntArray
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import read_grade, series_names, shop_grades
from kitvalue.intake.tables.columns import Column, ColumnFindings, date_column, number_column, word_column
from kitvalue.intake.tables.table import BoolArray, TextTable
from kitvalue.intake.text.numbers import (
    Amount,
    Reading,
    currencies_said,
    error_refusal,
    meanings,
    read_amount,
    read_number,
    read_percent,
    spreadsheet_error,
)
from kitvalue.intake.text.problems import Problem
from kitvalue.intake.text.sizes import read_pieces
from kitvalue.intake.text.tomltext import toml_heading
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS, TRUTHS, vocabulary
from kitvalue.intake.text.words import Refusal, fold, is_dash, listed, not_known, says_not_known, trimmed

SOLD_FOR_CURE: Final = "write the one amount that was paid, such as 480, or leave it blank if unsold or unknown"
FAR_APART: Final = 3  # times: haggling alone never takes two prices of one kit as far apart (from memory)
_LONGEST: Final = 40  # characters
_UNSOLD: Final = frozenset([  # folded; the words of a column that others use for yes or no (common practice, no source)
    "no", "nein", "unsold", "not sold", "unverkauft", "nicht verkauft", "noch da", "still there",
])  # fmt: skip


def read_sold_for(text: str) -> Reading | None:
    """The amount that a kit went for; None where the cell says that it is unsold, or that nothing is known of it."""
    if is_dash(text) or says_not_known(text) or _says_unsold(text):
        return None
    return read_amount(text)


def _says_unsold(text: str) -> bool:
    return len(text) < _LONGEST and " ".join(fold(text).split()) in _UNSOLD


def sold_for_check(amount: Amount) -> Refusal | None:
    """What was paid is above 0."""
    if amount.value > 0:
        return None
    reason = "is negative" if amount.value < 0 else "is no price"
    return Refusal("not_positive", reason, "a price must be above 0; leave the cell blank if the kit is unsold")


def far_apart(asked: Decimal, paid: Decimal) -> bool:
    """Is what was asked so much more or less than what was paid that one of them must be a slip?"""
    return asked > paid * FAR_APART or paid > asked * FAR_APART


def not_what_was_paid() -> Refusal:
    """The refusal of an amount that says negotiable."""
    return Refusal(
        "negotiable", "says negotiable, which is an asking price", "give the amount that was paid, or leave it blank"
    )


def beside_hammer(price: str) -> Refusal:
    """The refusal of an amount in a row whose price_kind says hammer; `price`: the header of the price column."""
    cure = f"a hammer price goes into {price}, with its premium: delete this amount, or the word for hammer"
    return Refusal("hammer_and_sold_for", "stands in the row of a hammer price", cure)


def either_of_two(sold_for: str) -> str:
    """What to do about a row with neither price; `sold_for`: the header of that column."""
    return f"write what was asked, or what it went for under {sold_for}"


def without_amount(rows: str, kind: str, price: str, sold_for: str) -> str:
    """The message about rows that say sold and hold no amount; `kind`, `price` and `sold_for` are the headers."""
    return (
        f"blank in {rows}, where {kind} says sold: what stands in {price} counts as asked, since in a file with this "
        f"column it does not tell what was paid; fill in {sold_for}"
    )


PRICE_CURE: Final = "write one price, such as 480 or 480.50"
FREIGHT_CURE: Final = "write the amount, 0 if it is free, or leave it blank if unknown"
FeatureValue = Decimal | bool | str


_Read = Callable[[str], Reading | None]
_NumberReader = Callable[[str, _Read, Callable[[Amount], Refusal | None], str], Column[Amount]]


@dataclass(frozen=True, slots=True)
class Feature:
    """A declared feature with its column."""

    name: str
    kind: str
    column: Column[FeatureValue]


@dataclass(frozen=True, slots=True)
class BookColumns:
    """Every column of the price book, row by row, with what only whole columns could tell."""

    series: Column[str]
    pieces: Column[int]
    condition: Column[Decimal]
    price: Column[Amount]
    sold_for: Column[Amount]
    date: Column[dt.date]
    price_kind: Column[str]
    channel: Column[str]
    premium: Column[Amount]
    currency: Column[tuple[str, ...]]
    freight: Column[Amount]
    weight: Column[Amount]
    ref: Column[str]
    note: Column[str]
    features: tuple[Feature, ...]
    warnings: tuple[Problem, ...]
    undecided: tuple[Problem, ...]
    decimal: str | None  # the decimal sign of the prices, where known

    def checked(self) -> dict[str, Column[object]]:
        """The columns whose refusals refuse a row, by our name."""
        named = (
            "date", "series", "pieces", "condition", "price", "sold_for", "price_kind", "channel", "premium",
            "currency", "freight", "weight",
        )  # fmt: skip
        return {name: getattr(self, name) for name in named} | {one.name: one.column.plain() for one in self.features}

    @property
    def paid(self) -> BoolArray:
        """(n,) the rows whose sold_for says anything: that is their price, and what was asked counts no more."""
        return ~self.sold_for.blank()

    def priced(self, at: int) -> Column[Amount]:
        """The column whose cell gives a row its price: sold_for where that says anything, else price."""
        return self.price if self.sold_for.values[at] is None else self.sold_for

    def kinds(self) -> IntArray:
        """(n,) what each row's price is, a place in PRICE_KINDS; a sold_for column alone tells what was paid."""
        asked, sold = PRICE_KINDS.index("asked"), PRICE_KINDS.index("sold")
        stated = self.price_kind.values.map(lambda kind: PRICE_KINDS.index(kind) if isinstance(kind, str) else asked)
        kinds: IntArray = np.array(stated.each, dtype=np.int64)[stated.codes]
        if self.sold_for.present:
            kinds[kinds == sold] = asked
            kinds[self.paid] = sold
        return kinds

    def sold_alone(self) -> BoolArray:
        """(n,) the rows that say sold in a file with a sold_for column, and not for how much."""
        says_sold = self.price_kind.values.where(lambda kind: kind == "sold")
        return says_sold & ~self.paid if self.sold_for.present else np.zeros_like(says_sold)

    def bare_auctions(self) -> BoolArray:
        """(n,) the rows of auctions with neither a kind of price nor an amount that they were sold for."""
        auction = self.channel.values.where(lambda channel: channel == "auction")
        return auction & self.price_kind.blank() & ~self.paid

    def foreign(self, own: str) -> BoolArray:
        """(n,) the rows of which a cell names another currency than the shop's own, or several."""
        other = self.currency.values.where(lambda codes: codes is not None and codes != (own,))
        for column in (self.price, self.sold_for, self.freight):
            sound = ~column.refused()
            other |= says_currency(column, sound) & ~says_currency(column, sound, own)
        return other


def says_currency(column: Column[Amount], rows: BoolArray, code: str | None = None) -> BoolArray:
    """(n,) of some rows those whose cell of money names a currency (this one, if given)."""
    says = np.zeros(len(column.cells.each), dtype=bool)
    for place in np.unique(column.cells.codes[rows]).tolist():
        said = currencies_said(column.cells.each[place], column.values.each[place])
        says[place] = bool(said) if code is None else code in said
    return says[column.cells.codes] & rows


def read_columns(table: TextTable, shop: Shop, counted: BoolArray) -> BookColumns:
    """Every column of a price book's table. Rows that are not `counted` (totals) prove nothing about a column."""
    findings: list[ColumnFindings[Amount]] = []

    def numbers(name: str, read: _Read, check: Callable[[Amount], Refusal | None], cure: str) -> Column[Amount]:
        findings.append(number_column(table, name, read, check, cure, shop.files.decimal, counted))
        return findings[-1].column

    price = numbers("price", read_amount, price_check, PRICE_CURE)
    sold_for = numbers("sold_for", read_sold_for, sold_for_check, SOLD_FOR_CURE)
    freight = numbers("freight", read_amount, freight_check, FREIGHT_CURE)
    premium = numbers("premium", read_percent, percent_check, "write the auction's premium in percent, such as 20")
    weight = numbers("weight", read_number, weight_check, "write a number above 0, or leave it blank for 1")
    dates = date_column(table, "date", shop.files.day_first, counted)
    features = _features(table, shop, numbers)
    return BookColumns(
        series=word_column(table, "series", read_series(shop), "write the series' name"),
        pieces=word_column(table, "pieces", read_pieces, "write the number of drums in digits, such as 4"),
        condition=word_column(table, "condition", read_shop_grade(shop), "write its grade"),
        price=price,
        sold_for=sold_for,
        date=dates.column,
        price_kind=_words(table, "price_kind", PRICE_KINDS, shop),
        channel=_words(table, "channel", CHANNELS, shop),
        premium=premium,
        currency=word_column(table, "currency", currency_reader(shop), "write the currency's code, such as EUR"),
        freight=freight,
        weight=weight,
        ref=word_column(table, "ref", reference, ""),
        note=word_column(table, "note", _text, ""),
        features=features,
        warnings=tuple(problem for one in findings for problem in one.warnings),
        undecided=tuple(one for one in (*(found.undecided for found in findings), dates.undecided) if one is not None),
        decimal=findings[0].sign or findings[1].sign,
    )


def _features(table: TextTable, shop: Shop, numbers: _NumberReader) -> tuple[Feature, ...]:
    """The declared features that the file has a column for."""
    found = []
    for name, kind in shop.prices.features.items():
        if name not in table.header.places:
            continue
        if kind == "number":
            column = feature_values(
                numbers(name, feature_number, lambda amount: None, "write a number, or leave it blank")
            )
        else:
            reader = feature_reader(name, kind, shop.prices.words.get(name, {}))
            column = word_column(table, name, reader, "write a word, or leave it blank")
        found.append(Feature(name, kind, column))
    return tuple(found)


def feature_values(column: Column[Amount]) -> Column[FeatureValue]:
    """A feature that is a number, without what its cells say beside it."""
    values = column.values.map(lambda value: value.value if isinstance(value, Amount) else value)
    return Column(column.header, column.cells, values, column.cure, column.present)


def feature_number(text: str) -> Reading | None:
    """The number in a feature's cell; None where it says that it is not known."""
    return None if says_not_known(text) else read_number(text)


def price_check(amount: Amount) -> Refusal | None:
    """A price is above 0."""
    if amount.value > 0:
        return None
    return Refusal("not_positive", "is negative" if amount.value < 0 else "is no price", "a price must be above 0")


def freight_check(amount: Amount) -> Refusal | None:
    """Freight is a firm amount, 0 or more."""
    if amount.negotiable:
        return Refusal("negotiable", "says negotiable")
    return None if amount.value >= 0 else Refusal("negative", "is negative")


def percent_check(amount: Amount) -> Refusal | None:
    """A percentage from 0 to below 100."""
    return None if 0 <= amount.value < 100 else Refusal("range", "is no percentage from 0 to below 100")


def weight_check(amount: Amount) -> Refusal | None:
    """A weight is above 0."""
    return None if amount.value > 0 else Refusal("not_positive", "must be above 0")


def read_series(shop: Shop) -> Callable[[str], str | Refusal]:
    """The reader of a series cell: a name of the shop's list, or any name where there is no list."""
    names = series_names(shop)

    def read(text: str) -> str | Refusal:
        if spreadsheet_error(text):
            return error_refusal(text)
        known = names.find(text)
        if known is None and says_not_known(text):
            return not_known("write the series' name, or one of your own for kits without a name")
        found = known if names.declared else trimmed(text)
        return found or Refusal("unknown_series", "is not in shop.toml's list of series", names.advice(text))

    return read


def read_shop_grade(shop: Shop) -> Callable[[str], Decimal | Refusal]:
    """The reader of a condition cell: a grade, one of our words or one of the shop's."""
    grades = shop_grades(shop)

    def read(text: str) -> Decimal | Refusal:
        return read_grade(text, grades)

    return read


def _words(table: TextTable, name: str, own: Sequence[str], shop: Shop) -> Column[str]:
    return word_column(table, name, kind_reader(name, own, shop), f"write {listed(own, last='or')}")


def kind_reader(name: str, own: Sequence[str], shop: Shop) -> Callable[[str], str | Refusal | None]:
    """The reader of a cell that holds one of our words or one of the shop's for it. What says nothing is None."""
    known = vocabulary(own, shop.prices.words.get(name, {}))

    def read(text: str) -> str | Refusal | None:
        if spreadsheet_error(text):
            return error_refusal(text)
        found = known.find(text)
        return found if found is not None or _says_nothing(text) else known.refusal(text, name)

    return read


def _says_nothing(text: str) -> bool:
    return is_dash(text) or says_not_known(text)


def currency_reader(shop: Shop) -> Callable[[str], tuple[str, ...] | Refusal | None]:
    """What a currency cell can stand for; the shop's own currency where that is among it. None for a dash."""
    own = shop.shop.currency
    mapped = {fold(word): code for word, code in shop.prices.words.get("currency", {}).items()}

    def read(text: str) -> tuple[str, ...] | Refusal | None:
        word = mapped.get(fold(text), text)
        codes = (own,) if fold(word) == fold(own) else meanings(word)
        if codes:
            return (own,) if own in codes else codes
        if is_dash(text):
            return None
        return Refusal("currency", "is no currency that is known", f"write its code, such as {own}")

    return read


def feature_reader(name: str, kind: str, mapped: Mapping[str, str]) -> Callable[[str], FeatureValue | Refusal | None]:
    """The reader of a feature's cell, "yes-no" or "word". What says nothing is None; a dash does so for a word, while
    for yes or no it may say two things, and is refused.
    """
    words = {fold(word): ours for word, ours in mapped.items()}
    table = toml_heading("prices", "words", name)
    hint = f"write yes or no, or map the word under {table}"

    def truth(text: str) -> FeatureValue | Refusal | None:
        found = TRUTHS.get(fold(words.get(fold(text), text)))
        if found is not None or says_not_known(text):
            return found
        if spreadsheet_error(text):
            return error_refusal(text)
        if is_dash(text):
            cure = f"leave the cell blank if unknown, write no, or map the dash under {table}"
            return Refusal("unknown_word", "can be no or unknown", cure)
        return Refusal("unknown_word", "is neither yes nor no", hint)

    def word(text: str) -> FeatureValue | Refusal | None:
        if spreadsheet_error(text):
            return error_refusal(text)
        return words.get(fold(text)) or (None if _says_nothing(text) else trimmed(text))

    return truth if kind == "yes-no" else word


def reference(text: str) -> str | None:
    """A listing's number or address; a dash or a question mark is none."""
    return trimmed(text) if any(c.isalnum() for c in text) else None


def _text(text: str) -> str:
    return text
