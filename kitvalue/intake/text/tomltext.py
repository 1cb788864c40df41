"""Keys, texts and headings as TOML writes them, for messages that name what to paste."""

from __future__ import annotations

import json
import re
from typing import Final


def toml_text(text: str) -> str:
    """A text in double quotes: JSON's escapes are TOML's; any sign that does not print is escaped, too."""
    written = json.dumps(text, ensure_ascii=False)
    odd = {ord(c): f"\\u{ord(c):04X}" if c <= "\uffff" else f"\\U{ord(c):08X}" for c in written if not c.isprintable()}
    return written.translate(odd)


def toml_key(name: str) -> str:
    """A key: bare where TOML takes it so, else in double quotes."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else toml_text(name)


def toml_heading(*names: str) -> str:
    """The heading of a table: `[prices.words.condition]`, `[series."Slane 2"]`."""
    return f"[{'.'.join(map(toml_key, names))}]"


Place = tuple[str | int, ...]  # a key's way from the top: ("drum", 2, "size")
_HEADING: Final = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY: Final = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[\w.-]+(?:\s*\.\s*[\w-]+)*)\s*=""")


def key_lines(text: str) -> dict[Place, int]:
    """The line of each heading and key that stands on a line of its own (inline tables are found by their key)."""
    lines: dict[Place, int] = {}
    counts: dict[tuple[str, ...], int] = {}
    table: Place = ()
    for number, line in enumerate(text.split("\n"), start=1):
        if heading := _HEADING.fullmatch(line.rstrip("\r")):
            names = _split_key(heading[2])
            if heading[1] == "[[":
                counts[names] = counts.get(names, -1) + 1
                table = (*names, counts[names])
                lines.setdefault(names, number)
            else:
                table = names
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_split_key(key[1])), number)
    return lines


def _split_key(text: str) -> tuple[str, ...]:
    parts = re.findall(r'"((?:[^"\\]|\\.)*)"|\'([^\']*)\'|([^.\s"\']+)', text)
    return tuple(_unescaped(double) or single or bare for double, single, bare in parts)


def _unescaped(text: str) -> str:
    """What stands between double quotes, as it is meant: TOML's escapes are JSON's, but for rare ones that stay."""
    try:
        return str(json.loads(f'"{text}"')) if "\\" in text else text
    except ValueError:
        return text
