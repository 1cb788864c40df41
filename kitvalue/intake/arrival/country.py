"""Where a new shop lies, as the currency and the words of its sheet say, and what shop.toml says of that country."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from kitvalue.intake.text.languages import word_file
from kitvalue.intake.text.words import fold

_LANGUAGES: Final = ("en", "de", "fr", "nl", "it", "es")
_TABLES: Final = ("headers", "grades", "roles")
_NO_VAT: Final = "rate = 0           # percent: the sales tax of your own place; a buyer there pays it on top"
_SALES: Final = 'kind = "sales"     # your prices are without tax, and what you buy for resale bears none'
_OUTSIDE: Final = "union = false      # the shop lies outside the union; what comes from there is an import"
_EXPORT: Final = """[tax.destinations.{place}]
kind = "export"    # the buyer pays duty and VAT where he lives
duty = 0           # percent, on goods and freight
vat = {vat:<9}    # percent: the buyer's import VAT. Rates change: check
freight = 140.00   # to that place
clearance = 35.00  # what the carrier charges the buyer for customs
"""
_NEIGHBOUR: Final = ("[tax.destinations.DE]", "vat = 19", "[tax.destinations.AT]", "vat = 20")


@dataclass(frozen=True, slots=True)
class Country:
    """A shop's home: its code, currency and usual rate of VAT (None where there is none), whether it lies in the
    union, whether it writes the month first, and where its kits may be sent to -> what the buyer pays there in percent.
    """

    code: str
    currency: str
    vat: str | None = None
    union: bool = False
    month_first: bool = False
    places: Mapping[str, str] = field(default_factory=dict)
    prices: tuple[str, ...] = ()  # the least and the most of a price, where the currency's units are small


def language_of(texts: Iterable[str]) -> str:
    """The language of most words of a sheet, English where no other has more."""
    words = [word for text in texts for word in re.findall(r"[^\W\d_]+", fold(text[:200]))]

    def hits(language: str) -> int:
        tables = word_file(f"{language}.toml")
        known = {word for name in _TABLES for listed in tables.get(name, {}).values() for word in listed}
        return sum(word in known for word in words)

    return max(_LANGUAGES, key=hits)


def country_of(currency: str | None, language: str) -> Country | None:
    """The country that has a currency, of several the one that speaks a language; None where nothing tells."""
    homes = {code: home for code, home in word_file("countries.toml").items() if home["currency"] == currency}
    code = next((code for code, home in homes.items() if home.get("words") in (None, language)), None)
    if code is None:
        return None
    home = homes[code]
    return Country(
        code, home["currency"], home.get("vat"), home.get("union", False), home.get("month_first", False),
        home.get("places", {}), tuple(home.get("prices", ())),
    )  # fmt: skip


def with_country(text: str, home: Country) -> str:
    """The starter's shop.toml for a shop in a country."""
    text = re.sub(r'(?m)^currency = "[A-Z]{3}" ', f'currency = "{home.currency}" ', text)
    if home.prices:
        least, most = home.prices
        text = re.sub(r"(?m)^# least = 1 (.*)\n# most = .*$", rf"least = {least} \1\nmost = {most}", text)
    if home.vat is not None:
        line = f"rate = {home.vat:<9}# percent: your own VAT. The usual rate in {home.code}; check it."
        text = re.sub(r"(?m)^rate = \d+ +# percent: your own VAT\.", line, text)
    else:
        text = re.sub(r"(?m)^rate = \d+ +# percent: your own VAT.*$", _NO_VAT, text)
        text = re.sub(r'(?m)^kind = "vat" .*$', _SALES, text)
    text = re.sub(r"(?m)^vat = 23  +#", f"vat = {home.vat or 0:<16} #", text)
    if not home.union:
        text = re.sub(r"(?m)^union = true .*$", _OUTSIDE, text)
    first, end = text.index("[tax.destinations."), text.index("[work]")
    places = text[first:end]
    if not home.union:
        places = "\n".join(_EXPORT.format(place=place, vat=vat) for place, vat in home.places.items()) + "\n"
    elif home.code == "DE":  # the starter's example inside the union would be its own country
        there, rate, neighbour, its_rate = _NEIGHBOUR
        places = places.replace(there, neighbour).replace(rate, its_rate)
    return text[:first] + places + text[end:]
