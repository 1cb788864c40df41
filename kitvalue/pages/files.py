"""The lines of a cost sheet as a CSV file for a spreadsheet."""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel

from kitvalue.decisions.shortlist import JudgedOffer, JudgedUse, Shortlist
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import SizeOrder
from kitvalue.intake.tables.csvout import Cell, csv_text
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.pages.words import feature_words
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


HEADER_SHORTLISTCSV = (
    "offer", "series", "pieces", "condition", "asked", "freight", "buy_in", "asked_against_percent", "rank",
    "expected_paid", "open_at", "stop_at", "best_use", "route", "ceiling", "safe_ceiling", "expected_profit",
    "chance_of_loss", "hours", "profit_per_hour", "reason", "features",
    "finished", "finished_hours", "finished_parts",
)  # fmt: skip


def shortlist_csv(found: Shortlist) -> str:
    """The offers in the shortlist's order; what cannot be told is blank."""
    return csv_text(HEADER_SHORTLISTCSV, (_row_shortlistcsv(one) for one in found.offers))


def _row_shortlistcsv(one: JudgedOffer) -> list[str | Decimal | int | None]:
    offer, best = one.offer, one.best
    return [
        offer.offer, offer.series, offer.pieces, offer.condition, cents(offer.price),
        None if offer.freight is None else cents(offer.freight), _money(one.buy_in), _money(one.against_percent),
        _share(one.rank), _money(one.paid.price), _money(one.open_at), _money(one.stop_at), *_best(best), one.reason,
        feature_words(offer.features) or None, offer.finished, None if offer.hours is None else cents(offer.hours),
        offer.parts,
    ]  # fmt: skip


def _best(best: JudgedUse | None) -> list[str | Decimal | int | None]:
    if best is None:
        return [None] * 8
    return [
        best.use, best.route, _money(best.ceiling), _money(best.safe_ceiling), _money(best.expected_profit),
        _share(best.chance_of_loss), _money(best.hours), _money(best.profit_per_hour),
    ]  # fmt: skip


def _money(value: float | None) -> Decimal | None:
    return None if value is None else cents(Decimal(repr(value)))


def _share(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{value:.4f}")


ASK_VAT = '# vat = "included"  # or "margin", as the seller\'s invoice says: ask, then take the first # away'


def plan_text(plan: Plan, remark: str, order: SizeOrder) -> str:
    """The plan as TOML that reads back as the same plan, a remark on top. Keys at their default are left out.

    Sizes stand in the shop's `order`; where nobody has told a trade donor's VAT yet, a remark stands in its place.
    """
    blocks = [f"# {remark}", _keys(plan, order, skip=("name",))]
    for name, field in type(plan).model_fields.items():
        value = getattr(plan, name)
        if isinstance(value, BaseModel):
            blocks.append(f"[{field.alias or name}]\n{_keys(value, order)}")
        elif isinstance(value, tuple):
            for one in value:
                lines = f"[[{name}]]\n{_keys(one, order)}"
                asked = name == "donor" and one.bought_from == "trade" and one.vat is None
                blocks.append(f"{lines}\n{ASK_VAT}" if asked else lines)
    return "\n\n".join(block for block in blocks if block) + "\n"


def _keys(table: BaseModel, order: SizeOrder, skip: Sequence[str] = ()) -> str:
    lines = []
    for name, field in type(table).model_fields.items():
        value = getattr(table, name)
        inner = isinstance(value, BaseModel) or (
            isinstance(value, tuple) and any(isinstance(v, BaseModel) for v in value)
        )
        if name in skip or inner or value is None or value == () or value == field.default:
            continue
        written = size_text(value, order) if isinstance(value, Size) else value
        lines.append(f"{field.alias or name} = {_value(written)}")
    return "\n".join(lines)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
