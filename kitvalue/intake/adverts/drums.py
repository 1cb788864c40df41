"""The drums that an advert lists: by size, by diameter, by name or by number."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.record import Outcome, Taken
from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.sizes import Size, read_size
from kitvalue.intake.words import Refusal, listed

_INCH: Final = r"(?:[ ]?(?:\"{1,2}|''|inch(?:es)?(?:\b|(?=x))|in\b\.?|zoll(?:\b|(?=x))|-inch\b|er\b))"
_FIGURE: Final = r"\d{1,2}(?:[.,]\d{1,2})?(?:[ -]?(?:1/2|[13]/4|[1357]/8)(?!\d))?(?:[¼½¾⅛⅜⅝⅞])?"
_PAIR: Final = re.compile(
    rf"(?<![\w.,/])(?:(?P<count>[2-4])[ ]?x[ ])?(?P<size>{_FIGURE}{_INCH}?[ ]?(?:[xX*]|by\b|"
    rf"(?<!\d[ ])/(?=\d{{1,2}}{_INCH}?(?:[,;\s)]|$)))[ ]?"
    rf"{_FIGURE}{_INCH}?)(?![\w/%€£$]|[.,]\d|[ ]?(?:mm|cm|EUR|x[ ]?\d))",
    re.IGNORECASE,
)
_RUN: Final = re.compile(
    rf"(?<![\w.,/-])(?P<run>\d{{1,2}}{_INCH}?(?:[ ]?[/,+&|"
    rf"-][ ]?\d{{1,2}}{_INCH}?){{2,9}})(?![\w/%€£$-]|[.,]\d|[ ]?(?:mm|cm|EUR|x[ ]?\d))",
    re.IGNORECASE,
)
_INCHES: Final = re.compile(rf"(?<![\w.,/])(?P<number>\d{{1,2}}){_INCH}(?![\w]|[ ]?x)", re.IGNORECASE)
_STATED: Final = re.compile(
    r"(?<![\w.,/])(?P<number>\d{1,2}|two|three|four|five|six|seven|eight|nine|zwei|drei|vier|fünf|sechs|sieben|acht|neun)"
    r"[ -]?(?:piece|pieces|pce|pcs?|pc|ps|pieced|teilig(?:es|er|e|en)?|tlg\.?|stückiges|"
    r"er[ -](?:set|kit|kessel\w*)|drums?(?! ?kit)|"
    r"trommeln|kessel)(?!\w)",
    re.IGNORECASE,
)
_NUMBERS: Final = {
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
_LEAST, _MOST = 6, 28  # inches across of anything that is a drum of a kit
_ROLES: Final = ("bass", "floor", "rack", "snare")


@dataclass(frozen=True, slots=True)
class Drum:
    """One drum as the advert lists it; `size` only where both figures are there, `role` where a word names it."""

    find: Find
    size: Size | None
    diameter: float
    role: str | None


@dataclass(frozen=True, slots=True)
class DrumsSeen:
    """How many drums, their sizes where all are known, and how many bass drums were listed."""

    pieces: Outcome
    sizes: tuple[Size, ...]
    sizes_words: str
    basses: int
    places: tuple[Find, ...]


def drums_seen(advert: AdvertText, words: Lexicon, order: str) -> DrumsSeen:
    """The kit's drums. Sizes in either order: a list is turned round where that alone makes its drums shallow."""
    pairs = _pairs(advert, words, order)
    blank = advert.without(d.find for d in pairs)
    singles = _runs(blank, words)
    blank = blank.without(d.find for d in singles)
    singles += _inches(blank, words)
    drums = sorted([*pairs, *singles], key=lambda d: d.find.start)
    blank = advert.without(d.find for d in drums)
    named = _named_only(blank, words, drums)
    stated = _stated(blank, words)
    pieces = _pieces(advert, drums, named, stated)
    complete = bool(drums) and all(d.size is not None for d in drums) and not named
    sizes = tuple(d.size for d in drums if d.size is not None) if complete else ()
    span = advert.words(Find(drums[0].find.start, drums[-1].find.end)) if drums else ""
    basses = sum(d.role == "bass" or (d.role is None and d.diameter >= 20) for d in drums)
    return DrumsSeen(pieces, sizes, span, basses, tuple(d.find for d in drums))


def _pairs(advert: AdvertText, words: Lexicon, order: str) -> list[Drum]:
    found: list[tuple[re.Match[str], int]] = []
    for m in _PAIR.finditer(advert.plain):
        if not _is_other_thing(advert, Find(*m.span()), words) and isinstance(_size(m["size"], "diameter-depth"), Size):
            found.append((m, int(m["count"] or 1)))
    chosen = _order([m["size"] for m, _ in found], order)
    drums = []
    for m, count in found:
        size = _size(m["size"], chosen)
        if isinstance(size, Size) and size.diameter >= _LEAST:
            find = Find(*m.span())
            drums += [Drum(find, size, float(size.diameter), _role(advert, find, words))] * count
    return drums


def _size(text: str, order: str) -> Size | Refusal:
    return read_size(re.sub(r"(?<=\d)-(?=inch)|(?<=\d)er\b", " ", text).replace("''", '"'), order)


def _order(texts: Sequence[str], order: str) -> str:
    """The order in which the whole list makes sense; the shop's where both do or neither does."""
    other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
    return other if _deep(texts, order) > _deep(texts, other) else order


def _deep(texts: Sequence[str], order: str) -> int:
    """How many drums would be deeper than wide."""
    sizes = [_size(text, order) for text in texts]
    return sum(isinstance(s, Refusal) or s.depth > s.diameter for s in sizes)


def _runs(advert: AdvertText, words: Lexicon) -> list[Drum]:
    """Diameters in a row: 22/16/13/12."""
    drums = []
    for m in _RUN.finditer(advert.plain):
        numbers = [int(n) for n in re.findall(r"\d+", m["run"])]
        find = Find(*m.span("run"))
        if any(not _LEAST <= n <= _MOST for n in numbers) or _is_other_thing(advert, find, words):
            continue
        parts = [Find(find.start + n.start(), find.start + n.end()) for n in re.finditer(r"\d+", m["run"])]
        drums += [Drum(p, None, float(n), None) for p, n in zip(parts, numbers, strict=True)]
    return drums


def _inches(advert: AdvertText, words: Lexicon) -> list[Drum]:
    """Single diameters: with an inch mark, or behind or before the word for a drum."""
    drums = []
    for m in re.finditer(r"(?<![\w.,/:+-])\d{1,2}(?![\w%€£$]|[.,:]\d|[ ]?(?:mm|cm|EUR|euro|x[ ]?\d|/))", advert.plain):
        if not _LEAST <= int(m[0]) <= _MOST:
            continue
        mark = re.compile(_INCH, re.IGNORECASE).match(advert.plain, m.end())
        find = Find(m.start(), mark.end() if mark is not None else m.end())
        role = _role(advert, find, words)
        if (mark is None and role is None) or _is_other_thing(advert, find, words):
            continue
        if mark is None and not re.match(
            r"[ ]*(?:$|[,;.+&/)\n-]|and\b|und\b|\w*toms?\b|snare|bass|floor|kick)", advert.plain[m.end() :][:12]
        ):
            continue
        drums.append(Drum(find, None, float(m[0]), role))
    return drums


def _is_other_thing(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Is it the size of a cymbal, a case, a head?"""
    behind = re.match(r"[ ]*[^\W\d_]+(?:[ -]+[^\W\d_]+){0,2}", advert.after(find.end, 40))
    if behind is not None:
        hit = words["not a drum"].search(behind[0])
        drum = min((m.start() for r in _ROLES for m in [words[r].search(behind[0])] if m is not None), default=99)
        if hit is not None and hit.start() < drum:
            return True
    tail = advert.before(find.start, 40)
    last = _last(words["not a drum"], tail)
    named = max((_last(words[r], tail) for r in _ROLES), default=-1)
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


def _role(advert: AdvertText, find: Find, words: Lexicon) -> str | None:
    """The word for a drum right before or behind a size."""
    after = re.sub(r"^[ )\]:=-]+", "", advert.after(find.end, 24))
    for role in _ROLES:
        if words[role].match(after):
            return role
    tail = re.sub(r"(?:[\s:=(,+&/x\x00-]|\band\b|\bund\b|(?<!\d)\d{1,2}(?!\d)\"?)+$", "", advert.before(find.start, 40))
    return next((role for role in _ROLES if any(m.end() == len(tail) for m in words[role].finditer(tail))), None)


def _named_only(advert: AdvertText, words: Lexicon, drums: Sequence[Drum]) -> list[tuple[str, int, Find]]:
    """Drums that are named without a size: role, how many, where. With sizes listed only a snare can still be missing,
    for toms and bass drums are then spoken of again in running text.
    """
    found: list[tuple[str, int, Find]] = []
    text = advert.plain
    taken: list[Find] = []
    for role in ("floor", "snare", "bass", "rack"):
        if drums and (role != "snare" or any(d.role == "snare" for d in drums)):
            continue
        hits = [m for m in words[role].finditer(text) if not _overlaps(m, taken) and _is_drum(advert, m, words)]
        taken += [Find(*m.span()) for m in hits]
        counts = [_count_before(text, m.start()) for m in hits]
        if hits:
            place = hits[counts.index(max(counts))]
            found.append((role, max(counts), Find(*place.span())))
    if not drums and not any(role in ("bass", "rack", "floor") for role, _, _ in found):
        return []
    return found


def _overlaps(m: re.Match[str], taken: Sequence[Find]) -> bool:
    return any(m.start() < find.end and find.start < m.end() for find in taken)


def _is_drum(advert: AdvertText, m: re.Match[str], words: Lexicon) -> bool:
    """A drum that comes with the kit: no stand or head for it, and not missing."""
    after = advert.after(m.end(), 24)
    before = advert.before(m.start(), 28)
    if words["not a drum"].match(after.lstrip(" -")) or re.match(
        r"[ -]*(?:sound|pedal|drummer|keys?|tuning|size)", after
    ):
        return False
    if re.search(
        r"\b(?:without|no|ohne|kein|keine|excl\.?|exkl\.?|minus|not)(?: (?:the|a|an|die|der|eine))?[ ]*$",
        before,
        re.IGNORECASE,
    ):
        return False
    return (
        re.match(
            r"[ ,(]*(?:is |are |ist )?(?:not|nicht|missing|fehlt|extra|separat|sold separately)", after, re.IGNORECASE
        )
        is None
    )


def _count_before(text: str, at: int) -> int:
    m = re.search(
        r"(?<![\w.,/])(\d|[^\W\d_]+)[ ]?x?[ ]*(?:matching |passende |hanging |mounted )?$", text[max(0, at - 24) : at]
    )
    if m is None:
        return 1
    number = int(m[1]) if m[1].isdigit() else _NUMBERS.get(m[1].lower(), 1)
    return number if 1 <= number <= 6 else 1


def _stated(advert: AdvertText, words: Lexicon) -> dict[int, Find]:
    """The numbers of pieces that the advert names: "5-piece", "fünfteilig"."""
    found: dict[int, Find] = {}
    for m in _STATED.finditer(advert.plain):
        number = int(m["number"]) if m["number"].isdigit() else _NUMBERS[m["number"].lower()]
        if 1 <= number <= 20 and not words["not a drum"].match(advert.after(m.end(), 24).lstrip(" -")):
            found.setdefault(number, Find(*m.span()))
    return found


def _pieces(
    advert: AdvertText, drums: Sequence[Drum], named: Sequence[tuple[str, int, Find]], stated: dict[int, Find]
) -> Outcome:
    counted = len(drums) + sum(count for _, count, _ in named)
    if len(stated) > 1:
        return Outcome(None, f"two numbers of pieces: {listed((advert.words(f) for f in stated.values()), 4)}")
    if stated:
        ((number, find),) = stated.items()
        said = advert.words(find)
        if counted in (0, number) or (counted < number and not drums):
            return Outcome(Taken("pieces", str(number), said))
        words = ", ".join(_listed_words(advert, drums, named))
        return Outcome(None, f"the advert says {said} and lists {counted}: {words}")
    if not counted:
        return Outcome(None, "no drums are listed and no number of pieces is named")
    if len(drums) == 1 and not named:
        return Outcome(None, f"only one drum is listed ({advert.words(drums[0].find)})")
    return Outcome(Taken("pieces", str(counted), ", ".join(_listed_words(advert, drums, named))))


def _listed_words(advert: AdvertText, drums: Sequence[Drum], named: Sequence[tuple[str, int, Find]]) -> Iterator[str]:
    yield from (advert.words(d.find) for d in drums)
    for _, count, find in named:
        yield f"{count} x {advert.words(find)}" if count > 1 else advert.words(find)
