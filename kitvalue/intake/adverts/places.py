"""What stands in an advert beside the kit itself: addresses, numbers to call, days, listing numbers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from kitvalue.intake.adverts.amounts import CURRENCY
from kitvalue.intake.adverts.lists import ROLES, without_material, word_at, word_before
from kitvalue.intake.adverts.text import NO_DAY, AdvertText, Find, Outcome, Taken
from kitvalue.intake.text.dates import ORDINAL, Day, SeveralDays, read_date
from kitvalue.intake.text.languages import pattern, word_numbers
from kitvalue.intake.text.lexicon import Lexicon, said
from kitvalue.intake.text.words import listed

_ADDRESS: Final = pattern(r"(?:https?://|www\.)[^\s\x00<>\"]{3,500}")
_MAIL: Final = re.compile(r"[\w.+-]{1,64}@[\w-]{1,64}(?:\.[\w-]{1,30}){1,4}")
_LISTING: Final = pattern(
    rf"{said('listing')}[ .-]*(?:(?:nummer|number|nr|no|id|code)\b\.?)?[ ]*[:#]?[ ]*(?:#|nr\.?[ ]?)?"
    r"(?P<number>(?=[\w-]*\d{3})[A-Z0-9][\w-]{2,30})"
)
_CALLED: Final = pattern(
    rf"(?<!\w){said('call')}[ .:]*(?:(?:on|at|unter|me|nr|no|number|nummer)[ .:]*){{0,3}}(\+?[\d(][\d ()/.-]{{4,24}}\d)"
)
_NUMBER_TO_CALL: Final = re.compile(
    r"(?<![\w.,/])(?:\+\d{1,3}[ ./-]?(?:\(0\)[ ]?)?[\d ()/.-]{6,20}\d|00\d{2}[\d ()/.-]{6,20}\d|"
    r"0\d{1,5}[ /-][\d /-]{4,16}\d|"
    r"0\d{7,13}|0\d(?:\.\d\d){4}|3\d{2}[ ./-]\d{6,7}|[6-9]\d{2}([ .])\d{3}\1\d{3}|"
    r"\(0\d{2,5}\)[ ]?[\d /-]{4,14}\d|\d{3}[- ]\d{3}[- ]\d{4})(?![\w])"
)
_MOST_DIGITS, _MOST_ABROAD, _LEAST_DIGITS = 12, 14, 6  # of a telephone number
_MONEY: Final = pattern(rf"[ ]?(?:{CURRENCY}|[€£$]|v\.?h?b|ono|obo)(?!\w)")
_PLACE_CODE: Final = re.compile(r"(?<![\w.,])(?:D-|A-|CH-)?\d{4,5} (?=[A-ZÄÖÜ][a-zäöüß]{2,})(?!EUR|Euro)")
_DAYS: Final = re.compile(
    r"(?<![\w./-])(?:\d{4}-\d{2}-\d{2}(?:T\d\d:\d\d(?::\d\d)?)?|\d{1,2}\. ?\d{1,2}\. ?(?:\d{4}|"
    r"\d{2})|\d{1,2}/\d{1,2}/(?:\d{4}|\d{2})|"
    r"\d{1,2}-\d{1,2}-\d{4}|"
    rf"\d{{1,2}}{ORDINAL} ?(?:(?:of|de) |d')?[^\W\d_]{{3,10}}\.? (?:del? )?\d{{4}}|"
    r"[^\W\d_]{3,10} \d{1,2}(?:st|nd|rd|th)?,? \d{4})(?![\w/-])"
)
_RELATIVE: Final = pattern(
    rf"(?:{said('listed')}[ :]+)?(?<!\w)({'|'.join(word_numbers('days-ago'))})(?:, \d{{1,2}}[:.]\d{{2}})?(?!\w)"
)
_BEFORE_A_DAY: Final = pattern(rf"(?<!\w){said('before a day')}[ :]*$")
_OF_THE_ADVERT: Final = pattern(rf"(?:(?<!\w){said('listed', 'its day')}|datum|anzeige)(?: {said('on a day')})?[ :]*$")
_NOT_THE_ADVERTS: Final = pattern(rf"(?<!\w){said('not its day')}[^,]{{0,12}}$")
_OF_ITS_PAST: Final = pattern(
    rf"(?<!\w){said('made')}[^,]{{0,12}}(?<!\w){said('on a day')}[ :]*$|(?<!\w){said('day it was made')}[ :]*$"
)  # "bought on"


def addresses(advert: AdvertText) -> list[Find]:
    """Web and mail addresses."""
    return [*advert.finds(_ADDRESS), *advert.finds(_MAIL)]


def numbers_to_call(advert: AdvertText) -> list[Find]:
    """Telephone numbers, and place codes before the name of a place."""
    numbers = [*advert.finds(_CALLED, 1), *advert.finds(_NUMBER_TO_CALL)]
    return [*(_without_price(advert, find) for find in numbers), *advert.finds(_PLACE_CODE)]


def _without_price(advert: AdvertText, find: Find) -> Find:
    """A telephone number without an amount behind it: "0171 1234567 450 VB"."""
    text = advert.plain[find.start : find.end]
    head, _, last = text.rpartition(" ")
    most = _MOST_ABROAD if text.startswith(("+", "00")) else _MOST_DIGITS
    too_long = sum(map(str.isdigit, text)) > most or _MONEY.match(advert.plain, find.end) is not None
    given_back = too_long and last.isdigit() and sum(map(str.isdigit, head)) >= _LEAST_DIGITS
    return Find(find.start, find.start + len(head)) if given_back else find


def listing_numbers(advert: AdvertText) -> list[Find]:
    """The numbers behind "Anzeigennummer", "listing no." and the like."""
    return advert.finds(_LISTING, "number")


def reference(advert: AdvertText) -> Outcome:
    """The listing's own address or number."""
    links = list(dict.fromkeys(advert.words(find).rstrip(".,;:!?)]}'") for find in advert.finds(_ADDRESS)))
    if len(links) > 1:
        return Outcome(None, f"the advert holds {len(links)} addresses ({listed(links, 3)}); which is its own?")
    if links:
        return Outcome(Taken("ref", links[0], links[0]))
    blank = advert.without([*addresses(advert), *numbers_to_call(advert)])
    numbers = {m["number"]: advert.words(Find(*m.span())) for m in _LISTING.finditer(blank.plain)}
    if len(numbers) == 1:
        ((number, words),) = numbers.items()
        return Outcome(Taken("ref", number, words))
    if numbers:
        return Outcome(None, f"the advert holds {len(numbers)} listing numbers ({listed(numbers, 3)})")
    return Outcome(None, "no address and no listing number")


def days(advert: AdvertText) -> list[Find]:
    """Everything that is written as a day."""
    return [Find(*m.span()) for m in _DAYS.finditer(advert.plain) if isinstance(read_date(m[0]), Day | SeveralDays)]


def day(advert: AdvertText, today: dt.date, day_first: bool | None, unsure: Sequence[str] = ()) -> Outcome:
    """The day on which the kit was offered or sold. `unsure`: what can be a day or drums, blank in the text."""
    every: dict[dt.date, Find] = {}
    marked: dict[dt.date, Find] = {}
    doubtful: list[str] = []
    for find in days(advert):
        before = advert.before(find.start, 24)
        its_own = _OF_THE_ADVERT.search(before)
        if _OF_ITS_PAST.search(before) or (_NOT_THE_ADVERTS.search(before) and not its_own):
            continue
        read = read_date(advert.plain[find.start : find.end], day_first)
        if isinstance(read, Day):
            every.setdefault(read.date, find)
            if its_own:
                marked.setdefault(read.date, find)
        elif isinstance(read, SeveralDays):
            doubtful.append(f"{advert.words(find)} can be {listed((d.isoformat() for d in read.dates), last='or')}")
    for m in _RELATIVE.finditer(advert.plain):
        ago = dt.timedelta(days=word_numbers("days-ago")[m[1].lower()])
        every.setdefault(today - ago, Find(*m.span()))
    chosen = marked if len(marked) == 1 else every
    if len(chosen) == 1:
        ((date, find),) = chosen.items()
        if date > today:
            return Outcome(None, f"{advert.words(find)} lies in the future")
        return Outcome(Taken("date", date.isoformat(), advert.words(find)))
    if chosen:
        return Outcome(None, f"several days: {listed((d.isoformat() for d in sorted(chosen)), 4)}")
    if doubtful:
        return Outcome(None, f"{doubtful[0]}; set day_first under [files]")
    if unsure:
        return Outcome(None, f"{unsure[0]} can be a day or three drums")
    return Outcome(None, "no day is named", code=NO_DAY)


_THREE: Final = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{2})")
_LEAST, _MOST = 8, 28  # inches across of a kit's drums
_KIT_BEFORE: Final = pattern(rf"(?<!\w){said('kit')}[ :=(\[-]*$")
_KIT_BEHIND: Final = pattern(rf"(?:[^\W\d_]+ ){{0,2}}{said('kit')}(?!\w)")  # "bop kit"
_JOINED: Final = pattern(rf"[ )\]]*(?:(?:\+|&|{said('more')}\.?)[ ]*)?(?:[1-4][ ]?x?[ ])?")
_RECENT: Final = dt.timedelta(days=730)


@dataclass(frozen=True, slots=True)
class DayLike:
    """Places written as a day: those that are three drums, and those that can be either: a day long past, or a recent
    one, as adverts bear.
    """

    drums: tuple[Find, ...]
    old: tuple[Find, ...]
    recent: tuple[Find, ...]


def day_like(advert: AdvertText, words: Lexicon, today: dt.date, series: Iterable[Find] = ()) -> DayLike:
    """What is written as a day and may be drums; what a word shows to be a day is not among it. Right behind the
    name of a `series` a day long past is drums.
    """
    drums: list[Find] = []
    old: list[Find] = []
    recent: list[Find] = []
    for find in days(advert):
        text = advert.plain[find.start : find.end]
        m = _THREE.fullmatch(text)
        before = advert.before(find.start).rstrip("([ ")
        if m is None or not all(_LEAST <= int(number) <= _MOST for number in m.groups()):
            continue
        if _OF_THE_ADVERT.search(before) or _BEFORE_A_DAY.search(before):
            continue
        behind = without_material(_JOINED.sub("", advert.after(find.end), count=1))  # which matches at the start
        of_a_kit = _KIT_BEFORE.search(advert.before(find.start)) or _KIT_BEHIND.match(behind)
        if of_a_kit or word_at(words, behind) or word_before(words, advert.before(find.start).rstrip(" :=([-")):
            drums.append(find)
        elif not _NOT_THE_ADVERTS.search(before):
            read = read_date(text)
            dates = (read.date,) if isinstance(read, Day) else read.dates if isinstance(read, SeveralDays) else ()
            named = any(
                not advert.plain[one.end : find.start].strip(" :=([-") for one in series if one.end < find.start
            )
            late = any(today - _RECENT <= date <= today for date in dates)
            (recent if late else drums if named else old).append(find)
    return DayLike(tuple(drums), tuple(old), tuple(recent))


_CUT: Final = pattern(rf"[\n;!?•|()\x00]+|,(?!\d)|(?<!\d),|\.(?=\s|$)|\s-\s|(?<!\w){said('but')}(?!\w)")
_TELLS: Final = pattern(rf"(?<!\w){said('parts', 'faults', 'apart')}(?!\w)")
_FIGURE: Final = re.compile(r"\d+")
_MARKER: Final = pattern(r"\d{1,2}[.)]?|stand")  # "1." before a line, "Stand 16"


def left_over(advert: AdvertText, taken: Iterable[Taken], told: Iterable[str], words: Lexicon) -> tuple[str, ...]:
    """The advert's phrases with a figure that nothing tells, or about parts, faults and things sold apart.

    `advert`: with the kit's sizes blank; `told`: the reasons and remarks.
    """
    used = dict.fromkeys(one.words for one in taken if one.field != "note")
    rest = advert.without([*addresses(advert), *numbers_to_call(advert), *listing_numbers(advert)])
    places: list[Find] = []  # where each text that was taken stands first
    for signs in (text.replace("×", "x") for text in used if text.split()):
        before = r"(?<!\w)" if signs[:1].isalnum() else ""
        behind = r"(?!\w)" if signs[-1:].isalnum() else ""
        places += rest.finds(re.compile(before + r"\s+".join(map(re.escape, signs.split())) + behind))[:1]
    rest = rest.without(places)
    cuts = [Find(0, 0), *rest.finds(_CUT), Find(len(rest.plain), 0)]
    phrases = (rest.words(Find(one.end, two.start)).strip(" .,;:/+&-") for one, two in pairwise(cuts))
    figures = {m[0] for text in (*told, *used) for m in _FIGURE.finditer(text)}
    return tuple(dict.fromkeys(phrase for phrase in phrases if phrase and _counts(phrase, figures, words)))


def _counts(phrase: str, figures: set[str], words: Lexicon) -> bool:
    """Does a phrase say something of the kit? The number of drums of one sort ("2 rack toms") is told elsewhere."""
    if _MARKER.fullmatch(phrase):
        return False
    for m in _FIGURE.finditer(phrase):
        of_drums = len(m[0]) == 1 and word_at(words, phrase[m.end() : m.end() + 24].lstrip(" x"))
        if m[0] not in figures and not of_drums:
            return True
    denied = words["without"].search(phrase) and any(words[role].search(phrase) for role in ROLES)
    return bool(_TELLS.search(phrase) or denied or words["not a drum"].search(phrase))
