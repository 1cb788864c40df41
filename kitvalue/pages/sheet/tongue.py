"""One language of the customer's sheet: its texts, and how it writes numbers, money and dates."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from importlib import resources
from math import gcd
from typing import Any

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.numbers import format_currency, format_decimal, format_percent

from kitvalue.intake.text.problems import FileError, shown
from kitvalue.intake.text.words import listed
from kitvalue.pages.figures import MINUS, NBSP
from kitvalue.pages.tables import Column, Row, Table, table

PLACE = resources.files("kitvalue.pages") / "languages"


@dataclass(frozen=True, slots=True, eq=False)
class Tongue:
    """A language's texts by dotted key and its locale. `currency` is ISO 4217."""

    code: str
    texts: Mapping[str, str]
    numbers: tuple[str, ...]
    locale: Locale
    currency: str

    def say(self, key: str, **values: object) -> str:
        """A text with its values set in; values are never read for braces of their own."""
        return self.texts[key].format(**values)

    def count(self, key: str, how_many: int | Decimal, **values: object) -> str:
        """`one` or `other` of a table of texts, with `n` in this language's digits."""
        form = self.locale.plural_form(how_many)
        return self.say(f"{key}.{form}", n=self.number(how_many), **values)

    def number(self, value: int | float | Decimal, decimals: int = 0) -> str:
        """A figure with at most so many decimals."""
        pattern = "#,##0" + ("." + "#" * decimals if decimals else "")
        return format_decimal(_rounded(value, decimals), format=pattern, locale=self.locale).replace("-", MINUS)

    def exact(self, value: Decimal) -> str:
        """A price as set: cents only where it has any."""
        return self.cents(value, whole=value == value.to_integral_value())

    def about(self, value: Decimal | float) -> str:
        """An estimate of money, in whole units."""
        return self.cents(_rounded(value, 0), whole=True)

    def cents(self, value: Decimal, whole: bool = False) -> str:
        """Money to the cent, or a whole amount without cents."""
        pattern = self.locale.currency_formats["standard"].pattern.replace(".00", "" if whole else ".00")
        written = format_currency(value, self.currency, format=pattern, locale=self.locale, currency_digits=False)
        return written.replace("-", MINUS).replace(" ", NBSP)

    def percent(self, value: Decimal | float) -> str:
        """`value` in percent, to a tenth."""
        pattern = str(self.locale.percent_formats[None].pattern).replace("#,##0", "#,##0.#")
        return format_percent(_rounded(value, 1) / 100, format=pattern, locale=self.locale).replace("-", MINUS)

    def day(self, when: date) -> str:
        """A day, the month in words."""
        return format_date(when, format="long", locale=self.locale).replace(" ", NBSP, 1)

    def month(self, when: date) -> str:
        """A month and its year in figures."""
        return format_skeleton("yMM", when, locale=self.locale)

    def listed(self, names: Sequence[str]) -> str:
        """`a, b and c`."""
        if len(names) < 2:
            return "".join(names)
        return self.say("and", first=", ".join(names[:-1]), last=names[-1])

    def table(self, part: str, caption: str, heads: str, rows: Sequence[Row]) -> Table:
        """A table whose texts are those of `part`; columns of words have `<` behind their head, others hold figures."""
        heading = [Column(self.say(f"{part}.{h.rstrip('<')}"), "w" if "<" in h else "n") for h in heads.split()]
        return table(self.say(f"{part}.{caption}"), heading, rows)

    def share(self, left: int, of: int) -> str:
        """How many of so many lie below, in words: `two in five`."""
        if left == 0 or left == of:
            return self.say("share.few" if left == 0 else "share.all")
        if 2 * left == of:
            return self.say("share.half")
        common = gcd(left, of)
        key = "share.one" if left == common else "share.some"
        return self.say(key, n=self.numbers[left // common], of=self.numbers[of // common])


def _rounded(value: int | float | Decimal, decimals: int) -> Decimal:
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP) + 0


def languages() -> tuple[str, ...]:
    """The codes of the languages that there are, sorted: one file each."""
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in PLACE.iterdir() if entry.name.endswith(".toml")))


def tongue(code: str, currency: str) -> Tongue:
    """The language of this code. Raises FileError naming those there are."""
    if code not in languages():
        raise FileError(f"--lang {shown(code)}: there is no such language; write {listed(languages(), last='or')}")
    table = tomllib.loads((PLACE / f"{code}.toml").read_text(encoding="utf-8"))
    numbers = tuple(table.pop("numbers"))
    return Tongue(code, dict(_flat(table)), numbers, Locale.parse(table["locale"]), currency)


def _flat(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, str]]:
    """The texts of a table by dotted key."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield prefix + key, value
