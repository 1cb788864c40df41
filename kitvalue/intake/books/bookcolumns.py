"""The columns of prices.csv, each read by its own rules."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np

from kitvalue.intake.books.book import IntArray
from kitvalue.intake.books.specs import PRICES, Feature, feature_specs, features_of
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.columns import Column
from kitvalue.intake.tables.specification import read_columns
from kitvalue.intake.tables.table import BoolArray, TextTable
from kitvalue.intake.text.numbers import Amount, currencies_said
from kitvalue.intake.text.problems import Problem
from kitvalue.intake.text.vocabulary import PRICE_KINDS
from kitvalue.intake.text.words import Refusal

FAR_APART: Final = 3  # times: haggling alone never takes two prices of one kit as far apart (from memory)


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


def read_book_columns(table: TextTable, shop: Shop, counted: BoolArray) -> BookColumns:
    """Every column of a price book's table. Rows that are not `counted` (totals) prove nothing about a column."""
    names = tuple(shop.prices.features)
    read = read_columns(table, (*PRICES, *feature_specs(shop, names)), shop, counted)
    return BookColumns(
        **{spec.name: read[spec.name] for spec in PRICES},
        features=features_of(read, shop, names),
        warnings=read.warnings,
        undecided=read.undecided,
        decimal=read.sign,
    )
