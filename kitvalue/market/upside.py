"""A book in which better kits come out cheaper beyond doubt: grades that were probably read the wrong way round."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from kitvalue.intake.marks import WORDS_TABLE, turned_words
from kitvalue.market.fitted import TermEstimate

_LEAD: Final = "conditions look upside down: "


def upside_down(terms: Sequence[TermEstimate]) -> str | None:
    """The caution where the whole 95 % range of the condition's effect lies below zero; None where it does not."""
    found = next((term for term in terms if term.name == "condition"), None)
    if found is None or found.high >= 0 or found.percent is None:
        return None
    less = f"{-found.percent:.0f}" if found.percent <= -1 else f"{-found.percent:.1f}"
    return (
        f"{_LEAD}one grade better comes out {less} % cheaper in this book. Here 5 is the best grade and 1 the worst. "
        f"If 1 is the best in your sheet, map the numbers under {WORDS_TABLE} of shop.toml: {turned_words()}. If they "
        "are read rightly, look for misread rows"
    )


def leading(cautions: Sequence[str]) -> tuple[str, ...]:
    """Those of some cautions without which no answer may be read."""
    return tuple(dict.fromkeys(text for text in cautions if text.startswith(_LEAD)))


def following(cautions: Sequence[str]) -> tuple[str, ...]:
    """The others, each once."""
    return tuple(dict.fromkeys(text for text in cautions if not text.startswith(_LEAD)))
