"""Schemas for editors and other tools, made from the program's own models and columns: writes shared/schemas/.

    python tests/tooling/make_schemas.py

shop.toml and build plans as JSON Schema (draft 2020-12), the CSV files as Table Schema (Frictionless Data, version 1).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from kitvalue.intake.books import specs
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.specification import ColumnSpec
from kitvalue.intake.text.vocabulary import GRADES

PLACE = Path(__file__).resolve().parents[2] / "shared" / "schemas"
LIMITS = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum"}
GRADE = {"anyOf": [{"type": "number", "minimum": 1, "maximum": 5, "multipleOf": 0.5}, {"enum": list(GRADES)}]}


def toml_schema(model: type[BaseModel], title: str) -> dict[str, Any]:
    """JSON Schema of a TOML file. TOML has no null: a key that may be None is one that may be left out."""
    schema = _tidy(model.model_json_schema(by_alias=True))
    if "name" in schema["properties"] and model is Plan:  # the file's name
        del schema["properties"]["name"]
        schema["required"] = [key for key in schema["required"] if key != "name"]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}


def _tidy(part: Any) -> Any:
    if isinstance(part, list):
        return [_tidy(one) for one in part]
    if not isinstance(part, dict):
        return part
    found = {
        LIMITS.get(key, key): _tidy(value)
        for key, value in part.items()
        if key not in ("title", "description") or isinstance(value, dict)
    }
    choices = [one for one in found.get("anyOf", ()) if one != {"type": "null"}]
    kinds = {one.get("type") for one in choices}
    if kinds == {"number", "string"}:  # a Decimal: a number in TOML
        found.pop("anyOf")
        limits = {key for key in found if key in LIMITS.values()}
        grade = {"minimum", "maximum"} == limits and (found["minimum"], found["maximum"]) == (1, 5)
        found = {k: v for k, v in found.items() if not grade or k not in limits} | (
            GRADE if grade else {"type": "number"}
        )
    elif len(choices) == 1 and len(found.get("anyOf", ())) > 1:  # X or nothing
        found = {**{key: value for key, value in found.items() if key != "anyOf"}, **choices[0]}
    if "default" in found and found.get("type") == "number" and isinstance(found["default"], str):
        found["default"] = float(found["default"])
    if "default" in found and found["default"] is None:
        del found["default"]
    return found


def field(spec: ColumnSpec) -> dict[str, Any]:
    """A field of a Table Schema: of a number that must be above 0, or below another, the last cent within."""
    said = {"type": {"word": "string", "number": "number", "day": "date"}[spec.kind], **spec.schema}
    kind, limits = said.pop("type"), dict[str, Any]()
    if spec.needed and not spec.unless:  # which of two may be blank hangs on the other, which a Table Schema cannot say
        limits["required"] = True
    if spec.bounds is not None and kind == "number":
        bounds = spec.bounds
        limits["minimum"] = 0.01 if bounds.zero is not None and spec.unit == "money" else 0
        if bounds.highest is not None:
            limits["maximum"] = bounds.highest - 0.01 if bounds.below else bounds.highest
    limits |= said
    described = {"description": spec.description} if spec.description else {}
    return {"name": spec.name, "type": kind, **({"constraints": limits} if limits else {}), **described}


def table_schema(columns: Sequence[ColumnSpec]) -> dict[str, Any]:
    """Table Schema of a CSV file, under our names for its columns, those that are needed first."""
    ordered = sorted(columns, key=lambda spec: not spec.needed)
    return {"fields": [field(spec) for spec in ordered], "missingValues": [""]}


def schemas() -> Mapping[str, dict[str, Any]]:
    """File name -> schema."""
    return {
        "shop.schema.json": toml_schema(Shop, "Settings of a shop (shop.toml)"),
        "plan.schema.json": toml_schema(Plan, "A build plan (builds/NAME.toml)"),
        "prices.tableschema.json": table_schema(specs.PRICES),
        "offers.tableschema.json": table_schema(specs.OFFERS),
        "parts.tableschema.json": table_schema(specs.PARTS),
        "done.tableschema.json": table_schema(specs.DONE),
        "rates.tableschema.json": table_schema(specs.RATES),
    }


def written(schema: Mapping[str, Any]) -> str:
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    PLACE.mkdir(exist_ok=True)
    for name, schema in schemas().items():
        (PLACE / name).write_text(written(schema), encoding="utf-8")
        print(PLACE / name)
