"""What an advert says of the kit and no column, reason or remark takes up: it is told, so that nothing is lost."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from kitvalue.intake.adverts.beside import ROLES
from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.places import addresses, listing_numbers, numbers_to_call
from kitvalue.intake.adverts.record import Taken
from kitvalue.intake.adverts.text import AdvertText, Find

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
