"""Plain tables and running text as wide as whoever prints them says, 80 columns where nobody does.

Words stand left and figures right, wide characters count as two. Nothing is cut: what is too wide is folded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import zip_longest
from typing import NamedTuple

from kitvalue.intake.text.words import spelt_out
from kitvalue.pages.words import cut, width

_COLUMNS: ContextVar[int] = ContextVar("columns", default=80)
LEAST = 12  # columns that a column of words keeps however wide the others are
WORD = re.compile(r" *[^ ]+(?: %[^ ]*)?")  # with the spaces before it; a number keeps its sign of percent
ARGUMENT = re.compile(r"""(?:[^\s"']|"[^"]*"|'[^']*')+""")  # of a command line, quotes and what is in them whole
DEEPEST = 8  # columns by which a text under a row is indented at most
INDENT = GAP = "  "
# Ways to make a table fit: lines of a heading, whether words are folded, what stands between two columns.
FOLDING = ((1, False, GAP), (2, False, GAP), (3, False, GAP), (2, True, GAP), (9, True, GAP), (9, True, " "))


@contextmanager
def as_wide_as(columns: int) -> Iterator[None]:
    """Within, tables and texts are set for so many columns."""
    before = _COLUMNS.set(columns)
    try:
        yield
    finally:
        _COLUMNS.reset(before)


class Column(NamedTuple):
    """A heading; `figures` are set flush right, words longer than `most` are folded."""

    title: str
    figures: bool
    most: int


def table(heads: str, rows: Sequence[Sequence[object]], under: Sequence[str] = (), notes: Iterable[str] = ()) -> str:
    """A table with a ruled heading of a column each: `series< | price | note<40`, `<` being for words, perhaps folded
    at so many columns, else figures. A row takes as many lines as its longest folded cell, and under it stands its text
    of `under`, if any. Below all stand the notes. A column with nothing in it is left out.

    Where the table would be too wide its headings are folded, then its words; if that is not enough, it is told row by
    row.
    """
    parts = [head.strip().partition("<") for head in heads.split("|")]
    every = [Column(title, not words, int(most or 60)) for title, words, most in parts]
    used = [j for j, c in enumerate(every) if c.title or any(row[j] for row in rows)] or [0]
    shown, texts = [every[j] for j in used], [[spelt_out(str(row[j])) for j in used] for row in rows]
    widths, gap = _widths(shown, texts)
    beneath = " " * min(len(INDENT) + widths[0] + len(gap), DEEPEST) if widths else INDENT
    lines: list[str] = []
    if widths:
        head = [fold(c.title, w) for c, w in zip(shown, widths, strict=True)]
        deep = max(len(cell) for cell in head)
        lines += _lines([[""] * (deep - len(cell)) + cell for cell in head], shown, widths, gap)
        lines.append(INDENT + gap.join("-" * w for w in widths))
    for i, row in enumerate(texts):
        if widths:
            cells = [[cell] if c.figures else fold(cell, w) for cell, c, w in zip(row, shown, widths, strict=True)]
            lines += _lines(cells, shown, widths, gap)
        else:
            lines += [""] if lines else []
            lines.append(facts([(c.title, cell) for c, cell in zip(shown, row, strict=True) if cell]))
        if under and under[i]:
            lines.append(wrapped(under[i], beneath))
    return "\n".join([*lines, *map(wrapped, notes)])


def _widths(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> tuple[list[int], str]:
    """The columns' widths and the gap between two by the first way that fits, words narrowed from the widest column
    down; no widths where none does."""
    cells = [max((width(row[j]) for row in rows), default=0) for j in range(len(columns))]
    cells = [cell if c.figures else min(cell, c.most) for c, cell in zip(columns, cells, strict=True)]
    for heading, words, gap in FOLDING:
        least = []
        for c in columns:  # the fewest columns in which a heading takes so many lines at most, its words whole
            longest = max(map(width, c.title.split(" ")))
            tried = range(longest, width(c.title) + 1)
            least.append(next(w for w in tried if len(fold(c.title, w)) <= heading))
        widths = [max(head, cell) for head, cell in zip(least, cells, strict=True)]
        over = len(INDENT) + sum(widths) + len(gap) * (len(widths) - 1) - _COLUMNS.get()
        while over > 0 and words:
            free = [j for j, c in enumerate(columns) if not c.figures and widths[j] > max(least[j], LEAST)]
            if not free:
                break
            widths[max(free, key=lambda j: widths[j])] -= 1
            over -= 1
        if over <= 0:
            return widths, gap
    return [], GAP


def _lines(cells: Sequence[Sequence[str]], columns: Sequence[Column], widths: Sequence[int], gap: str) -> Iterator[str]:
    """The lines of a row whose cells are folded."""
    for texts in zip_longest(*cells, fillvalue=""):
        spaces = [" " * (w - width(text)) for text, w in zip(texts, widths, strict=True)]
        padded = [s + t if c.figures else t + s for t, s, c in zip(texts, spaces, columns, strict=True)]
        yield (INDENT + gap.join(padded)).rstrip()


def fold(text: str, columns: int, whole: bool = False) -> list[str]:
    """A text in lines of so many columns, broken between words, and within a word that is too long unless `whole`."""
    text = spelt_out(text.replace("\n", " "))
    if width(text) <= columns:
        return [text]
    lines, line = [], ""
    for word in WORD.findall(text):
        if width(line + word) <= columns:
            line += word
            continue
        if line:
            lines.append(line)
        *full, line = [word.lstrip(" ")] if whole else cut(word.lstrip(" "), columns)
        lines += full
    return [*lines, line]


def facts(pairs: Sequence[tuple[str, str]]) -> str:
    """Names and what they are, the second column aligned."""
    first = max(width(name) for name, _ in pairs)
    return "\n".join(wrapped(text, bullet=f"{name}{' ' * (first - width(name))}{GAP}") for name, text in pairs)


def wrapped(text: str, indent: str = INDENT, bullet: str = "") -> str:
    """Running text in lines of bounded width; a word that is longer, such as a path, stays whole."""
    start = indent + bullet
    first, *rest = fold(text, _COLUMNS.get() - len(start), whole=True)
    return "\n".join([start + first, *(" " * len(start) + line for line in rest)])


def command(text: str, indent: str) -> str:
    """A command line to be copied: where it is too long, each line but the last ends in the shell's backslash."""
    lines, line = [], indent
    for argument in ARGUMENT.findall(text):
        longer = f"{line} {argument}" if line.strip() else line + argument
        if width(longer) > _COLUMNS.get() - 2 and line.strip():
            lines.append(f"{line} \\")
            longer = f"{indent}  {argument}"
        line = longer
    return "\n".join([*lines, line])


def bullets(heading: str, texts: Sequence[str]) -> str:
    """A heading and its list; blank where there is nothing to say."""
    return "\n".join([heading, *(wrapped(t, bullet="- ") for t in texts)]) if texts else ""


def grouped(pairs: Iterable[tuple[str, str]]) -> list[tuple[str, list[str]]]:
    """Each text once with the names that it is said of."""
    groups: dict[str, list[str]] = {}
    for text, name in pairs:
        groups.setdefault(text, []).append(name)
    return list(groups.items())


def page(*blocks: str) -> str:
    """An answer of several blocks with a blank line behind each; blank ones are left out, long headings folded."""
    return "\n".join(f"{folded(block)}\n" for block in blocks if block)


def folded(text: str) -> str:
    """A text with those of its lines folded that are not indented, as headings are."""
    return "\n".join(line if line[:1] in ("", " ") else wrapped(line, "") for line in text.split("\n"))
