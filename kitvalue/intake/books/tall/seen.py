"""Every column of a tall price book in bulk, and which rows need the careful reader."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.bookcolumns import (
    FAR_APART,
    Proofs,
    currency_reader,
    feature_number,
    feature_reader,
    freight_check,
    kind_reader,
    percent_check,
    price_check,
    read_series,
    read_shop_grade,
    read_sold_for,
    sold_for_check,
    weight_check,
)
from kitvalue.intake.books.bookrows import says_total, totals_refusals
from kitvalue.intake.books.tall.columns import (
    Floats,
    TallNumbers,
    TallTexts,
    all_blank,
    any_odd,
    days_proven,
    no_numbers,
    tall_dates,
    tall_numbers,
    tall_texts,
)
from kitvalue.intake.books.tall.fields import Mask, Words
from kitvalue.intake.books.tall.groups import FACTOR, mixed
from kitvalue.intake.books.tall.rows import Source
from kitvalue.intake.tables.columns import DaysProven
from kitvalue.intake.text.numbers import Amount, Reading, read_amount, read_number, read_percent
from kitvalue.intake.text.sizes import drums_listed, read_pieces
from kitvalue.intake.text.vocabulary import CHANNELS, PRICE_KINDS
from kitvalue.intake.text.words import Refusal, trimmed

_NEARLY: Final = 0.999  # binary fractions may fall on either side of a bound
_ASKED, _SOLD = PRICE_KINDS.index("asked"), PRICE_KINDS.index("sold")
# Prices that may stand for none; the careful reader has the last word on them.
_DOUBTFUL: Final = np.array(
    [
        1, 1234, 12345, 123456, 1234567,
        *(int("1" * n) for n in range(3, 13)), *(int("9" * n) for n in range(4, 13)),
    ],
    float,
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The columns, by our name, and by row: `odd` where the careful reader is needed."""

    texts: dict[str, TallTexts]
    numbers: dict[str, TallNumbers]
    odd: Mask
    days: DaysProven
    asked: Floats  # what was asked in rows whose price is that of sold_for; NaN elsewhere

    @property
    def proofs(self) -> Proofs:
        """What the whole columns show."""
        return Proofs({name: column.style for name, column in self.numbers.items()}, self.days)

    def key(self) -> Words:
        """A number for each row that is equal where all that was read of two rows is equal."""
        found = np.zeros(len(self.odd), dtype=np.uint64)
        for text in self.texts.values():
            found = mixed(found, text.same().astype(np.uint64))
        for number in self.numbers.values():
            known = np.where(number.odd, np.nan, number.values)
            found = mixed(found, np.nan_to_num(known, nan=-1.0).view(np.uint64) * FACTOR)
        return found

    def kinds(self) -> NDArray[np.int64]:
        """What each row's price is, as an index into PRICE_KINDS: with a sold_for column only that tells of sales."""
        found = self._stated_kinds()
        if "sold_for" in self.numbers:
            found[found == _SOLD] = _ASKED
            found[_paid(self.numbers)] = _SOLD
        return found

    def sold_alone(self) -> Mask:
        """Rows that say sold in a file with a sold_for column, and not for how much."""
        if "sold_for" not in self.numbers:
            return np.zeros(len(self.odd), dtype=bool)
        found: Mask = (self._stated_kinds() == _SOLD) & ~_paid(self.numbers)
        return found

    def bare_auctions(self) -> Mask:
        """Rows of auctions with neither a kind of price nor an amount that they were sold for."""
        auctions: Mask = self.texts["channel"].by_row(lambda word: float(word == "auction"), 0.0) == 1
        return auctions & self.blank("price_kind")

    def _stated_kinds(self) -> NDArray[np.int64]:
        return self.texts["price_kind"].by_row(lambda word: PRICE_KINDS.index(str(word)), _ASKED).astype(np.int64)

    def blank(self, name: str) -> Mask:
        """Rows in which a column is blank, so that its default counts."""
        if name == "price_kind":
            return self.texts[name].blank & ~_paid(self.numbers)
        found = self.texts[name].blank if name in self.texts else self.numbers[name].blank
        if name == "currency":  # a price that says its currency leaves nothing to assume
            for price in ("price", "sold_for"):
                found = found & ~self.numbers[price].named if price in self.numbers else found
        return found


def see(source: Source) -> Seen:
    """Read every column in bulk."""
    fields, shop = source.fields, source.shop
    own, words = shop.shop.currency, shop.prices.words
    texts = {
        "series": _texts(source, "series", read_series(shop)),
        "pieces": _texts(source, "pieces", _pieces, lambda drums: not isinstance(drums, _Listed)),
        "condition": _texts(source, "condition", read_shop_grade(shop)),
        "price_kind": _texts(source, "price_kind", kind_reader("price_kind", PRICE_KINDS, shop)),
        "channel": _texts(source, "channel", kind_reader("channel", CHANNELS, shop)),
        "currency": _texts(source, "currency", currency_reader(shop), lambda codes: codes == (own,)),
        "date": _dates(source),
    }
    for name, kind in shop.prices.features.items():
        if kind != "number" and name in source.header.places:
            texts[name] = _texts(source, name, feature_reader(name, kind, words.get(name, {})))
    totals = _maybe_totals(texts["series"]) | (texts["pieces"].blank & texts["condition"].blank)
    counted = _counted(source, totals)
    numbers = {"price": _numbers(source, "price", read_amount, price_check, counted)}
    if "sold_for" in source.header.places:
        numbers["sold_for"] = _numbers(source, "sold_for", read_sold_for, sold_for_check, counted)
    numbers |= {
        "freight": _numbers(source, "freight", read_amount, freight_check, counted),
        "premium": _numbers(source, "premium", read_percent, percent_check, counted),
        "weight": _numbers(source, "weight", read_number, weight_check, counted),
    }
    for name, kind in shop.prices.features.items():
        if kind == "number" and name in source.header.places:
            numbers[name] = _numbers(source, name, feature_number, _any_number, counted)
    odd = any_odd([*texts.values(), *numbers.values()], len(fields)) | totals
    for name in ("series", "pieces", "condition"):
        odd |= texts[name].blank
    paid = _paid(numbers)
    asked = np.broadcast_to(np.float64(np.nan), len(paid))
    if "sold_for" in numbers:
        asked = np.where(paid, numbers["price"].values, np.nan)
        odd |= paid & _far_apart(numbers["price"].values, numbers["sold_for"].values)
        numbers["price"].values[paid] = numbers["sold_for"].values[paid]
    odd |= (numbers["price"].blank & ~paid) | _across(texts, numbers, paid)
    return Seen(texts, numbers, odd, days_proven(texts["date"], fields.rows), asked)


def _paid(numbers: dict[str, TallNumbers]) -> Mask:
    """Rows whose sold_for says anything."""
    found: Mask = ~numbers["sold_for"].blank if "sold_for" in numbers else np.zeros_like(numbers["price"].blank)
    return found


def _far_apart(asked: Floats, sold: Floats) -> Mask:
    """Rows whose two prices may be too far apart; the careful reader has the last word on them."""
    with np.errstate(invalid="ignore"):
        found: Mask = (asked > sold * FAR_APART * _NEARLY) | (sold > asked * FAR_APART * _NEARLY)
    return found


class _Listed(int):
    """A count of drums that a list of sizes gives; the careful reader has to say so."""


def _pieces(text: str) -> int | Refusal:
    drums = drums_listed(text)
    return read_pieces(text) if drums is None else _Listed(drums)


def _any_number(amount: Amount) -> Refusal | None:
    return None


def _texts(
    source: Source, name: str, parse: Callable[[str], object | None], fine: Callable[[object], bool] | None = None
) -> TallTexts:
    place = source.header.places.get(name)
    if place is None:
        return all_blank(len(source.fields))
    return tall_texts(source.fields, source.fields.cells(place), parse, fine)


def _dates(source: Source) -> TallTexts:
    place = source.header.places.get("date")
    if place is None:
        return all_blank(len(source.fields))
    return tall_dates(source.fields, source.fields.cells(place), source.shop.files.day_first)


def _numbers(
    source: Source,
    name: str,
    read: Callable[[str], Reading | None],
    check: Callable[[Amount], Refusal | None],
    counted: Mask,
) -> TallNumbers:
    place = source.header.places.get(name)
    if place is None:
        return no_numbers(len(source.fields))
    cells = source.fields.cells(place)
    return tall_numbers(
        source.fields, cells, read, check, source.shop.files.decimal, counted, source.shop.shop.currency
    )


def _maybe_totals(series: TallTexts) -> Mask:
    """Rows whose series is blank or names a total."""
    maybe = np.array([not trimmed(text) or says_total(trimmed(text)) for text in series.groups.texts])
    found: Mask = maybe[series.groups.codes]
    return found


def _counted(source: Source, maybe: Mask) -> Mask:
    """Rows that speak for a column: all but the totals."""
    counted = np.ones(len(maybe), dtype=bool)
    at = np.flatnonzero(maybe)
    if len(at):
        counted[at[list(totals_refusals(source.table(at)))]] = False
    return counted


def _across(texts: dict[str, TallTexts], numbers: dict[str, TallNumbers], paid: Mask) -> Mask:
    """Rows about which two cells together, or the price alone, leave something to say."""
    price, premium = numbers["price"].values, numbers["premium"]
    hammer = texts["price_kind"].by_row(lambda word: float(word == "hammer"), 0.0) == 1
    with np.errstate(invalid="ignore"):
        doubtful = np.isin(price, _DOUBTFUL) | (price < 1)
        unused = (premium.values > 0) & ~hammer
    found: Mask = doubtful | unused | (hammer & (premium.blank | paid))
    return found
