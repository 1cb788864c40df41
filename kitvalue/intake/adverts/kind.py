"""What an advert is: an offer of one kit, or something that is no row of a book."""

from __future__ import annotations

import re
from typing import Final

from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.text import AdvertText

_OPENING: Final = re.compile(
    r"(?:^|[\n.!?:\]]|\s-\s)[\s\W_]*(?:(?:hallo|hello|hi|hey|dear|liebe)\b[^\n.!]{0,30}[,!.\n]\s*)?"
    r"(?:(?:i|we)(?:'m| am|'re| are)?|ich|wir|dringend|urgently|still|currently|always)?\s*$",
    re.IGNORECASE,
)
_NEW_HOME: Final = re.compile(r"[^\n.]{0,30}\b(?:home|owner|buyer|offers?|zuhause|besitzer|käufer)\b", re.IGNORECASE)
_FOR_A_SUM: Final = re.compile(
    r"(?<=for)[ ]+(?:about |around |circa )?(?:[€£$]|EUR|GBP|USD)?[ ]?\d{2,3}(?:[.,]?\d{3})?(?![\d/-])[ ]?"
    r"(?:[€£$]|EUR|GBP|USD|euros?|pounds|quid|dollars)?[ ]*(?:$|[\n.,;!?(]|(?:for|ono|obo|or)(?!\w))",
    re.IGNORECASE,
)  # "looking for 350": what the seller wants
_SEEKS: Final = re.compile(
    r"(?<!\w)(?:seeking|i'?m after|would like to buy|möchte[^\n.]{0,60}kaufen)(?!\w)", re.IGNORECASE
)


def why_wanted(advert: AdvertText, words: Lexicon) -> str | None:
    """The words by which an advert seeks a kit instead of offering one; None where it offers one."""
    offered = words["for sale"].search(advert.plain)
    for found in (*words["wanted"].finditer(advert.plain), *_SEEKS.finditer(advert.plain)):
        opens = _OPENING.search(advert.plain[max(0, found.start() - 60) : found.start()]) is not None
        asks = found.start() > 0 and _FOR_A_SUM.match(advert.plain, found.end())
        if not opens or asks or _NEW_HOME.match(advert.plain, found.end()):
            continue
        if offered is not None and offered.start() < found.start():
            continue
        return found[0]
    return None


def why_swap(advert: AdvertText, words: Lexicon) -> str | None:
    """The words by which an advert speaks of a swap ("no swaps" among them not); None where it does not."""
    for found in words["swap"].finditer(advert.plain):
        before = advert.before(found.start(), 24)
        if not re.search(r"\b(?:no|kein|keine|keinen|not|ohne|nicht)\b[^,]*$", before, re.IGNORECASE):
            return found[0]
    return None
