"""Lines to paste into shop.toml for what a spreadsheet calls by names of its own: its headers and its words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from kitvalue.intake.problems import Problem, Unmapped
from kitvalue.intake.shop import Shop
from kitvalue.intake.tomllines import Place
from kitvalue.intake.tomltext import toml_heading, toml_key, toml_text
from kitvalue.intake.tradewords import likely_headers, likely_word
from kitvalue.intake.vocabulary import CHANNELS, GRADES, PRICE_KINDS
from kitvalue.intake.words import fold, listed

UNKNOWN_WORDS: Final = ("not_a_grade", "unknown_word")  # codes of problems that mapping a word can cure
_TABLES: Final = ("prices.csv", "offers.csv")
_OF_OFFERS: Final = ("condition",)  # columns of offers.csv whose words are mapped as those of prices.csv
_OURS: Final[Mapping[str, tuple[str, ...]]] = {
    "condition": tuple(GRADES), "price_kind": PRICE_KINDS, "channel": CHANNELS, "yes-no": ("yes", "no"),
}  # fmt: skip
_LONGEST: Final = 80  # characters of a word that is worth mapping
_MOST: Final = 40  # lines of one block


@dataclass(frozen=True, slots=True)
class PasteBlock:
    """Lines for one table of shop.toml. `stands` is the line on which its heading stands, None where there is none yet.

    `words` are the cells (folded) that the lines are about, `left_out` how many more there are; `to_fill` says what can
    stand on the right where a line leaves it open, and is blank where none does.
    """

    table: tuple[str, ...]
    lines: tuple[str, ...]
    stands: int | None = None
    words: tuple[str, ...] = ()
    left_out: int = 0
    to_fill: str = ""

    @property
    def heading(self) -> str:
        """The table's heading as TOML has it."""
        return toml_heading(*self.table)


def paste_blocks(problems: Sequence[Problem], shop: Shop, stands: Mapping[Place, int]) -> tuple[PasteBlock, ...]:
    """The lines that a shop's problems ask for: headers first, then the words of each column. `stands`: the lines of
    shop.toml on which its tables and keys stand.
    """
    unmapped = next((one.unmapped for one in problems if one.unmapped is not None), None)
    blocks = [] if unmapped is None else [column_block(unmapped)]
    return tuple(replace(one, stands=stands.get(one.table)) for one in (*blocks, *_word_blocks(problems, shop)))


def column_block(unmapped: Unmapped) -> PasteBlock:
    """A line for each missing column, and for each optional one that a header is likely for."""
    likely = likely_headers((*unmapped.missing, *unmapped.absent), unmapped.headers)
    wanted = [*unmapped.missing, *(name for name in unmapped.absent if name in likely)]
    lines = [f"{toml_key(name)} = {toml_text(likely.get(name, ''))}" for name in wanted]
    to_fill = "" if all(name in likely for name in wanted) else "the header in the file"
    return PasteBlock(("prices", "columns"), tuple(lines), to_fill=to_fill)


def _word_blocks(problems: Sequence[Problem], shop: Shop) -> list[PasteBlock]:
    words: dict[str, dict[str, list[str]]] = {}
    for problem in problems:
        column = _column(problem, shop)
        if column is not None and problem.text is not None and fold(problem.text) and len(problem.text) <= _LONGEST:
            words.setdefault(column, {}).setdefault(fold(problem.text), []).append(problem.text)
    return [_word_block(column, found, shop) for column, found in words.items()]


def _column(problem: Problem, shop: Shop) -> str | None:
    """Our column of a cell that holds an unknown word; None for any other problem."""
    if problem.code not in UNKNOWN_WORDS or problem.file not in _TABLES or problem.column is None:
        return None
    header = fold(problem.column)
    names = {fold(name): name for name in ("condition", "price_kind", "channel", *shop.prices.features)}
    if problem.file == _TABLES[0]:
        names |= {fold(theirs): ours for ours, theirs in shop.prices.columns.items()}
        return names.get(header)
    return names[header] if names.get(header) in _OF_OFFERS else None


def _word_block(column: str, found: Mapping[str, Sequence[str]], shop: Shop) -> PasteBlock:
    """The words of one column, the most frequent first."""
    kind = "yes-no" if shop.prices.features.get(column) == "yes-no" else column
    known = _known(kind, shop.prices.words.get(column, {}))
    often = sorted(found.items(), key=lambda pair: -len(pair[1]))
    guesses = {word: likely_word(kind, word, known) or "" for word, _ in often[:_MOST]}
    lines = [
        f"{toml_text(texts[0].strip())} = {toml_text(guesses[word])}  # {len(texts)} row{'s' if len(texts) > 1 else ''}"
        for word, texts in often[:_MOST]
    ]
    more = max(0, len(often) - _MOST)
    to_fill = listed(_OURS.get(kind, ("a word of your choice",)), last="or") if "" in guesses.values() else ""
    return PasteBlock(("prices", "words", column), tuple(lines), None, tuple(found), more, to_fill)


def _known(kind: str, mapped: Mapping[str, str]) -> dict[str, str]:
    return {fold(word): word for word in _OURS.get(kind, ())} | {fold(word): ours for word, ours in mapped.items()}
