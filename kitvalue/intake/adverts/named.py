"""The drums that an advert names without a size."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts.beside import ROLES, Doubt, Drum, without_material
from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.text import AdvertText, Find

NUMBERS: Final = {
    word: n
    for n, words in enumerate(
        (
            "one ein eine", "two zwei", "three drei", "four vier", "five fünf", "six sechs", "seven sieben",
            "eight acht", "nine neun",
        ),
        start=1,
    )
    for word in words.split()
}  # fmt: skip
_LEAST_BASS: Final = 16  # inches
_NO_DRUM: Final = re.compile(r"[ -]*(?:sound|pedal|drummer|keys?|tuning|size)")
_DENIED: Final = re.compile(
    r"\b(?:without|no|ohne|kein|keine|excl\.?|exkl\.?|minus|not|keep|keeping|behalte|missing|fehlt)"
    r"(?: (?:the|a|an|my|die|der|eine|meine))?(?: (?:matching|passende|original|dazugehörige))?[ ]*$",
    re.IGNORECASE,
)
_AWAY: Final = re.compile(
    r"[ ,(]*(?:(?:is |are |was |ist |sind |war |wurde |gibt es )?(?:already |sadly |leider |schon |bereits )*"
    r"(?:not|nicht|missing|fehlt|extra|separat|sold separately|gone|optional|gegen aufpreis|auf wunsch)|"
    r"(?:is |was |has been |ist |wurde |already |leider |schon |bereits )+(?:sold|verkauft|weg)\b)|"
    r"[ ](?:behalte|bleibt|stays with|available separately|on request|can be added)",
    re.IGNORECASE,
)

_NOT_HERE: Final = re.compile(
    r"[ ,()]*(?:is |are |ist |sind )?(?:(?:sadly|leider|also|auch) )?(?:not included|not for sale|not part|nicht dabei|"
    r"nicht enthalten|nicht inklusive|nicht inbegriffen|sold separately|available separately|(?:already )?gone\b|"
    r"bleibt|behalte ich|"
    r"(?:for |für )[€£$]?\d{1,4}[ ]?(?:[€£$]|EUR|euros?)?[ ]?(?:extra|more|on top|mehr)\b|"
    r"(?:bereits|schon) (?:verkauft|weg)|already sold|(?:is )?(?:missing|fehlt)[ ]*(?:$|[,.;)!]))",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Named:
    """Drums of one kind that are named without a size: how many, and where."""

    role: str
    count: int
    find: Find


@dataclass(frozen=True, slots=True)
class NamedSeen:
    """The drums named without a size, and the words that leave their number open."""

    drums: tuple[Named, ...]
    doubts: tuple[Doubt, ...]


def named_only(advert: AdvertText, words: Lexicon, drums: Sequence[Drum]) -> NamedSeen:
    """Drums that are named without a size. With sizes listed only a snare can still be missing, for toms and bass
    drums are then spoken of again in running text.
    """
    found: list[Named] = []
    doubts: list[Doubt] = []
    taken: list[Find] = []
    for role in ("floor", "snare", "bass", "rack"):
        if drums and (role != "snare" or any(d.role == "snare" for d in drums)):
            continue
        hits = [m for m in words[role].finditer(advert.plain) if not _overlaps(m, taken) and _is_drum(advert, m, words)]
        taken += [Find(*m.span()) for m in hits]
        counts = [count_before(advert.plain, m.start()) for m in hits]
        if not hits:
            continue
        most = max(count or 1 for count in counts)
        place = hits[[count or 1 for count in counts].index(most)]
        find = Find(*place.span())
        found.append(Named(role, most, find))
        if most == 1 and role in ("floor", "rack") and place[0].casefold().endswith("s") and 1 not in counts:
            doubts.append(Doubt(find, f'"{advert.words(find)}": how many is not said', 5))
    if not drums and not any(one.role in ("bass", "rack", "floor") for one in found):
        return NamedSeen((), ())
    return NamedSeen(tuple(found), tuple(doubts))


def unlisted(advert: AdvertText, words: Lexicon, drums: Sequence[Drum]) -> tuple[Doubt, ...]:
    """Drums that are named beside listed ones and cannot be among these: "bass 22, two toms" lists no toms. `advert`:
    with the listed drums blank.
    """
    doubts: list[Doubt] = []
    taken: list[Find] = []
    for role in ("floor", "bass", "rack"):
        hits = [m for m in words[role].finditer(advert.plain) if not _overlaps(m, taken) and _is_drum(advert, m, words)]
        taken += [Find(*m.span()) for m in hits]
        there = sum(_can_be(drum, role) for drum in drums)
        for m in hits:
            plural = role != "bass" and m[0].casefold().endswith("s")
            if there < (count_before(advert.plain, m.start()) or 1 + plural):
                find = Find(*m.span())
                doubts.append(Doubt(find, f'"{advert.words(find)}" is named, and no size for it', 5))
                break
    return tuple(doubts)


def _can_be(drum: Drum, role: str) -> bool:
    """Can a listed drum be what a word names? A floor tom is a tom too; a size without a word can be any drum."""
    if role == "bass":
        return drum.role == "bass" or drum.diameter >= _LEAST_BASS
    return drum.role in ("rack", "floor", None)


def _overlaps(m: re.Match[str], taken: Sequence[Find]) -> bool:
    return any(m.start() < find.end and find.start < m.end() for find in taken)


def _is_drum(advert: AdvertText, m: re.Match[str], words: Lexicon) -> bool:
    """A drum that comes with the kit: no stand or head for it, not missing and not kept by the seller."""
    after = advert.after(m.end(), 40)
    if words["not a drum"].match(after.lstrip(" -")) or _NO_DRUM.match(after):
        return False
    return _DENIED.search(advert.before(m.start(), 36)) is None and _AWAY.match(after) is None


def stays_behind(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Is a drum that is listed with its size kept by the seller, or not there?"""
    before, after = advert.before(find.start, 40), without_material(advert.after(find.end, 64).lstrip(" )"))
    for role in ROLES:
        m = words[role].match(after.lstrip(" )"))
        if m is not None:
            after = after.lstrip(" )")[m.end() :]
        hit = next((m for m in words[role].finditer(before) if before[m.end() :].strip(" :=(") == ""), None)
        before = before if hit is None else before[: hit.start()]
    return _NOT_HERE.match(after) is not None or _DENIED.search(before) is not None


def count_before(text: str, at: int) -> int | None:
    """How many drums, by the number or number word before their name; None where there is none."""
    m = re.search(
        r"(?<![\w.,/])(\d|[^\W\d_]+)[ ]?x?[ ]*(?:matching |passende |hanging |mounted )?$", text[max(0, at - 24) : at]
    )
    if m is None:
        return None
    number = int(m[1]) if m[1].isdigit() else NUMBERS.get(m[1].lower())
    return number if number is not None and 1 <= number <= 6 else None
