"""A pasted advert as text: cleaned sign by sign, so that every find can be told in the advert's own words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from kitvalue.intake.text.languages import pattern, word_lists
from kitvalue.intake.text.sizes import Size
from kitvalue.intake.text.words import INVISIBLE

LONGEST: Final = 20_000  # characters: a long advert, and far below what a search could take long over
NO_DAY: Final = "no_day"
_BLANK: Final = "\x00"  # stands where something was read already, so that it is not read twice
_SIGNS: Final = str.maketrans(
    dict.fromkeys("“”„″‟＂", '"') | dict.fromkeys("’‘`´′ʼ", "'") | dict.fromkeys("×✕✖", "x")
    | dict.fromkeys("‐‑‒–—−", "-") | dict.fromkeys("\x00\x0b\x0c", " ")
)  # fmt: skip
_SHORT: Final = "".join(rf"(?<!\b{word})" for word in word_lists("phrases")["short"])
_CLAUSE: Final = pattern(rf"[\n;!?•|]|{_SHORT}\.(?=\s|$)|\s-\s")


@dataclass(frozen=True, slots=True)
class Find:
    """A place in an advert: `start` to `end`, in characters."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class AdvertText:
    """`original` as pasted, and `plain` of the same length: plain spaces, quotes, dashes and crosses."""

    original: str
    plain: str

    def words(self, find: Find) -> str:
        """The advert's own words at a place, in one line."""
        return " ".join(self.original[find.start : find.end].split()).strip(" .,;:")

    def finds(self, pattern: re.Pattern[str], group: int | str = 0) -> list[Find]:
        """Every place of a pattern, or of a group of it."""
        return [Find(*m.span(group)) for m in pattern.finditer(self.plain)]

    def without(self, finds: Iterable[Find]) -> AdvertText:
        """The advert with some places blanked: what was read there is not read again."""
        plain = list(self.plain)
        for find in finds:
            plain[find.start : find.end] = _BLANK * (find.end - find.start)
        return AdvertText(self.original, "".join(plain))

    def before(self, at: int, most: int = 28) -> str:
        """What stands before a place in its clause."""
        return _CLAUSE.split(self.plain[max(0, at - most) : at])[-1]

    def after(self, at: int, most: int = 28) -> str:
        """What stands behind a place in its clause."""
        return _CLAUSE.split(self.plain[at : at + most])[0]


def advert_text(text: str) -> AdvertText:
    """The text of an advert with its line ends made one, and without signs that show nothing: "4\u200b50" is 450."""
    original = re.sub(f"[{INVISIBLE}]", "", text.replace("\r\n", "\n").replace("\r", "\n"))
    return AdvertText(original, re.sub(r"[^\S\n]", " ", original.translate(_SIGNS)))


@dataclass(frozen=True, slots=True)
class Taken:
    """One column's value in plain form (`480.50`, `2026-11-03`, `asked`) and the advert's words that it comes from."""

    field: str
    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """A column that the advert leaves open, and why; `code` tells a reason that something hangs on."""

    field: str
    reason: str
    code: str = ""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an amount may be what `role` says: the meaning of the advert's `words` (or `currency`), and its points."""

    role: str
    code: str
    points: int
    words: str
    find: Find


@dataclass(frozen=True, slots=True)
class ToldAmount:
    """An amount of money that the advert names, plain and as written, with what it is taken for and why."""

    value: str
    words: str
    role: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Understood:
    """What an advert says: the values it gives, what it leaves open, remarks, and the drums with known sizes.

    `haggle`: "fixed" or "negotiable" where the advert says so. `not_used`: its phrases about the kit that are in none
    of these. `amounts`: every amount of money, with what it is taken for.
    """

    taken: tuple[Taken, ...]
    unknown: tuple[Unknown, ...]
    remarks: tuple[str, ...]
    sizes: tuple[Size, ...]
    haggle: Literal["fixed", "negotiable"] | None
    not_used: tuple[str, ...]
    amounts: tuple[ToldAmount, ...] = ()

    def value(self, field: str) -> str | None:
        """The value of one column; None where the advert leaves it open."""
        return next((one.value for one in self.taken if one.field == field), None)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The finding for one column: a value with its words, or the reason why there is none. Remarks say the rest."""

    taken: Taken | None
    reason: str | None = None
    remarks: tuple[str, ...] = ()
    code: str = ""  # of the reason
