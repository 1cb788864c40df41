"""The faults of this folder, through `check` and `value` in this process: what expected.json says of each row.

Source: tests/intake/faults/FAULTS.md, written from the requirement alone.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.shops import run

FAULTS = Path(__file__).parent / "faults"
EXPECTED: dict[str, dict[str, Any]] = json.loads((FAULTS / "expected.json").read_text(encoding="utf-8"))
BOUNDS = [name for name in EXPECTED if name[:3] in {f"N{n:02}" for n in (*range(1, 15), 23, 24, 26, 28)}]


@pytest.fixture(params=BOUNDS)
def fault(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, dict[str, Any]]:
    shutil.copyfile(FAULTS / f"{request.param}.csv", tmp_path / "prices.csv")
    shutil.copyfile(FAULTS / "shop.toml", tmp_path / "shop.toml")
    return tmp_path, EXPECTED[request.param]


def test_each_row_is_used_refused_or_said_as_expected(fault: tuple[Path, dict[str, Any]]) -> None:
    shop, want = fault
    found = run(shop, "check", "--rows", "--json").data
    rows = {str(row["row"]): row for row in found["rows"]}
    for number, values in want["rows_used"].items():
        assert {key: rows[number].get(key, rows[number].get("features", {}).get(key)) for key in values} == values
    refused = {str(p["row"]): p for p in found["problems"] if p["level"] == "refused"}
    for number, cell in want["rows_refused"].items():
        assert cell["text"] == refused[number]["text"]
        assert cell.get("message", "") in refused[number]["message"]
    assert set(want["warn_rows"]) <= {p["row"] for p in found["problems"] if p["level"] == "warning"}
    counts = next(one for one in found["files"] if one["file"] == "prices.csv")
    assert {key: counts[key] for key in want["counts"]} == want["counts"]


def test_each_question_is_answered_as_expected(fault: tuple[Path, dict[str, Any]]) -> None:
    shop, want = fault
    for asked in want.get("values", ()):
        ran = run(shop, "value", *asked["args"], "--json")
        assert ran.status in asked.get("exit", [0])
        assert all(any(w in c for c in ran.data["cautions"]) for w in asked.get("caution_contains", ()))
        assert all(w in ran.out + ran.err for w in asked.get("message_any", ()))


def test_bounds_of_prices_and_features_are_settings(tmp_path: Path) -> None:
    settings = (FAULTS / "shop.toml").read_text(encoding="utf-8")
    settings = settings.replace("haggle = 10\n", "haggle = 10\nleast = 100\nmost = 600\n")
    settings = settings.replace('holes = "number"', 'holes = { kind = "number", min = -5 }')
    (tmp_path / "shop.toml").write_text(settings, encoding="utf-8")
    rows = "Burren,4,3,99,0\nBurren,4,3,100,-5\nBurren,4,3,600,-6\nBurren,4,3,601,0\n"
    (tmp_path / "prices.csv").write_text(f"series,pieces,condition,price,holes\n{rows}", encoding="utf-8")
    problems = run(tmp_path, "check", "--json").data["problems"]
    assert [(p["row"], p["column"]) for p in problems if p["level"] == "refused"] == [
        (2, "price"), (4, "holes"), (5, "price"),
    ]  # fmt: skip


def test_a_foreign_price_is_bounded_in_the_shops_currency(tmp_path: Path) -> None:
    shutil.copyfile(FAULTS / "shop.toml", tmp_path / "shop.toml")
    (tmp_path / "rates.csv").write_text("date,currency,rate\n2025-01-01,JPY,0.006\n", encoding="utf-8")
    rows = "2025-02-01,Burren,4,3,2000000,JPY\n2025-02-01,Burren,4,3,100,JPY\n"
    (tmp_path / "prices.csv").write_text(f"date,series,pieces,condition,price,currency\n{rows}", encoding="utf-8")
    found = run(tmp_path, "check", "--rows", "--json").data
    assert [row["row"] for row in found["rows"]] == [2]
    assert [p["code"] for p in found["problems"] if p["level"] == "refused"] == ["price_range"]


def test_a_shop_of_small_units_is_laid_out_with_bounds_of_its_own(tmp_path: Path) -> None:
    sheet = tmp_path / "kits.csv"
    rows = "".join(f"Burren,4,{3 + n % 2},{60_000 + 1_000 * n} JPY\n" for n in range(14))
    sheet.write_text(f"series,pieces,condition,price\n{rows}", encoding="utf-8")
    ran = run(tmp_path, "new", str(tmp_path / "shop"), "--prices", str(sheet))
    assert ran.status == 0, ran.err
    settings = (tmp_path / "shop" / "shop.toml").read_text(encoding="utf-8")
    assert "least = 100 " in settings
    assert "most = 100000000\n" in settings
