"""The drums that an advert lists: by size, by diameter, by name or by number."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts import lists
from kitvalue.intake.adverts.lists import INCH, Beside, Doubt, Drum, beside
from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken
from kitvalue.intake.text.languages import pattern, word_numbers
from kitvalue.intake.text.lexicon import Lexicon, said
from kitvalue.intake.text.sizes import Size, read_size
from kitvalue.intake.text.words import Refusal, listed

_LEAST_BASS: Final = 16  # inches
_NO_DRUM: Final = pattern(rf"[ -]*{said('no drum')}(?!\w)")
_DENIED: Final = pattern(
    rf"\b(?:{said('deny')}(?: {said('denied article')})?|{said('is sold')} {said('denied article')})"
    rf"(?: {said('denied adjective')})?[ ]*$"
)
_AWAY: Final = pattern(
    rf"[ ,(]*(?:(?:{said('is')} )?(?:{said('by now')} )*{said('away')}(?!\w)|"
    rf"(?:{said('is', 'by now')} )+"
    rf"(?:{said('asked for')} [€£$]?\d{{2,4}}[ ]?(?:[€£$]|EUR|euros?)? )?{said('is sold')}(?!\w))|"
    rf"[ ]{said('stays away')}(?!\w)"
)
_NOT_HERE: Final = pattern(
    rf"[ ,()]*(?:{said('is')} )?(?:(?:{said('by now')}|also|auch) )?(?:{said('not here')}(?!\w)|"
    r"(?:for |für )[€£$]?\d{1,4}[ ]?(?:[€£$]|EUR|euros?)?[ ]?(?:extra|more|on top|mehr)\b|"
    r"(?:is )?(?:missing|fehlt)[ ]*(?:$|[,.;)!]))"
)
_APART: Final = pattern(rf"(?<!\w){said('apart')}(?!\w)")
_MORE: Final = pattern(rf"(?<!\w){said('more')}(?!\w)")
_HOW_MANY: Final = re.compile(rf"(?<![\w.,/])(\d|[^\W\d_]+)[ ]?x?[ ]*(?:{said('counted')} )?$")


def named_only(advert: AdvertText, words: Lexicon, drums: Sequence[Drum]) -> tuple[dict[Find, int], list[Doubt]]:
    """Drums that are named without a size, where and how many, and the words that leave their number open. With sizes
    listed only a snare can still be missing, for toms and bass drums are then spoken of again in running text.
    """
    roles: tuple[str, ...] = ("floor", "snare", "bass", "rack")
    if drums:
        roles = () if any(drum.role == "snare" for drum in drums) else ("snare",)
    mentions = dict(_mentions(advert, words, roles))
    named: dict[Find, int] = {}
    doubts: list[Doubt] = []
    if not drums and mentions.keys() <= {"snare"}:
        return named, doubts
    for role, places in mentions.items():
        counts = {find: count_before(advert.plain, find.start) for find in places}
        find = max(places, key=lambda find: counts[find] or 1)
        named[find] = counts[find] or 1
        plural = advert.plain[find.end - 1] in "sS"
        if named[find] == 1 and role in ("floor", "rack") and plural and 1 not in counts.values():
            doubts.append(Doubt(find, f'"{advert.words(find)}": how many is not said', 5))
    return named, doubts


def unlisted(advert: AdvertText, words: Lexicon, drums: Sequence[Drum]) -> Iterator[Doubt]:
    """Drums that are named beside listed ones and cannot be among these: "bass 22, two toms" lists no toms. `advert`:
    with the listed drums blank. A floor tom is a tom too; a size without a word can be any drum.
    """
    basses = sum(drum.role == "bass" or drum.diameter >= _LEAST_BASS for drum in drums)
    toms = sum(drum.role in ("rack", "floor", None) for drum in drums)
    for role, places in _mentions(advert, words, ("floor", "bass", "rack")):
        for find in places:
            several = role != "bass" and advert.plain[find.end - 1] in "sS"
            if (basses if role == "bass" else toms) < (count_before(advert.plain, find.start) or 1 + several):
                yield Doubt(find, f'"{advert.words(find)}" is named, and no size for it', 5)
                break


def _mentions(advert: AdvertText, words: Lexicon, roles: Sequence[str]) -> Iterator[tuple[str, list[Find]]]:
    """The places where drums of each kind are named that come with the kit: no stand or head for one, none that is
    missing or kept by the seller.
    """
    blank = advert
    for role in roles:
        places = []
        for find in blank.finds(words[role]):
            after = advert.after(find.end, 40)
            thing = (
                sold_apart(after)
                or words["not a drum"].match(after.lstrip(" -"))
                or _NO_DRUM.match(after)
                or _AWAY.match(after)
            )
            if not thing and not _DENIED.search(advert.before(find.start, 36)):
                places.append(find)
        blank = blank.without(places)
        if places:
            yield role, places


def stays_behind(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Is a drum that is listed with its size kept by the seller, or not there?"""
    before, after = advert.before(find.start, 40), lists.without_material(advert.after(find.end, 64).lstrip(" )"))
    for role in lists.ROLES:
        m = words[role].match(after.lstrip(" )"))
        after = after if m is None else after.lstrip(" )")[m.end() :]
        named = next((m for m in words[role].finditer(before) if before[m.end() :].strip(" :=(") == ""), None)
        before = before if named is None else before[: named.start()]
    alone = re.search(r"\d", before) is None
    return (alone and sold_apart(after)) or _NOT_HERE.match(after) is not None or _DENIED.search(before) is not None


def sold_apart(after: str) -> bool:
    """Does what stands behind a drum say that it is for sale by itself?"""
    m = _APART.search(re.split(r"[,;(\d\x00]|\.\s", after)[0])
    return m is not None and not _MORE.search(after[: m.start()])


def count_before(text: str, at: int) -> int | None:
    """How many drums, by the number or number word before their name; None where there is none."""
    m = _HOW_MANY.search(text[max(0, at - 24) : at])
    if m is None:
        return None
    number = int(m[1]) if m[1].isdigit() else word_numbers("numbers").get(m[1].lower(), 0)
    return number if 1 <= number <= 6 else None


_FIGURE: Final = r"\d{1,2}(?:[.,]\d{1,2})?(?:[ -]?(?:1/2|[13]/4|[1357]/8)(?!\d))?(?:[¼½¾⅛⅜⅝⅞])?"
_PAIR: Final = pattern(
    rf"(?<![\w.,/])(?:(?P<count>[2-4])[ ]?x[ ])?(?P<size>{_FIGURE}{INCH}?[ ]?(?:[xX*]|by\b|"
    rf"(?<!\d[ ])/(?=\d{{1,2}}{INCH}?(?:[,;\s)]|\.(?:\s|$)|$)))[ ]?"
    rf"{_FIGURE}{INCH}?)(?![\w/%€£$]|[.,]\d|[ ]?(?:mm|cm|EUR|x[ ]?\d))"
)
_NEXT_SIZE: Final = pattern(
    rf"([xX*][ ]?{_FIGURE}{INCH}?[ ]?)/(?=[ ]?{_FIGURE}{INCH}?[ ]?[xX*][ ]?\d)"
)  # the stroke of 12x8/13x9
_SLASHED: Final = pattern(rf"(\d{{1,2}}){INCH}?[ ]?/[ ]?(\d{{1,2}}){INCH}?")
_OUT_OF_TEN: Final = pattern(
    rf"(?<![\d/])(?P<mark>(?:10|[1-9])/10)(?![\d/])(?=[ ]*{said('condition')}(?!\w))|"
    rf"(?<!\w){said('condition')}[ :=]*(?P<behind>(?:10|[1-9])/10)(?![\d/])"
)
_BASS: Final = 18  # inches: two bass drums of one width are seldom in one kit
_LOOSE: Final = pattern(rf"[,+&]|\b(?:{said('and')}|plus)\b")
_COUNTED: Final = pattern(rf"([1-4])[ ]?[x*][ ]?(\d{{1,2}}){INCH}?")
_NUMBER_WORDS: Final = "|".join(word for word, number in word_numbers("numbers").items() if 2 <= number <= 9)
_STATED: Final = pattern(
    rf"(?<![\w.,/])(?P<number>\d{{1,2}}|{_NUMBER_WORDS})[ -]?{said('pieces')}(?!\w)|"
    rf"(?<!\w){said('pieces')}[ ]?[:=][ ]?(?P<behind>[2-7])(?![\s\"'/,.x*+-]*\d)"  # "drums: 4"
)


@dataclass(frozen=True, slots=True)
class AdvertDrums:
    """How many drums, their sizes where all are known, and how many bass drums were listed.

    `places`: all that is listed as drums; `counted`: the places of those that are the kit's, or may be. `unsure`: those
    of the places that may be a day or drums which stay open.
    """

    pieces: Outcome
    sizes: tuple[Size, ...]
    basses: int
    places: tuple[Find, ...]
    counted: tuple[Find, ...]
    unsure: tuple[Find, ...]


@dataclass(frozen=True, slots=True)
class _Pair:
    """A width and a depth as written, how often, and the words beside them. `slashed`: the two whole numbers of
    "12/13"; None for a size with a cross or a fraction.
    """

    find: Find
    text: str
    count: int
    around: Beside
    slashed: tuple[int, int] | None

    @property
    def roles(self) -> list[str]:
        return [word.role for word in self.around.words]

    @property
    def may_be_toms(self) -> bool:
        """Is it "12/13", which says nothing of the order of widths and depths? A bass or a snare drum is one drum."""
        return (
            self.slashed is not None and lists.rises_by_little(*self.slashed) and not {"bass", "snare"} & {*self.roles}
        )


def read_drums(advert: AdvertText, words: Lexicon, order: str, perhaps: Sequence[Find] = ()) -> AdvertDrums:
    """The kit's drums. Sizes in either order: a list is turned round where that alone makes its drums shallow.

    `perhaps`: places, blank in the text, that are a day or three drums; with other drums listed they are a day.
    """
    marks = [m.span(m.lastgroup or 0) for m in _OUT_OF_TEN.finditer(advert.plain)]
    advert = advert.without(Find(*span) for span in marks)
    drums, gone, written, doubts = _listed(advert, words, order)
    unsure = tuple(perhaps) if len(drums) < 2 else ()
    doubts = [*doubts, *(Doubt(f, f"{advert.words(f)} can be a day or three drums", 3) for f in unsure)]
    places = [*(drum.find for drum in written), *(doubt.find for doubt in doubts)]
    blank, there = advert.without(places), drums + gone
    named, open_numbers = named_only(blank, words, there)
    doubts += [*(unlisted(blank, words, there) if drums else ()), *open_numbers]
    pieces = _pieces(advert, drums, named, pieces_said(blank, words), doubts)
    sizes = tuple(drum.size for drum in drums if drum.size is not None)
    basses = sum(d.role == "bass" or (d.role is None and d.diameter >= 20) for d in written)
    return AdvertDrums(
        pieces,
        sizes if len(sizes) == len(drums) and not named and not doubts else (),
        basses,
        tuple(places),
        tuple(find for find in places if all(find != drum.find for drum in gone)),
        unsure,
    )


def _listed(advert: AdvertText, words: Lexicon, order: str) -> tuple[list[Drum], list[Drum], list[Drum], list[Doubt]]:
    """The drums that are written with a width, or with a width and a depth: each once, those that do not come with the
    kit, all as written, and what is not certain.
    """
    pairs, order = _pairs(advert, words, order)
    chains = lists.chains_of(advert.without(pair.find for pair in pairs), words)
    around = [*((one.find.start, one.around) for one in pairs), *((one.find.start, one.around) for one in chains)]
    # the first drum that has a word on one side or on both shows whether the advert names drums before their sizes
    first = next((sides for _, sides in sorted(around, key=lambda one: one[0]) if sides.words), None)
    word_first = first is not None and first.before is not None and not (first.apart and first.behind is not None)
    sized: list[Drum] = []
    for pair in pairs:
        size = _size(pair.text, order)
        if isinstance(size, Size) and size.diameter >= lists.LEAST:
            width = float(size.diameter)
            sized += [Drum(pair.find, size, width, pair.around.role(word_first, width))] * pair.count
    rows = lists.rows_of(advert, chains, order, word_first, listed=len(sized) > 1)
    apart = [*sized, *(drum for row in rows if row.apart for drum in row.drums)]
    rows_of_drums = [row.drums for row in rows if row.drums and not row.apart]
    gone = [drum for drum in apart if stays_behind(advert, drum.find, words)]
    left = [drum for drum in apart if drum not in gone]
    for *_, one, last in rows_of_drums:  # the last behind a comma or the like: '22, 16, 14" snare missing'
        loose = _LOOSE.search(advert.plain[one.find.end : last.find.start])
        if loose and stays_behind(advert, last.find, words):
            gone.append(last)
    kept = [drums[:-1] if drums[-1] in gone else drums for drums in rows_of_drums]
    drums, twice = _once(advert, left, kept)
    written = [*apart, *(drum for drums in rows_of_drums for drum in drums)]
    doubts = [row.doubt for row in sorted(rows, key=lambda row: bool(row.drums)) if row.doubt is not None]
    return drums, gone, written, doubts + twice


def _pairs(advert: AdvertText, words: Lexicon, order: str) -> tuple[list[_Pair], str]:
    """Every width with a depth, and the order in which they are written. Two numbers that are no size are left to the
    bare diameters.
    """
    pairs: list[_Pair] = []
    for m in _PAIR.finditer(_NEXT_SIZE.sub(r"\1 ", advert.plain)):
        find, text = Find(*m.span()), m["size"]
        if not lists.is_other_thing(advert, find, words) and isinstance(_size(text, "diameter-depth"), Size):
            around = beside(advert, find, words)
            stroke = _SLASHED.fullmatch(text)
            slashed = None if stroke is None else (int(stroke[1]), int(stroke[2]))
            pair = _Pair(find, text, int(m["count"] or lists.times(advert, find, around)), around, slashed)
            # "9/10" is nine of ten points; "2x12" two drums of 12 inches: none but a snare is as shallow
            points = slashed is not None and slashed[1] == 10 and slashed[0] <= 10
            counted = _COUNTED.fullmatch(text)
            shallow = counted and int(counted[2]) >= 8 and not (int(counted[1]) >= 3 and "snare" in pair.roles)
            no_size = (slashed == (10, 10) or not pair.roles) if points else shallow
            if not no_size:
                pairs.append(pair)

    def deep(order: str) -> int:  # drums that are deeper than wide
        sizes = [_size(pair.text, order) for pair in pairs if not pair.may_be_toms]
        return sum(isinstance(size, Refusal) or size.depth > size.diameter for size in sizes)

    other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
    order = other if deep(order) > deep(other) else order  # the shop's where both are alike
    strokes = [pair for pair in pairs if pair.slashed is not None]
    toms = [
        pair
        for pair in pairs
        if (pair.may_be_toms and order == "diameter-depth")
        or (strokes == [pair] and pair.slashed and lists.are_two_drums(*pair.slashed, pair.around, order))
    ]
    return [pair for pair in pairs if pair not in toms], order


def _once(advert: AdvertText, others: list[Drum], rows: Iterable[Sequence[Drum]]) -> tuple[list[Drum], list[Doubt]]:
    """The drums without those that are listed a second time, as a title and the text below it do."""
    kept = list(others)
    doubts: list[Doubt] = []
    for row in rows:
        snares = [drum for drum in kept if drum.role == "snare"]
        rest = [drum for drum in kept if drum.role != "snare"]
        here, there = Counter(d.diameter for d in row), Counter(d.diameter for d in kept)
        if here <= there:
            continue
        if len(rest) > 2 and Counter(d.diameter for d in rest) <= here:
            kept = [*row, *snares]
            continue
        again = [drum for drum in rest if drum.diameter >= _BASS and drum.diameter in here]
        doubts += [Doubt(d.find, f"{advert.words(d.find)} may be a drum that is listed twice", -1) for d in again]
        kept += row
    return sorted(kept, key=lambda d: d.find.start), doubts


def _size(text: str, order: str) -> Size | Refusal:
    return read_size(re.sub(r"(?<=\d)-(?=inch)|(?<=\d)er\b", " ", text).replace("''", '"'), order)


def pieces_said(advert: AdvertText, words: Lexicon) -> dict[int, Find]:
    """The numbers of pieces that the advert names: "5-piece", "fünfteilig"."""
    stated: dict[int, Find] = {}
    for m in _STATED.finditer(advert.plain):
        text = m["number"] or m["behind"]
        number = int(text) if text.isdigit() else word_numbers("numbers")[text.lower()]
        if 1 <= number <= 20 and not words["not a drum"].match(advert.after(m.end(), 24).lstrip(" -")):
            stated.setdefault(number, Find(*m.span()))
    return stated


def _pieces(
    advert: AdvertText, drums: Sequence[Drum], named: Mapping[Find, int], stated: dict[int, Find], doubts: list[Doubt]
) -> Outcome:
    """The number of drums. Where the advert leaves it open, a blank: a wrong number would be worse."""
    counts = Counter(drum.find for drum in drums) | Counter(named)
    counted = counts.total()
    texts = ((advert.words(find), count) for find, count in counts.items())
    words = ", ".join(
        text if count == 1 or re.match(r"[1-4][ ]?x", text) else f"{count} x {text}" for text, count in texts
    )
    if len(stated) > 1:
        return Outcome(None, f"two numbers of pieces: {listed((advert.words(f) for f in stated.values()), 4)}")
    if stated:
        ((number, find),) = stated.items()
        least = counted + sum(min(doubt.most, 0) for doubt in doubts)
        most = counted + sum(max(doubt.most, 0) for doubt in doubts)
        if counted == 0 or (counted < number and not drums) or least <= number <= most:
            return Outcome(Taken("pieces", str(number), advert.words(find)))
        return Outcome(None, f"the advert says {advert.words(find)} and lists {counted}: {words}")
    if doubts:
        return Outcome(None, doubts[0].reason)
    if not counted:
        return Outcome(None, "no drums are listed and no number of pieces is named")
    if counted == 1:
        return Outcome(None, f"only one drum is {'listed' if drums else 'named'} ({words})")
    return Outcome(Taken("pieces", str(counted), words))
