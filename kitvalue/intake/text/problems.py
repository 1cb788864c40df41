"""What can be wrong with the user's files, as data, and the errors that carry it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final

from kitvalue.intake.text.words import rows_phrase, spelt_out

UNKNOWN_WORDS: Final = ("not_a_grade", "unknown_word")  # codes of problems that a word mapped in shop.toml can cure


class Level(StrEnum):
    """How far a problem reaches."""

    REFUSED = "refused"  # this row is not used
    WARNING = "warning"  # used, and said so
    FILE = "file"  # nothing of the file is used


@dataclass(frozen=True, slots=True)
class Unmapped:
    """Columns that a table lacks, needed (`missing`) and others (`absent`), and its headers that are none of ours."""

    missing: tuple[str, ...]
    absent: tuple[str, ...]
    headers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in one place of one file.

    `row` counts as the spreadsheet does (the header is row 1); in a TOML file it is the line. `text` is the offending
    cell, key or word exactly as the file has it; `code` is stable and for programs, `message` is for people and says
    what to do. `unmapped` stands where columns are missing whose headers shop.toml can map.
    """

    file: str
    row: int | None
    column: str | None
    text: str | None
    code: str
    level: Level
    message: str
    unmapped: Unmapped | None = None

    def line(self) -> str:
        """The problem in one line: `prices.csv row 14, column price: "450-500" is a range; write one price`."""
        place = self.file
        if self.file.endswith(".toml"):  # lines and keys, not rows and columns
            place += f" line {self.row}" if self.row is not None else ""
            return f"{place}, {self.column}: {self.message}" if self.column else f"{place}: {self.message}"
        if self.row is not None:
            place += f" row {self.row}"
        if self.column is not None:
            column = " ".join(self.column.split())  # a header can have lines of its own
            place += f", column {column}" if self.row is not None else f" column {column}"
        return f"{place}: {self.message}"


@dataclass(frozen=True, slots=True)
class Caution:
    """What to know beside an answer: `code` is stable and for programs, `text` is for people."""

    code: str
    text: str


def texts(cautions: Iterable[Caution]) -> tuple[str, ...]:
    """What cautions say, each once."""
    return tuple(dict.fromkeys(caution.text for caution in cautions))


class KitvalueError(Exception):
    """The base of every error a user can cause. `message` is one clear line; `problems` are the places behind it."""

    exit_status: ClassVar[int] = 2

    def __init__(self, message: str, problems: Sequence[Problem] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.problems = tuple(problems)


class FileError(KitvalueError):
    """A file, a folder or the command line is wrong."""


class RefusedError(KitvalueError):
    """The files are right, but the question has no answer (too little data, no such series, no price that meets it)."""

    exit_status = 1


def shown(text: str, limit: int = 60) -> str:
    """The user's text for a message: quoted, shortened, invisible characters spelt as `<U+00A0>`."""
    visible = spelt_out(text[: limit + 1])
    return f'"{visible[:limit]}…"' if len(text) > limit else f'"{visible}"'


@dataclass(frozen=True, slots=True)
class FileCounts:
    """How one file was read: `read` = `used` + `refused` + `set_aside` (repeated rows and superseded relistings)."""

    file: str
    read: int
    used: int
    refused: int
    set_aside: int
    encoding: str | None
    delimiter: str | None
    decimal: str | None


@dataclass(frozen=True, slots=True)
class PlanCounts:
    """One plan: its file and its number of drums, None where it cannot be used."""

    file: str
    drums: int | None


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

    @property
    def rows(self) -> list[int]:
        return [problem.row for problem in self.problems if problem.row is not None]

    def line(self) -> str:
        """The first problem, how many more are like it in which rows, and their other cells, each once: words of one's
        own are then mapped in one go.
        """
        further: dict[str, str] = {}
        for problem in self.problems:
            further.setdefault((problem.text or "").casefold(), problem.text or "")
        texts = [text for key, text in further.items() if key not in ("", (self.first.text or "").casefold())]
        if not texts:
            return self.short()
        more = f" and {len(texts) - _MOST_TEXTS} more" if len(texts) > _MOST_TEXTS else ""
        return self.short(f"; also {', '.join(shown(text, 30) for text in texts[:_MOST_TEXTS])}{more}")

    def short(self, texts: str = "") -> str:
        """The same without the other cells, where these are told elsewhere."""
        if len(self.problems) == 1:
            return self.first.line()
        more = f"{len(self.problems) - 1} more like it, {rows_phrase(self.rows[1:], 20)}"
        return f"{self.first.line()} (and {more}{texts})"


def together(problems: Sequence[Problem]) -> tuple[Alike, ...]:
    """The problems in their order, those of one kind at the place of their first: alike in all but the cell and the
    numbers. One of no single row, or of a settings file, stands by itself.
    """
    kinds: dict[tuple[object, ...], list[int]] = {}
    said = {message: _OWN.sub("", message) for message in {problem.message for problem in problems}}
    for at, problem in enumerate(problems):
        alone = problem.row is None or problem.file.endswith(".toml")
        # with what to do: another cure is another kind
        kind = (at,) if alone else (problem.file, problem.column, problem.code, problem.level, said[problem.message])
        kinds.setdefault(kind, []).append(at)
    groups = [
        group
        for same in kinds.values()
        for group in ([same] if len(same) >= FEWEST_TOGETHER else [[at] for at in same])
    ]
    return tuple(Alike(tuple(problems[at] for at in group)) for group in sorted(groups))


def first_to_do(problems: Sequence[Problem], files: Sequence[FileCounts]) -> str:
    """What to do first: the file that is refused as a whole, else the refusal that costs the most rows, else a book
    that is too small, else the kind of warning with the most rows.
    """
    whole = next((problem for problem in problems if problem.level is Level.FILE), None)
    if whole is not None:
        where = "line" if whole.file.endswith(".toml") else "row"
        place = whole.file if whole.row is None else f"{whole.file}, {where} {whole.row}"
        return f"mend {place}: nothing of {whole.file} is used until then"
    alike = together(problems)
    refused = [one for one in alike if one.first.level is Level.REFUSED]
    if refused:
        worst = max(refused, key=lambda one: len(one.problems))
        first = worst.first
        if first.code in UNKNOWN_WORDS and first.file == files[0].file and len(worst.rows) > 1:
            return f"say in shop.toml what the words of column {first.column} mean: {len(worst.rows)} rows wait for it"
        place = first.file if first.column is None else f"{first.file}, column {first.column},"
        cure = first.message.rpartition("; ")[2]
        return f"mend {place} in {rows_phrase(worst.rows, 6)}: {cure}"
    book = files[0] if files else None
    if book is not None and book.used < FEWEST_ROWS:
        rows_there = f"{book.used} usable row{'' if book.used == 1 else 's'}"
        return f"add kits to {book.file}: it has {rows_there}, and a fit needs {FEWEST_ROWS}"
    single = [one for one in alike if one.first.row is not None and one.first.code not in FINE]
    if single:
        worst = max(single, key=lambda one: len(one.problems))
        return f"look at {worst.first.file}, {rows_phrase(worst.rows, 6)}; then run kitvalue fit"
    return "run kitvalue fit; nothing must be mended before"
