"""What stands in an advert beside the kit itself: addresses, numbers to call, days, listing numbers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts.lists import ROLES
from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken
from kitvalue.intake.text.dates import Day, SeveralDays, read_date
from kitvalue.intake.text.lexicon import Lexicon
from kitvalue.intake.text.words import listed

_BEFORE_A_DAY: Final = re.compile(
    r"(?<!\w)(?:am|on|by|till|until|bis|ab|seit|since|dated|stand|vom)[ :]*$", re.IGNORECASE
)
_ADDRESS: Final = re.compile(r"(?:https?://|www\.)[^\s\x00<>\"]{3,500}", re.IGNORECASE)
_MAIL: Final = re.compile(r"[\w.+-]{1,64}@[\w-]{1,64}(?:\.[\w-]{1,30}){1,4}")
_LISTING: Final = re.compile(
    r"(?:anzeigen?|inserats?|artikel|angebots|listing|item|advert|ad|ref(?:erence)?|lot|los)[ .-]*"
    r"(?:(?:nummer|number|nr|no|id|code)\b\.?)?[ ]*[:#]?[ ]*(?:#|"
    r"nr\.?[ ]?)?(?P<number>(?=[\w-]*\d{3})[A-Z0-9][\w-]{2,30})",
    re.IGNORECASE,
)
_CALLED: Final = re.compile(
    r"(?:tel(?:efon|ephone)?|phone|fon|call(?: me)?(?: on| at)?|ring|mob(?:il(?:e)?)?|cell|handy|"
    r"whats ?app|text|sms|signal|"
    r"anruf(?:en)?|rufnummer|☎|📞|fax)[ .:]*(?:(?:on|at|unter|me|nr|no|number|nummer)[ .:]*){0,3}"
    r"(\+?[\d(][\d ()/.-]{4,24}\d)",
    re.IGNORECASE,
)
_NUMBER_TO_CALL: Final = re.compile(
    r"(?<![\w.,/])(?:\+\d{1,3}[ ./-]?(?:\(0\)[ ]?)?[\d ()/.-]{6,20}\d|00\d{2}[\d ()/.-]{6,20}\d|"
    r"0\d{1,5}[ /-][\d /-]{4,16}\d|"
    r"0\d{7,13}|\(0\d{2,5}\)[ ]?[\d /-]{4,14}\d|\d{3}[- ]\d{3}[- ]\d{4})(?![\w])"
)
_PLACE_CODE: Final = re.compile(r"(?<![\w.,])(?:D-|A-|CH-)?\d{4,5} (?=[A-ZÄÖÜ][a-zäöüß]{2,})(?!EUR|Euro)")
_DAYS: Final = re.compile(
    r"(?<![\w./-])(?:\d{4}-\d{2}-\d{2}(?:T\d\d:\d\d(?::\d\d)?)?|\d{1,2}\. ?\d{1,2}\. ?(?:\d{4}|"
    r"\d{2})|\d{1,2}/\d{1,2}/(?:\d{4}|\d{2})|"
    r"\d{1,2}-\d{1,2}-\d{4}|\d{1,2}(?:\.|st|nd|rd|th)? ?[^\W\d_]{3,9}\.? \d{4}|"
    r"[^\W\d_]{3,9} \d{1,2}(?:st|nd|rd|th)?,? \d{4})(?![\w/-])"
)
_RELATIVE: Final = {"today": 0, "heute": 0, "yesterday": 1, "gestern": 1, "vorgestern": 2}
_RELATIVE_RE: Final = re.compile(
    r"(?:(?:posted|listed|added|online seit|eingestellt|inseriert|seen|gesehen|sold|verkauft)[ :]+)?"
    r"(?<!\w)(today|heute|yesterday|gestern|vorgestern)(?:, \d{1,2}[:.]\d{2})?(?!\w)",
    re.IGNORECASE,
)
_OF_THE_ADVERT: Final = re.compile(
    r"(?:(?<!\w)(?:posted|listed|added|date|seen|sold|on|eingestellt|inseriert|online seit|vom|gesehen|verkauft|"
    r"erstellt)|datum|anzeige)(?: am| on| seit)?[ :]*$",
    re.IGNORECASE,
)
_NOT_THE_ADVERTS: Final = re.compile(
    r"(?<!\w)(?:built|made|bought|gekauft|gebaut|baujahr|bj\.?|from|aus|until|bis|ab|seit|since|on holiday|urlaub)"
    r"[^,]{0,12}$",
    re.IGNORECASE,
)
_OF_ITS_PAST: Final = re.compile(
    r"(?<!\w)(?:built|made|bought|purchased|gekauft|gebaut|kauf|bau|herstell)[^,]{0,12}(?<!\w)(?:on|vom|am)[ :]*$|"
    r"(?<!\w)(?:kauf|bau|herstellungs|purchase )(?:datum|date)[ :]*$",
    re.IGNORECASE,
)  # "bought on"


def addresses(advert: AdvertText) -> list[Find]:
    """Web and mail addresses."""
    return [Find(*m.span()) for pattern in (_ADDRESS, _MAIL) for m in pattern.finditer(advert.plain)]


def numbers_to_call(advert: AdvertText) -> list[Find]:
    """Telephone numbers, and place codes before the name of a place."""
    found = [Find(m.start(1), m.end(1)) for m in _CALLED.finditer(advert.plain)]
    found += [Find(*m.span()) for m in _NUMBER_TO_CALL.finditer(advert.plain)]
    return found + [Find(*m.span()) for m in _PLACE_CODE.finditer(advert.plain)]


def listing_numbers(advert: AdvertText) -> list[Find]:
    """The numbers behind "Anzeigennummer", "listing no." and the like."""
    return [Find(m.start("number"), m.end("number")) for m in _LISTING.finditer(advert.plain)]


def reference(advert: AdvertText) -> Outcome:
    """The listing's own address or number."""
    links = {_bare(advert.words(Find(*m.span()))): Find(*m.span()) for m in _ADDRESS.finditer(advert.plain)}
    if len(links) > 1:
        return Outcome(None, f"the advert holds {len(links)} addresses ({listed(links, 3)}); which is its own?")
    if links:
        ((link, _),) = links.items()
        return Outcome(Taken("ref", link, link))
    blank = advert.without(addresses(advert) + numbers_to_call(advert))
    numbers = {m["number"]: Find(*m.span()) for m in _LISTING.finditer(blank.plain)}
    if len(numbers) == 1:
        ((number, find),) = numbers.items()
        return Outcome(Taken("ref", number, advert.words(find)))
    if numbers:
        return Outcome(None, f"the advert holds {len(numbers)} listing numbers ({listed(numbers, 3)})")
    return Outcome(None, "no address and no listing number")


def _bare(link: str) -> str:
    return link.rstrip(".,;:!?)]}'")


def days(advert: AdvertText) -> list[Find]:
    """Everything that is written as a day."""
    return [Find(*m.span()) for m in _DAYS.finditer(advert.plain) if not _unreadable(m[0])]


def _unreadable(text: str) -> bool:
    return not isinstance(read_date(text), Day | SeveralDays)


def a_day_follows(before: str) -> bool:
    """Does the text end with words behind which a day comes ("posted", "am", "bis")?"""
    return _OF_THE_ADVERT.search(before) is not None or _BEFORE_A_DAY.search(before) is not None


def tells_of_a_day(before: str) -> bool:
    """Does the text speak, a little before its end, of when something was made, bought or ends?"""
    return _NOT_THE_ADVERTS.search(before) is not None


def _is_the_adverts(before: str) -> bool:
    """May a day behind this text be the advert's own, and not when the kit was made or bought?"""
    if _OF_ITS_PAST.search(before):
        return False
    return _OF_THE_ADVERT.search(before) is not None or _NOT_THE_ADVERTS.search(before) is None


def day(advert: AdvertText, today: dt.date, day_first: bool | None, unsure: Sequence[str] = ()) -> Outcome:
    """The day on which the kit was offered or sold. `unsure`: what can be a day or drums, blank in the text."""
    found: dict[dt.date, Find] = {}
    marked: dict[dt.date, Find] = {}
    doubtful: list[str] = []
    for find in days(advert):
        before = advert.before(find.start, 24)
        if not _is_the_adverts(before):
            continue
        read = read_date(advert.plain[find.start : find.end], day_first)
        if isinstance(read, Day):
            found.setdefault(read.date, find)
            if _OF_THE_ADVERT.search(before):
                marked.setdefault(read.date, find)
        elif isinstance(read, SeveralDays):
            doubtful.append(f"{advert.words(find)} can be {listed((d.isoformat() for d in read.dates), last='or')}")
    for m in _RELATIVE_RE.finditer(advert.plain):
        found.setdefault(today - dt.timedelta(days=_RELATIVE[m[1].lower()]), Find(*m.span()))
    chosen = marked if len(marked) == 1 else found
    if doubtful and not chosen:
        return Outcome(None, f"{doubtful[0]}; set day_first under [files]")
    if len(chosen) == 1:
        ((date, find),) = chosen.items()
        if date > today:
            return Outcome(None, f"{advert.words(find)} lies in the future")
        return Outcome(Taken("date", date.isoformat(), advert.words(find)))
    if chosen:
        return Outcome(None, f"several days: {listed((d.isoformat() for d in sorted(chosen)), 4)}")
    if unsure:
        return Outcome(None, f"{unsure[0]} can be a day or three drums")
    return Outcome(None, "no day is named")


_THREE: Final = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{2})")
_LEAST, _MOST = 8, 28  # inches across of a kit's drums
_KIT: Final = (
    r"(?:shells?|shell ?(?:set|pack)s?|kits?|sets?|drums?|drum ?(?:set|kit)s?|\w*kessel\w*|trommeln?|schlagzeug|sizes?|"
    r"größen?|maße|diameters?|durchmesser|config\w*|bestehend aus|consisting of|comprising|tlg\.?|\w*teilig\w*|"
    r"\d[ -]?(?:tlg\.?|piece|pcs?|pce))"
)
_KIT_BEFORE: Final = re.compile(rf"(?<!\w){_KIT}[ :=(\[-]*$", re.IGNORECASE)
_KIT_BEHIND: Final = re.compile(rf"(?:[^\W\d_]+ ){{0,2}}{_KIT}(?!\w)", re.IGNORECASE)  # "bop kit"
_JOINED: Final = re.compile(
    r"[ )\]]*(?:(?:\+|&|plus|and|und|mit|with|inkl\.?|incl\.?)[ ]*)?(?:[1-4][ ]?x?[ ])?", re.IGNORECASE
)
_RECENT: Final = dt.timedelta(days=730)


@dataclass(frozen=True, slots=True)
class DayLike:
    """Places written as a day: those that are three drums, and those that can be either: a day long past, or a recent
    one, as adverts bear.
    """

    drums: tuple[Find, ...]
    old: tuple[Find, ...]
    recent: tuple[Find, ...]


def day_like(advert: AdvertText, words: Lexicon, today: dt.date) -> DayLike:
    """What is written as a day and may be drums; what a word shows to be a day is not among it."""
    drums: list[Find] = []
    old: list[Find] = []
    recent: list[Find] = []
    for find in days(advert):
        text = advert.plain[find.start : find.end]
        m = _THREE.fullmatch(text)
        if m is None or not all(_LEAST <= int(number) <= _MOST for number in m.groups()):
            continue
        before = advert.before(find.start).rstrip("([ ")
        if a_day_follows(before):
            continue
        if _beside_drums(advert, find, words):
            drums.append(find)
        elif not tells_of_a_day(before):
            (recent if _recent(text, today) else old).append(find)
    return DayLike(tuple(drums), tuple(old), tuple(recent))


def _beside_drums(advert: AdvertText, find: Find, words: Lexicon) -> bool:
    """Does a word for drums or for a kit stand right beside it, or right before its bracket?"""
    before, after = advert.before(find.start), advert.after(find.end)
    joined = _JOINED.match(after)
    after = after[joined.end() if joined is not None else 0 :]
    tail = before.rstrip(" :=([-")
    if _KIT_BEFORE.search(before) or _KIT_BEHIND.match(after):
        return True
    return any(
        words[role].match(after) or any(m.end() == len(tail) for m in words[role].finditer(tail)) for role in ROLES
    )


def _recent(text: str, today: dt.date) -> bool:
    read = read_date(text)
    found = (read.date,) if isinstance(read, Day) else read.dates if isinstance(read, SeveralDays) else ()
    return any(today - _RECENT <= date <= today for date in found)


_CUT: Final = re.compile(
    r"[\n;!?•|()\x00]+|,(?!\d)|(?<!\d),|\.(?=\s|$)|\s-\s|(?<!\w)(?:but|aber|mais|maar|though|jedoch)(?!\w)",
    re.IGNORECASE,
)
_PARTS: Final = (
    r"lugs?|badges?|spurs?|legs?|feet|strainers?|throw-?offs?|butt plates?|wraps?|bearing|edges?|rods?|claws?|"
    r"brackets?|vents?|grommets?|gaskets?|memory locks?|wing ?nuts?|screws?|bolts?|wings?|veneer|lacquer|"
    r"böckchen|abhebung\w*|füße|beine|gratung\w*|folie|schrauben|spannschrauben|plakette\w*|emblem\w*|lack\w*|"
    r"beschläge|krallen|rosetten?|gewinde"
)
_FAULTS: Final = (
    r"missing|gone|lost|lacks?|lacking|incomplete|broken|breaks?|cracks?|cracked|damage[ds]?|dents?|dented|scratch\w*|"
    r"scuff\w*|chip(?:s|ped)?|rust\w*|pitt(?:ed|ing)|worn|torn|tears?|split|bent|stripped|warped|out of round|faded|"
    r"peel\w*|lifting|loose|rough|tatty|repair\w*|restor\w*|replace\w*|re-?drill\w*|holes?|needs?|wants doing|"
    r"fehl(?:t|en|ende\w*)|defekt\w*|kaputt\w*|gebrochen\w*|gerissen\w*|riss|risse|beschädig\w*|schäden|schaden|rost\w*|"
    r"verrostet\w*|delle|dellen|kratzer|löst sich|abgelöst|ausgebessert|nachgebohrt|löcher|bohrung\w*|manque\w*|"
    r"cass[ée]\w*|fendu\w*|ontbre\w*|kapot|roest"
)
_APART: Final = (
    r"separate(?:ly)?|separat|not included|nicht dabei|nicht enthalten|optional|extra|available|aufpreis|"
    r"keep(?:ing|s)?|behalte|weg"
)
_TELLS: Final = re.compile(rf"(?<!\w)(?:{_PARTS}|{_FAULTS}|{_APART})(?!\w)", re.IGNORECASE)
_FIGURE: Final = re.compile(r"\d+")
_MARKER: Final = re.compile(r"\d{1,2}[.)]?|stand", re.IGNORECASE)  # "1." before a line, "Stand 16"


def left_over(advert: AdvertText, taken: Iterable[Taken], told: Iterable[str], words: Lexicon) -> tuple[str, ...]:
    """The advert's phrases with a figure that nothing tells, or about parts, faults and things sold apart.

    `advert`: with the kit's sizes blank; `told`: the reasons and remarks.
    """
    said = dict.fromkeys(one.words for one in taken if one.field != "note")
    rest = advert.without([*addresses(advert), *numbers_to_call(advert), *listing_numbers(advert)])
    rest = rest.without(find for find in [_place(rest, text) for text in said] if find is not None)
    figures = {m[0] for text in (*told, *said) for m in _FIGURE.finditer(text)}
    return tuple(dict.fromkeys(phrase for phrase in _phrases(rest) if _counts(phrase, figures, words)))


def _place(advert: AdvertText, text: str) -> Find | None:
    """Where a text taken from the advert stands first."""
    signs = text.translate({ord("×"): "x"})
    before = r"(?<!\w)" if signs[:1].isalnum() else ""
    behind = r"(?!\w)" if signs[-1:].isalnum() else ""
    body = r"\s+".join(re.escape(part) for part in signs.split())
    m = re.search(before + body + behind, advert.plain) if body else None
    return None if m is None else Find(*m.span())


def _phrases(advert: AdvertText) -> Iterator[str]:
    """The pieces of text between signs and blank places, in the advert's own words."""
    start = 0
    for m in (*_CUT.finditer(advert.plain), None):
        end = len(advert.plain) if m is None else m.start()
        phrase = advert.words(Find(start, end)).strip(" .,;:/+&-")
        if phrase:
            yield phrase
        start = end if m is None else m.end()


def _counts(phrase: str, figures: set[str], words: Lexicon) -> bool:
    if _MARKER.fullmatch(phrase):
        return False
    fresh = [m for m in _FIGURE.finditer(phrase) if m[0] not in figures]
    if _TELLS.search(phrase) or any(not _counts_drums(phrase, m, words) for m in fresh):
        return True
    denied = words["without"].search(phrase) is not None and any(words[role].search(phrase) for role in ROLES)
    return denied or words["not a drum"].search(phrase) is not None


def _counts_drums(phrase: str, m: re.Match[str], words: Lexicon) -> bool:
    """Is a figure the number of drums of one sort: "2 rack toms"?"""
    behind = phrase[m.end() : m.end() + 24].lstrip(" x")
    return len(m[0]) == 1 and any(words[role].match(behind) for role in ROLES)
