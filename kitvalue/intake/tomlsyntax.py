"""What is wrong with a file that is no TOML, and what to write instead."""

from __future__ import annotations

import re
from typing import Final

from kitvalue.intake.decoding import refused_file
from kitvalue.intake.problems import FileError, shown
from kitvalue.intake.tomltext import toml_key, toml_text

_LONGEST_CURE: Final = 100  # characters of a line that is shown mended
_BARE: Final = r"[A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*"
_KEY: Final = r"""([^"'#=\[\]{}]+?)\s*=\s*(.*)"""
_HEADING: Final = r"""\[+\s*((?:[A-Za-z0-9_-]+\s*\.\s*)*)([^"'\[\]]+?)\s*\]"""
_QUOTED: Final = "with other letters than A to Z, digits, _ and - stands in double quotes"


def syntax_error(file: str, text: str, why: str) -> FileError:
    """The error for a file of which the TOML reader says `why`, with the line and its cure."""
    place = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", why)
    reason = re.sub(r"\s*\(at .*\)$", "", why)
    lines = text.splitlines()
    number = int(place[1]) if place is not None and place[1] else max(len(lines), 1)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    message = f"{shown(line)} is not valid TOML: {reason[:1].lower()}{reason[1:]}; {_cure(line)}"
    return refused_file(file, "syntax", message, row=number, text=line)


def _cure(line: str) -> str:
    unquoted = _quoted_key(line) or _quoted_heading(line)
    if unquoted is not None:
        return unquoted
    if re.search(r"=\s*\d+,\d", line):
        return "write numbers with a decimal point, such as 42.50"
    if re.search(r"=\s*[^\W\d]", line):
        return 'put texts in double quotes, such as "EUR"'
    return "correct this line"


def _quoted_key(line: str) -> str | None:
    """The cure of `sehr gut = "freshen"`."""
    found = re.match(_KEY, line)
    if found is None or re.fullmatch(_BARE, found[1]):
        return None
    return f"a key {_QUOTED}: {_cut(f'{toml_text(found[1])} = {found[2]}')}"


def _quoted_heading(line: str) -> str | None:
    """The cure of `[series.Slane 2]`."""
    found = re.match(_HEADING, line)
    if found is None or toml_key(found[2]) == found[2]:
        return None
    return f"a name {_QUOTED}: {_cut(line[: found.start(2)] + toml_text(found[2]) + line[found.end(2) :])}"


def _cut(line: str) -> str:
    return line if len(line) <= _LONGEST_CURE else f"{line[:_LONGEST_CURE]}…"
