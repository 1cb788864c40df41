"""Tables as CSV that a spreadsheet opens safely: UTF-8 with its mark, and no text that it would take for a formula."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Final

from kitvalue.intake.text.words import NOTHING, spelt_out

MARK: Final = "\ufeff"
_RISKY: Final = ("=", "+", "-", "@")
_SPACE: Final = re.compile(r"[^\S ]")
_NUMBER: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)?")

Cell = str | Decimal | int | dt.date | None


def safe_text(text: str) -> str:
    """The text as a cell: in one line, without signs that show nothing, those that steer or turn the reading order
    spelt out, and with an apostrophe before it where a spreadsheet would run it (CWE-1236). Twice changes nothing more.
    """
    if not text.isprintable():
        text = spelt_out(_SPACE.sub(" ", text).translate(NOTHING))
    return f"'{text}" if text.lstrip().startswith(_RISKY) else text


def is_number(text: str) -> bool:
    """Is it a plain number, which keeps its sign?"""
    return _NUMBER.fullmatch(text) is not None


def quoted(text: str, delimiter: str) -> str:
    """A cell as RFC 4180 writes it: quoted where it holds the delimiter, a quote, a line break or outer spaces."""
    if text and text == text.strip() and not any(c in text for c in ('"', "\n", "\r", delimiter)):
        return text
    return '"' + text.replace('"', '""') + '"' if text else ""


def csv_line(cells: Iterable[Cell], delimiter: str = ",", decimal: str = ".") -> str:
    """One row without its line end: numbers with the decimal sign, days as ISO, None blank, texts made safe."""
    return delimiter.join(quoted(_written(cell, decimal), delimiter) for cell in cells)


def _written(cell: Cell, decimal: str) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return safe_text(cell)
    if isinstance(cell, Decimal):
        return format(cell, "f").replace(".", decimal)
    return str(cell)


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]], delimiter: str = ",", decimal: str = ".") -> str:
    """A whole table, ready to be written as UTF-8: its mark first, CR LF at every line's end (RFC 4180)."""
    lines = [csv_line(header, delimiter, decimal), *(csv_line(row, delimiter, decimal) for row in rows)]
    return MARK + "".join(f"{line}\r\n" for line in lines)
