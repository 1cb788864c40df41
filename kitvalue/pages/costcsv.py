"""The lines of a cost sheet as a CSV file for a spreadsheet."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from kitvalue.intake.csvout import Cell, csv_text
from kitvalue.workshop.costing import CostSheet, Line
from kitvalue.workshop.money import cents

HEADER = ("group", "what", "quantity", "unit", "unit_price", "net", "basis")
FINEST = Decimal("0.0001")


def cost_csv(sheet: CostSheet, decimal: Literal[",", "."] = ".") -> str:
    """The sheet's lines by its route, one row each; money is net, credits are below 0, an unknown amount is blank.

    With a decimal comma the cells are parted by semicolons, as spreadsheets of such countries expect; else by commas.
    """
    return csv_text(HEADER, (_row(line) for line in sheet.lines), ";" if decimal == "," else ",", decimal)


def _row(line: Line) -> list[Cell]:
    price = None if line.unit_price is None else line.unit_price.quantize(FINEST)
    net = None if line.net is None else cents(line.net)
    quantity = line.quantity.quantize(FINEST).normalize()
    return [line.group.value, line.what, quantity, line.unit, price, net, line.basis]
