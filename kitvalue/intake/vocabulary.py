"""The words of the shop's files: our columns, our words, and the shop's own words mapped to them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final

from kitvalue.intake.words import Refusal, fold, listed, trimmed, visible

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
        from kitvalue.intake.tomltext import toml_heading, toml_text  # only a mistake needs them
        from kitvalue.intake.tradewords import likely_word

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
