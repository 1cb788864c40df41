"""The name that a new offer gets: after the file's own count, or after the kit's series."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Final

from kitvalue.intake.words import fold, trimmed

_COUNTED: Final = re.compile(r"(.*?)(\d{0,8})")
_WORD: Final = re.compile(r"[^\W\d_]{2,20}")
_TELLING: Final = 4  # letters of a word that is surely no article
_SHORTENED: Final = 3  # letters that are enough to stand for a series
_NAMELESS: Final = "k"  # for a kit whose series is not known


def next_name(names: Iterable[str], series: str | None, others: Iterable[str]) -> str:
    """A name that no offer has yet. A count (D12) goes on (D13); where offers are named after series, and where there
    is no count, it is a word of the kit's own series, with a number if it is taken. `others`: the shop's other series.
    """
    taken = [_COUNTED.fullmatch(trimmed(name)) for name in names]
    known = [(m[1], m[2]) for m in taken if m is not None]
    foreign = {word for name in others for word in _words(name)}
    own = [word for word in _words(series or "") if word not in foreign] or _words(series or "")
    of_series = [fold(stem) for stem, _ in known if _stands_for(stem, {*own, *foreign})]
    stem, number = next(((stem, number) for stem, number in reversed(known) if number), ("", ""))
    if number and not of_series:
        return _free(stem, int(number) + 1, len(number), known)
    again = next((stem for stem in reversed(of_series) if stem in own), None)
    word = again or next((word for word in own if len(word) >= _TELLING), own[0] if own else None)
    if word is None:
        return _free(_NAMELESS, 1, 1, known)
    if all(fold(stem) != word for stem, _ in known):
        return word
    return _free(word, 1 + max([1, *(int(n) for stem, n in known if fold(stem) == word and n)]), 1, known)


def _words(series: str) -> list[str]:
    return [m[0] for m in _WORD.finditer(fold(series))]


def _stands_for(stem: str, words: set[str]) -> bool:
    """Is a name without its number a word of a series, or the beginning of one?"""
    folded = fold(stem).strip(" -_")
    return folded in words or (len(folded) >= _SHORTENED and any(word.startswith(folded) for word in words))


def _free(stem: str, number: int, width: int, known: Sequence[tuple[str, str]]) -> str:
    """The stem with the first number from `number` on that no offer has."""
    folded = {fold(f"{one}{n}") for one, n in known}
    while fold(f"{stem}{number:0{width}d}") in folded:
        number += 1
    return f"{stem}{number:0{width}d}"
