"""Common words for a condition and the grade that each likely is: a guess beside an open line, never used by itself.

From memory of the trade and of schools; only words whose place in the order is beyond doubt.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
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
        "good, good condition, gc, gut, guter zustand, gut erhalten, bon, bon état, bon etat, be, goed, goede staat, "
        "in goede staat, bueno, buen estado, bien, buono, buone condizioni, buono stato"
    ),
    "mend": (
        "ok, okay, fair, average, used, decent, mittel, befriedigend, gebraucht, in ordnung, ordentlich, moyen, "
        "état moyen, correct, passable, assez bon, redelijk, gebruikt, voldoende, regular, aceptable, normal, "
        "usado, discreto, sufficiente, accettabile, usato, medio"
    ),
    "remake": (
        "rough, tatty, poor, bad, needs work, work needed, project, restoration project, schlecht, mangelhaft, "
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


def guessed_grade(text: str) -> str | None:
    """Our word for the grade that a condition likely is, None where its words are not among the common ones."""
    return _BY_WORD.get(" ".join(re.findall(r"[^\W_]+", fold(text[:200]))))
