"""The words that adverts use, English and German, and the shop's own beside them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.text.words import fold

_ABOUT: Final = "(?:about|around|circa|ca\\.?|etwa|rund|environ|ongeveer|dafür)"
_ASKED: Final = "(?:wanted|asked|verlangt|gewünscht|gefordert|demandés?|gevraagd)"
# Each meaning with its words as patterns; a space stands for any run of spaces.
BUILT_IN: Final[Mapping[str, tuple[str, ...]]] = {
    "wanted": (
        "wanted", "wtb", "want to buy", "looking for", "looking to buy", "in search of", "searching for", "iso",
        "suche", "suchen", "gesucht", "gesuch", "kaufe", "kaufgesuch", "ankauf", "such", "wir kaufen",
    ),
    "swap": (
        "swap", "swaps", "trade", "trades", "exchange", "tausch", "tausche", "tauschen", "eintausch", "tauschangebot",
        "inzahlungnahme", "part\\s?ex", "part exchange", "px",
    ),
    "for sale": (
        "for sale", "selling", "i sell", "sell", "fs", "verkaufe", "verkaufen", "zu verkaufen", "verkauf", "vk",
        "biete", "abzugeben", "privatverkauf", "anzubieten",
    ),
    "sold": ("sold", "sold for", "verkauft", "verkauft für", "ging weg für", "weg für", "went for",
        "verkaufspreis war"),
    "hammer": ("hammer", "hammer price", "hammered at", "zuschlag", "zuschlagspreis", "hammerpreis"),
    "negotiable": (
        r"vhb\.?", r"v\.?b\.?", "verhandlungsbasis", "verhandelbar", "verhandlungssache", r"o\.?n\.?o\.?",
        r"o\.?v\.?n\.?o\.?", r"o\.?b\.?o\.?", "or nearest offer", "or near offer", "or best offer", "or offer",
        "negotiable", "preis vhs", "open to offers", "offers welcome",
    ),
    "fixed": (
        "fixed price", "fixed", "fest\\s?preis", "fixpreis", "fp", "firm", "price is firm", "no offers", "no haggling",
        "non negotiable", "not negotiable", "nicht verhandelbar", "kein handeln", "kein vb",
    ),
    "pick-up": (
        "pick[\\s-]?up only", "collection only", "collect only", "local pick[\\s-]?up", "no shipping", "no delivery",
        "nur abholung", "nur an selbstabholer", "selbstabholung", "selbstabholer", "abholung", "kein versand",
        "pick[\\s-]?up", "buyer collects", "must be collected", "collection", "zum abholen",
    ),
    "freight": (
        "shipping", "postage", "delivery", "freight", "shipped", "p\\s?&\\s?p", "p&p", "courier", "versand",
        "versandkosten", "porto", "lieferung", "versende", "versenden", "spedition", "posted", "carriage",
    ),
    "free freight": (
        "free shipping", "free delivery", "free postage", "shipping free", "delivery free", "shipping included",
        "delivery included", "postage included", "incl?u?d?e?s?d?i?n?g?\\.? (?:shipping|delivery|postage)", "delivered",
        "versandkostenfrei", "kostenloser versand", "gratis versand", "versand gratis", "versand kostenlos",
        "versand frei", "freier versand", "inkl\\.? versand", "inklusive versand", "inkl\\.? lieferung",
        "versand inkl\\.?", "versand inklusive", "frei haus",
    ),
    "each": (
        "each", "ea", "per drum", "per piece", "per shell", "a piece", "apiece", "per tom", "a drum", "pro trommel",
        "pro stück", "pro kessel", "je trommel", "je stück", "je kessel", "das stück", "je", "pro", "stückpreis",
    ),
    "earlier": (
        "was", "new it cost", "cost new", "cost me", "new price", "list price", "rrp", "retail", "originally",
        "instead of",
        "reduced from", "down from", "paid", "bought for", "np", "neupreis", "uvp", "statt", "vorher", "früher",
        "gekauft für",
        "bezahlt", "hat neu", "neu", "ladenpreis", "worth", "wert", "value", "listenpreis", "hat gekostet",
    ),
    "other thing": (
        "extra", "cymbals?", "becken", "beckensatz", "hardware", "stands?", "cases?", "koffer", "taschen?", "bags?",
        "pedals?", "fußmaschine", "fussmaschine", "hocker", "throne", "deposit", "anzahlung", "heads?", "felle",
    ),
    "price": (
        "price", "asking", "asking price", "preis", "kaufpreis", "verkaufspreis", "preisvorstellung", "für", "for",
        "at",
        "total", "gesamt", "komplett", "gesamtpreis", "now", "jetzt", "nur noch", "only",
        "reduced to", "dropped to", "lowered to", "price drop to", "reduziert auf", "gesenkt auf",
    ),
    "asks": tuple(f"(?:{word})(?: {_ABOUT})?" for word in (  # right before a sum: what a seller wants for his kit
        "wants?", "wanting", "would like", "asks?(?: for)?", "asked", "looking (?:for|to get)", "hoping for", "will",
        "wollen", "möchten?", "hätten? gerne?", "hätte gern", "verlang(?:t|e|en)", "forder(?:t|n)", "demande", "veut",
        "vraagt", "vragen", "wil",
    )),
    "asked behind": (  # the same right behind a sum
        f"(?:(?:is|are|wird|werden|est|sont|wordt) )?{_ASKED}"
        "(?: (?:for|für|pour|voor)(?: it)?| dafür|(?=\\s*(?:$|[,)(])))",
    ),
    "private": ("private sale", "private seller", "privatverkauf", "privat", "von privat", "privately"),
    "dealer": (
        "dealer", "trade seller", "shop price", "music shop", "drum shop", "händler", "gewerblich", "gewerblicher",
        "ladengeschäft", "musikhaus", "mwst", "differenzbesteuert", "differenzbesteuerung",
    ),
    "auction": ("auction", "auktion", "auktionshaus", "auction house", "versteigerung", "versteigert"),
    "bass": (
        "bass\\s?drums?", "bass", "kick", "kick\\s?drums?", "bd", "bassdrums?", "basstrommel", "große trommel",
    ),
    "floor": ("floor\\s?toms?", "floors?", "floortoms?", "stand\\s?toms?", "standtoms?", "ft"),
    "rack": (
        "rack\\s?toms?", "racks?", "mounted toms?", "hänge\\s?toms?", "hängetoms?", "tom\\s?toms?", "toms?", "tt", "rt",
    ),
    "snare": ("snare\\s?drums?", "snaredrums?", "snares?", "sd", "kleine trommel", "snaretrommel"),
    "not a drum": (
        "cymbals?", "crash(?:es)?", "ride", "hi-?hats?", "hihats?", "hats", "splash", "china", "becken", "beckensatz",
        "stands?", "ständer", "beckenständer", "stativ", "stative", "hardware", "cases?", "koffer", "hardcases?",
        "bags?",
        "taschen?", "gigbags?", "heads?", "fell", "felle", "resofelle?", "schlagfelle?",
        "fellsatz", "fellsätze", "drum\\s?heads?", "skins?", "hoops?", "rims?",
        "spannreifen", "reifen", "throne", "hocker", "pedals?", "fußmaschine", "fussmaschine", "teppich", "rug",
        "sticks?",
        "wires?", "teppiche", "mount", "halter", "holder",
    ),
    "without": (
        "without", "no", "not included", "not", "excl\\.?", "excluding", "ohne", "kein", "keine", "nicht dabei",
        "exkl\\.?",
        "minus", "missing", "fehlt", "needs?", "nicht", "sans", "except",
    ),
}  # fmt: skip
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
    return Lexicon({name: whole_words((*words, *more.get(name, ()))) for name, words in BUILT_IN.items()})


def phrase(words: str) -> str:
    """A pattern for a text as it stands, its spaces of any width."""
    return r" ".join(re.escape(part) for part in words.split())


def whole_words(patterns: Iterable[str]) -> re.Pattern[str]:
    """A pattern for any of some words, longest first, never within another word."""
    ordered = sorted(patterns, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(p.replace(' ', r'[ ]+') for p in ordered)})(?!\w)", re.IGNORECASE)
