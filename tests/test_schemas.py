"""The schemas in shared/schemas are the program's own: made anew they are the same, and the shipped files fit them."""

from __future__ import annotations

import csv
import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from kitvalue.intake.books.specs import PRICES
from kitvalue.intake.tables.specification import wanted
from kitvalue.intake.text.vocabulary import OPTIONAL, REQUIRED
from tests.shops import SAMPLE
from tests.tooling.make_schemas import PLACE, schemas, written

STARTER = SAMPLE.parent / "kitvalue" / "starter"
SETTINGS = [SAMPLE / "shop.toml", STARTER / "shop.toml"]
PLANS = [*SAMPLE.glob("builds/*.toml"), *STARTER.glob("builds/*.toml")]
KNOWN = {
    "$schema", "$defs", "$ref", "title", "type", "properties", "additionalProperties", "required", "items", "enum",
    "const",
    "anyOf", "default", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum", "multipleOf", "minItems",
    "pattern",
}  # fmt: skip
TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,), "array": (list,), "string": (str,), "boolean": (bool,), "integer": (int,),
    "number": (int, float),
}  # fmt: skip


def schema(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((PLACE / name).read_text(encoding="utf-8"))
    return found


def fits(value: Any, rule: Any, whole: dict[str, Any]) -> bool:
    """Does a value fit a schema? The part of JSON Schema that ours use (draft 2020-12, from memory)."""
    if isinstance(rule, bool):
        return rule
    assert set(rule) <= KNOWN, set(rule) - KNOWN
    if "$ref" in rule:
        return fits(value, whole["$defs"][rule["$ref"].rpartition("/")[2]], whole)
    if "anyOf" in rule:
        return any(fits(value, one, whole) for one in rule["anyOf"])
    kind = rule.get("type")
    right = kind is None or (isinstance(value, TYPES[kind]) and (kind == "boolean" or not isinstance(value, bool)))
    if not right or value not in rule.get("enum", [value]) or value != rule.get("const", value):
        return False
    if isinstance(value, dict):
        own = rule.get("properties", {})
        rest = rule.get("additionalProperties", True)
        return set(rule.get("required", ())) <= set(value) and all(
            fits(v, own.get(k, rest), whole) for k, v in value.items()
        )
    if isinstance(value, list):
        return len(value) >= rule.get("minItems", 0) and all(fits(one, rule.get("items", True), whole) for one in value)
    return isinstance(value, str) or _within(value, rule)


def _within(value: float, rule: dict[str, Any]) -> bool:
    return (
        rule.get("minimum", value) <= value <= rule.get("maximum", value)
        and value > rule.get("exclusiveMinimum", value - 1)
        and value < rule.get("exclusiveMaximum", value + 1)
        and value % rule.get("multipleOf", 0.5 if value % 0.5 == 0 else value or 1) == 0
    )


def test_made_anew_they_are_the_same() -> None:
    made = schemas()
    assert {path.name for path in PLACE.glob("*.json")} == set(made)
    for name, one in made.items():
        assert (PLACE / name).read_text(encoding="utf-8") == written(one), "run tests/tooling/make_schemas.py"


@pytest.mark.parametrize("path", [*SETTINGS, *PLANS], ids=lambda path: f"{path.parent.name}/{path.name}")
def test_the_shipped_files_fit(path: Path) -> None:
    rule = schema("shop.schema.json" if path in SETTINGS else "plan.schema.json")
    assert fits(tomllib.loads(path.read_text(encoding="utf-8")), rule, rule)


SOUND = '[shop]\nname = "x"\ncurrency = "EUR"\n'


@pytest.mark.parametrize(
    "slip",
    [
        '[shop]\nname = "x"\n',
        '[shop]\nname = "x"\ncurrency = 1\n',
        SOUND + "colour = 1\n",
        SOUND + '[prices]\nhaggle = "10"\n',
        SOUND + "[prices]\nhaggle = 100\n",
        SOUND + '[files]\ndecimal = ":"\n',
        SOUND + "[shops]\n",
    ],
)
def test_slips_do_not_fit(slip: str) -> None:
    rule = schema("shop.schema.json")
    assert fits(tomllib.loads(SOUND), rule, rule)
    assert not fits(tomllib.loads(slip), rule, rule)


def test_the_settings_know_the_columns_of_the_price_book() -> None:
    assert wanted(PRICES).required == REQUIRED
    assert set(wanted(PRICES).optional) == set(OPTIONAL)


@pytest.mark.parametrize("name", ["prices", "offers"])
def test_the_tables_name_the_files_columns(name: str) -> None:
    fields = {field["name"]: field for field in schema(f"{name}.tableschema.json")["fields"]}
    for place in (SAMPLE, STARTER):
        with (place / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
            text = file.read()
        header = next(csv.reader([text.splitlines()[0]], delimiter=";" if ";" in text else ","))
        assert {key for key in header if key in fields} >= {
            k for k, f in fields.items() if f.get("constraints", {}).get("required")
        }
    assert all(field["type"] in ("string", "number", "integer", "date") for field in fields.values())
