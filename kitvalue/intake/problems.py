"""What can be wrong with the user's files, as data, and the errors that carry it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final

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
            place += f", column {self.column}" if self.row is not None else f" column {self.column}"
        return f"{place}: {self.message}"


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
    visible = "".join(_visible(c) for c in text[: limit + 1])
    return f'"{visible[:limit]}…"' if len(text) > limit else f'"{visible}"'


def _visible(char: str) -> str:
    return char if char == " " or char.isprintable() else f"<U+{ord(char):04X}>"
