"""The words that adverts use, and the shop's own beside them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.text.languages import any_of, word_lists
from kitvalue.intake.text.words import fold

# What a word of [jot.words] may stand for.
MEANINGS: Final = (
    "wanted", "swap", "for sale", "sold", "hammer", "negotiable", "fixed", "pick-up", "freight", "free freight", "each",
    "earlier", "other thing", "private", "dealer", "auction", "bass", "floor", "rack", "snare", "not a drum",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Lexicon:
    """One pattern for each meaning."""

    patterns: Mapping[str, re.Pattern[str]]

    def __getitem__(self, meaning: str) -> re.Pattern[str]:
        return self.patterns[meaning]


def lexicon(own: Mapping[str, str]) -> Lexicon:
    """The built-in words and the shop's own: word -> meaning."""
    more: dict[str, list[str]] = {}
    for word, meaning in own.items():
        more.setdefault(fold(meaning), []).append(phrase(word))
    about = any_of("phrases", "about")
    behind = (  # a sum, as `asks` stand before it
        f"(?:{any_of('phrases', 'be asked')} )?{any_of('phrases', 'asked')}"
        f"(?: {any_of('phrases', 'asked for')}|(?=\\s*(?:$|[,)(])))"
    )
    built_in = {**word_lists("adverts"), "asked behind": (behind,)}
    built_in["asks"] = tuple(f"(?:{word})(?: {about})?" for word in built_in["asks"])
    return Lexicon({name: whole_words((*words, *more.get(name, ()))) for name, words in built_in.items()})


def phrase(words: str) -> str:
    """A pattern for a text as it stands, its spaces of any width."""
    return r" ".join(re.escape(part) for part in words.split())


def whole_words(patterns: Iterable[str]) -> re.Pattern[str]:
    """A pattern for any of some words, longest first, never within another word."""
    ordered = sorted(patterns, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(p.replace(' ', r'[ ]+') for p in ordered)})(?!\w)", re.IGNORECASE)
