"""Strangers' sheets from `new --prices` to the first `value`, without an edit and with the answers filled in.

The sheets and what each row says are in tests/newcomer/, written from the requirement by others.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from kitvalue.intake.text.tomltext import toml_heading, toml_key, toml_text
from tests.shops import run

NEWCOMER = Path(__file__).parents[1] / "newcomer"
SHEETS = sorted(path.stem for path in NEWCOMER.glob("*.toml"))
SAID = ("series", "pieces", "condition", "price", "asked", "price_kind", "date")
MOST_LINES = 15
TOO_MANY = {"german": {45}}  # a spreadsheet's day in the column of drums


@pytest.fixture(params=SHEETS)
def sheet(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def right_reading(sheet: str) -> dict[str, Any]:
    return tomllib.loads((NEWCOMER / f"{sheet}.toml").read_text(encoding="utf-8"))


def laid_out(place: Path, sheet: str) -> Path:
    ran = run(".", "new", str(place / "shop"), "--prices", str(NEWCOMER / f"{sheet}.csv"))
    assert ran.status == 0, ran.err
    return place / "shop"


def read(shop: Path) -> dict[int, dict[str, Any]]:
    ran = run(shop, "check", "--rows", "--json")
    return {row["row"]: row for row in ran.data["rows"]}


def wrong(shop: Path, rows: dict[int, dict[str, Any]], right: dict[str, Any]) -> list[str]:
    """What rows say otherwise than the sheet does."""
    found = []
    columns = {
        header: name
        for name, header in tomllib.loads((shop / "shop.toml").read_text("utf-8"))["prices"]["columns"].items()
    }
    for expected in right["row"]:
        row = rows.get(expected["row"])
        for name in SAID if row is not None else ():
            if name in expected and str(row[name]).removesuffix(".00").removesuffix(".0") != str(expected[name]):
                found.append(f"row {expected['row']} {name}: {row[name]}, not {expected[name]}")
    for expected in right.get("yes_no", ()):
        said = rows.get(expected["row"], {}).get(columns.get(expected["header"], ""))
        if said is not None and said != expected["value"]:
            found.append(f"row {expected['row']} {expected['header']}: {said}")
    return found


def answered(shop: Path, right: dict[str, Any]) -> int:
    """Write the answers into shop.toml, a line each that does not say the same already; how many there were."""
    path = shop / "shop.toml"
    text, written = path.read_text(encoding="utf-8"), 0
    for answer in right.get("answer", ()):
        *table, key = (*answer["table"].split("."), answer["line"])
        values: Any = tomllib.loads(text, parse_float=Decimal)
        for name in table:
            values = values.get(name, {})
        has, wanted = values.get(key), answer["value"]
        if has == wanted or (isinstance(wanted, list) and set(wanted) <= set(has or ())):
            continue
        written += 1
        heading = toml_heading(*table)
        at = next((n for n, line in enumerate(text.split("\n")) if line.split("  #")[0].strip() == heading), None)
        lines = text.split("\n")
        if at is None:
            lines, at = [*lines, heading], len(lines)
        end = next((n for n in range(at + 1, len(lines)) if lines[n].startswith("[")), len(lines))
        every = [*(has or []), *wanted] if isinstance(wanted, list) else wanted
        right_side = (
            f"[{', '.join(map(toml_text, every))}]"
            if isinstance(every, list)
            else (str(every).lower() if isinstance(every, bool) else toml_text(str(every)))
        )
        new = f"{toml_key(key)} = {right_side}"
        place = next((n for n in range(at + 1, end) if key in tomllib.loads(_plain(lines[n]))), None)
        lines[place if place is not None else at + 1 : (place if place is not None else at) + 1] = [new]
        text = "\n".join(lines)
    path.write_text(text, encoding="utf-8")
    return written


def _plain(line: str) -> str:
    return "" if line.startswith(("#", "[")) else line


def test_most_good_rows_count_without_an_edit(tmp_path: Path, sheet: str) -> None:
    right, shop = right_reading(sheet), laid_out(tmp_path, sheet)
    rows = read(shop)
    good = {row["row"] for row in right["row"]}
    assert wrong(shop, rows, right) == []
    assert set(rows) - TOO_MANY.get(sheet, set()) <= good
    assert len(rows) >= 0.8 * right["good"], sorted(good - set(rows))


def test_with_the_answers_filled_in_nearly_all_count(tmp_path: Path, sheet: str) -> None:
    right, shop = right_reading(sheet), laid_out(tmp_path, sheet)
    lines = answered(shop, right)
    rows = read(shop)
    good = {row["row"] for row in right["row"]}
    assert wrong(shop, rows, right) == []
    assert set(rows) - TOO_MANY.get(sheet, set()) <= good
    assert len(rows) >= 0.95 * right["good"], sorted(good - set(rows))
    assert lines <= MOST_LINES


def test_the_first_value_needs_no_editor(tmp_path: Path, sheet: str) -> None:
    shop = laid_out(tmp_path, sheet)
    ran = run(shop, "value", "--series", "Burren", "--pieces", "4", "--condition", "3", "--json")
    assert ran.status == 0, ran.err
    assert 200 < ran.data["buy_in"]["typical"] < 700
