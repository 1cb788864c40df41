"""The words of languages: kitvalue/intake/words/*.toml, one file a language, each table put together of all of them,
with and without their accents.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from itertools import islice, product
from pathlib import Path
from typing import Any, Final

WORDS: Final = Path(__file__).parents[1] / "words"
# Accents that people leave out; German umlauts are written out instead (ae), which its own file spells.
_ACCENTS: Final = str.maketrans("àâáèéêëìíîïòóôùúûçñ", "aaaeeeeiiiiooouuucn")
_MOST_SPELLINGS: Final = 16  # of one word


def spellings(word: str) -> tuple[str, ...]:
    """A word as it is, then as people write it who leave out some of its accents or all; one of one or two letters
    keeps them, for without it is another word ("à", "où").
    """
    if word.isascii() or len(word) < 3:
        return (word,)
    choices = [dict.fromkeys((letter, letter.translate(_ACCENTS))) for letter in word]
    every = dict.fromkeys("".join(letters) for letters in islice(product(*choices), _MOST_SPELLINGS))
    return tuple(every | {word.translate(_ACCENTS): None})


@cache
def word_file(name: str) -> Mapping[str, Any]:
    """The tables of one file in kitvalue/intake/words."""
    return tomllib.loads((WORDS / name).read_text(encoding="utf-8"))


@cache
def _merged(table: str) -> Mapping[str, Any]:
    """A table ("headers", "values.channel") of every language: the lists of words under one key are joined."""
    names = [path.name for path in WORDS.iterdir()]
    languages = sorted(name for name in names if len(name) == len("en.toml") and name.endswith(".toml"))
    merged: dict[str, Any] = {}
    for name in sorted(languages, key="en.toml".__ne__):  # English first: its order counts
        tables: Any = word_file(name)
        for part in table.split("."):
            tables = tables.get(part, {})
        for key, words in tables.items():
            if isinstance(words, list):
                merged[key] = (*merged.get(key, ()), *(one for word in words for one in spellings(word)))
            else:
                merged |= dict.fromkeys(spellings(key), words)
    return merged


def word_lists(table: str) -> Mapping[str, tuple[str, ...]]:
    """Our word -> the words of all languages for it."""
    return _merged(table)


def word_numbers(table: str) -> Mapping[str, int]:
    """A word of any language -> its number: of a month, a weekday, drums."""
    return _merged(table)


@cache
def any_of(table: str, *keys: str) -> str:
    """A pattern for any of the words and patterns of some lists, longest first."""
    words = sorted({word for key in keys for word in _merged(table)[key]}, key=lambda word: (-len(word), word))
    return f"(?:{'|'.join(words)})"


@cache
def pattern(text: str) -> re.Pattern[str]:
    """A pattern that takes capital and small letters for the same."""
    return re.compile(text, re.IGNORECASE)
