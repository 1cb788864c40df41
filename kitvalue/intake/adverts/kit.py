"""Which series an advert offers, in what condition, from whom, and the shop's own features."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import islice
from typing import Final

from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken
from kitvalue.intake.settings.words import grades_by
from kitvalue.intake.text.lexicon import Lexicon, phrase, whole_words
from kitvalue.intake.text.numbers import plain
from kitvalue.intake.text.vocabulary import GRADES, grade
from kitvalue.intake.text.words import fold, listed, look_alike

_CONDITION: Final = r"(?:condition|cond\.?|shape|nick|zustand|erhalten|erhaltungszustand|order)"
_GRADED: Final = re.compile(
    rf"(?<!\w){_CONDITION}[ :=-]*(?:grade |note )?(?P<grade>[1-5](?:[.,]5| ?½| 1/2)?|"
    rf"[^\W\d_]+)(?![\w]|[.,]\d|/| ?%| ?von\b| ?-| ?bis\b| ?to\b)",
    re.IGNORECASE,
)
_STRONGER: Final = re.compile(
    r"(?<!\w)((?:in |im )?(?:very|really|fairly|quite|not|never|sehr|ziemlich|recht|nicht|kaum|kein|"
    r"extremely|pretty|super|near|"
    r"almost|fast|nahezu|mega|äußerst)(?: so)?[ -]+)$",
    re.IGNORECASE,
)
_LIKE: Final = re.compile(
    r"(?:like|similar to|not an?|no|kein|wie|ähnlich(?: wie)?|passend zu|fits|than|als|matches|"
    r"matching|compatible with|"
    r"passt zu|instead of|statt|nicht)(?: the| der| die| das| an?| zum| zur| dem| eine?[mnrs]?)? *$",
    re.IGNORECASE,
)
_MOST_NAMES: Final = 400  # that a word is held against
_LEAST_FOR_NEAR: Final = 5  # letters of a word that is held against the names


@dataclass(frozen=True, slots=True)
class SeriesSeen:
    """The series named, in the shop's spelling, each with its place; and what was decided."""

    outcome: Outcome
    named: Mapping[str, Find]


def series_seen(advert: AdvertText, spellings: Mapping[str, str]) -> SeriesSeen:
    """The series of the kit. `spellings`: every name as written -> the shop's own spelling."""
    named: dict[str, Find] = {}
    aside: dict[str, Find] = {}
    blank = advert
    text = advert.plain.casefold()
    there = [s for s in spellings if s.strip() and all(part in text for part in s.casefold().split())]
    for spelling in sorted(there, key=len, reverse=True):
        finds = [Find(*m.span()) for m in whole_words([phrase(spelling)]).finditer(blank.plain)]
        for find in finds:
            target = aside if _LIKE.search(advert.before(find.start, 30)) else named
            target.setdefault(spellings[spelling], find)
        blank = blank.without(finds)
    if len(named) == 1:
        ((name, find),) = named.items()
        return SeriesSeen(Outcome(Taken("series", name, advert.words(find))), named)
    if named:
        words = listed((advert.words(find) for find in named.values()), 4)
        return SeriesSeen(Outcome(None, f"{len(named)} series are named: {words}"), named)
    if aside:
        words = listed((advert.words(find) for find in aside.values()), 4)
        return SeriesSeen(Outcome(None, f"{words} is named only by way of comparison"), named)
    return SeriesSeen(Outcome(None, _near(advert, spellings)), named)


def _near(advert: AdvertText, spellings: Mapping[str, str]) -> str:
    """A word of the advert that is close to a name is told, never taken."""
    for m in list(re.finditer(rf"[^\W\d_]{{{_LEAST_FOR_NEAR},30}}", advert.plain))[:400]:
        close = next((spellings[s] for s in islice(spellings, _MOST_NAMES) if look_alike(m[0], s)), None)
        if close is not None:
            return f"{advert.words(Find(*m.span()))} is no series of the shop; did you mean {close}?"
    return "no series of the shop is named"


def condition_seen(advert: AdvertText, mapped: Mapping[str, str]) -> Outcome:
    """The bench grade: by a number or one of our words behind "condition", else by the shop's own words for it."""
    found: dict[Decimal, list[tuple[Find, bool]]] = {}
    stronger: list[str] = []
    own = grades_by(mapped)
    for m in _GRADED.finditer(advert.plain):
        value = own.find(m["grade"])
        if value is not None:
            found.setdefault(value, []).append((Find(*m.span()), True))
    blank = advert
    for word in sorted((w for w in mapped if any(map(str.isalpha, w))), key=len, reverse=True):
        value = grade(mapped[word])
        inflected = r"(?:e[mnrs]?)?" if word.isalpha() and len(word) > 2 else ""  # gut: guter Zustand
        finds = [Find(*m.span()) for m in whole_words([phrase(word) + inflected]).finditer(blank.plain)]
        blank = blank.without(finds)
        for find in finds if value is not None else ():
            above = _STRONGER.search(advert.before(find.start))
            if above is not None:
                stronger.append(advert.words(Find(find.start - len(above[1]), find.end)))
            elif value is not None and (sure := _speaks_of_condition(advert, find, word)) is not None:
                found.setdefault(value, []).append((find, sure))
    sure_ones = {value: finds for value, finds in found.items() if any(sure for _, sure in finds)}
    chosen = sure_ones or found
    if len(chosen) == 1:
        ((one, places),) = chosen.items()
        return Outcome(Taken("condition", plain(one), advert.words(places[0][0])))
    if chosen:
        words = listed((advert.words(places[0][0]) for places in chosen.values()), 4)
        return Outcome(None, f"words of different grades: {words}")
    if stronger:
        return Outcome(None, f'"{stronger[0]}" is not mapped under [prices.words.condition]')
    return Outcome(
        None, f"no word for it that is known ({listed(GRADES, last='or')}, or those of [prices.words.condition])"
    )


def _speaks_of_condition(advert: AdvertText, find: Find, word: str) -> bool | None:
    """True: the word "condition" stands beside it. False: it may be about the kit. None: it is about something else."""
    after, before = advert.after(find.end), advert.before(find.start)
    if re.match(rf"[ ,-]*(?:[^\W\d_]+ )?{_CONDITION}(?!\w)", after, re.IGNORECASE) or re.search(
        rf"(?<!\w){_CONDITION}[ :=-]*(?:is |ist )?$", before, re.IGNORECASE
    ):
        return True
    if " " in word or "-" in word:
        return False
    return (
        None
        if re.match(r"[ ]+[^\W\d_]", after) and not re.match(r"[ ]+(?:and|und|but|aber|with|mit|for|für|to)\b", after)
        else False
    )


def channel_seen(advert: AdvertText, mapped: Mapping[str, str], words: Lexicon) -> Outcome:
    """private, dealer or auction."""
    found: dict[str, Find] = {}
    for word, ours in mapped.items():
        m = whole_words([phrase(word)]).search(advert.plain) if word.strip() else None
        if m is not None:
            found.setdefault(fold(ours), Find(*m.span()))
    for channel in ("private", "dealer", "auction"):
        m = words[channel].search(advert.plain)
        if m is not None:
            found.setdefault(channel, Find(*m.span()))
    if len(found) == 1:
        ((channel, find),) = found.items()
        return Outcome(Taken("channel", channel, advert.words(find)))
    if found:
        return Outcome(None, f"{listed((advert.words(f) for f in found.values()), 3)} say different things")
    return Outcome(None, "nothing is said about who sells; blank counts as private")


def feature_seen(advert: AdvertText, name: str, kind: str, mapped: Sequence[tuple[str, str]]) -> Outcome:
    """A declared feature, by the words that the shop's [jot.words] map to `name=value`."""
    found: dict[str, Find] = {}
    for word, value in mapped:
        m = whole_words([phrase(word)]).search(advert.plain) if word.strip() else None
        if m is not None:
            found.setdefault(value, Find(*m.span()))
    if len(found) == 1:
        ((value, find),) = found.items()
        return Outcome(Taken(name, value, advert.words(find)))
    if found:
        return Outcome(None, f"{listed((advert.words(f) for f in found.values()), 3)} say different things")
    if mapped:
        return Outcome(None, "nothing is said of it")
    return Outcome(None, f'no word for it is mapped under [jot.words], such as "with it" = "{name}=..."')


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
