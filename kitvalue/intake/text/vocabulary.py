"""The words of the shop's files: our columns, our words, and the shop's own words mapped to them."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from difflib import SequenceMatcher
from typing import Final

from kitvalue.intake.text.languages import any_of, pattern, word_lists
from kitvalue.intake.text.tomltext import toml_heading, toml_text
from kitvalue.intake.text.words import Refusal, fold, listed, look_alike, trimmed, visible

REQUIRED: Final = ("series", "pieces", "condition", "price")
OPTIONAL: Final = (
    "date", "price_kind", "sold_for", "channel", "premium", "currency", "freight", "ref", "note", "weight",
    "sizes",
)  # fmt: skip
PRICE_KINDS: Final = ("asked", "sold", "hammer")
CHANNELS: Final = ("private", "dealer", "auction")
SOURCES: Final = ("private", "trade", "union", "import")  # where a kit comes from; union: another of its states
VAT_SAID: Final = ("margin", "exempt", "included", "excluded")  # what the seller's invoice says of VAT
CARRIERS: Final = ("carrier", "seller")  # who charges the freight
GRADES: Final[Mapping[str, Decimal]] = {
    "wipe": Decimal(5), "freshen": Decimal(4), "mend": Decimal(3), "remake": Decimal(2), "harvest": Decimal(1),
}  # fmt: skip
TRUTHS: Final[Mapping[str, bool]] = {
    "yes": True, "y": True, "true": True, "1": True, "ja": True, "j": True, "wahr": True,
    "oui": True, "sì": True, "sí": True, "si": True, "vrai": True, "vero": True, "verdadero": True, "waar": True,
    "no": False, "n": False, "false": False, "0": False, "nein": False, "falsch": False,
    "non": False, "nee": False, "faux": False, "falso": False, "onwaar": False,
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
        table = toml_heading("prices", "words", column)
        likely = likely_word(column, text, self.words)
        if likely is None or likely not in self.words.values():
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
    return Decimal(plain) if re.fullmatch(r"[1-4](?:\.(?:[05]0{0,3})?)?|5(?:\.0{0,4})?", plain) else None


_CLOSE: Final = 0.85  # of SequenceMatcher's ratio
_FEWEST_LETTERS: Final = 5  # of a word that is looked for inside another ("Preisvorstellung")
_BY_ONE_WORD: Final = ("channel", "yes-no")  # columns in which one word of a cell tells ("auction hall", "stands incl")


def likely_headers(
    columns: Sequence[str], headers: Sequence[str], ruled_out: Container[tuple[str, str]] = ()
) -> dict[str, str]:
    """Our column -> the header that most likely holds it, each header once; columns without one are not there.
    `ruled_out`: pairs of our column and a header that cannot be it.
    """
    order = list(dict.fromkeys((*word_lists("headers"), *columns)))
    fits = sorted(
        (-hits, -share, order.index(name), place)
        for name in columns
        for place, header in enumerate(headers)
        if (name, header) not in ruled_out
        for hits, share in _fit(name, header)
    )
    likely: dict[str, str] = {}
    for *_, at, place in fits:
        if order[at] not in likely and headers[place] not in likely.values():
            likely[order[at]] = headers[place]
    return likely


def speaks_of(column: str, header: str) -> bool:
    """Has a header a word for a column of ours?"""
    return any(_fit(column, header))


def _fit(column: str, header: str) -> Iterator[tuple[float, float]]:
    """How well a header fits a column: words of it that speak for the column, and which share of all they are. Nothing
    where none does.
    """
    tokens = re.findall(r"[^\W\d_]+|[€$£]", fold(header[:200]))
    known = word_lists("headers").get(column, ())
    inside = [word for word in known if len(word) >= _FEWEST_LETTERS]
    hits = sum(1.0 if token in known else 0.5 * any(word in token for word in inside) for token in tokens)
    if tokens and not hits and look_alike(header, column):
        hits = 1.0
    if hits:
        yield hits, hits / len(tokens)


def likely_word(column: str, text: str, known: Mapping[str, str]) -> str | None:
    """Our word that a cell most likely stands for: `known` spells ours and the shop's (folded) -> ours. `column` is
    ours, or "yes-no" for a feature of that kind. None where nothing is likely, and where two are.
    """
    word = fold(text[:200])
    same = {ours for spelling, ours in known.items() if _letters(word) and _letters(word) == _letters(spelling)}
    if len(same) == 1:
        return same.pop()
    table = {one: ours for ours, words in word_lists(f"values.{column}").items() for one in words}
    if word in table:
        return table[word]
    if column == "price_kind" and pattern(rf"{any_of('cells', 'negotiable', 'fixed')}\.?").fullmatch(word):
        return "asked"  # nobody says of a price paid whether it was open to offers
    taken_in = any_of("cells", "taken in")  # by a shop, of somebody
    if column in _BY_ONE_WORD and not re.search(taken_in, word):
        told = {known.get(one, table.get(one)) for one in re.findall(r"\w+", word)} - {None}
        if len(told) == 1:
            return told.pop()
    close = {
        ours
        for spelling, ours in known.items()
        if min(len(_letters(word)), len(_letters(spelling))) >= _FEWEST_LETTERS - 1
        and SequenceMatcher(None, _letters(word), _letters(spelling), autojunk=False).ratio() >= _CLOSE
    }
    return close.pop() if len(close) == 1 else None


def _letters(text: str) -> str:
    return "".join(re.findall(r"\w+", text))
