"""Names and texts as people read them."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from kitvalue.intake.text.numbers import plain as plain_number
from kitvalue.intake.text.vocabulary import GRADES
from kitvalue.pages.figures import exact, trimmed

if TYPE_CHECKING:  # not needed to write a text
    from kitvalue.intake.books.bookrows import FeatureRead
    from kitvalue.intake.books.offers import Offer
    from kitvalue.market.encoding import FeatureValue

ROUTES: Final = {"full": "full VAT", "margin": "margin", "none": "no VAT", "sales": "sales tax"}
NOT_COMPUTED: Final = "Cannot be computed"
# Signs that reorder or hide the text around them; joiners that emoji need are not among them.
HIDDEN = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")


def plain(text: str) -> str:
    """Any text made safe to set: control signs, lone surrogates and signs that turn the reading order become U+FFFD."""
    return "".join(
        "\ufffd" if c in HIDDEN or unicodedata.category(c) in ("Cc", "Cs") or ord(c) & 0xFFFE == 0xFFFE else c
        for c in text
    )


def width(text: str) -> int:
    """Columns that a text takes: wide signs (Japanese, emoji) take two, combining ones none."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def cut(text: str, columns: int) -> list[str]:
    """A text in pieces of so many columns."""
    pieces, used = [""], 0
    for char in text:
        if pieces[-1] and used + width(char) > columns:
            pieces.append("")
            used = 0
        pieces[-1] += char
        used += width(char)
    return pieces


def short(text: str, columns: int) -> str:
    """The text in at most so many columns, cut with an ellipsis."""
    return text if width(text) <= columns else f"{cut(text, columns - 1)[0].rstrip()}…"


def capital(text: str) -> str:
    """The text with a large first letter."""
    return text[:1].upper() + text[1:]


def feature_words(features: Iterable[FeatureRead | FeatureValue]) -> str:
    """Features as a file tells them: `hardware yes, holes 2`."""

    def told(value: Decimal | float | bool | str) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, Decimal):
            return plain_number(value)
        return value if isinstance(value, str) else f"{value:g}"

    return ", ".join(f"{f.name} {told(f.value)}" for f in features if f.value is not None)


def source_words(offer: Offer) -> str:
    """Who sells a kit and how VAT stands, where it is not a private person: `trade, VAT included`."""
    vat = {"included": "VAT included", "excluded": "VAT on top", "margin": "margin scheme", "exempt": "exempt from VAT"}
    said = (offer.bought_from, vat.get(offer.vat or "", ""))
    return "" if offer.bought_from == "private" else ", ".join(filter(None, said))


def work_words(finished: Decimal | None, hours: Decimal | None, parts: Decimal | None) -> str:
    """What is done to a kit before it is sold: `finished 4 (freshen), 6 hours, parts 85`."""
    told = [] if finished is None else [f"finished {grade(finished)}"]
    told += [] if hours is None else [_hours(hours)]
    return ", ".join(told if parts is None else [*told, f"parts {exact(parts)}"])


def sold_words(finished: Decimal | None, hours: Decimal | None) -> str:
    """The same in a sentence about the kit: `in condition 4 after 6 hours`."""
    told = [] if finished is None else [f"in condition {trimmed(finished, 1)}"]
    return " ".join(told if hours is None else [*told, f"after {_hours(hours)}"])


def _hours(hours: Decimal) -> str:
    return f"{trimmed(hours)} {'hour' if hours == 1 else 'hours'}"


def grade(value: Decimal | float) -> str:
    """`3 (mend)`, `3.5`."""
    return f"{float(value):g}" + "".join(f" ({word})" for word, ours in GRADES.items() if ours == value)
