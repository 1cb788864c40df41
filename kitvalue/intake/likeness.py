"""Which series an unknown name may stand for, and whether enough of it is told to suggest one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Final

from kitvalue.intake.words import fold, letters, within

_CLOSE: Final = 0.6  # of SequenceMatcher's ratio
_LONGEST: Final = 200  # characters; longer texts are no names


@dataclass(frozen=True, slots=True)
class Likeness:
    """The names that a text may stand for, none, one or several alike; `telling` where the text says enough of a single
    one to suggest it. A maker's name that is a part of one series' spelling is not telling.
    """

    names: tuple[str, ...]
    telling: bool


def likeness(text: str, spellings: Mapping[str, str]) -> Likeness:
    """The names like `text`. `spellings`: a spelling of any case -> the name that it stands for."""
    wanted = _words(text)
    if not wanted:
        return Likeness((), telling=False)
    words = {spelling: _words(spelling) for spelling in spellings}
    around = _longest([one for one in words if words[one] and within(words[one], wanted)], words)
    if around:  # the text says all of a name, and more
        names = _names(around, spellings)
        return Likeness(names, telling=len(names) == 1)
    parts = [one for one in words if within(wanted, words[one])]
    if parts:  # the text is a part of a spelling; telling only as a part of one series' own name
        names = _names(parts, spellings)
        own = any(fold(one) == fold(spellings[one]) for one in parts)
        return Likeness(names, telling=len(names) == 1 and own)
    names = _closest(wanted, words, spellings)
    return Likeness(names, telling=len(names) == 1)


def _words(text: str) -> tuple[str, ...]:
    return tuple(letters(fold(text[:_LONGEST])))


def _longest(found: Sequence[str], words: Mapping[str, tuple[str, ...]]) -> list[str]:
    """The spellings that are not a part of a longer one that was found as well."""
    return [
        one
        for one in found
        if not any(len(words[other]) > len(words[one]) and within(words[one], words[other]) for other in found)
    ]


def _names(found: Sequence[str], spellings: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(spellings[one] for one in found))


def _closest(
    wanted: tuple[str, ...], words: Mapping[str, tuple[str, ...]], spellings: Mapping[str, str]
) -> tuple[str, ...]:
    """The names that are but for some letters the text: several where they are equally close."""
    every = {word for own in words.values() for word in own}
    unknown = tuple(word for word in wanted if word not in every)  # without a maker's name that is known
    scores: dict[str, float] = {}
    for one, own in words.items():
        score = max(_closeness(wanted, own), _closeness(unknown, own))
        if score >= _CLOSE:
            scores[spellings[one]] = max(score, scores.get(spellings[one], 0.0))
    best = max(scores.values(), default=0.0)
    return tuple(name for name, score in scores.items() if score >= best - 1e-9)


def _closeness(one: Sequence[str], other: Sequence[str]) -> float:
    """How alike two names are, 0 to 1, beyond the words that both have: a maker's name makes no two series alike."""
    left = [word for word in one if word not in other]
    right = [word for word in other if word not in one]
    if not left and not right:
        return 1.0
    if not left or not right:
        return 0.0
    matcher = SequenceMatcher(None, " ".join(left), " ".join(right), autojunk=False)
    whole = SequenceMatcher(None, " ".join(one), " ".join(other), autojunk=False)
    return min(matcher.ratio(), whole.ratio()) if matcher.quick_ratio() >= _CLOSE else 0.0
