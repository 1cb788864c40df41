"""What stands in an advert beside the kit itself: addresses, numbers to call, days, listing numbers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import Final

from kitvalue.intake.adverts.record import Outcome, Taken
from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.dates import Day, SeveralDays, read_date
from kitvalue.intake.words import listed

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
