"""The lines of a cost sheet as a CSV file for a spreadsheet."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from kitvalue.workshop.costing import CostSheet, Line
from kitvalue.workshop.money import cents

MARK = "\ufeff"  # spreadsheets take the file for UTF-8 by it
HEADER = ("group", "what", "quantity", "unit", "unit_price", "net", "basis")
RISKY = ("=", "+", "-", "@", "\t", "\r")  # a text that begins so would be worked out as a formula
FINEST = Decimal("0.0001")


def cost_csv(sheet: CostSheet, decimal: Literal[",", "."] = ".") -> str:
    """The sheet's lines by its route, one row each; money is net, credits are below 0, an unknown amount is blank.

    With a decimal comma the cells are parted by semicolons, as spreadsheets of such countries expect; else by commas.
    Rows end in CR LF (RFC 4180). A text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    delimiter = ";" if decimal == "," else ","
    rows = [list(HEADER), *(_row(line, decimal) for line in sheet.lines)]
    return MARK + "".join(delimiter.join(_quoted(cell, delimiter) for cell in row) + "\r\n" for row in rows)


def _row(line: Line, decimal: str) -> list[str]:
    price = None if line.unit_price is None else line.unit_price.quantize(FINEST)
    return [
        _text(line.group.value), _text(line.what), _number(line.quantity.quantize(FINEST).normalize(), decimal),
        _text(line.unit), _number(price, decimal), _number(None if line.net is None else cents(line.net), decimal),
        _text(line.basis),
    ]  # fmt: skip


def _text(text: str) -> str:
    return f"'{text}" if text.startswith(RISKY) else text


def _number(value: Decimal | None, decimal: str) -> str:
    return "" if value is None else f"{value:f}".replace(".", decimal)


def _quoted(cell: str, delimiter: str) -> str:
    if any(sign in cell for sign in (delimiter, '"', "\n", "\r")):
        return '"' + cell.replace('"', '""') + '"'
    return cell
