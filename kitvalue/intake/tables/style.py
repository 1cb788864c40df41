"""How a file writes its rows: new ones are set behind its own, or in the place of one, in its own columns and style."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from kitvalue.intake.settings.shop import FilesTable
from kitvalue.intake.tables.csvout import is_number, quoted, safe_text
from kitvalue.intake.tables.headers import (
    Header,
    WantedColumns,
    declared_delimiter,
    find_header,
    split_lines,
    split_rows,
    unclosed_quote,
)
from kitvalue.intake.tables.table import table_from_text
from kitvalue.intake.text.decoding import decode
from kitvalue.intake.text.numbers import column_style, read_amount
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.words import is_dash, trimmed

_MONEY: Final = ("price", "sold_for", "freight")
_NUMBERS: Final = (*_MONEY, "condition", "premium", "haggle", "weight")
_DOTTED: Final = re.compile(r"\d{2}\.\d{2}\.\d{4}")
_LINE_ENDS: Final = re.compile(r"(\r\n|\n|\r)")


@dataclass(frozen=True, slots=True)
class FileStyle:
    """How a file writes its rows."""

    file: str
    header: Header
    encoding: str  # for bytes set behind the file's own, without a mark
    line_end: str
    ends_with_line: bool
    decimal: str
    dotted_dates: bool
    rows: Mapping[int, tuple[str, ...]]  # number in the spreadsheet -> cells, of every sound row under the header

    def column(self, name: str) -> list[str]:
        """The filled cells of one of our columns."""
        place = self.header.places.get(name)
        return [] if place is None else [row[place] for row in self.rows.values() if trimmed(row[place])]


@dataclass(frozen=True, slots=True)
class NewRow:
    """A row to be written: its number in the spreadsheet, each of the file's columns with its cell, its line, and the
    file's bytes with the row behind them.
    """

    row: int
    cells: tuple[tuple[str, str], ...]
    line: str
    data: bytes


def file_style(data: bytes, file: str, wanted: WantedColumns, files: FilesTable) -> FileStyle:
    """The style of a file's rows. Raises FileError where the file cannot be trusted as a whole."""
    decoded = decode(data, file, files.encoding)
    lines = split_lines(decoded.text)
    declared = declared_delimiter(lines)
    header = find_header(lines[1:] if declared else lines, wanted, file, files.delimiter or declared)
    rows = {}
    for raw in split_rows(lines[1:] if declared else lines, header.delimiter):
        if raw.damage is not None and raw.damage.spreads:
            raise unclosed_quote(file, raw, raw.damage, header)
        if raw.row > header.row and header.named <= raw.count <= len(header.cells) and raw.cells:
            rows[raw.row] = (*raw.cells, *[""] * (len(header.cells) - raw.count))
    encoding = decoded.encoding
    if encoding in ("utf-16", "utf-32"):  # the byte order that the mark tells, without a mark of its own
        encoding += {b"\xff": "-le", b"\xfe": "-be", b"\x00": "-be"}.get(data[:1], "")
    ends = re.findall(r"\r\n|\n|\r", decoded.text)
    style = FileStyle(
        file=file,
        header=header,
        encoding="utf-8" if encoding.lower().replace("_", "-") == "utf-8-sig" else encoding,
        line_end=ends[-1] if ends else "\r\n",  # RFC 4180
        ends_with_line=decoded.text.endswith(("\n", "\r")),
        decimal=".",
        dotted_dates=False,
        rows=rows,
    )
    dates = style.column("date")
    dotted = 2 * sum(_DOTTED.fullmatch(trimmed(cell)) is not None for cell in dates) > len(dates)  # but for totals
    return replace(style, decimal=_decimal_sign(style, files), dotted_dates=dotted)


def _decimal_sign(style: FileStyle, files: FilesTable) -> str:
    """The decimal sign that the prices show, else the setting, else what goes with the delimiter: a file with commas
    between its cells cannot well have them in its numbers, and one with semicolons comes from where they stand there.
    """
    cells = [*style.column("price"), *style.column("sold_for")]
    read = {cell: read_amount(cell) for cell in set(cells)}
    shown = column_style(map(read.__getitem__, cells))
    if shown.mixed:
        return "," if shown.commas > shown.dots else "."
    return shown.sign or files.decimal or ("," if style.header.delimiter == ";" else ".")


def new_row(
    data: bytes, style: FileStyle, values: Mapping[str, str], wanted: WantedColumns, files: FilesTable
) -> NewRow:
    """The row with these values (our column -> plain text) and the file with it. The old bytes stay as they are.

    The row's number is found by reading the whole file again; FileError where it does not come back as written.
    """
    header = style.header
    cells = row_cells(style, values)
    line, whole = _line(style, cells), with_rows(data, style, (cells,))
    table = table_from_text(decode(whole, style.file, files.encoding), style.file, wanted, files.delimiter)
    sent = [cell.encode(style.encoding, errors="replace").decode(style.encoding) for cell in cells]
    if not len(table) or table.row_cells(-1)[: len(sent)] != sent:
        raise FileError(
            f"a row set behind the last line of {style.file} would not be read back as it is written; "
            "mend the last rows first (kitvalue check lists what is wrong)"
        )
    return NewRow(
        table.row(-1), tuple((header.name(name), cells[place]) for name, place in header.places.items()), line, whole
    )


def row_cells(style: FileStyle, values: Mapping[str, str], old: Sequence[str] | None = None) -> list[str]:
    """A row of cells with these values (our column -> plain text); the others are the `old` ones, else blank."""
    cells = [*old] if old is not None else [""] * len(style.header.cells)
    for name, place in style.header.places.items():
        if name in values:
            cells[place] = _cell(name, values[name], style)
    return cells


def with_rows(data: bytes, style: FileStyle, added: Sequence[Sequence[str]]) -> bytes:
    """A file with rows of cells behind its own bytes."""
    before = "" if style.ends_with_line or not added else style.line_end
    text = before + "".join(_line(style, cells) + style.line_end for cells in added)
    return data + text.encode(style.encoding, errors="replace")


def with_changed(data: bytes, style: FileStyle, changed: Mapping[int, Sequence[str]], files: FilesTable) -> bytes:
    """A file with other cells in some rows (number -> cells), each byte of the others as it was. Raises FileError where
    its text does not lead back to its bytes.
    """
    if not changed:
        return data
    text = decode(data, style.file, files.encoding).text
    mark = data[: len(data) - len(text.encode(style.encoding, errors="replace"))]
    if mark + text.encode(style.encoding, errors="replace") != data:
        raise FileError(f"{style.file} cannot be changed without touching its other rows; save it as CSV UTF-8")
    parts = _LINE_ENDS.split(text)  # a line, its end, a line, its end ...
    lines = split_lines(text)
    at = skipped = 1 if declared_delimiter(lines) else 0  # the line of the next row
    number = 0
    for raw in split_rows(lines[skipped:], style.header.delimiter):
        at += raw.row - number - 1  # blank rows
        if raw.row in changed:
            parts[2 * at : 2 * (at + raw.lines) - 1] = [
                _line(style, changed[raw.row]),
                *[""] * (2 * raw.lines - 2),
            ]
        at, number = at + raw.lines, raw.row
    return mark + "".join(parts).encode(style.encoding, errors="replace")


def _line(style: FileStyle, cells: Sequence[str]) -> str:
    return style.header.delimiter.join(quoted(cell, style.header.delimiter) for cell in cells)


def _cell(name: str, value: str, style: FileStyle) -> str:
    """A value in the file's own style; texts are made safe for a spreadsheet."""
    if name in _NUMBERS and is_number(value):
        return (written_money(value) if name in _MONEY else value).replace(".", style.decimal)
    if name in _MONEY:
        number, _, code = value.partition(" ")
        return f"{number.replace('.', style.decimal)} {code}".rstrip()
    if name == "date" and style.dotted_dates and value:
        year, month, day = value.split("-")
        return f"{day}.{month}.{year}"
    text = " ".join(value.split())
    return text if is_number(text) or is_dash(text) else safe_text(text)  # a dash alone says no


def written_money(value: str) -> str:
    """Money as its plain text, cents where it has any."""
    return f"{Decimal(value):.2f}" if "." in value else value
