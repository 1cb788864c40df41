"""The words that adverts use, and the shop's own beside them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

from kitvalue.intake.text.languages import any_of, word_lists
from kitvalue.intake.text.words import fold

# What a word of [jot.words] may stand for.
MEANINGS: Final = (
    "wanted", "swap", "for sale", "sold", "hammer", "negotiable", "fixed", "pick-up", "freight", "free freight", "each",
    "earlier", "other thing", "private", "dealer", "auction", "bass", "floor", "rack", "snare", "not a drum",
)  # fmt: skip
Lexicon = Mapping[str, re.Pattern[str]]  # one pattern for each meaning


def lexicon(own: Mapping[str, str]) -> Lexicon:
    """The built-in words and the shop's own: word -> meaning."""
    known = {name: list(words) for table in ("adverts", "amounts") for name, words in word_lists(table).items()}
    known["asks"] = [f"(?:{word})(?: {said('about')})?" for word in known["asks"]]
    wanted = rf"(?:{said('be asked')} )?{said('asked')}(?: {said('asked for')}|(?=\s*(?:$|[,)(])))"
    known["asked behind"] = [wanted]  # the same as `asks`, right behind a sum
    for word, meaning in own.items():
        known[fold(meaning)].append(phrase(word))
    return {name: whole_words(words) for name, words in known.items()}


def said(*keys: str) -> str:
    """A pattern for any of the words under some keys of [phrases]."""
    return any_of("phrases", *keys)


def phrase(words: str) -> str:
    """A pattern for a text as it stands, its spaces of any width."""
    return r" ".join(re.escape(part) for part in words.split())


def whole_words(patterns: Iterable[str]) -> re.Pattern[str]:
    """A pattern for any of some words, longest first, never within another word; a space in one stands for many."""
    ordered = sorted(patterns, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(p.replace(' ', r'[ ]+') for p in ordered)})(?!\w)", re.IGNORECASE)


def at_end(pattern: re.Pattern[str], text: str) -> re.Match[str] | None:
    """The first match with which a text ends."""
    return next((m for m in pattern.finditer(text) if m.end() == len(text)), None)
