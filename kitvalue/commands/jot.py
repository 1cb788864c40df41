"""`jot`: a pasted advert, understood, and the row that it becomes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from kitvalue.commands.folder import ShopFolder, state_of
from kitvalue.commands.writing import OFFERS, PRICES
from kitvalue.intake.adverts.jot import book_values, offer_values
from kitvalue.intake.adverts.read import understand
from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.books.offers import offer_columns
from kitvalue.intake.books.pricebook import wanted_columns
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.csvout import MARK
from kitvalue.intake.tables.style import FileStyle, NewRow, file_style, new_row
from kitvalue.intake.text.problems import Caution, shown
from kitvalue.intake.text.words import fold, listed, trimmed

_DEFAULTS: Final = {"price_kind": "asked", "channel": "private", "bought_from": "private"}  # of a blank
_LONGEST_NAME: Final = 100  # characters of a series
_MOST_NOT_USED: Final = 8  # phrases that are told
_NEEDED: Final = ("series", "pieces", "condition", "price")


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


def jot(folder: ShopFolder, text: str, today: dt.date, *, offer: bool) -> Jotted:
    """Understand an advert and make its row for prices.csv, or offers.csv with `offer`; nothing is written.

    Raises RefusedError for what is no offer of one kit, FileError where the file cannot take a row.
    """
    shop, file = folder.shop, OFFERS if offer else PRICES
    columns = offer_columns(shop) if offer else wanted_columns(shop)
    before = folder.bytes_of(file)
    data = before or b""
    if not data:  # sold_for only where it is mapped: where that column stands, a price does not tell what was paid
        sign = shop.files.delimiter or (";" if shop.files.decimal == "," else ",")
        own = [name for name in (*columns.required, *columns.optional) if name != "sold_for" or name in columns.headers]
        header = f"{sign.join(columns.headers.get(name, name) for name in own)}\r\n"
        data = header.encode(shop.files.encoding) if shop.files.encoding else f"{MARK}{header}".encode()
    style = file_style(data, file, columns, shop.files)
    understood = understand(text, shop, _spellings(shop, style), today)
    values = offer_values(understood, shop, style) if offer else book_values(understood, shop, style.header)
    row = new_row(data, style, values, columns, shop.files)
    return Jotted(file, state_of(before), understood, row, tuple(_notices(understood, values, style, shop, offer)))


def write_jotted(folder: ShopFolder, jotted: Jotted) -> None:
    """Set a row behind its file. Raises FileError where the file has changed since or cannot be written."""
    folder.change({jotted.file: jotted.row.data}, {jotted.file: jotted.state})


def _spellings(shop: Shop, style: FileStyle) -> dict[str, str]:
    """Every way to write a series -> the shop's own; without a list in shop.toml the names that the file holds."""
    if shop.series:
        return {spelling: name for name, table in shop.series.items() for spelling in (name, *table.also)}
    place = style.header.places["series"]
    names: dict[str, str] = {}
    for row in style.rows.values():
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
    if ref is not None and place is not None and any(trimmed(row[place]) == ref for row in style.rows.values()):
        yield Caution("in_the_book", f"{ref} is in the book already: of a listing's rows only the latest counts")
    if understood.not_used:
        phrases = listed((shown(phrase) for phrase in understood.not_used), _MOST_NOT_USED)
        yield Caution("not_used", f"not used: {phrases}")
