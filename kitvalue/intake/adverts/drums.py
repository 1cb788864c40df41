"""The drums that an advert lists: by size, by diameter, by name or by number."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from kitvalue.intake.adverts.lists import (
    INCH,
    LEAST,
    ROLES,
    Beside,
    Doubt,
    Drum,
    Manner,
    Row,
    are_two_drums,
    beside,
    chains_of,
    is_other_thing,
    listing,
    rises_by_little,
    times,
    without_material,
    words_come_first,
)
from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken
from kitvalue.intake.text.lexicon import Lexicon
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal, listed

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


_FIGURE: Final = r"\d{1,2}(?:[.,]\d{1,2})?(?:[ -]?(?:1/2|[13]/4|[1357]/8)(?!\d))?(?:[¼½¾⅛⅜⅝⅞])?"
_PAIR: Final = re.compile(
    rf"(?<![\w.,/])(?:(?P<count>[2-4])[ ]?x[ ])?(?P<size>{_FIGURE}{INCH}?[ ]?(?:[xX*]|by\b|"
    rf"(?<!\d[ ])/(?=\d{{1,2}}{INCH}?(?:[,;\s)]|\.(?:\s|$)|$)))[ ]?"
    rf"{_FIGURE}{INCH}?)(?![\w/%€£$]|[.,]\d|[ ]?(?:mm|cm|EUR|x[ ]?\d))",
    re.IGNORECASE,
)
_NEXT_SIZE: Final = re.compile(
    rf"([xX*][ ]?{_FIGURE}{INCH}?[ ]?)/(?=[ ]?{_FIGURE}{INCH}?[ ]?[xX*][ ]?\d)", re.IGNORECASE
)  # the stroke of 12x8/13x9
_SLASHED: Final = re.compile(rf"(\d{{1,2}}){INCH}?[ ]?/[ ]?(\d{{1,2}}){INCH}?", re.IGNORECASE)
_OUT_OF_TEN: Final = re.compile(
    r"(?<![\d/])(?P<mark>(?:10|[1-9])/10)(?![\d/])(?=[ ]*(?:condition|cond\b|shape|zustand|erhalten))|"
    r"(?:condition|shape|zustand)[ :=]*(?P<behind>(?:10|[1-9])/10)(?![\d/])",
    re.IGNORECASE,
)
_BASS: Final = 18  # inches: two bass drums of one width are seldom in one kit
_COUNTED: Final = re.compile(rf"([1-4])[ ]?[x*][ ]?(\d{{1,2}}){INCH}?", re.IGNORECASE)
_STATED: Final = re.compile(
    r"(?<![\w.,/])(?P<number>\d{1,2}|two|three|four|five|six|seven|eight|nine|zwei|drei|vier|fünf|sechs|sieben|acht|neun)"
    r"[ -]?(?:piece|pieces|pce|pcs?|pc|ps|pieced|teilig(?:es|er|e|en)?|tlg\.?|stückiges|"
    r"er[ -](?:set|kit|kessel\w*)|drums?(?! ?kit)|"
    r"trommeln|kessel)(?!\w)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class DrumsSeen:
    """How many drums, their sizes where all are known, and how many bass drums were listed.

    `places`: all that is listed as drums; `counted`: the places of those that are the kit's, or may be. `unsure`: those
    of the places that may be a day or drums which stay open.
    """

    pieces: Outcome
    sizes: tuple[Size, ...]
    sizes_words: str
    basses: int
    places: tuple[Find, ...]
    counted: tuple[Find, ...]
    unsure: tuple[Find, ...]


@dataclass(frozen=True, slots=True)
class _Pair:
    """A width and a depth as written, how often, and the words beside them."""

    find: Find
    text: str
    count: int
    around: Beside

    def slashed(self) -> tuple[int, int] | None:
        """The two whole numbers of "12/13"; None for a size with a cross or a fraction."""
        m = _SLASHED.fullmatch(self.text)
        return None if m is None else (int(m[1]), int(m[2]))


@dataclass(frozen=True, slots=True)
class _Listed:
    """The drums with a size or a diameter: each once, those that do not come with the kit, and all as written."""

    drums: tuple[Drum, ...]
    gone: tuple[Drum, ...]
    written: tuple[Drum, ...]
    doubts: tuple[Doubt, ...]


def drums_seen(advert: AdvertText, words: Lexicon, order: str, perhaps: Sequence[Find] = ()) -> DrumsSeen:
    """The kit's drums. Sizes in either order: a list is turned round where that alone makes its drums shallow.

    `perhaps`: places, blank in the text, that are a day or three drums; with other drums listed they are a day.
    """
    marks = [m.span(m.lastgroup or 0) for m in _OUT_OF_TEN.finditer(advert.plain)]
    advert = advert.without(Find(*span) for span in marks)
    found = _listed(advert, words, order)
    drums, there = found.drums, [*found.drums, *found.gone]
    unsure = tuple(perhaps) if len(drums) < 2 else ()
    doubts = [*found.doubts, *(Doubt(f, f"{advert.words(f)} can be a day or three drums", 3) for f in unsure)]
    places = [*(drum.find for drum in found.written), *(doubt.find for doubt in doubts)]
    blank = advert.without(places)
    named = named_only(blank, words, there)
    doubts += unlisted(blank, words, there) if drums else ()
    pieces = _pieces(advert, drums, named, pieces_said(blank, words), doubts)
    complete = bool(drums) and all(d.size is not None for d in drums) and not named.drums and not doubts
    sizes = tuple(d.size for d in drums if d.size is not None) if complete else ()
    span = advert.words(Find(drums[0].find.start, drums[-1].find.end)) if drums else ""
    basses = sum(d.role == "bass" or (d.role is None and d.diameter >= 20) for d in found.written)
    gone = {drum.find for drum in found.gone}
    counted = tuple(find for find in places if find not in gone)
    return DrumsSeen(pieces, sizes, span, basses, tuple(places), counted, unsure)


def _listed(advert: AdvertText, words: Lexicon, order: str) -> _Listed:
    """Every drum that is written with a width, or with a width and a depth."""
    found, order = _pairs(advert, words, order)
    chains = chains_of(advert.without(pair.find for pair in found), words)
    around = [(one.find.start, one.around) for one in found] + [(one.find.start, one.around) for one in chains]
    word_first = words_come_first(sides for _, sides in sorted(around, key=lambda one: one[0]))
    pairs = [drum for pair in found for drum in _sized(pair, order, word_first)]
    bare = listing(advert, chains, Manner(order, word_first, len(pairs)))
    apart = [*pairs, *bare.singles]
    gone = [drum for drum in apart if stays_behind(advert, drum.find, words)]
    left = [drum for drum in apart if drum not in gone]
    gone += [row.drums[-1] for row in bare.rows if _last_is_gone(advert, row, words)]
    rows = [replace(row, drums=row.drums[:-1]) if row.drums[-1] in gone else row for row in bare.rows]
    drums, twice = _once(advert, left, rows)
    written = (*apart, *(drum for row in bare.rows for drum in row.drums))
    return _Listed(tuple(drums), tuple(gone), written, (*bare.doubts, *twice))


def _last_is_gone(advert: AdvertText, row: Row, words: Lexicon) -> bool:
    """Does the last of a row stand behind a comma or the like, and is it not there: '22, 16, 14" snare missing'?"""
    one, two = row.drums[-2:]
    loose = re.search(r"[,+&]|\b(?:and|und|plus)\b", advert.plain[one.find.end : two.find.start], re.IGNORECASE)
    return loose is not None and stays_behind(advert, two.find, words)


def _pairs(advert: AdvertText, words: Lexicon, order: str) -> tuple[list[_Pair], str]:
    """Every width with a depth, and the order in which they are written."""
    plain = _NEXT_SIZE.sub(r"\1 ", advert.plain)
    found: list[_Pair] = []
    for m in _PAIR.finditer(plain):
        find = Find(*m.span())
        if not is_other_thing(advert, find, words) and isinstance(_size(m["size"], "diameter-depth"), Size):
            around = beside(advert, find, words)
            pair = _Pair(find, m["size"], int(m["count"] or times(advert, find, around)), around)
            if not _is_count(pair) and not _is_mark(pair):
                found.append(pair)
    chosen = _order([pair.text for pair in found if not _may_be_toms(pair)], order)
    strokes = [pair for pair in found if pair.slashed() is not None]
    return [pair for pair in found if not _is_toms(pair, chosen, len(strokes))], chosen


def _is_count(pair: _Pair) -> bool:
    """Is it "2x12", two drums of 12 inches? No drum but a snare is as shallow as that."""
    m = _COUNTED.fullmatch(pair.text)
    snare = any(word is not None and word.role == "snare" for word in (pair.around.before, pair.around.behind))
    return m is not None and int(m[2]) >= 8 and not (int(m[1]) >= 3 and snare)


def _is_mark(pair: _Pair) -> bool:
    """Is it "9/10", nine out of ten for the condition?"""
    numbers = pair.slashed()
    named = pair.around.before is not None or pair.around.behind is not None
    return numbers is not None and numbers[1] == 10 and numbers[0] <= 10 and (numbers[0] == 10 or not named)


def _may_be_toms(pair: _Pair) -> bool:
    """Is it "12/13", which says nothing of the order of widths and depths? A bass or a snare drum is one drum."""
    numbers = pair.slashed()
    one_drum = any(
        word is not None and word.role in ("bass", "snare") for word in (pair.around.before, pair.around.behind)
    )
    return numbers is not None and rises_by_little(*numbers) and not one_drum


def _is_toms(pair: _Pair, order: str, strokes: int) -> bool:
    """Are the two numbers no size? They are then read with the other bare diameters."""
    numbers = pair.slashed()
    if numbers is None:
        return False
    if _may_be_toms(pair) and order == "diameter-depth":
        return True
    return strokes == 1 and are_two_drums(*numbers, pair.around, order)


def _sized(pair: _Pair, order: str, word_first: bool) -> list[Drum]:
    size = _size(pair.text, order)
    if isinstance(size, Refusal) or size.diameter < LEAST:
        return []
    width = float(size.diameter)
    return [Drum(pair.find, size, width, pair.around.role(word_first, width))] * pair.count


def _once(advert: AdvertText, others: list[Drum], rows: Sequence[Row]) -> tuple[list[Drum], list[Doubt]]:
    """The drums without those that are listed a second time, as a title and the text below it do."""
    kept = list(others)
    doubts: list[Doubt] = []
    for row in rows:
        here, there = Counter(d.diameter for d in row.drums), Counter(d.diameter for d in kept)
        toms = Counter(d.diameter for d in kept if d.role != "snare")
        if here <= there:
            continue
        if toms.total() > 2 and toms <= here:
            kept = [*row.drums, *(d for d in kept if d.role == "snare")]
            continue
        again = [d for d in kept if d.role != "snare" and d.diameter >= _BASS and d.diameter in here]
        doubts += [Doubt(d.find, f"{advert.words(d.find)} may be a drum that is listed twice", -1) for d in again]
        kept += row.drums
    return sorted(kept, key=lambda d: d.find.start), doubts


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


def pieces_said(advert: AdvertText, words: Lexicon) -> dict[int, Find]:
    """The numbers of pieces that the advert names: "5-piece", "fünfteilig"."""
    found: dict[int, Find] = {}
    for m in _STATED.finditer(advert.plain):
        number = int(m["number"]) if m["number"].isdigit() else NUMBERS[m["number"].lower()]
        if 1 <= number <= 20 and not words["not a drum"].match(advert.after(m.end(), 24).lstrip(" -")):
            found.setdefault(number, Find(*m.span()))
    return found


def _pieces(
    advert: AdvertText, drums: Sequence[Drum], named: NamedSeen, stated: dict[int, Find], doubts: Sequence[Doubt]
) -> Outcome:
    """The number of drums. Where the advert leaves it open, a blank: a wrong number would be worse."""
    counted = len(drums) + sum(one.count for one in named.drums)
    doubts = [*doubts, *named.doubts]
    words = ", ".join(_listed_words(advert, drums, named))
    if len(stated) > 1:
        return Outcome(None, f"two numbers of pieces: {listed((advert.words(f) for f in stated.values()), 4)}")
    if stated:
        ((number, find),) = stated.items()
        said = advert.words(find)
        least = counted + sum(min(doubt.most, 0) for doubt in doubts)
        most = counted + sum(max(doubt.most, 0) for doubt in doubts)
        if counted == 0 or (counted < number and not drums) or least <= number <= most:
            return Outcome(Taken("pieces", str(number), said))
        return Outcome(None, f"the advert says {said} and lists {counted}: {words}")
    if doubts:
        return Outcome(None, doubts[0].reason)
    if not counted:
        return Outcome(None, "no drums are listed and no number of pieces is named")
    if counted == 1:
        return Outcome(None, f"only one drum is {'listed' if drums else 'named'} ({words})")
    return Outcome(Taken("pieces", str(counted), words))


def _listed_words(advert: AdvertText, drums: Sequence[Drum], named: NamedSeen) -> Iterator[str]:
    for find, count in Counter(d.find for d in drums).items():
        said = advert.words(find)
        yield said if count == 1 or re.match(r"[1-4][ ]?x", said) else f"{count} x {said}"
    for one in named.drums:
        yield f"{one.count} x {advert.words(one.find)}" if one.count > 1 else advert.words(one.find)
