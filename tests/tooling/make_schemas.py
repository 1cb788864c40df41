"""Schemas for editors and other tools, made from the program's own models and columns: writes shared/schemas/.

    python tests/tooling/make_schemas.py

shop.toml and build plans as JSON Schema (draft 2020-12), the CSV files as Table Schema (Frictionless Data, version 1).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from kitvalue.intake.books import bookrows as rates
from kitvalue.intake.books import done, offers, parts
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.vocabulary import CHANNELS, GRADES, OPTIONAL, PRICE_KINDS, REQUIRED

PLACE = Path(__file__).resolve().parents[2] / "shared" / "schemas"
LIMITS = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum"}
GRADE = {"anyOf": [{"type": "number", "minimum": 1, "maximum": 5, "multipleOf": 0.5}, {"enum": list(GRADES)}]}
GRADES_SAID = f"a bench grade: 1 to 5 in halves, {', '.join(GRADES)}, or a word that shop.toml maps"

Field = dict[str, Any]
NUMBER: Field = {"type": "number"}
MONEY: Field = {"type": "number", "constraints": {"minimum": 0}}
PERCENT: Field = {"type": "number", "constraints": {"minimum": 0, "maximum": 99.99}}
FIELDS: dict[str, Field] = {
    "series": {"type": "string"},
    "pieces": {"type": "integer", "constraints": {"minimum": 1}, "description": "drums, no cymbals or stands"},
    "condition": {"type": "string", "description": GRADES_SAID},
    "price": {"type": "number", "constraints": {"minimum": 0.01}},
    "date": {"type": "date"},
    "price_kind": {
        "type": "string",
        "constraints": {"enum": list(PRICE_KINDS)},
        "description": "blank counts as asked",
    },
    "channel": {"type": "string", "constraints": {"enum": list(CHANNELS)}, "description": "blank counts as private"},
    "premium": PERCENT | {"description": "percent on a hammer price"},
    "currency": {"type": "string", "description": "ISO 4217; blank counts as the shop's"},
    "freight": MONEY | {"description": "blank is unknown, 0 is free"},
    "ref": {"type": "string", "description": "the listing's own number or address; of its rows only the latest counts"},
    "note": {"type": "string"},
    "weight": {"type": "number", "constraints": {"minimum": 0}, "description": "precision weight; blank counts as 1"},
    "offer": {"type": "string", "constraints": {"unique": True}},
    "sizes": {"type": "string", "description": 'in the shop\'s order, such as "22x16 16x16 13x11 12x10"'},
    "bought_from": {"type": "string", "constraints": {"enum": ["private", "trade", "import"]}},
    "haggle": {"type": "string", "description": 'percent, or "fixed"'},
    "rate": {"type": "number", "constraints": {"minimum": 0}, "description": "what one unit of the currency costs"},
    "part": {"type": "string"},
    "value": MONEY | {"description": "what the part fetches, gross"},
    "chance": {"type": "number", "constraints": {"minimum": 0, "maximum": 100}, "description": "percent that it sells"},
    "weeks": {"type": "number", "constraints": {"minimum": 0}, "description": "until it is sold"},
    "plan": {"type": "string", "description": "a plan's name in builds/"},
    "finished_on": {"type": "date"},
    "hours": {"type": "string", "description": "of all work, such as 5.5 or 5:30; hours_OPERATION for one operation"},
    "cost": MONEY | {"description": "paid out, net, without the shop's own hours"},
    "sold_on": {"type": "date"},
    "sold_for": MONEY | {"description": "gross, without freight"},
}


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


OF_PRICES: dict[str, Field] = {  # which of the two may be blank hangs on the other, which a Table Schema cannot say
    "price": {**FIELDS["price"], "description": "what was asked or paid; blank only where sold_for is filled in"},
    "sold_for": {**FIELDS["price"], "description": "what it went for; blank if unsold or unknown"},
}
OF_OFFERS: dict[str, Field] = {
    "finished": {"type": "string", "description": f"{GRADES_SAID}, that it will be sold in; blank is as it stands"},
    "hours": {
        "type": "string",
        "description": "of the bench to restore it, such as 6 or 5:30, on top of prepare",
    },
    "parts": {"type": "string", "description": "what is bought to restore it, net of the VAT that is deducted"},
}


def table_schema(
    required: tuple[str, ...], optional: tuple[str, ...], own: Mapping[str, Field] | None = None
) -> dict[str, Any]:
    """Table Schema of a CSV file, under our names for its columns. `own`: fields that are this file's alone."""
    fields = []
    for name in (*required, *optional):
        field = {"name": name, **((own or {}).get(name) or FIELDS[name])}
        if name in required and name not in (own or {}):
            field["constraints"] = {"required": True, **field.get("constraints", {})}
        fields.append(field)
    return {"fields": fields, "missingValues": [""]}


def schemas() -> Mapping[str, dict[str, Any]]:
    """File name -> schema."""
    return {
        "shop.schema.json": toml_schema(Shop, "Settings of a shop (shop.toml)"),
        "plan.schema.json": toml_schema(Plan, "A build plan (builds/NAME.toml)"),
        "prices.tableschema.json": table_schema(REQUIRED, OPTIONAL, OF_PRICES),
        "offers.tableschema.json": table_schema(offers.WANTED.required, offers.WANTED.optional, OF_OFFERS),
        "parts.tableschema.json": table_schema(parts.WANTED.required, parts.WANTED.optional),
        "done.tableschema.json": table_schema(done.REQUIRED, done.OPTIONAL),
        "rates.tableschema.json": table_schema(rates.WANTED.required, rates.WANTED.optional),
    }


def written(schema: Mapping[str, Any]) -> str:
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    PLACE.mkdir(exist_ok=True)
    for name, schema in schemas().items():
        (PLACE / name).write_text(written(schema), encoding="utf-8")
        print(PLACE / name)
