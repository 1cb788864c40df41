"""What stands beside a size or a diameter: the word for its drum, or for something that is no drum."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.sizes import Size

ROLES: Final = ("bass", "floor", "rack", "snare")
INCH: Final = r"(?:[ ]?(?:\"{1,2}|''|inch(?:es)?(?:\b|(?=x))|in\b\.?|zoll(?:\b|(?=x))|-inch\b|er\b))"
LEAST, MOST = 6, 28  # inches across of anything that is a drum of a kit
_WIDEST_SNARE: Final = 15
_BETWEEN: Final = re.compile(
    r"(?:[\s:=(,+&/x\x00-]|\b(?:and|und|is|are|ist|sind)\b|(?<!\d)\d{1,2}(?!\d)(?:\"|er\b)?)+$"
)
_SOUGHT: Final = re.compile(
    r"(?<!\w)(?:tausch\w*|eintausch\w*|swaps?|trades?|exchange|px)(?!\w)[^,;(€£$]{0,30}$", re.IGNORECASE
)  # what is wanted for the kit
_MANY_WORDS: Final = {"two": 2, "three": 3, "four": 4, "zwei": 2, "drei": 3, "vier": 4, "both": 2, "beide": 2}
_MANY: Final = re.compile(rf"(?<![\w.,/-])([2-4]|{'|'.join(_MANY_WORDS)})[ ]?x?[ ]$", re.IGNORECASE)
_GOES_ON: Final = re.compile(
    r"[ ]*(?:(?:,|and|und|&|\+|/|plus)[ ]*)?\d", re.IGNORECASE
)  # another size of the same kind
_STANDING: Final = re.compile(r"(?:^|[,;+/(])[ ]?stand$", re.IGNORECASE)  # "Bass 22, Tom 13, Stand 16"
_BRACKETED: Final = re.compile(r"^\(([^()\d ]{2,14})\)")
_OF_WHAT: Final = re.compile(
    r"(?:(?:matching|passende[rsn]?|wood(?:en)?|maple|birch|beech|oak|mahogany|poplar|walnut|steel|brass|bronze|copper|"
    r"metal|alum?\w{0,8}|chrome|holz|ahorn|birken?|buchen?|stahl|messing|kupfer|metall|piccolo)[ -]+){1,2}",
    re.IGNORECASE,
)  # "14x5 wood snare"
_MORE: Final = re.compile(
    r"(?<!\w)(?:with|mit|and|und|plus|inkl|incl|including|inklusive|samt|for|für|no|ohne|without)(?!\w)", re.IGNORECASE
)  # what stands behind is a thing of its own


@dataclass(frozen=True, slots=True)
class Drum:
    """One drum as the advert lists it; `size` only where both figures are there, `role` where a word names it."""

    find: Find
    size: Size | None
    diameter: float
    role: str | None


@dataclass(frozen=True, slots=True)
class Doubt:
    """A place that may name up to `most` drums more than are counted (below zero: fewer), and why it is not certain."""

    find: Find
    reason: str
    most: int


@dataclass(frozen=True, slots=True)
class RoleWord:
    """The word for a drum: which drum, and the word as written."""

    role: str
    text: str

    @property
    def plural(self) -> bool:
        return self.text.casefold().endswith("s") and self.text.casefold() != "bass"

    @property
    def several(self) -> bool:
        """Is it a plural of toms ("toms", "Standtoms")?"""
        return self.role in ("floor", "rack") and self.plural


@dataclass(frozen=True, slots=True)
class Beside:
    """The words for drums right before and right behind a size."""

    before: RoleWord | None
    behind: RoleWord | None
    apart: bool  # a comma, a plus or an "and" stands behind the word before

    def word(self, word_first: bool) -> RoleWord | None:
        """The size's own word. `word_first`: the advert writes "Bass 22 Tom 13" and not "22 bass 13 tom"."""
        first = word_first and not (self.apart and self.behind is not None)
        return (self.before or self.behind) if first else (self.behind or self.before)

    def role(self, word_first: bool, diameter: float) -> str | None:
        """The drum's role; a drum as wide as a floor tom is no snare."""
        word = self.word(word_first)
        if word is not None and word.role == "snare" and diameter > _WIDEST_SNARE:
            word = self.before if word is self.behind else self.behind
        return None if word is None or (word.role == "snare" and diameter > _WIDEST_SNARE) else word.role


def beside(advert: AdvertText, find: Find, words: Lexicon) -> Beside:
    """The words for drums on either side of a size, nothing but signs, figures and "and" between them."""
    after = without_material(_BRACKETED.sub(r"\1", re.sub(r"^[ )\]:=-]+", "", advert.after(find.end, 36))))
    text = advert.before(find.start, 40)
    tail = _BETWEEN.sub("", text)
    apart = re.search(r"[,+&]|\band\b|\bund\b", text[len(tail) :], re.IGNORECASE) is not None
    behind = next((RoleWord(r, m[0]) for r in ROLES for m in [words[r].match(after)] if m is not None), None)
    before = next((RoleWord(r, m[0]) for r in ROLES for m in words[r].finditer(tail) if m.end() == len(tail)), None)
    if before is None and _STANDING.search(tail):
        before = RoleWord("floor", "Stand")
    return Beside(before, behind, apart)


def without_material(after: str) -> str:
    """A text without the material at its start: "wood snare" is a snare."""
    m = _OF_WHAT.match(after)
    return after if m is None else after[m.end() :]


def words_come_first(around: Iterable[Beside]) -> bool:
    """Does the advert name a drum before its size? The first that has a word on one side or on both shows it."""
    first = next((one for one in around if one.before is not None or one.behind is not None), None)
    return first is not None and first.before is not None and not (first.apart and first.behind is not None)


def is_other_thing(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Is it the size of a cymbal, a case, a head, or of a kit that is wanted in exchange?"""
    behind = re.match(r"[ ]*[^\W\d_]+(?:[ -]+[^\W\d_]+){0,2}", advert.after(find.end, 40))
    if behind is not None:
        own = _MORE.split(behind[0])[0]
        hit = words["not a drum"].search(own)
        drum = min((m.start() for r in ROLES for m in [words[r].search(own)] if m is not None), default=99)
        if hit is not None and hit.start() < drum:
            return True
    tail = advert.before(find.start, 40)
    if _SOUGHT.search(tail):
        return True
    last = -1 if _STANDING.search(_BETWEEN.sub("", tail)) else _last(words["not a drum"], tail)
    named = max((_last(words[r], tail) for r in ROLES), default=-1)
    return (last >= 0 and last > named and re.search(r"[,;]", tail[last:]) is None) or _in_list_of_others(
        advert, find, words
    )


def _in_list_of_others(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Behind "cymbals:" or "Becken:" everything up to the line's end is no drum."""
    line = advert.plain[advert.plain.rfind("\n", 0, find.start) + 1 : find.start]
    m = re.match(r"\W*(?P<head>[^\W\d_][\w &/-]{2,30}):", line)
    return m is not None and words["not a drum"].search(m["head"]) is not None


def _last(pattern: re.Pattern[str], text: str) -> int:
    return max((m.end() for m in pattern.finditer(text)), default=-1)


def times(advert: AdvertText, find: Find, around: Beside) -> int:
    """How many drums one size stands for: "2 Bassdrums 22x16" and "two 13" toms" name two of them."""
    if around.behind is not None and around.behind.plural:
        many = _MANY.search(advert.before(find.start, 8))
        if many is not None:
            return _number(many[1])
    if around.before is None or not around.before.plural or _GOES_ON.match(advert.after(find.end, 12)):
        return 1
    before = advert.before(find.start, 40)
    at = before.rfind(around.before.text)
    many = None if re.search(r"\d", before[at:]) else _MANY.search(before[:at])
    return 1 if many is None else _number(many[1])


def _number(word: str) -> int:
    return int(word) if word.isdigit() else _MANY_WORDS[word.casefold()]


def rises_by_little(one: int, two: int) -> bool:
    """Two diameters such as 12 and 13: written widest first they cannot be the width and depth of one drum."""
    return 10 <= one < two <= one + 4


def are_two_drums(one: int, two: int, around: Beside, order: str) -> bool:
    """Are two numbers beside a word for toms two diameters, and surely not one drum's width and depth?"""
    toms = [word for word in (around.before, around.behind) if word is not None and word.role in ("floor", "rack")]
    if any(word.several for word in toms) and min(one, two) >= 10 and one != two:
        return True
    return bool(toms) and order == "diameter-depth" and rises_by_little(one, two)
