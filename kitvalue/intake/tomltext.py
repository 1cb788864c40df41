"""Keys, texts and headings as TOML writes them, for messages that name what to paste."""

from __future__ import annotations

import re


def toml_text(text: str) -> str:
    """A text in double quotes."""
    import json  # JSON's escapes are TOML's, but for the one sign

    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_key(name: str) -> str:
    """A key: bare where TOML takes it so, else in double quotes."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else toml_text(name)


def toml_heading(*names: str) -> str:
    """The heading of a table: `[prices.words.condition]`, `[series."Slane 2"]`."""
    return f"[{'.'.join(map(toml_key, names))}]"
