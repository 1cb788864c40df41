"""Bare diameters in an advert, alone or in a row: which of them surely name drums, and which leave doubt."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.text.languages import pattern, word_lists, word_numbers
from kitvalue.intake.text.lexicon import Lexicon, at_end, said
from kitvalue.intake.text.sizes import INCHES, Size

ROLES: Final = ("bass", "floor", "rack", "snare")
INCH: Final = rf"(?:[ ]?(?:\"{{1,2}}|''|(?:{INCHES})(?:\b|(?=x))|in\b\.?|-inch\b|er\b))"
LEAST, MOST = 6, 28  # inches across of anything that is a drum of a kit
_WIDEST_SNARE: Final = 15
_BETWEEN: Final = pattern(
    rf"(?:[\s:=(,+&/x\x00-]|\b{said('and', 'is', 'of', 'material')}\b|(?<!\d)\d{{1,2}}(?!\d)(?:\"|er\b)?)+$"
)
_SOUGHT: Final = pattern(rf"(?<!\w){said('sought')}(?!\w)[^,;(€£$]{{0,30}}$")
_MANY_WORDS: Final = {word: n for word, n in word_numbers("numbers").items() if 2 <= n <= 4} | dict.fromkeys(
    word_lists("phrases")["both"], 2
)
_MANY: Final = pattern(rf"(?<![\w.,/-])([2-4]|{'|'.join(_MANY_WORDS)})[ ]?x?[ ]$")
_GOES_ON: Final = pattern(rf"[ ]*(?:(?:,|{said('and')}|&|\+|/|plus)[ ]*)?\d")  # another size of a kind
_APART: Final = pattern(rf"[,+&]|\b{said('and')}\b")
_STANDING: Final = pattern(r"(?:^|[,;+/(])[ ]?stand$")  # "Bass 22, Tom 13, Stand 16"
_BRACKETED: Final = re.compile(r"^\(([^()\d ]{2,14})\)")
_OF_WHAT: Final = pattern(rf"(?:{said('material')}[ -]+){{1,2}}")  # "14x5 wood snare"
_MORE: Final = pattern(rf"(?<!\w){said('more')}(?!\w)")


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


def word_at(words: Lexicon, text: str) -> RoleWord | None:
    """The word for a drum with which a text begins."""
    return next((RoleWord(role, m[0]) for role in ROLES if (m := words[role].match(text))), None)


def word_before(words: Lexicon, text: str) -> RoleWord | None:
    """The word for a drum with which a text ends."""
    return next((RoleWord(role, m[0]) for role in ROLES if (m := at_end(words[role], text))), None)


@dataclass(frozen=True, slots=True)
class Beside:
    """The words for drums right before and right behind a size."""

    before: RoleWord | None
    behind: RoleWord | None
    apart: bool  # a comma, a plus or an "and" stands behind the word before

    @property
    def words(self) -> tuple[RoleWord, ...]:
        return tuple(word for word in (self.before, self.behind) if word is not None)

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
    apart = _APART.search(text[len(tail) :]) is not None
    standing = RoleWord("floor", "Stand") if _STANDING.search(tail) else None
    return Beside(word_before(words, tail) or standing, word_at(words, after), apart)


def without_material(after: str) -> str:
    """A text without the material at its start: "wood snare" is a snare."""
    m = _OF_WHAT.match(after)
    return after if m is None else after[m.end() :]


def is_other_thing(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Is it the size of a cymbal, a case, a head, or of a kit that is wanted in exchange?"""
    behind = re.match(r"[ ]*[^\W\d_]+(?:[ -]+[^\W\d_]+){0,2}", advert.after(find.end, 40))
    if behind is not None:
        own = _MORE.split(behind[0])[0]
        thing = words["not a drum"].search(own)
        drum = min((m.start() for role in ROLES for m in words[role].finditer(own)), default=99)
        if thing is not None and thing.start() < drum:
            return True
    tail = advert.before(find.start, 40)
    if _SOUGHT.search(tail):
        return True
    last = -1 if _STANDING.search(_BETWEEN.sub("", tail)) else _last(words, tail, "not a drum")
    own = tail[last:].strip()  # "the hats, 14, are 60", and not "hardware, 22, 16, 13"
    apposed = (
        own == "," and _GOES_ON.match(advert.after(find.end, 12)) is None and not beside(advert, find, words).words
    )
    if last > _last(words, tail, *ROLES) and (apposed or re.search(r"[,;]", own) is None):
        return True
    line = advert.plain[advert.plain.rfind("\n", 0, find.start) + 1 : find.start]
    heading = re.match(r"\W*([^\W\d_][\w &/-]{2,30}):", line)  # behind "Becken:" nothing of the line is a drum
    return heading is not None and words["not a drum"].search(heading[1]) is not None


def _last(words: Lexicon, text: str, *meanings: str) -> int:
    return max((m.end() for meaning in meanings for m in words[meaning].finditer(text)), default=-1)


def times(advert: AdvertText, find: Find, around: Beside) -> int:
    """How many drums one size stands for: "2 Bassdrums 22x16" and "two 13" toms" name two of them."""
    many = None
    if around.behind is not None and around.behind.plural:
        many = _MANY.search(advert.before(find.start, 8))
    if many is None and around.before is not None and (around.before.plural or around.before.role in ("rack", "floor")):
        before = advert.before(find.start, 40)
        at = before.rfind(around.before.text)
        if not _GOES_ON.match(advert.after(find.end, 12)) and not re.search(r"\d", before[at:]):
            many = _MANY.search(before[:at])
    if many is None:
        return 1
    return int(many[1]) if many[1].isdigit() else _MANY_WORDS[many[1].casefold()]


def rises_by_little(one: int, two: int) -> bool:
    """Two diameters such as 12 and 13: written widest first they cannot be the width and depth of one drum."""
    return 10 <= one < two <= one + 4


def are_two_drums(one: int, two: int, around: Beside, order: str) -> bool:
    """Are two numbers beside a word for toms two diameters, and surely not one drum's width and depth?"""
    toms = [word for word in around.words if word.role in ("floor", "rack")]
    if any(word.plural for word in toms) and min(one, two) >= 10 and one != two:
        return True
    return bool(toms) and order == "diameter-depth" and rises_by_little(one, two)


_BARE: Final = pattern(
    rf"(?<![\w:€£$])(?:(?P<count>[1-4])[ ]?x[ ]?)?(?P<number>\d{{1,2}})(?P<mark>{INCH})?(?![\w%€£$]|:\d|"
    rf"[ ]?(?:{said('unit')}|EUR|GBP|USD|CHF|euro|x[ ]?\d|%|{said('counted thing')}(?!\w)))"
)
_IN_A_ROW: Final = pattern(rf"[ ]{{0,2}}[/,+&|-][ ]{{0,2}}|[ ]{{1,3}}(?:(?:{said('and')}|plus)[ ]{{1,2}})?")
_BAD_START: Final = re.compile(r"[\w.,/:+€£$-]")
_BAD_END: Final = re.compile(r"[\w/%€£$-]|[.,]\d")
_OTHER_NUMBERS: Final = pattern(rf"(?<!\w){said('other number')}[ .:]*$")
_BEHIND_ONE: Final = pattern(rf"[ ]*(?:$|[,;.+&/()\n-]|{said('and')}\b|\w*toms?\b|snare|bass|floor|kick|rack)")
_LONGEST_ROW: Final = 10  # drums
_SNARES: Final = (13, 14)  # inches: the usual ones
_BASS: Final = 16  # inches: a row without a word beside it is a kit's only where one of it can be a bass drum


@dataclass(frozen=True, slots=True)
class Row:
    """The drums of one row of diameters (22/16/13/12), or of numbers that stand apart; and what is not certain."""

    drums: tuple[Drum, ...] = ()
    doubt: Doubt | None = None
    apart: bool = False


@dataclass(frozen=True, slots=True)
class Chain:
    """Numbers that stand in a row; `gaps` is what stands between them."""

    numbers: tuple[re.Match[str], ...]
    gaps: tuple[str, ...]
    around: Beside

    @property
    def find(self) -> Find:
        return _span(self.numbers)

    @property
    def values(self) -> list[int]:
        return [int(m["number"]) for m in self.numbers]


def rows_of(advert: AdvertText, chains: Sequence[Chain], order: str, word_first: bool, listed: bool) -> list[Row]:
    """What rows of numbers and single numbers say of drums, in an advert that writes its widths and depths in `order`
    and words before sizes ("Bass 22") or behind them. `listed`: it lists drums by width and depth.
    """
    rows: list[Row] = []
    for chain in chains:
        if len(chain.numbers) == 1:
            rows.append(Row(_single(advert, chain.numbers[0], chain.around, word_first), apart=True))
        elif len(chain.numbers) == 2:
            rows.append(_two(advert, chain, order, word_first))
        else:
            rows.append(_many(advert, chain, chain.around.word(word_first), listed))
        listed = listed or bool(rows[-1].drums and not rows[-1].apart)
    return rows


def chains_of(advert: AdvertText, words: Lexicon) -> list[Chain]:
    """The rows of numbers that can be diameters, without those that belong to something else."""
    rows: list[list[re.Match[str]]] = []
    for m in _BARE.finditer(advert.plain):
        if LEAST <= int(m["number"]) <= MOST:
            if rows and _IN_A_ROW.fullmatch(advert.plain, rows[-1][-1].end(), m.start()):
                rows[-1].append(m)
            else:
                rows.append([m])
    chains = []
    for numbers in rows:  # without what a range, a fraction or a cymbal takes from its end
        if _BAD_START.match(advert.plain[max(0, numbers[0].start() - 1) : numbers[0].start()]):
            continue
        while numbers and _BAD_END.match(advert.plain, numbers[-1].end()):
            numbers = numbers[:-1]
        gaps = tuple(advert.plain[a.end() : b.start()] for a, b in pairwise(numbers))
        while numbers and is_other_thing(advert, _span(numbers), words):
            last = next((i for i, gap in enumerate(gaps, 1) if gap.strip() not in ("", "/", "|", "-")), 0)
            numbers, gaps = numbers[:last], gaps[: last - 1]
        if numbers:
            chains.append(Chain(tuple(numbers), gaps, beside(advert, _span(numbers), words)))
    return chains


def _span(numbers: Sequence[re.Match[str]]) -> Find:
    return Find(numbers[0].start(), numbers[-1].end())


def _many(advert: AdvertText, chain: Chain, word: RoleWord | None, listed: bool) -> Row:
    """Three numbers and more. `listed`: the advert lists its drums elsewhere. A snare that is named beside the row's
    end is one of its drums, or one more.
    """
    values, words = chain.values, advert.words(chain.find)
    doubt = None
    if len(values) > _LONGEST_ROW:
        doubt = f"{len(values)} numbers in a row are not one kit's drums"
    elif not all(gap.strip() for gap in chain.gaps):
        if word is None and _other_number(advert, chain):
            return Row()
        twos = list(zip(values[::2], values[1::2], strict=False))  # in twos width and depth: "22 16 12 8"
        in_order = len(values) % 2 == 0 and (all(a >= b for a, b in twos) or all(a <= b for a, b in twos))
        if in_order and (len(values) > 4 or len(set(values)) < len(values) or min(values) < 10):
            doubt = f'"{words}" can be diameters, or widths and depths'
        elif word is None and (max(values) < _BASS or listed):
            doubt = f'nothing says that "{words}" are drums'
    if doubt is not None:
        return Row(doubt=Doubt(chain.find, doubt, len(values)))
    drums = [drum for m in chain.numbers for drum in _drums(m, None)]
    before, behind = chain.around.before, chain.around.behind
    if before is not None and before.role == "snare":
        drums[0] = replace(drums[0], role="snare")
    elif behind is not None and behind.role == "snare":
        drums[-1] = replace(drums[-1], role="snare")
        joined = chain.gaps[-1].strip()
        bracketed = advert.after(chain.find.end, 3).lstrip().startswith("(")  # "16 14 (snare)"
        if not bracketed and joined in ("", "/", "|", "-", ",") and (joined != "," or values[-1] not in _SNARES):
            words = advert.words(Find(chain.find.start, chain.find.end + len(behind.text) + 1))
            why = f'"{words}": is the snare one of these, or one more?'
            return Row(tuple(drums), Doubt(chain.find, why, 1))
    return Row(tuple(drums))


def _other_number(advert: AdvertText, chain: Chain) -> bool:
    """Does a word before it say that it is an hour, a house, a number to call?"""
    line = advert.plain[max(0, chain.find.start - 24) : chain.find.start].rpartition("\n")[2]
    return _OTHER_NUMBERS.search(line) is not None


def _two(advert: AdvertText, chain: Chain, order: str, word_first: bool) -> Row:
    """Two numbers: two drums, the width and depth of one, or neither."""
    one, two = chain.values
    gap, around = chain.gaps[0].strip(), chain.around
    counted = all(m["count"] for m in chain.numbers)
    if counted or (gap and gap not in "/|-"):
        singles = [drum for m in chain.numbers for drum in _single(advert, m, around, word_first, given=counted)]
        return Row(tuple(singles), apart=True)
    if are_two_drums(one, two, around, order):
        return Row(tuple(drum for m in chain.numbers for drum in _drums(m, "rack")))
    if around.word(word_first) is None:
        named = all(m["mark"] for m in chain.numbers) or (gap == "/" and min(one, two) >= 10)
        ten_of_ten = one == two == 10
        if ten_of_ten or not named or _other_number(advert, chain):
            return Row()
    words = advert.words(chain.find)
    return Row(doubt=Doubt(chain.find, f'"{words}" can be two drums, or the width and depth of one', 2))


def _single(
    advert: AdvertText, m: re.Match[str], around: Beside, word_first: bool, *, given: bool = False
) -> tuple[Drum, ...]:
    """One diameter: with an inch mark, a count ("2x12"), or behind or before the word for a drum."""
    word = around.word(word_first)
    mark = (m["mark"] or "").strip().casefold()
    place = mark == "in" and word is None and re.match(r"[ ][^\W\d_]", advert.plain[m.end() : m.end() + 2])
    marked = given or (mark not in ("", "er") and not place)
    told = word is not None and word_first and word is around.before  # "floor 16 for 300"
    if not marked and (word is None or not (told or _BEHIND_ONE.match(advert.plain[m.end() :][:12]))):
        return ()
    drums = _drums(m, around.role(word_first, float(m["number"])))
    return drums * times(advert, Find(m.start(), m.end()), around) if len(drums) == 1 else drums


def _drums(m: re.Match[str], role: str | None) -> tuple[Drum, ...]:
    end = m.end("number") if (m["mark"] or "").strip().casefold() == "in" else m.end()  # "22, 16, 13 in red"
    return (Drum(Find(m.start(), end), None, float(m["number"]), role),) * int(m["count"] or 1)
