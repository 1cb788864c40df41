"""Drum sizes as shops write them: `22x16`, `22"/16"`, `13 x 7 1/4`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.problems import FileError, shown
from kitvalue.intake.words import Refusal, visible

MM_PER_INCH: Final = Decimal("25.4")  # exact since the agreement of 1 July 1959
_LONGEST: Final = 60
_LEAST: Final = Decimal(2)
_WIDEST: Final = Decimal(40)
_DEEPEST: Final = Decimal(30)
_FRACTIONS: Final = {"¼": " 1/4", "½": " 1/2", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
_INCH: Final = r"(?: ?(?:''|[\"“”„″‟＂]|’’|inch(?:es)?|in\.?|zoll|\"\"))?"
_NUMBER: Final = r"(\d{1,3}(?:[.,]\d{1,4})?)(?:[ -](\d{1,2})/(\d{1,2}))?"
_SIZE: Final = re.compile(rf"{_NUMBER}{_INCH} ?(?:[xX×✕*/]|by) ?{_NUMBER}{_INCH}", re.IGNORECASE)
_DIAMETER: Final = rf"\d{{1,2}}{_INCH}"
_DIAMETERS: Final = re.compile(rf"{_DIAMETER}(?:(?: ?[-–/,;+&] ?| ){_DIAMETER})+", re.IGNORECASE)
_NARROWEST_ALONE: Final = 6  # inches: a lone number that is a diameter lies between these two
_WIDEST_ALONE: Final = 28
_METRIC: Final = re.compile(r"(?:mm|cm)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Size:
    """One drum's shell, inches."""

    diameter: Decimal
    depth: Decimal

    @property
    def diameter_mm(self) -> Decimal:
        return self.diameter * MM_PER_INCH

    @property
    def depth_mm(self) -> Decimal:
        return self.depth * MM_PER_INCH


def read_size(text: str, order: str = "diameter-depth") -> Size | Refusal:
    """One size, its two numbers in the given `order` ("diameter-depth" or "depth-diameter")."""
    if len(text) > _LONGEST:
        return Refusal("not_a_size", "is too long for a drum size", 'write diameter and depth, such as "22x16"')
    plain = visible(text)
    for sign, fraction in _FRACTIONS.items():
        plain = plain.replace(sign, fraction)
    plain = re.sub(r" {2,}", " ", plain)
    if not plain:
        return Refusal("empty", "is empty")
    if _METRIC.search(plain):
        return Refusal("not_inches", "is in centimetres or millimetres", 'write inches, such as "22x16"')
    found = _SIZE.fullmatch(plain)
    if found is None:
        return Refusal("not_a_size", "is no drum size", 'write diameter and depth, such as "22x16"')
    one, two = _inches(found[1], found[2], found[3]), _inches(found[4], found[5], found[6])
    if one is None or two is None:
        return Refusal("not_a_size", "has a fraction that is none", 'write it as "13 x 7 1/4" or "13x7.25"')
    return _sound(Size(one, two) if order == "diameter-depth" else Size(two, one), order)


def bare_diameters(text: str) -> tuple[int, ...]:
    """The diameters in a text that is nothing but two or more of them, as adverts give a kit ("22/16/12"): whole
    inches from 6 to 28. () for any other text.
    """
    plain = re.sub(r"\s+", " ", visible(text))
    if _DIAMETERS.fullmatch(plain) is None:
        return ()
    inches = tuple(int(number) for number in re.findall(r"\d+", plain))
    return inches if all(_NARROWEST_ALONE <= one <= _WIDEST_ALONE for one in inches) else ()


def _inches(whole: str, top: str | None, bottom: str | None) -> Decimal | None:
    number = Decimal(whole.replace(",", "."))
    if top is None or bottom is None:
        return number
    if int(bottom) not in (2, 4, 8, 16) or not 0 < int(top) < int(bottom) or number != number.to_integral_value():
        return None
    return number + Decimal(top) / Decimal(bottom)


def _sound(size: Size, order: str) -> Size | Refusal:
    if not _LEAST <= size.diameter <= _WIDEST:
        return Refusal("size_range", f"has a diameter outside {_LEAST} to {_WIDEST} inches", _order_hint(order))
    if not _LEAST <= size.depth <= _DEEPEST:
        return Refusal("size_range", f"has a depth outside {_LEAST} to {_DEEPEST} inches", _order_hint(order))
    return size


def _order_hint(order: str) -> str:
    return f"sizes are read in inches as {order} ([shop] size_order)"


def bass_order_refusal(size: Size, order: str) -> Refusal | None:
    """A bass drum deeper than wide: most likely its two numbers stand in the other order."""
    if size.depth <= size.diameter:
        return None
    other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
    return Refusal(
        "size_order",
        f"would be a bass drum deeper than wide when read as {order}",
        f'swap its numbers, or set size_order = "{other}" under [shop] if all sizes are written so',
    )


def parse_size(text: str, order: str = "diameter-depth") -> Size:
    """As `read_size`, for callers that hold a checked text. Raises FileError where the text is no size."""
    read = read_size(text, order)
    if isinstance(read, Refusal):
        raise FileError(read.message(shown(text), 'write diameter and depth, such as "22x16"'))
    return read
