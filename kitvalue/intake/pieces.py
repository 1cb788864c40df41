"""The number of drums from the text of a cell: digits, and perhaps the word for pieces beside them."""

from __future__ import annotations

import re
from typing import Final

from kitvalue.intake.kitsizes import split_sizes
from kitvalue.intake.numbers import TwoReadings, read_number
from kitvalue.intake.sizes import Size, bare_diameters, read_size
from kitvalue.intake.words import Refusal, fold, trimmed, visible

_KEPT_CURES: Final = ("spreadsheet_error", "too_narrow", "letter", "formula")
# What may stand behind the number and says no more than that drums are counted ("5tlg.", "5-teilig", "5 pcs").
_UNITS: Final = frozenset(
    (
        "tlg", "teilig", "teilige", "teiliges", "teiliger", "teile", "pc", "pcs", "pce", "pces", "piece", "pieces",
        "drum", "drums", "shell", "shells", "trommel", "trommeln", "kessel", "stück", "stk",
    )
)  # fmt: skip
_IN_WORDS: Final = {  # refused, with the digits as the cure
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
    "eleven": 11, "twelve": 12, "ein": 1, "eins": 1, "zwei": 2, "zwo": 2, "drei": 3, "vier": 4, "fünf": 5, "fuenf": 5,
    "sechs": 6, "sieben": 7, "acht": 8, "neun": 9, "zehn": 10, "elf": 11, "zwölf": 12, "zwoelf": 12,
}  # fmt: skip
_LONGEST: Final = 40  # characters of a number with its unit
_OF_ANYTHING: Final = ("stück", "stk")  # units that may count kits as well
_THING: Final = r"(?:hardware|stands|ständern?)"
# A number and its unit, perhaps with what it is called and that stands come with it: neither changes the number.
_COUNTED: Final = re.compile(
    rf"(?P<number>[0-9]+|{'|'.join(_IN_WORDS)})[ \-‐‑–]*(?P<unit>{'|'.join(sorted(_UNITS))})\.?"
    r"(?:[ -](?:shells?|(?:shell[ -]?)?pack|(?:drum[ -]?)?(?:kit|set)|kessel|kesselsatz))?"
    rf"(?:(?: ?\+ ?|,? (?:with |w/ ?|mit |incl?\.? |inkl\.? |including )){_THING}(?: (?:and|und|&|\+) {_THING})?)?"
)
_LEAST_LARGEST: Final = 14  # inches: no kit is made of small drums alone
_FEWEST: Final = 3  # bare diameters, or a cell such as "12/13" could mean one or the other
_LONGEST_LIST: Final = 120


def read_pieces(text: str) -> int | Refusal:
    """A whole number of drums, at least 1: "5", "5 ", "5,0", "5-tlg.", "5 pcs", or as many as the cell lists sizes:
    "22/12/16". That stands come with them ("5 pc + hardware") changes nothing. A number in words is refused with its
    digits as the cure.
    """
    if text.isascii() and text.isdigit() and len(text) < 10:
        return int(text) or Refusal("not_positive", "must be 1 or more")
    drums = drums_listed(text)
    if drums is not None:
        return drums
    number = _without_unit(text)
    if number in _IN_WORDS:
        return Refusal("word", "is a word", f"write the digits: {_IN_WORDS[number]}")
    read = read_number(number)
    if isinstance(read, Refusal):
        cure = "write the number of drums, such as 4 or 5" if read.code == "sum" else None
        return Refusal(read.code, read.reason, cure or (read.cure if read.code in _KEPT_CURES else None))
    if isinstance(read, TwoReadings):
        return Refusal("two_readings", "can be read in two ways")
    if read.value != read.value.to_integral_value():
        return Refusal("not_whole", "is not a whole number")
    return int(read.value) if read.value >= 1 else Refusal("not_positive", "must be 1 or more")


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
    return counted is not None and counted["unit"] not in _OF_ANYTHING and not isinstance(read_pieces(text), Refusal)


def _counted(text: str) -> re.Match[str] | None:
    return _COUNTED.fullmatch(_plain(text)) if len(text) <= _LONGEST else None


def _plain(text: str) -> str:
    return fold(visible(text)).rstrip(".")


def _without_unit(text: str) -> str:
    """The digits or the word of a number alone, where nothing but a unit and a harmless remark stands beside it; else
    the text as it is.
    """
    counted = _counted(text)
    if counted is not None:
        return counted["number"]
    word = _plain(text[: _LONGEST + 1])
    return word if word in _IN_WORDS else text
