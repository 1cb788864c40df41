"""Numbers with strokes that can be a day as well as three diameters: 20/12/14."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts.beside import ROLES
from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.places import a_day_follows, days, tells_of_a_day
from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.dates import Day, SeveralDays, read_date

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
