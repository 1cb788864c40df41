"""Lines to paste into shop.toml for what a spreadsheet calls by names of its own: its headers and its words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.toml import TomlFile
from kitvalue.intake.text.problems import UNKNOWN_WORDS, Problem
from kitvalue.intake.text.tomltext import Place, toml_heading, toml_key, toml_text
from kitvalue.intake.text.vocabulary import CHANNELS, GRADES, PRICE_KINDS, REQUIRED, likely_headers, likely_word
from kitvalue.intake.text.words import fold, listed

_OURS: Final[Mapping[str, tuple[str, ...]]] = {
    "condition": tuple(GRADES), "price_kind": PRICE_KINDS, "channel": CHANNELS, "yes-no": ("yes", "no"),
}  # fmt: skip
_HEADER: Final = "the header in the file"
_OPEN: Final = re.compile(r' = ""(  # \d+ rows?)?$')
_LONGEST: Final = 80  # characters of a word that is worth mapping
_MOST: Final = 40  # lines of one block


@dataclass(frozen=True, slots=True)
class PasteBlock:
    """Lines for one table of shop.toml."""

    table: tuple[str, ...]
    lines: tuple[str, ...]
    stands: int | None = None  # the line on which its heading stands, None where there is none yet
    words: tuple[str, ...] = ()  # the cells (folded) that the lines are about
    left_out: int = 0  # how many more of them there are
    to_fill: str = ""  # what can stand on the right where a line leaves it open, blank where none does
    open_at: tuple[int, ...] = ()  # the lines that stand there already, their right side still open

    @property
    def heading(self) -> str:
        """The table's heading as TOML has it."""
        return toml_heading(*self.table)


def paste_blocks(problems: Sequence[Problem], shop: Shop, stands: Mapping[Place, int]) -> tuple[PasteBlock, ...]:
    """The lines that a shop's problems ask for: headers first, then the words of each column. `stands`: the lines of
    shop.toml on which its tables and keys stand.
    """

    def block(
        table: tuple[str, ...], lines: Mapping[str, str], choice: str, words: tuple[str, ...] = (), left_out: int = 0
    ) -> PasteBlock:
        """`lines` by key, without those open in the file already; `choice`: what can stand on an open side."""
        there = {fold(str(place[-1])): at for place, at in stands.items() if place[:-1] == table}
        lacking = tuple(line for key, line in lines.items() if fold(key) not in there)
        open_at = tuple(sorted(there[fold(key)] for key in lines if fold(key) in there))
        to_fill = choice if open_at or any(_OPEN.search(line) for line in lacking) else ""
        return PasteBlock(table, lacking, stands.get(table), words, left_out, to_fill, open_at)

    blocks = []
    # A single header that is none of ours is a title.
    lacking = (one.unmapped for one in problems if one.unmapped is not None)
    unmapped = next((one for one in lacking if len(one.headers) > 1 or len(one.missing) < len(REQUIRED)), None)
    if unmapped is not None:  # a line for each missing column, and for each optional one that a header is likely for
        likely = dict.fromkeys(unmapped.missing, "")
        likely |= likely_headers((*unmapped.missing, *unmapped.absent), unmapped.headers)
        wanted = [name for name in (*unmapped.missing, *unmapped.absent) if name in likely]
        lines = {name: f"{toml_key(name)} = {toml_text(likely[name])}" for name in wanted}
        blocks.append(block(("prices", "columns"), lines, _HEADER))
    for column, words in unknown_words(problems, shop).items():
        kind = word_kind(column, shop.prices.features)
        lines = {word.text: word_line(word.text, word.likely, word.rows) for word in words[:_MOST]}
        more = max(0, len(words) - _MOST)
        told = tuple(fold(word.text) for word in words)
        blocks.append(block(("prices", "words", column), lines, _choice(kind), told, more))
    return tuple(blocks)


def word_line(word: str, ours: str, rows: int, why: str = "") -> str:
    """A line that maps a word, with the number of its rows and `why` it is mapped so."""
    return f"{toml_text(word)} = {toml_text(ours)}  # {rows} row{'s' if rows > 1 else ''}{why}"


def word_kind(column: str, features: Mapping[str, str]) -> str:
    """What kind of words a column of words holds: the column itself, or "yes-no" for a feature of that kind."""
    return "yes-no" if features.get(column) == "yes-no" else column


def our_words(kind: str) -> tuple[str, ...]:
    """What words of a kind can stand for; () where it may be any."""
    return _OURS.get(kind, ())


def open_blocks(toml: TomlFile) -> tuple[PasteBlock, ...]:
    """The tables of shop.toml in which lines stand open, in the file's order, with no line to paste."""
    prices = toml.values.get("prices", {})
    tables: dict[tuple[str, ...], Mapping[str, object]] = {("columns",): prices.get("columns", {})}
    tables |= {("words", column): words for column, words in prices.get("words", {}).items()}
    blocks = []
    for table, values in tables.items():
        where = ("prices", *table)
        blank = [name for name, right in values.items() if isinstance(right, str) and not right.strip()]
        open_at = sorted(toml.lines[(*where, name)] for name in blank if (*where, name) in toml.lines)
        if open_at:
            kind = "yes-no" if prices.get("features", {}).get(table[-1]) == "yes-no" else table[-1]
            to_fill = _HEADER if len(table) == 1 else _choice(kind)
            blocks.append(PasteBlock(where, (), toml.lines.get(where), tuple(blank), 0, to_fill, tuple(open_at)))
    return tuple(sorted(blocks, key=lambda block: block.open_at))


@dataclass(frozen=True, slots=True)
class UnknownWord:
    """A word of a column as its first row spells it, in how many rows it stands, and ours for it, blank if unknown."""

    text: str
    rows: int
    likely: str


def unknown_words(problems: Sequence[Problem], shop: Shop) -> dict[str, list[UnknownWord]]:
    """Our column -> the words in it that are not known, those of most rows first."""
    ours = ("condition", *shop.prices.features)
    names = {
        "prices.csv": {fold(name): name for name in ("price_kind", "channel", *ours)}
        | {fold(theirs): name for name, theirs in shop.prices.columns.items()},
        "offers.csv": {fold(name): name for name in ours},
    }
    words: dict[str, dict[str, list[str]]] = {}
    for problem in problems:
        column, text = names.get(problem.file, {}).get(fold(problem.column or "")), problem.text or ""
        if problem.code in UNKNOWN_WORDS and column is not None and fold(text) and len(text) <= _LONGEST:
            words.setdefault(column, {}).setdefault(fold(text), []).append(text)
    found: dict[str, list[UnknownWord]] = {}
    for column, cells in words.items():
        kind, mapped = word_kind(column, shop.prices.features), shop.prices.words.get(column, {})
        known = {fold(word): word for word in our_words(kind)} | {fold(word): ours for word, ours in mapped.items()}
        often = sorted(cells.items(), key=lambda pair: -len(pair[1]))
        likely = ((texts, likely_word(kind, folded, known) or "") for folded, texts in often)
        found[column] = [UnknownWord(texts[0].strip(), len(texts), ours) for texts, ours in likely]
    return found


def _choice(kind: str) -> str:
    """What words of a column can stand for."""
    return listed(_OURS.get(kind, ("a word of your choice",)), last="or")
