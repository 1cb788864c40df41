"""What an advert says, as values for the columns of a file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import count
from typing import Final

from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.books.offers import offer_features
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import shop_grades
from kitvalue.intake.tables.headers import Header
from kitvalue.intake.tables.style import FileStyle, NewRow, written_money
from kitvalue.intake.text.languages import pattern
from kitvalue.intake.text.lexicon import said
from kitvalue.intake.text.numbers import meanings
from kitvalue.intake.text.problems import Caution
from kitvalue.intake.text.sizes import size_text
from kitvalue.intake.text.words import fold, trimmed

_COUNTED: Final = re.compile(r"(.*?)(\d{0,8})")
_COUNTING: Final = pattern(rf"(?:[^\W\d_]{{0,2}}|{said('kit')})[ ._#-]*")  # D12, kit 7, but not harbour2
_LONGEST_COUNT: Final = 3  # digits; more of them are somebody's own number
_WORD: Final = re.compile(r"[^\W\d_]{2,20}")
_TELLING: Final = 4  # letters of a word that is surely no article
_SHORTENED: Final = 3  # letters that are enough to stand for a series
_NAMELESS: Final = "k"  # for a kit whose series is not known


def next_name(names: Iterable[str], series: str | None, others: Iterable[str]) -> str:
    """A name that no offer has yet. A count (D12) goes on (D13); where offers are named after series, and where there
    is no count, it is a word of the kit's own series, with a number if it is taken. No other name is gone on with: of
    harbour2 and a listing's number the next one would be a lie. `others`: the shop's other series.
    """
    taken = [(m[1], m[2]) for name in names if (m := _COUNTED.fullmatch(trimmed(name)))]
    foreign = {word for name in others for word in _WORD.findall(fold(name))}
    words = _WORD.findall(fold(series or ""))
    own = [word for word in words if word not in foreign] or words
    known = {*own, *foreign}
    of_series = []  # names that are without their number a word of a series, or the beginning of one
    for stem in (fold(stem) for stem, _ in taken):
        plain = stem.strip(" -_")
        if plain in known or (len(plain) >= _SHORTENED and any(word.startswith(plain) for word in known)):
            of_series.append(stem)
    counts = (
        (stem, number)
        for stem, number in reversed(taken)
        if 0 < len(number) <= _LONGEST_COUNT and _COUNTING.fullmatch(stem)
    )
    counted = next(counts, None)
    if counted is not None and not of_series:
        return _free(counted[0], int(counted[1]) + 1, len(counted[1]), taken)
    again = next((stem for stem in reversed(of_series) if stem in own), None)
    word = again or next((word for word in own if len(word) >= _TELLING), own[0] if own else None)
    if word is None:
        return _free(_NAMELESS, 1, 1, taken)
    numbers = [int(number or 1) for stem, number in taken if fold(stem) == word]
    return _free(word, 1 + max([1, *numbers]), 1, taken) if numbers else str(word)


def _free(stem: str, number: int, width: int, taken: Sequence[tuple[str, str]]) -> str:
    """The stem with the first number from `number` on that no offer has."""
    folded = {fold(f"{one}{n}") for one, n in taken}
    return next(name for n in count(number) if fold(name := f"{stem}{n:0{width}d}") not in folded)


_OF_OFFERS: Final = ("series", "pieces", "condition", "price", "price_kind", "premium", "freight", "note")


@dataclass(frozen=True, slots=True, eq=False)
class Jotted:
    """An advert's row, ready to be written into the file of that name, whose `state` it was made from.

    `notices` say what the row lacks, and what is said in the advert and has no place in the row.
    """

    file: str
    state: str
    understood: Understood
    row: NewRow
    notices: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class NotJotted:
    """An advert of several that is no offer of one kit: how it begins, and why."""

    begins: str
    why: str


def book_values(understood: Understood, shop: Shop, header: Header) -> dict[str, str]:
    """The advert's values for the price book's columns. A grade is written as the shop's files take it: its own number
    or our word where shop.toml maps our numbers to others, and none where nothing says it.
    """
    values = {one.field: one.value for one in understood.taken}
    if "condition" in values:
        written = shop_grades(shop).written(Decimal(values.pop("condition")))
        values |= {} if written is None else {"condition": written}
    if "price" in values:
        unit = _unit(understood, shop, header)
        if unit is None:  # better no price than one in the shop's own money
            del values["price"]
        elif unit:
            values["price"] = f"{written_money(values['price'])} {unit}"
    if values.get("price_kind") == "sold" and "sold_for" in header.places:  # what was paid stands there
        values = {("sold_for" if name == "price" else name): value for name, value in values.items()}
    sizes = " ".join(size_text(size, shop.shop.size_order) for size in understood.sizes)
    if sizes and "note" in values:
        values["note"] = values["note"].replace(" ".join(map(size_text, understood.sizes)), sizes)
    return _without_kind(values, header)


def _unit(understood: Understood, shop: Shop, header: Header) -> str | None:
    """What a price in another currency carries in its own cell where no currency column says it: its code, or the
    advert's sign where that can mean several; "" for the shop's own money, None where the sign is not found.
    """
    code = understood.value("currency")
    if code is not None:
        return "" if code == shop.shop.currency or "currency" in header.places else code
    if not any(one.field == "currency" and "can be" in one.reason for one in understood.unknown):
        return ""
    return _sign(understood)


def _sign(understood: Understood) -> str | None:
    """The sign or name beside the price that can mean several currencies."""
    price = next((one.words for one in understood.taken if one.field == "price"), "")
    signs = re.findall(r"[^\W\d_]+\.?|[^\w\s.,'()-]", price)
    return next((sign for sign in signs if len(meanings(sign)) > 1), None)


def other_currencies(understood: Understood, shop: Shop) -> tuple[str, ...]:
    """What currencies the price can be in, if not in the shop's own; () if it is, and without a price."""
    code, own = understood.value("currency"), shop.shop.currency
    codes = meanings(_sign(understood) or "") if code is None else (code,)
    return () if own in codes else codes


def _without_kind(values: Mapping[str, str], header: Header) -> dict[str, str]:
    """The values without a price whose kind the file has no column for: it would count as asked."""
    told = "price_kind" in header.places or values.get("price_kind", "asked") == "asked"
    return {name: value for name, value in values.items() if told or name != "price"}


def offer_values(understood: Understood, shop: Shop, style: FileStyle) -> dict[str, str]:
    """The advert's values for the offers' columns, under a name that is free. Where a premium is due it is a lot."""
    known = (*_OF_OFFERS, *offer_features(shop))
    values = {name: value for name, value in book_values(understood, shop, style.header).items() if name in known}
    series = values.get("series")
    every = shop.series or style.column("series")
    others = [name for name in every if series is None or fold(name) != fold(series)]
    values["offer"] = next_name(style.column("offer"), series, others)
    if understood.sizes and str(len(understood.sizes)) == values.get("pieces"):
        values["sizes"] = " ".join(size_text(size, shop.shop.size_order) for size in understood.sizes)
        if "sizes" in style.header.places and "note" in values:
            values["note"] = values["note"].replace(values["sizes"], "").strip("; ")
    unit = values.get("price", "").partition(" ")[2]
    if unit and "freight" in values:
        values["freight"] = f"{written_money(values['freight'])} {unit}"
    if "premium" in values or ("price" not in values and understood.value("channel") == "auction"):
        values["price_kind"] = "hammer"
    if understood.haggle == "fixed" and values.get("price_kind") != "hammer":
        values["haggle"] = "fixed"
    channel, vat = understood.value("channel") or "", understood.value("vat")
    source = {"private": "private", "dealer": "trade"}.get(channel, None if vat is None else "trade")
    if vat is not None and source == "trade":  # nobody else has an invoice that says so
        values["vat"] = vat
    return _without_kind(values, style.header) | ({"bought_from": source} if source else {})
