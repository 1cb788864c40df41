"""The words of the shop's files: our columns, our words, and the shop's own words mapped to them."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from difflib import SequenceMatcher
from typing import Final

from kitvalue.intake.text.words import Refusal, fold, listed, look_alike, trimmed, visible

REQUIRED: Final = ("series", "pieces", "condition", "price")
OPTIONAL: Final = (
    "date", "price_kind", "sold_for", "channel", "premium", "currency", "freight", "ref", "note", "weight",
)  # fmt: skip
PRICE_KINDS: Final = ("asked", "sold", "hammer")
CHANNELS: Final = ("private", "dealer", "auction")
GRADES: Final[Mapping[str, Decimal]] = {
    "wipe": Decimal(5), "freshen": Decimal(4), "mend": Decimal(3), "remake": Decimal(2), "harvest": Decimal(1),
}  # fmt: skip
TRUTHS: Final[Mapping[str, bool]] = {
    "yes": True, "y": True, "true": True, "1": True, "ja": True, "j": True, "wahr": True,
    "no": False, "n": False, "false": False, "0": False, "nein": False, "falsch": False,
}  # fmt: skip
_HALVES: Final = {"½": ".5", " 1/2": ".5", ",": "."}


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words that one column takes: folded spelling -> our word."""

    words: Mapping[str, str]

    def find(self, text: str) -> str | None:
        """Our word for a cell."""
        return self.words.get(fold(text))

    def refusal(self, text: str, column: str) -> Refusal:
        """The refusal of a word that is none of ours in `column`, for which shop.toml maps more."""
        from kitvalue.intake.text.tomltext import toml_heading, toml_text  # only a mistake needs them

        table = toml_heading("prices", "words", column)
        likely = likely_word(column, text, self.words)
        if likely is None:
            known = listed(dict.fromkeys(self.words.values()), last="or")
            return Refusal("unknown_word", "is no known word", f"write {known}, or map it under {table}")
        mapping = f"{toml_text(trimmed(text)[:60])} = {toml_text(likely)}"
        hint = f"did you mean {likely}? Write it so, or map it under {table}: {mapping}"
        return Refusal("unknown_word", "is no known word", hint)


def vocabulary(own: Iterable[str], mapped: Mapping[str, str]) -> Vocabulary:
    """Our words and the shop's."""
    words = {fold(word): word for word in own}
    return Vocabulary(words | {fold(word): words.get(fold(ours), ours) for word, ours in mapped.items()})


def grade(text: str) -> Decimal | None:
    """A bench grade from 1 to 5 in halves: a number ("3.5", "3½") or one of our words; None where it is neither."""
    word = fold(text)
    if word in GRADES:
        return GRADES[word]
    plain = visible(word)
    for sign, decimal in _HALVES.items():
        plain = plain.replace(sign, decimal)
    if not (1 <= len(plain) <= 6 and plain[0] in "12345" and set(plain) <= set("0123456789.")):
        return None
    try:
        number = Decimal(plain)
    except InvalidOperation:
        return None
    return number if 1 <= number <= 5 and number * 2 == (number * 2).to_integral_value() else None


_CLOSE: Final = 0.85  # of SequenceMatcher's ratio
_FEWEST_LETTERS: Final = 5  # of a word that is looked for inside another ("Preisvorstellung")
# Our column -> words of headers for it. Where a header has as many words of two columns, the first of them has it.
_HEADERS: Final[Mapping[str, str]] = {
    "freight": (
        "freight shipping postage fracht versand versandkosten porto lieferung livraison verzending spedizione envío "
        "frakt"
    ),
    "price": (
        "price preis asking ask asked vk betrag € $ £ eur euro usd gbp cost costs kosten amount paid bezahlt prix "
        "prijs prezzo precio pris cena"
    ),
    "date": "date datum seen gesehen when wann day tag on am listed eingestellt vu gezien data fecha visto",
    "price_kind": "kind art status sold verkauft angebot asked preisart vendu verkocht venduto vendido",
    "sold_for": "sold for verkauft für verkaufspreis erlös vendu pour verkocht voor venduto vendido realised realized",
    "condition": (
        "condition cond zustand grade state erhaltung quality qualität état staat conditie stato estado skick stan"
    ),
    "pieces": (
        "pieces piece pcs pc drums teile teilig tlg anzahl stück stueck stk trommeln kessel shells count qty fûts "
        "pièces trommels stuks pezzi fusti piezas trummor trommer bębnów "
        "bębny sizes size diameters größen groessen maße masse durchmesser"
    ),
    "channel": "channel kanal where wo source quelle platform plattform market markt bei at chez où waar dove dónde",
    "currency": "currency curr währung devise valuta moneda",
    "premium": "premium aufgeld agio",
    "ref": "ref link url anzeige inserat listing advert ad id annonce advertentie annuncio anuncio",
    "note": (
        "note notes notiz notizen bemerkung bemerkungen kommentar comment comments remark remarks anmerkung remarques "
        "opmerking opmerkingen notas"
    ),
    "hardware": "hardware stands ständer",
    "series": (
        "series serie range model modell line linie kit set drumset schlagzeug baureihe reihe bezeichnung série modèle "
        "modello modelo batterie drumstel"
    ),
}
# Our column -> a whole cell -> our word; only what says one thing beyond doubt. Grades are the shop's own judgement.
_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "condition": {"harvest": "for parts, parts only, parts, spares, teileträger, für teile, als teile, ersatzteile"},
    "price_kind": {
        "sold": "verkauft, sold for, paid, bezahlt, gekauft, bought, sold price, verkaufspreis",
        "asked": "angebot, angeboten, asking, ask, asking price, wanted, offered, offer, inserat, anzeige",
        "hammer": "hammer price, zuschlag, hammerpreis",
    },
    "channel": {
        "private": "privat, private sale, private seller, privatverkauf, von privat, flohmarkt, flea market",
        "dealer": "händler, shop, store, music shop, musikhaus, laden, gewerblich, trade, magasin, winkel, negozio",
        "auction": "auktion, auction house, auktionshaus, versteigerung, enchères, veiling",
    },
    "yes-no": {
        "yes": "mit, with, vorhanden, dabei, included, incl, inkl, ✓, ✔",
        "no": "ohne, without, nein danke, keine, kein, none, fehlt, missing, nicht dabei, not included, ✗, ✘",
    },
}  # fmt: skip
_TAKEN_IN: Final = re.compile(r"trade[- ]?in|part[- ]?ex|in zahlung|inzahlung|reprise|inruil")  # by a shop, of somebody
_BY_ONE_WORD: Final = ("channel", "yes-no")  # columns in which one word of a cell tells ("auction hall", "stands incl")


@dataclass(frozen=True, slots=True)
class _Fit:
    """How well a header fits a column: words of it that speak for the column, and which share of all they are."""

    hits: float
    share: float
    column: int
    header: int


def likely_headers(
    columns: Sequence[str], headers: Sequence[str], ruled_out: Container[tuple[str, str]] = ()
) -> dict[str, str]:
    """Our column -> the header that most likely holds it, each header once; columns without one are not there.
    `ruled_out`: pairs of our column and a header that cannot be it.
    """
    order = [*_HEADERS, *(name for name in columns if name not in _HEADERS)]
    fits = [
        fit
        for at, name in enumerate(order)
        if name in columns
        for place, header in enumerate(headers)
        if (name, header) not in ruled_out
        if (fit := _fit(name, at, header, place)) is not None
    ]
    found: dict[str, str] = {}
    for fit in sorted(fits, key=lambda one: (-one.hits, -one.share, one.column, one.header)):
        name, header = order[fit.column], headers[fit.header]
        if name not in found and header not in found.values():
            found[name] = header
    return found


def speaks_of(column: str, header: str) -> bool:
    """Has a header a word for a column of ours?"""
    return _fit(column, 0, header, 0) is not None


def _fit(name: str, column: int, header: str, place: int) -> _Fit | None:
    tokens = re.findall(r"[^\W\d_]+|[€$£]", fold(header[:200]))
    if not tokens:
        return None
    known = _HEADERS.get(name, "").split()
    hits = sum(1.0 if token in known else 0.5 if _inside(token, known) else 0.0 for token in tokens)
    if not hits and look_alike(header, name):
        hits = 1.0
    return _Fit(hits, hits / len(tokens), column, place) if hits else None


def _inside(token: str, known: Iterable[str]) -> bool:
    return any(len(word) >= _FEWEST_LETTERS and word in token for word in known)


def likely_word(column: str, text: str, known: Mapping[str, str]) -> str | None:
    """Our word that a cell most likely stands for: `known` spells ours and the shop's (folded) -> ours. `column` is
    ours, or "yes-no" for a feature of that kind. None where nothing is likely, and where two are.
    """
    word = fold(text[:200])
    same = {ours for spelling, ours in known.items() if _letters(word) and _letters(word) == _letters(spelling)}
    if len(same) == 1:
        return same.pop()
    table = {one: ours for ours, words in _WORDS.get(column, {}).items() for one in words.split(", ")}
    if word in table:
        return table[word]
    if column in _BY_ONE_WORD and not _TAKEN_IN.search(word):
        told = {known.get(one, table.get(one)) for one in re.findall(r"\w+", word)} - {None}
        if len(told) == 1:
            return told.pop()
    close = {ours for spelling, ours in known.items() if _close(_letters(word), _letters(spelling))}
    return close.pop() if len(close) == 1 else None


def _letters(text: str) -> str:
    return "".join(re.findall(r"\w+", text))


def _close(one: str, other: str) -> bool:
    if min(len(one), len(other)) < _FEWEST_LETTERS - 1:
        return False
    return SequenceMatcher(None, one, other, autojunk=False).ratio() >= _CLOSE
