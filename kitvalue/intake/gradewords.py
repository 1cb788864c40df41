"""Common words for a condition and the grade that each likely is: a guess that is written into a new shop.toml for its
owner to look at, and used nowhere else.

From memory of the trade and of schools; only words whose place in the order is beyond doubt.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.words import fold

_GUESSES: Final[Mapping[str, str]] = {
    "wipe": (
        "mint, near mint, as new, like new, new, excellent, excellent condition, exc, very good, v good, vgood, vg, "
        "vgc, very good condition, neu, neuwertig, wie neu, fast neu, ausgezeichnet, hervorragend, sehr gut, "
        "sehr guter zustand, neuf, comme neuf, état neuf, excellent état, très bon, tres bon, très bon état, "
        "tres bon etat, tb, tbe, nieuw, als nieuw, zo goed als nieuw, uitstekend, zeer goed, heel goed, nuevo, "
        "como nuevo, excelente, muy bueno, muy buen estado, muy bien, nuovo, come nuovo, pari al nuovo, eccellente, "
        "ottimo, ottime condizioni, ottimo stato, molto buono"
    ),
    "freshen": (
        "good, good condition, gc, tidy, gut, guter zustand, gut erhalten, bon, bon état, bon etat, be, goed, "
        "goede staat, in goede staat, bueno, buen estado, bien, buono, buone condizioni, buono stato"
    ),
    "mend": (
        "ok, okay, fair, average, used, decent, mittel, befriedigend, gebraucht, in ordnung, ordentlich, moyen, "
        "état moyen, correct, passable, assez bon, redelijk, gebruikt, voldoende, regular, aceptable, normal, "
        "usado, discreto, sufficiente, accettabile, usato, medio"
    ),
    "remake": (
        "rough, tatty, poor, bad, needs work, work needed, project, restoration project, schlecht, mangelhaft, ranzig, "
        "schlechter zustand, restaurierungsbedürftig, renovierungsbedürftig, überholungsbedürftig, à refaire, "
        "a refaire, à restaurer, a restaurer, à rénover, mauvais, mauvais état, mauvais etat, slecht, slechte staat, "
        "opknapper, opknappertje, malo, mal estado, para restaurar, a restaurar, cattivo, cattivo stato, scarso, "
        "da restaurare, da sistemare"
    ),
    "harvest": (
        "scrap, wreck, schrott, ausschlachten, zum ausschlachten, épave, epave, pour pièces, pour pieces, hs, sloop, "
        "voor onderdelen, onderdelen, para piezas, despiece, chatarra, per ricambi, per pezzi, da pezzi, rottame"
    ),
}
_BY_WORD: Final = {word: ours for ours, words in _GUESSES.items() for word in words.split(", ")}
# Words before another that make it a little more or less of the same.
_HOW_MUCH: Final = re.compile(
    r"(?:a bit|bit|a little|slightly|quite|pretty|rather|fairly|really|very|etwas|ein bisschen|bisschen|ein wenig|"
    r"ziemlich|recht|sehr|un peu|assez|plutôt|très|tres|een beetje|beetje|vrij|tamelijk|erg|heel|zeer) (?=.)"
)
_BLANK: Final = ' = ""  # '  # of a line that stands open, before its rows


@dataclass(frozen=True, slots=True)
class Guess:
    """The grade that a word for a condition likely is, by our word for it, and in how many rows the word stands."""

    word: str
    grade: str
    rows: int


def guessed_grade(text: str) -> str | None:
    """Our word for the grade that a condition likely is, None where its words are not among the common ones. One that
    says how much ("a bit rough") is taken for the word alone, where the two have no grade of their own.
    """
    words = " ".join(re.findall(r"[^\W_]+", fold(text[:200])))
    while words not in _BY_WORD:
        how_much = _HOW_MUCH.match(words)
        if how_much is None:
            return None
        words = words[how_much.end() :]
    return _BY_WORD[words]


def guess_for(line: str) -> Guess | None:
    """The guess for an open line of shop.toml, such as `"good" = ""  # 13 rows`; None where there is none."""
    key, blank, rows = line.rpartition(_BLANK)
    if not blank:
        return None
    (word,) = tomllib.loads(f"{key} = 0")
    grade = guessed_grade(word)
    return Guess(word, grade, int(rows.split()[0])) if grade is not None else None


def with_guess(line: str) -> str:
    """The same line with its guess written in, to be looked at."""
    guess = guess_for(line)
    if guess is None:
        return line
    key, _, rows = line.rpartition(_BLANK)
    return f'{key} = "{guess.grade}"  # {rows}; a guess: is it so?'
