"""Small invented shops for the tests of this folder."""

from __future__ import annotations

from pathlib import Path

from kitvalue.intake.books.pricebook import PriceReading, read_pricebook
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.text.problems import Level, Problem
from tests import TODAY

SETTINGS = """
[shop]
name = "Dock Road Drums"
currency = "EUR"

[prices.columns]
price_kind = "status"

[prices.words.condition]
good = "freshen"
fair = "3"

[prices.words.channel]
forum = "private"
shop = "dealer"

[series.Burren]
part = "donor"
also = ["Burren MkI"]

[series.Slane]
[series.Inishmore]
part = "original"

[work]
rate = 42.00

[work.hours]
edge = 0.5
wrap = 1.5
"""

HEADER = "date;series;pieces;condition;price;status;channel;currency;freight;note"


def shop_in(folder: Path, settings: str = SETTINGS) -> Shop:
    """A shop whose shop.toml holds these settings."""
    folder.joinpath("shop.toml").write_text(settings, encoding="utf-8")
    return read_shop(folder)


def read_bytes(folder: Path, data: bytes, settings: str = SETTINGS) -> PriceReading:
    """What comes of a price book with these bytes."""
    shop = shop_in(folder, settings)
    path = folder / "prices.csv"
    path.write_bytes(data)
    return read_pricebook(path, shop, TODAY)


def read_rows(folder: Path, *rows: str, header: str = HEADER, settings: str = SETTINGS) -> PriceReading:
    """What comes of a price book with this header and these rows."""
    return read_bytes(folder, "\r\n".join([header, *rows, ""]).encode(), settings)


def kit(price: str = "480", **cells: str) -> str:
    """One sound row under HEADER, with some cells changed."""
    row = {
        "date": "2024-04-03", "series": "Burren", "pieces": "4", "condition": "good", "price": price, "status": "sold",
        "channel": "forum", "currency": "EUR", "freight": "25", "note": "",
    } | cells  # fmt: skip
    return ";".join(row.values())


def refused(reading: PriceReading) -> list[Problem]:
    """The problems that refuse single rows."""
    return [problem for problem in reading.problems if problem.level is Level.REFUSED]


def warned(reading: PriceReading, code: str) -> list[Problem]:
    """The warnings of one kind."""
    return [problem for problem in reading.problems if problem.level is Level.WARNING and problem.code == code]


def whole_file(reading: PriceReading) -> Problem:
    """The one problem for which a file is refused as a whole."""
    assert reading.book is None
    assert reading.counts.used == 0
    assert reading.rows_as_read == ()
    (problem,) = [problem for problem in reading.problems if problem.level is Level.FILE]
    return problem
