"""Problems of one kind put together, and the one thing to do first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.counts import FileCounts
from kitvalue.intake.problems import UNKNOWN_WORDS, Level, Problem, shown
from kitvalue.intake.words import rows_phrase

FEWEST_TOGETHER: Final = 3  # two of a kind are told one by one
_OWN: Final = re.compile(r'"[^"]*"|\d+')
_MOST_TEXTS: Final = 8  # other cells that are shown beside the first
FINE: Final = ("pieces_from_sizes",)  # warnings that only tell how a cell was taken
FEWEST_ROWS: Final = 12  # that a fit needs


@dataclass(frozen=True, slots=True)
class Alike:
    """Problems of one kind in one column of one file: the first one stands for all."""

    problems: tuple[Problem, ...]

    @property
    def first(self) -> Problem:
        return self.problems[0]

    def line(self) -> str:
        """The first problem, how many more are like it in which rows, and their cells."""
        return self._line(self._further_texts())

    def short(self) -> str:
        """The same without the other cells, where these are told elsewhere."""
        return self._line("")

    def _line(self, texts: str) -> str:
        others = [problem.row for problem in self.problems[1:] if problem.row is not None]
        if not others:
            return self.first.line()
        return f"{self.first.line()} (and {len(self.problems) - 1} more like it, {rows_phrase(others, 20)}{texts})"

    def _further_texts(self) -> str:
        """The other cells that stand there, each once: words of one's own are then mapped in one go."""
        first = (self.first.text or "").casefold()
        further: dict[str, str] = {}
        for problem in self.problems:
            further.setdefault((problem.text or "").casefold(), problem.text or "")
        texts = [text for key, text in further.items() if key not in ("", first)]
        if not texts:
            return ""
        more = f" and {len(texts) - _MOST_TEXTS} more" if len(texts) > _MOST_TEXTS else ""
        return f"; also {', '.join(shown(text, 30) for text in texts[:_MOST_TEXTS])}{more}"


def together(problems: Sequence[Problem]) -> tuple[Alike, ...]:
    """The problems in their order, those of one kind at the place of their first."""
    kinds: dict[tuple[object, ...], list[Problem]] = {}
    for at, problem in enumerate(problems):
        kinds.setdefault(_kind(problem, at), []).append(problem)
    found: list[Alike] = []
    done: set[tuple[object, ...]] = set()
    for at, problem in enumerate(problems):
        kind = _kind(problem, at)
        if len(kinds[kind]) < FEWEST_TOGETHER:
            found.append(Alike((problem,)))
        elif kind not in done:
            found.append(Alike(tuple(kinds[kind])))
            done.add(kind)
    return tuple(found)


def _kind(problem: Problem, at: int) -> tuple[object, ...]:
    """What makes problems alike: all but the cell and the numbers. One of no single row, or of a settings file, stands
    by itself.
    """
    if problem.row is None or problem.file.endswith(".toml"):
        return (at,)
    said = _OWN.sub("", problem.message)  # with what to do: another cure is another kind
    return (problem.file, problem.column, problem.code, problem.level, said)


def first_to_do(problems: Sequence[Problem], files: Sequence[FileCounts]) -> str:
    """What to do first: the file that is refused as a whole, else the refusal that costs the most rows, else a book
    that is too small, else the kind of warning with the most rows.
    """
    whole = next((problem for problem in problems if problem.level is Level.FILE), None)
    if whole is not None:
        return f"mend {_place(whole)}: nothing of {whole.file} is used until then"
    refused = [one for one in together(problems) if one.first.level is Level.REFUSED]
    if refused:
        worst = max(refused, key=lambda one: len(one.problems))
        rows = [problem.row for problem in worst.problems if problem.row is not None]
        if worst.first.code in UNKNOWN_WORDS and worst.first.file == files[0].file and len(rows) > 1:
            return f"say in shop.toml what the words of column {worst.first.column} mean: {len(rows)} rows wait for it"
        return f"mend {_column(worst.first)} in {rows_phrase(rows, 6)}: {_cure(worst.first)}"
    book = files[0] if files else None
    if book is not None and book.used < FEWEST_ROWS:
        rows_there = f"{book.used} usable row{'' if book.used == 1 else 's'}"
        return f"add kits to {book.file}: it has {rows_there}, and a fit needs {FEWEST_ROWS}"
    single = [one for one in together(problems) if one.first.row is not None and one.first.code not in FINE]
    if single:
        worst = max(single, key=lambda one: len(one.problems))
        rows = [problem.row for problem in worst.problems if problem.row is not None]
        return f"look at {worst.first.file}, {rows_phrase(rows, 6)}; then run kitvalue fit"
    return "run kitvalue fit; nothing must be mended before"


def _place(problem: Problem) -> str:
    where = "line" if problem.file.endswith(".toml") else "row"
    return f"{problem.file}, {where} {problem.row}" if problem.row is not None else problem.file


def _column(problem: Problem) -> str:
    return f"{problem.file}, column {problem.column}," if problem.column is not None else problem.file


def _cure(problem: Problem) -> str:
    """What a message says to do: its part behind the last semicolon."""
    return problem.message.rpartition("; ")[2]
