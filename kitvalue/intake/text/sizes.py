"""Drum sizes as shops write them: `22x16`, `22"/16"`, `13 x 7 1/4`."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.text.languages import any_of, pattern, word_lists, word_numbers
from kitvalue.intake.text.numbers import TwoReadings, plain, read_number
from kitvalue.intake.text.problems import shown
from kitvalue.intake.text.words import MOST_PIECES, Refusal, fold, trimmed, visible

MM_PER_INCH: Final = Decimal("25.4")  # exact since the agreement of 1 July 1959
PI: Final = Decimal("3.14159265358979323846264338")
_MM2_PER_M2: Final = Decimal(1_000_000)
_LONGEST: Final = 60
_LEAST: Final = Decimal(2)
_WIDEST: Final = Decimal(40)
_DEEPEST: Final = Decimal(30)
_FRACTIONS: Final = {"¼": " 1/4", "½": " 1/2", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
INCHES: Final = (
    "inch(?:es)?|zoll|pouces?|pulgadas?|pollici|duim"  # here, for sizes are read without the languages' files
)
_INCH: Final = rf"(?: ?(?:''|[\"“”„″‟＂]|’’|{INCHES}|in\.?|\"\"))?"
_NUMBER: Final = r"(\d{1,3}(?:[.,]\d{1,4})?)(?:[ -](\d{1,2})/(\d{1,2}))?"
_SIZE: Final = pattern(rf"{_NUMBER}{_INCH} ?(?:[xX×✕*/]|by) ?{_NUMBER}{_INCH}")
_DIAMETER: Final = rf"\d{{1,2}}{_INCH}"
_DIAMETERS: Final = pattern(rf"{_DIAMETER}(?:(?: ?[-–/,;+&] ?| ){_DIAMETER})+")
_NARROWEST_ALONE: Final = 6  # inches: a lone number that is a diameter lies between these two
_WIDEST_ALONE: Final = 28
_METRIC: Final = pattern(r"(?:mm|cm)\b")


@dataclass(frozen=True, slots=True)
class Size:
    """One drum's shell, inches, taken as a cylinder of its nominal size; its inside counts as its outside."""

    diameter: Decimal
    depth: Decimal

    @property
    def diameter_mm(self) -> Decimal:
        return self.diameter * MM_PER_INCH

    @property
    def depth_mm(self) -> Decimal:
        return self.depth * MM_PER_INCH

    @property
    def circumference_mm(self) -> Decimal:
        return PI * self.diameter_mm

    @property
    def area_m2(self) -> Decimal:
        return self.circumference_mm * self.depth_mm / _MM2_PER_M2


def size_text(size: Size, order: str = "diameter-depth") -> str:
    """`22x16`, its two numbers in the given order."""
    one, two = plain(size.diameter), plain(size.depth)
    return f"{one}x{two}" if order == "diameter-depth" else f"{two}x{one}"


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
    m = _SIZE.fullmatch(plain)
    if m is None:
        return Refusal("not_a_size", "is no drum size", 'write diameter and depth, such as "22x16"')
    one, two = _inches(m[1], m[2], m[3]), _inches(m[4], m[5], m[6])
    if one is None or two is None:
        return Refusal("not_a_size", "has a fraction that is none", 'write it as "13 x 7 1/4" or "13x7.25"')
    size = Size(one, two) if order == "diameter-depth" else Size(two, one)
    for name, inches, most in (("diameter", size.diameter, _WIDEST), ("depth", size.depth, _DEEPEST)):
        if not _LEAST <= inches <= most:
            cure = f"sizes are read in inches as {order} ([shop] size_order)"
            return Refusal("size_range", f"has a {name} outside {_LEAST} to {most} inches", cure)
    return size


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


def bass_order_refusal(size: Size, order: str) -> Refusal | None:
    """A bass drum deeper than wide: most likely its two numbers stand in the other order."""
    if size.depth <= size.diameter:
        return None
    return Refusal("size_order", f"would be a bass drum deeper than wide when read as {order}", _turned("its", order))


def _turned(whose: str, order: str) -> str:
    other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
    return f'swap {whose} numbers, or set size_order = "{other}" under [shop] if all sizes are written so'


_FRACTION: Final = r"(?:1/2|[13]/4|[1357]/8)(?!\d)"  # belongs to the number before it
_LONGEST_KITSIZES: Final = 1000
_LEAST_BASS: Final = 18  # inches: no drum is deeper than wide and as deep as that
_SIGNS: Final = re.compile(r"\s*(?:[x×X*/]|by)\s*")
_CROSSES: Final = re.compile(r"\s*(?:[x×X*]|by)\s*")
_CROSS: Final = re.compile(r"\d\s*[\"”″]?\s*[x×X*]\s*\d")  # then a stroke parts drums: "24x14/14x10"


@dataclass(frozen=True, slots=True)
class Diameters:
    """The diameters of a kit's drums, inches, of which no depth is told."""

    inches: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SizesCell:
    """A cell as sizes, or why it holds none; and, where it is nothing but whole numbers, as diameters alone."""

    sizes: tuple[Size, ...] | Refusal
    diameters: Diameters | None

    def meant(self, pieces: int | None) -> tuple[Size, ...] | Diameters | Refusal:
        """What it says of a kit of so many drums: "22/16 12/10" is two drums with their depths or four without."""
        if self.diameters is None:
            return self.sizes
        if not isinstance(self.sizes, Refusal) and len(self.sizes) == pieces:
            return self.sizes
        no_size = isinstance(self.sizes, Refusal) and self.sizes.code == "not_a_size"
        return self.diameters if no_size or len(self.diameters.inches) == pieces else self.sizes


def sizes_reader(order: str) -> Callable[[str], SizesCell | Refusal]:
    """The reader of a cell with a kit's sizes, each with its two numbers in the shop's `order`."""

    def read(text: str) -> SizesCell | Refusal:
        if len(text) > _LONGEST_KITSIZES:
            return Refusal("too_long", "is too long for a kit's sizes")
        sizes, inches = _sizes(text, order), bare_diameters(text)
        if isinstance(sizes, Refusal) and not inches:
            return sizes
        return SizesCell(sizes, Diameters(inches) if inches else None)

    return read


def _sizes(text: str, order: str) -> tuple[Size, ...] | Refusal:
    sizes: list[Size] = []
    for one in split_sizes(text):
        size = read_size(one, order)
        if isinstance(size, Refusal):
            return Refusal(size.code, f"holds {shown(one)}, which {size.reason}", size.cure)
        sizes.append(size)
    if not sizes:
        return Refusal("not_a_size", "holds no drum size")
    for size in sizes:  # numbers that stand in the other order
        if size.depth > size.diameter and size.depth >= _LEAST_BASS:
            drum = f"a drum {plain(size.depth)} inches deep and {plain(size.diameter)} wide read as {order}"
            return Refusal("size_order", f"has {drum}", _turned("its", order))
    widest = max(sizes, key=lambda size: size.diameter)
    if all(size.depth >= size.diameter for size in sizes) and widest.depth > widest.diameter:
        why = f"has every drum deeper than wide when read as {order}"
        return Refusal("size_order", why, _turned("the", order))
    return tuple(sizes)


def split_sizes(text: str) -> list[str]:
    """The sizes in a cell, apart at spaces, commas, semicolons, plus signs, and strokes where crosses stand in sizes:
    "22x16 16x16, 13 x 7 1/4", "24x14/14x10".
    """
    signs, between = (_SIGNS, "") if _CROSS.search(text) is None else (_CROSSES, r"\s*/\s*(?=\d+(?:\.\d+)?[xX×*])|")
    joined = signs.sub(lambda m: m[0].strip(), text.replace("\n", " "))
    parts = re.split(rf"{between}\s*[;+&]\s*|,\s+|\s+(?!{_FRACTION})", joined.strip())
    return [part for part in (trimmed(one).strip(",") for one in parts) if part]


_KEPT_CURES: Final = ("spreadsheet_error", "too_narrow", "letter", "formula")
_LONGEST_PIECES: Final = 40  # characters of a number with its unit
_LEAST_LARGEST: Final = 14  # inches: no kit is made of small drums alone
_FEWEST: Final = 3  # bare diameters, or a cell such as "12/13" could mean one or the other
_LONGEST_LIST: Final = 120
_DAY_0: Final = dt.date(1899, 12, 30)  # from which spreadsheets count days
_DAY_NUMBERS: Final = range(20_000, 60_000)  # 1954 to 2064


def read_pieces(text: str) -> int | Refusal:
    """A whole number of drums, 1 to 20: "5", "5 ", "5,0", "5-tlg.", "5 pcs", or as many as the cell lists sizes:
    "22/12/16". That stands come with them ("5 pc + hardware") changes nothing. A number in words is refused with its
    digits as the cure.
    """
    if text.isascii() and text.isdigit() and len(text) < 10:
        return _drums(int(text))
    drums = drums_listed(text)
    if drums is not None:
        return _drums(drums)
    words, counted = word_numbers("numbers"), _counted(text)
    folded = fold(visible(text[: _LONGEST_PIECES + 1])).rstrip(".")
    number = counted["number"] if counted is not None else folded if folded in words else text
    if number in words:
        return Refusal("word", "is a word", f"write the digits: {words[number]}")
    read = read_number(number)
    if isinstance(read, Refusal):
        cure = "write the number of drums, such as 4 or 5" if read.code == "sum" else None
        return Refusal(read.code, read.reason, cure or (read.cure if read.code in _KEPT_CURES else None))
    if isinstance(read, TwoReadings):
        return Refusal("two_readings", "can be read in two ways")
    if read.value != read.value.to_integral_value():
        return Refusal("not_whole", "is not a whole number")
    return _drums(int(read.value))


def _drums(number: int) -> int | Refusal:
    """The drums of one kit; a size such as 10/12 that a spreadsheet took for a day is told as that day."""
    if number < 1:
        return Refusal("not_positive", "must be 1 or more")
    if number <= MOST_PIECES:
        return number
    cure = f"write the number of drums, 1 to {MOST_PIECES}"
    if number in _DAY_NUMBERS:
        day = _DAY_0 + dt.timedelta(number)
        return Refusal("too_many_pieces", f"as a spreadsheet's day is {day.isoformat()}, and no count of drums", cure)
    return Refusal("too_many_pieces", f"is more than the {MOST_PIECES} drums that a kit can have", cure)


def drums_listed(text: str) -> int | None:
    """How many drums a cell lists by their sizes: three diameters and more ("22/12/16"), two sizes and more with depths
    ("22x16 16x16") in either order. None where it is no such list, or can be both ("22/16 16/16 13/11").
    """
    if len(text) > _LONGEST_LIST or not any(map(str.isdigit, text)):
        return None
    inches = bare_diameters(text)
    if inches:
        groups = re.split(r"[\s,;+&]+", trimmed(text))
        in_pairs = len(groups) > 1 and all(group.count("/") == 1 for group in groups)
        return len(inches) if len(inches) >= _FEWEST and max(inches) >= _LEAST_LARGEST and not in_pairs else None
    sizes = [read_size(one) for one in split_sizes(text)]
    widest = max((max(one.diameter, one.depth) for one in sizes if isinstance(one, Size)), default=0)
    sound = len(sizes) > 1 and not any(isinstance(one, Refusal) for one in sizes)
    return len(sizes) if sound and widest >= _LEAST_LARGEST else None


def says_pieces(text: str) -> bool:
    """Does a cell give a number of drums, with a word beside it that says so?"""
    counted = _counted(text)
    return (
        counted is not None
        and counted["unit"] not in word_lists("cells")["anything"]
        and not isinstance(read_pieces(text), Refusal)
    )


def _counted(text: str) -> re.Match[str] | None:
    """A number and its unit, perhaps with what it is called and that stands come with it, which changes no number."""
    if len(text) > _LONGEST_PIECES:
        return None
    drums, kit, stands = (any_of("cells", key) for key in ("drums", "kit", "stands"))
    beside = rf"(?: ?\+ ?|,? {any_of('cells', 'with')}){stands}(?: (?:and|und|&|\+) {stands})?"
    number = f"[0-9]+|{'|'.join(word_numbers('numbers'))}"
    counting = pattern(rf"(?P<number>{number})[ \-‐‑–]*(?P<unit>{drums})\.?(?:[ -]{kit})?(?:{beside})?")
    return counting.fullmatch(fold(visible(text)).rstrip("."))
