"""What a reader of an answer has to know: above it where nothing may be read without it, else below."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.market.upside import following, leading
from kitvalue.pages.terminal.table import bullets, wrapped


def first_of_all(cautions: Sequence[str]) -> str:
    """The cautions that stand above an answer's headline; empty where there are none."""
    return "".join(f"{wrapped(f'Take care: {text}.', '')}\n\n" for text in leading(cautions))[:-1]


def take_care(cautions: Sequence[str]) -> str:
    """The others, below the answer."""
    return bullets("Take care", following(cautions))
