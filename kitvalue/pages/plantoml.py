"""A build plan as the text of its file."""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal

from pydantic import BaseModel

from kitvalue.intake.plan import Plan

ASK_VAT = '# vat = "included"  # or "margin", as the seller\'s invoice says: ask, then take the first # away'


def plan_text(plan: Plan, remark: str, ask_vat: Sequence[str] = ()) -> str:
    """The plan as TOML that reads back as the same plan, a remark on top. Keys at their default are left out.

    `ask_vat` are donors whose VAT nobody has told yet: a remark stands in its place.
    """
    blocks = [f"# {remark}", _keys(plan, skip=("name",))]
    for name, field in type(plan).model_fields.items():
        value = getattr(plan, name)
        if isinstance(value, BaseModel):
            blocks.append(f"[{field.alias or name}]\n{_keys(value)}")
        elif isinstance(value, tuple):
            for one in value:
                lines = f"[[{name}]]\n{_keys(one)}"
                asked = name == "donor" and one.id in ask_vat
                blocks.append(f"{lines}\n{ASK_VAT}" if asked else lines)
    return "\n\n".join(block for block in blocks if block) + "\n"


def _keys(table: BaseModel, skip: Sequence[str] = ()) -> str:
    lines = []
    for name, field in type(table).model_fields.items():
        value = getattr(table, name)
        inner = isinstance(value, BaseModel) or (
            isinstance(value, tuple) and any(isinstance(v, BaseModel) for v in value)
        )
        if name in skip or inner or value is None or value == () or value == field.default:
            continue
        lines.append(f"{field.alias or name} = {_value(value)}")
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
