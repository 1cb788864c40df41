"""Every command of the program, and how to run it as a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

import pytest
from _pytest.mark import ParameterSet

from tests.shops import SAMPLE

T = TypeVar("T")
U = TypeVar("U")
VALUE = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3")
ADVERT = "Burren, 22x16 16x16 13x9 12x8, 480 EUR VB, mend"
LINES: dict[str, tuple[str, ...]] = {
    "new": ("new", "{new}"),
    "check": ("check",),
    "jot": ("jot", ADVERT),
    "take": ("take", str(SAMPLE / "prices.csv")),
    "fit": ("fit",),
    "value": VALUE,
    "cost": ("cost", "seven-piece"),
    "price": ("price", "seven-piece"),
    "compare": ("compare", "seven-piece"),
    "done": ("done",),
    "shortlist": ("shortlist",),
    "source": ("source", "seven-piece"),
    "plan": ("plan", "--jobs"),
    "report": ("report",),
    "sheet": ("sheet", "seven-piece"),
    "card": ("card", "--plan", "seven-piece"),
}
FROM_SHEET = ("new", "{new}", "--prices", str(SAMPLE / "prices.csv"))
WRITING: dict[str, tuple[str, ...]] = {
    "new": ("new", "{new}"),
    "new --prices": FROM_SHEET,
    "jot": ("jot", ADVERT, "--yes"),
    "jot --offer": ("jot", ADVERT, "--offer", "--yes"),
    "fit": ("fit",),
    "cost": ("cost", "seven-piece", "--csv"),
    "shortlist": ("shortlist", "--csv"),
    "source": ("source", "seven-piece", "--write", "found"),
    "report": ("report",),
    "report --charts": ("report", "--charts", "{new}"),
    "sheet": ("sheet", "seven-piece"),
    "sheet --pdf": ("sheet", "seven-piece", "--pdf"),
    "card": ("card",),
}
# A shell's background jobs ignore Ctrl-C, and so would every process begun from one.
INTERRUPTIBLE = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from kitvalue.__main__ import run
run()
"""


def words_of(line: tuple[str, ...], new: Path) -> list[str]:
    """The words of a command line, with a folder that is not there yet where it wants one."""
    return [word.replace("{new}", str(new)) for word in line]


def environment(**more: str) -> dict[str, str]:
    """This process's environment without what would change how Python speaks, and the settings given.

    No compiled modules are written: Python itself leaves them cut off where there is no room.
    """
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "LC_", "LANG", "KITVALUE"))}
    return {**kept, "PYTHONPATH": str(SAMPLE.parent), "PYTHONDONTWRITEBYTECODE": "1", **more}


def started(shop: Path, words: list[str], env: Mapping[str, str] | None = None) -> subprocess.Popen[bytes]:
    """A command begun; the caller waits for it."""
    return subprocess.Popen(
        [sys.executable, "-c", INTERRUPTIBLE, "--shop", str(shop), *words],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env or environment(),
    )  # fmt: skip


def thorough_but(usual: Callable[[T], bool], given: Iterable[T]) -> list[ParameterSet]:
    """The cases of a test, those that are not in the usual run marked: `pytest -m ""` runs them too."""
    sets = [(one, one if isinstance(one, tuple) else (one,)) for one in given]
    return [pytest.param(*values, marks=[] if usual(one) else pytest.mark.thorough) for one, values in sets]


def two_at_once(work: Callable[[T], U], given: Iterable[T]) -> list[U]:
    """The work on each, two at a time, in order."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, given))


def files_in(folder: Path) -> dict[str, bytes]:
    """Every file below a folder by its name, hidden ones too; not the one, always empty, that a run locks to write."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and path.name != ".lock")
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}
