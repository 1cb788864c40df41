"""How texts are cleaned and compared, and how near-misses are found."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from kitvalue.intake.text.languages import word_lists

# Characters that show nothing and mean nothing beside digits: soft hyphen, zero-width signs, left-to-right and
# right-to-left marks, word joiner, byte order mark. Direction overrides are not among them: they turn digits round.
INVISIBLE: Final = "\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"
NOTHING: Final = dict.fromkeys(map(ord, INVISIBLE))
SPACES: Final = (
    "\t\n\v\f\r\x1c\x1d\x1e\x1f \x85\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a"
    "\u2028\u2029\u202f\u205f\u3000"
)  # what Unicode counts as white space
_DASHES: Final = ("-", "--", "‐", "‑", "‒", "–", "—", "―", "−")
_LONGEST_NAME: Final = 200  # characters; longer texts are no names
# UTF-8 bytes shown as Windows-1252 letters: "Ã¶" for "ö", "â‚¬" for "€".
MOJIBAKE: Final = "[\u00c2\u00c3][\u0080-\u00bf\u0152-\u2122]|\u00e2[\u20ac\u201a\u0080-\u00bf]"


MOST_PIECES: Final = 20  # drums of one kit


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a cell cannot be taken. `reason` follows the quoted cell; `cure` says what to do (None: the column's own)."""

    code: str
    reason: str
    cure: str | None = None

    def message(self, cell: str, cure: str) -> str:
        """The whole message about a quoted `cell`; `cure` is used where the refusal brings none of its own."""
        return f"{cell} {self.reason}; {self.cure or cure}"


def trimmed(text: str) -> str:
    """The text without outer spaces of any kind, outer invisible characters, and soft hyphens anywhere."""
    if text.isascii():
        return text.strip()
    return text.replace("\u00ad", "").strip(SPACES + INVISIBLE)


def spelt_out(text: str) -> str:
    """The text as a terminal may have it: what would steer it, hide or turn its reading order stands as `<U+202E>`."""
    return text if text.isprintable() else "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in text)


def visible(text: str) -> str:
    """The text for a parser: trimmed, invisible characters dropped, every space plain, every digit 0 to 9."""
    if text.isascii():
        return text.strip()
    plain = re.sub(r"[^\S\n]", " ", text.translate(NOTHING)).strip()
    return "".join(str(unicodedata.decimal(c)) if c.isdecimal() and not c.isascii() else c for c in plain)


def is_dash(text: str) -> bool:
    """Does the cell hold a lone dash of any length, as people mark that there is nothing to say?"""
    return trimmed(text) in _DASHES


def says_not_known(text: str) -> bool:
    """Does the cell say that what it asks for is not known: "?", "n/a", "unknown"?"""
    word = trimmed(text)
    if set(word) == {"?"} and len(word) < 20:
        return True
    return not word[:1].isdigit() and " ".join(fold(word[:20]).split()) in word_lists("cells")["not known"]


def not_known(cure: str) -> Refusal:
    """The refusal of a cell for which `says_not_known` holds, where it cannot be done without."""
    return Refusal("not_known", "says that it is not known, and no kit counts without it", f"{cure}, or delete the row")


def fold(text: str) -> str:
    """The form in which names and words are compared: outer spaces and case ignored, composed (NFC), nothing else."""
    if text.isascii():
        return text.strip().lower()
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", trimmed(text)).casefold())


def nearest(text: str, names: Iterable[str]) -> str | None:
    """The name that the text most likely stands for: one that it contains or that contains it, else the closest one."""
    by_fold = {fold(name): name for name in names}
    wanted = letters(fold(text[:200]))
    if not wanted:
        return None
    for known in sorted(by_fold, key=len, reverse=True):
        parts = letters(known)
        if parts and (within(parts, wanted) or within(wanted, parts)):
            return by_fold[known]
    from difflib import get_close_matches  # only a mistake needs it

    close = get_close_matches(" ".join(wanted), list(by_fold), n=1, cutoff=0.6)
    return by_fold[close[0]] if close else None


def letters(text: str) -> list[str]:
    """The runs of letters and digits of a name, of its first 200 characters."""
    return re.findall(r"\w+", text[:200])


def within(short: Sequence[str], long: Sequence[str]) -> bool:
    """Do the words `short` stand in `long`, one behind the other?"""
    size, wanted = len(short), tuple(short)
    return any(tuple(long[at : at + size]) == wanted for at in range(len(long) - size + 1))


def has_part(name: str, part: str) -> bool:
    """Do the words of `part` stand together among those of `name`?"""
    short, long = letters(fold(part)), letters(fold(name))
    return bool(short) and len(short) < len(long) and within(short, long)


def look_alike(one: str, other: str) -> bool:
    """Two different names that are probably one misspelt: alike but for a letter or two, signs, or a word more.

    Names that differ only in a number ("Slane 2", "Slane 3") are two models, not a slip.
    """
    if max(len(one), len(other)) > _LONGEST_NAME:
        return False
    a, b = fold(one), fold(other)
    if a == b or re.sub(r"\d+", "#", a) == re.sub(r"\d+", "#", b):
        return False
    words_a, words_b = letters(a), letters(b)
    if "".join(words_a) == "".join(words_b):
        return True
    short, long = sorted((words_a, words_b), key=len)
    if short and len(short) < len(long) and within(short, long) and not any(w.isdigit() for w in long):
        return True
    from difflib import SequenceMatcher

    matcher = SequenceMatcher(None, a, b, autojunk=False)
    return min(len(a), len(b)) >= 4 and matcher.quick_ratio() >= 0.85 and matcher.ratio() >= 0.85


def listed(names: Iterable[str], limit: int = 12, last: str = "and") -> str:
    """Names in one phrase: "a, b and c", shortened after `limit`; `last` stands before the last one."""
    every = list(names)
    if len(every) > limit:
        return f"{', '.join(every[:limit])} and {len(every) - limit} more"
    if len(every) < 2:
        return "".join(every)
    return f"{', '.join(every[:-1])} {last} {every[-1]}"


def rows_phrase(rows: Sequence[int], limit: int = 12) -> str:
    """Row numbers for a message: "row 5", "rows 2, 5 and 8", shortened after `limit`."""
    if len(rows) > limit:  # of a million rows only the first are told
        return f"rows {', '.join(str(row) for row in rows[:limit])} and {len(rows) - limit} more"
    return f"{'row' if len(rows) == 1 else 'rows'} {listed((str(row) for row in rows), limit)}"


_CLOSE: Final = 0.6  # letters of both that stand in one order, of all letters


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
    known = _known(tuple(spellings))
    near = known if not _every_word(tuple(spellings)).isdisjoint(wanted) else {}  # else only letters can be alike
    around = [one for one, own in near.items() if own and within(own, wanted)]
    parts = [one for one, own in near.items() if within(wanted, own)]
    if around:  # the text says all of a name, and more; the longest counts
        longest = [
            one
            for one in around
            if not any(len(known[other]) > len(known[one]) and within(known[one], known[other]) for other in around)
        ]
        names = dict.fromkeys(spellings[one] for one in longest)
    elif parts:  # the text is a part of a spelling; telling only as a part of one series' own name
        names = dict.fromkeys(spellings[one] for one in parts)
        own_name = any(fold(one) == fold(spellings[one]) for one in parts)
        return Likeness(tuple(names), telling=len(names) == 1 and own_name)
    else:
        names = _closest(wanted, known, spellings)
    return Likeness(tuple(names), telling=len(names) == 1)


@lru_cache(16)
def _known(spellings: tuple[str, ...]) -> Mapping[str, tuple[str, ...]]:
    return {spelling: _words(spelling) for spelling in spellings}


@lru_cache(16)
def _every_word(spellings: tuple[str, ...]) -> frozenset[str]:
    return frozenset(word for own in _known(spellings).values() for word in own)


def _words(text: str) -> tuple[str, ...]:
    return tuple(letters(fold(text[:_LONGEST_NAME])))


def _closest(
    wanted: tuple[str, ...], known: Mapping[str, tuple[str, ...]], spellings: Mapping[str, str]
) -> dict[str, None]:
    """The names that are but for some letters the text: several where they are equally close."""
    from rapidfuzz import process  # only a mistake needs it
    from rapidfuzz.distance import Indel

    every = _every_word(tuple(spellings))
    unknown = tuple(word for word in wanted if word not in every)  # without a maker's name that is known
    whole = {one: " ".join(own) for one, own in known.items()}
    scores: dict[str, float] = {}
    for words in dict.fromkeys((wanted, unknown)):
        near = process.extract(
            " ".join(words), whole, scorer=Indel.normalized_similarity, score_cutoff=_CLOSE, limit=None
        )
        for _, score, one in near:  # as little as what only one of both has: a maker's name makes no two series alike
            left = " ".join(word for word in words if word not in known[one])
            right = " ".join(word for word in known[one] if word not in words)
            score = min(score, Indel.normalized_similarity(left, right))
            scores[spellings[one]] = max(score, scores.get(spellings[one], 0.0))
    best = max([_CLOSE, *scores.values()])
    return {name: None for name in spellings.values() if scores.get(name, 0.0) >= best - 1e-9}
