"""`jot`: a pasted advert, understood, and the row that it becomes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Final

from kitvalue.commands.folder import ShopFolder, state_of
from kitvalue.commands.writing import OFFERS, PRICES
from kitvalue.intake.adverts.jot import (
    FileStyle,
    Jotted,
    NotJotted,
    book_values,
    file_style,
    new_row,
    offer_values,
)
from kitvalue.intake.adverts.paste import adverts_of
from kitvalue.intake.adverts.read import shop_lexicon, understand
from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.books.offers import offer_columns
from kitvalue.intake.books.pricebook import wanted_columns
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.csvout import MARK
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.text.problems import Caution, RefusedError, shown
from kitvalue.intake.text.words import fold, listed, trimmed

_DEFAULTS: Final = {"price_kind": "asked", "channel": "private", "bought_from": "private"}  # of a blank
_LONGEST_NAME: Final = 100  # characters of a series
_BEGINNING: Final = 60  # characters by which an advert is told from others
_MOST_NOT_USED: Final = 8  # phrases that are told
_NEEDED: Final = ("series", "pieces", "condition", "price")


def jot_each(folder: ShopFolder, text: str, today: dt.date, *, offer: bool) -> tuple[Jotted | NotJotted, ...]:
    """What `jot` makes of each advert of a paste, every row behind the one before it; the last row's data has all.

    Raises RefusedError where none is an offer of one kit, FileError where the file cannot take a row.
    """
    shop = folder.shop
    style = _style(folder, folder.bytes_of(OFFERS if offer else PRICES) or b"", offer=offer)[0]
    adverts = adverts_of(text, shop, _spellings(shop, style), shop_lexicon(shop))
    told: list[Jotted | NotJotted] = []
    last: Jotted | None = None
    for advert in adverts:
        try:
            last = jot(folder, advert, today, offer=offer, behind=last)
            told.append(last)
        except RefusedError as error:
            told.append(NotJotted(shown(" ".join(advert.split())[:_BEGINNING]), str(error)))
            if len(adverts) == 1:
                raise
    if last is None:
        whys = "; ".join(f"{at}: {one.why}" for at, one in enumerate(told, 1) if isinstance(one, NotJotted))
        raise RefusedError(f"none of {len(adverts)} adverts can be noted ({whys})")
    return tuple(told)


def jot(folder: ShopFolder, text: str, today: dt.date, *, offer: bool, behind: Jotted | None = None) -> Jotted:
    """Understand an advert and make its row for prices.csv, or offers.csv with `offer`; nothing is written. `behind`:
    a row that is not written yet and stands before it.

    Raises RefusedError for what is no offer of one kit, FileError where the file cannot take a row.
    """
    shop, file = folder.shop, OFFERS if offer else PRICES
    before = folder.bytes_of(file)
    style, columns, data = _style(folder, (before or b"") if behind is None else behind.row.data, offer=offer)
    understood = understand(text, shop, _spellings(shop, style), today)
    values = offer_values(understood, shop, style) if offer else book_values(understood, shop, style.header)
    row = new_row(data, style, values, columns, shop)
    state = state_of(before) if behind is None else behind.state
    return Jotted(file, state, understood, row, tuple(_notices(understood, values, style, shop, offer)))


def _style(folder: ShopFolder, data: bytes, *, offer: bool) -> tuple[FileStyle, WantedColumns, bytes]:
    """How the file writes its rows, its columns, and its bytes; an empty file gets its row of headers."""
    shop = folder.shop
    columns = offer_columns(shop) if offer else wanted_columns(shop)
    if not data:  # sold_for only where it is mapped: where that column stands, a price does not tell what was paid
        sign = shop.files.delimiter or (";" if shop.files.decimal == "," else ",")
        own = [name for name in (*columns.required, *columns.optional) if name != "sold_for" or name in columns.headers]
        header = f"{sign.join(columns.headers.get(name, name) for name in own)}\r\n"
        data = header.encode(shop.files.encoding) if shop.files.encoding else f"{MARK}{header}".encode()
    return file_style(data, OFFERS if offer else PRICES, columns, shop), columns, data


def write_jotted(folder: ShopFolder, jotted: Jotted) -> None:
    """Set a row behind its file. Raises FileError where the file has changed since or cannot be written."""
    folder.change({jotted.file: jotted.row.data}, {jotted.file: jotted.state})


def _spellings(shop: Shop, style: FileStyle) -> dict[str, str]:
    """Every way to write a series -> the shop's own; without a list in shop.toml the names that the file holds."""
    if shop.series:
        return {spelling: name for name, table in shop.series.items() for spelling in (name, *table.also)}
    place = style.header.places["series"]
    names: dict[str, str] = {}
    for row in style.rows:
        if 0 < len(trimmed(row[place])) <= _LONGEST_NAME:
            names.setdefault(fold(row[place]), trimmed(row[place]))
    return {name: name for name in names.values()}


def _notices(
    understood: Understood, values: dict[str, str], style: FileStyle, shop: Shop, offer: bool
) -> Iterator[Caution]:
    """What the row lacks, and what has no column in the file."""
    lacking = [name for name in _NEEDED if name not in values and not (name == "price" and "sold_for" in values)]
    if values.get("price_kind") == "hammer" and "premium" not in values:
        lacking.append("premium")
    if lacking:
        verb = "are" if len(lacking) > 1 else "is"
        yield Caution("needed", f"{listed(lacking)} {verb} needed: the row counts once you have filled that in")
    if offer and (understood.value("currency") or shop.shop.currency) != shop.shop.currency:
        yield Caution("other_currency", f"offers are in {shop.shop.currency}: write the price in it")
    said = values if offer else {one.field: one.value for one in understood.taken}
    if "sold_for" in values:  # which says that it was sold, and for how much
        said = {name: value for name, value in said.items() if name not in ("price", "price_kind")}
    lost = [
        name
        for name, value in said.items()
        if name not in style.header.places and name not in ("note", "currency") and _DEFAULTS.get(name) != value
    ]
    if lost:
        yield Caution("no_column", f"{style.file} has no column {listed(lost, last='or')}, so that is not written")
    ref, place = understood.value("ref"), style.header.places.get("ref")
    if ref is not None and place is not None and any(trimmed(row[place]) == ref for row in style.rows):
        yield Caution("in_the_book", f"{ref} is in the book already: of a listing's rows only the latest counts")
    if understood.not_used:
        phrases = listed((shown(phrase) for phrase in understood.not_used), _MOST_NOT_USED)
        yield Caution("not_used", f"not used: {phrases}")
