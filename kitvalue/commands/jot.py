"""`jot`: a pasted advert, understood, and the row that it becomes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from kitvalue.commands.folder import ShopFolder, state_of
from kitvalue.commands.writing import OFFERS, PRICES, RATES
from kitvalue.intake.adverts.jot import (
    Jotted,
    NotJotted,
    book_values,
    offer_values,
    other_currencies,
)
from kitvalue.intake.adverts.paste import adverts_of
from kitvalue.intake.adverts.read import shop_lexicon, understand
from kitvalue.intake.adverts.text import NO_DAY, Taken, Understood
from kitvalue.intake.books.bookrows import Rates, read_rates
from kitvalue.intake.books.offers import offer_columns, read_offers
from kitvalue.intake.books.pricebook import wanted_columns
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.csvout import MARK
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.style import FileStyle, file_style, new_row
from kitvalue.intake.text.problems import Caution, KitvalueError, RefusedError, shown
from kitvalue.intake.text.words import fold, listed, trimmed

if TYPE_CHECKING:
    from kitvalue.decisions.verdict import Verdict

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

    Raises RefusedError for what is no offer of one kit and for a currency without a rate, FileError where the file
    cannot take a row.
    """
    shop, file = folder.shop, OFFERS if offer else PRICES
    before = folder.bytes_of(file)
    style, columns, data = _style(folder, (before or b"") if behind is None else behind.row.data, offer=offer)
    understood = understand(text, shop, _spellings(shop, style), today)
    if offer:
        _refuse_what_is_sold(understood)
    elif "date" in style.header.places and any(one.code == NO_DAY for one in understood.unknown):
        others = tuple(one for one in understood.unknown if one.code != NO_DAY)
        understood = replace(
            understood, taken=(*understood.taken, Taken("date", today.isoformat(), "")), unknown=others
        )
    told = None if offer else understood.value("date")
    _refuse_without_rate(folder, understood, today if told is None else dt.date.fromisoformat(told))
    values = offer_values(understood, shop, style) if offer else book_values(understood, shop, style.header)
    row = new_row(data, style, values, columns, shop.files)
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
    return file_style(data, OFFERS if offer else PRICES, columns, shop.files), columns, data


def _refuse_what_is_sold(understood: Understood) -> None:
    """Raise RefusedError for a kit that has gone already."""
    sold = next((one for one in understood.taken if one.field == "price_kind" and one.value == "sold"), None)
    if sold is not None:
        raise RefusedError(
            f"{shown(sold.words)}: the kit is sold, so it is no offer; jot without --offer notes its price"
        )


def _refuse_without_rate(folder: ShopFolder, understood: Understood, day: dt.date) -> None:
    """Raise RefusedError where `check` could not turn the price into the shop's currency on a day."""
    own, codes = folder.shop.shop.currency, other_currencies(understood, folder.shop)
    rates = read_rates(folder.path / RATES, folder.shop) if codes else Rates({})
    if not codes or rates.turning(codes, own, day) is not None:
        return
    price = shown(next(one.words for one in understood.taken if one.field == "price"))
    several = [code for code in codes if code in rates.by_currency]
    if len(several) > 1:
        raise RefusedError(f"{price} can be {listed(several, 4, last='or')}: write the code into the advert's text")
    raise RefusedError(
        f"{price} is in {listed(codes, 4, last='or')}, of which no rate is known: {RATES} is needed, with the columns "
        f"date,currency,rate and a row for {day.isoformat()} or a day before, what one costs in {own}; or write the "
        f"price in {own} into the advert"
    )


def offer_verdicts(folder: ShopFolder, noted: Sequence[Jotted]) -> dict[int, Verdict]:
    """What to do about each offer that was noted, by its row, read as the file will be once it is written. None
    where the shop has no price book, or nothing to judge by.
    """
    from kitvalue.decisions.offered import grounds_of, shortlisted
    from kitvalue.decisions.verdict import Verdict

    if not folder.has(PRICES):
        return {}
    with TemporaryDirectory() as place, suppress(KitvalueError):
        path = Path(place) / OFFERS
        path.write_bytes(noted[-1].row.data)
        if (rates := folder.bytes_of(RATES)) is not None:
            (Path(place) / RATES).write_bytes(rates)
        rows = {one.row.row for one in noted}
        offers = [offer for offer in read_offers(path, folder.shop, folder.today).rows if offer.row in rows]
        parts = None if folder.parts is None else folder.parts.rows
        judged = shortlisted(grounds_of(folder.shop, folder.market.fit, None, parts, None), offers).judged
        found = {one.offer.row: one.verdict for one in judged}
        why = "the row is not complete yet"
        return {row: found.get(row, Verdict("unknown", f"No verdict: {why}.", None, why)) for row in sorted(rows)}
    return {}


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
    kind, places = values.get("price_kind", "asked"), style.header.places
    if kind == "hammer" and "premium" not in values:
        lacking.append("premium")
    untold = kind != "asked" and "sold_for" not in values and "price_kind" not in places
    if "price" in lacking and (untold or (offer and kind == "hammer")):
        lacking.remove("price")
    if not offer and other_currencies(understood, shop) and not {"date"} <= values.keys() & places.keys():
        lacking.append("date")  # which its rate is found by
    if lacking:
        verb = "are" if len(lacking) > 1 else "is"
        yield Caution("needed", f"{listed(lacking)} {verb} needed: the row counts once you have filled that in")
    if untold:
        text = (
            f"{style.file} has no column price_kind, so a price that is {kind} would count as asked, and is not written"
        )
        yield Caution("no_price_kind", f"{text}: add price_kind, and premium, behind its last header")
    if any(one.field == "date" and not one.words for one in understood.taken):
        yield Caution("today", f"the advert names no day, so today's is written: {values['date']}")
    said = values if offer else {one.field: one.value for one in understood.taken if one.words and one.field != "vat"}
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
