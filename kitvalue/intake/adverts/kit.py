"""Which series an advert offers, in what condition, from whom, and the shop's own features."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import islice
from typing import Final

from kitvalue.intake.adverts.lists import word_before
from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken
from kitvalue.intake.settings.words import grades_by
from kitvalue.intake.text.languages import pattern, word_lists
from kitvalue.intake.text.lexicon import Lexicon, phrase, said, whole_words
from kitvalue.intake.text.numbers import plain
from kitvalue.intake.text.vocabulary import GRADES, grade
from kitvalue.intake.text.words import fold, listed, look_alike

_CONDITION: Final = said("condition")
_CONDITION_BEHIND: Final = pattern(rf"[ ,-]*(?:[^\W\d_]+ )?{_CONDITION}(?!\w)")
_SAYS_CONDITION: Final = pattern(rf"(?<!\w){_CONDITION}(?!\w)")
_CONDITION_BEFORE: Final = pattern(rf"(?<!\w){_CONDITION}[ :=-]*(?:{said('is')} )?$")
_GRADED: Final = pattern(
    rf"(?<!\w){_CONDITION}[ :=-]*(?:grade |note )?(?P<grade>[1-5](?:[.,]5| ?½| 1/2)?|"
    r"[^\W\d_]+)(?![\w]|[.,]\d|/| ?%| ?von\b| ?-| ?bis\b| ?to\b)"
)
_STRONGER: Final = pattern(rf"(?<!\w)(?:in |im )?{said('stronger')}(?: so| in| en| im)?[ -]+$")
_GOES_ON: Final = pattern(
    rf"[ ]+(?!(?:{said('more', 'but', 'and')}|to)\b)[^\W\d_]"
)  # "good sound", not "good with stands"
_LIKE: Final = pattern(rf"{said('like')}(?: {said('the')})? *$")
_MOST_NAMES: Final = 400  # that a word is held against
_LONG_WORD: Final = re.compile(r"[^\W\d_]{5,30}")  # one that is held against the names


@dataclass(frozen=True, slots=True)
class AdvertSeries:
    """The series named, in the shop's spelling, each with its place; and what was decided."""

    outcome: Outcome
    named: Mapping[str, Find]


def read_series(advert: AdvertText, spellings: Mapping[str, str]) -> AdvertSeries:
    """The series of the kit. `spellings`: every name as written -> the shop's own spelling."""
    named: dict[str, Find] = {}
    aside: dict[str, Find] = {}
    blank, text = advert, advert.plain.casefold()
    there = [s for s in spellings if s.strip() and all(part in text for part in s.casefold().split())]
    for spelling in sorted(there, key=len, reverse=True):
        finds = blank.finds(whole_words([phrase(spelling)]))
        for find in finds:
            target = aside if _LIKE.search(advert.before(find.start, 30)) else named
            target.setdefault(spellings[spelling], find)
        blank = blank.without(finds)
    words = listed((advert.words(find) for find in (named or aside).values()), 4)
    if len(named) == 1:
        outcome = Outcome(Taken("series", next(iter(named)), words))
    elif named:
        outcome = Outcome(None, f"{len(named)} series are named: {words}")
    elif aside:
        outcome = Outcome(None, f"{words} is named only by way of comparison")
    else:  # a word of the advert that is close to a name is told, never taken
        near = (
            f"{advert.words(Find(*m.span()))} is no series of the shop; did you mean {spellings[s]}?"
            for m in islice(_LONG_WORD.finditer(advert.plain), 400)
            for s in islice(spellings, _MOST_NAMES)
            if look_alike(m[0], s)
        )
        outcome = Outcome(None, next(near, "no series of the shop is named"))
    return AdvertSeries(outcome, named)


def read_condition(advert: AdvertText, mapped: Mapping[str, str], words: Lexicon) -> Outcome:
    """The bench grade: by a number or one of our words behind "condition", else by the shop's own words for it, else by
    the usual ones of any language.
    """
    known = listed(GRADES, last="or")
    nothing = Outcome(None, f"no word for it that is known ({known}, or those of [prices.words.condition])")
    return _mapped_condition(advert, mapped) or _usual_condition(advert, words) or nothing


def _mapped_condition(advert: AdvertText, mapped: Mapping[str, str]) -> Outcome | None:
    places: dict[Decimal, Find] = {}  # the first of each grade
    sure: set[Decimal] = set()
    stronger: list[str] = []
    own = grades_by(mapped)
    for m in _GRADED.finditer(advert.plain):
        if (value := own.find(m["grade"])) is not None:
            places.setdefault(value, Find(*m.span()))
            sure.add(value)
    blank = advert
    for word in sorted((w for w in mapped if any(map(str.isalpha, w))), key=len, reverse=True):
        value = grade(mapped[word])
        inflected = r"(?:e[mnrs]?)?" if word.isalpha() and len(word) > 2 else ""  # gut: guter Zustand
        finds = blank.finds(whole_words([phrase(word) + inflected]))
        blank = blank.without(finds)
        for find in finds if value is not None else ():
            above = _STRONGER.search(advert.before(find.start))
            if above is not None:
                stronger.append(advert.words(Find(find.start - len(above[0]), find.end)))
            elif value is not None and (speaks := _speaks_of_condition(advert, find, word)) is not None:
                places.setdefault(value, find)
                if speaks:
                    sure.add(value)
    chosen = {value: find for value, find in places.items() if value in sure or not sure}
    if not chosen and stronger:
        return Outcome(None, f'"{stronger[0]}" is not mapped under [prices.words.condition]')
    return _one_grade(advert, chosen)


def _one_grade(advert: AdvertText, places: Mapping[Decimal, Find], remark: str | None = None) -> Outcome | None:
    """The grade that words stand for; None where no word stands. `remark` is said behind the words."""
    words = listed((advert.words(find) for find in places.values()), 4)
    if len(places) > 1:
        return Outcome(None, f"words of different grades: {words}")
    remarks = () if remark is None else (f'"{words}" {remark}',)
    return next((Outcome(Taken("condition", plain(value), words), remarks=remarks) for value in places), None)


def _usual_condition(advert: AdvertText, words: Lexicon) -> Outcome | None:
    """The grade by the usual words, as a guess: beside "condition", or several together ("as new", "for parts") that
    are not said of a cymbal, a case or one drum.
    """
    usual = {word: GRADES[ours] for ours, known in word_lists("grades").items() for word in known}
    places: dict[Decimal, Find] = {}
    for find in advert.finds(whole_words(map(phrase, usual))):
        word = fold(advert.words(find))
        before, after = advert.before(find.start), advert.after(find.end)
        beside = _speaks_of_condition(advert, find, word) or _SAYS_CONDITION.search(word)
        of_a_part = words["not a drum"].search(before.rpartition(",")[2]) or word_before(words, before.rstrip())
        alone = " " in word and (not _GOES_ON.match(after) or words["price"].match(after.lstrip())) and not of_a_part
        if word in usual and (beside or alone) and not _STRONGER.search(before):
            places.setdefault(usual[word], find)
    return _one_grade(advert, places, "is a guess; map it under [prices.words.condition] to have your own grade")


def _speaks_of_condition(advert: AdvertText, find: Find, word: str) -> bool | None:
    """True: the word "condition" stands beside it. False: it may be about the kit. None: it is about something else."""
    after, before = advert.after(find.end), advert.before(find.start)
    if _CONDITION_BEHIND.match(after) or _CONDITION_BEFORE.search(before):
        return True
    return False if not _GOES_ON.match(after) or " " in word or "-" in word else None


def value_said(
    advert: AdvertText, column: str, mapped: Mapping[str, str], known: Mapping[str, re.Pattern[str]], nothing: str
) -> Outcome:
    """The one value of a column of which a word stands in the advert: the shop's words (word -> value) or ours
    (value -> pattern); `nothing` is the reason where none does.
    """
    patterns = [(whole_words([phrase(word)]), value) for word, value in mapped.items() if word.strip()]
    words: dict[str, str] = {}
    for word, value in (*patterns, *((word, value) for value, word in known.items())):
        for find in advert.finds(word)[:1]:
            words.setdefault(value, advert.words(find))
    if len(words) == 1:
        ((value, text),) = words.items()
        return Outcome(Taken(column, value, text))
    return Outcome(None, f"{listed(words.values(), 3)} say different things" if words else nothing)


_OPENING: Final = pattern(
    rf"(?:^|[\n.!?:\]]|\s-\s)[\s\W_]*(?:{said('greeting')}\b[^\n.!]{{0,30}}[,!.\n]\s*)?{said('seeker')}?\s*$"
)
_NEW_HOME: Final = pattern(rf"[^\n.]{{0,30}}\b{said('new home')}\b")
_FOR_A_SUM: Final = pattern(
    r"(?<=for)[ ]+(?:about |around |circa )?(?:[€£$]|EUR|GBP|USD)?[ ]?\d{2,3}(?:[.,]?\d{3})?(?![\d/-])[ ]?"
    r"(?:[€£$]|EUR|GBP|USD|euros?|pounds|quid|dollars)?[ ]*(?:$|[\n.,;!?(]|(?:for|ono|obo|or)(?!\w))"
)  # "looking for 350": what the seller wants
_SEEKS: Final = pattern(rf"(?<!\w){said('seeks')}(?!\w)")


def why_wanted(advert: AdvertText, words: Lexicon) -> str | None:
    """The words by which an advert seeks a kit instead of offering one; None where it offers one."""
    offered = words["for sale"].search(advert.plain)
    for m in (*words["wanted"].finditer(advert.plain), *_SEEKS.finditer(advert.plain)):
        opens = _OPENING.search(advert.plain[max(0, m.start() - 60) : m.start()])
        asks = m.start() > 0 and _FOR_A_SUM.match(advert.plain, m.end())
        sells = offered is not None and offered.start() < m.start()
        if opens and not asks and not sells and not _NEW_HOME.match(advert.plain, m.end()):
            return m[0]
    return None
