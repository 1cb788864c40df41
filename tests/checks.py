"""The published check values in shared/, for tests."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path
from typing import Any

SHARED = Path(__file__).parent.parent / "shared"
CHECKS = SHARED / "checks"


def check_rows(name: str, prefix: str = "") -> list[dict[str, str]]:
    """The rows of a table of checks whose id begins with `prefix`; never empty."""
    with (CHECKS / name).open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["id"].startswith(prefix)]
    assert rows, f"no check in {name} begins with {prefix!r}"
    return rows


def check(name: str, row_id: str) -> dict[str, str]:
    """One row of a table of checks by its id."""
    return next(row for row in check_rows(name) if row["id"] == row_id)


def check_toml(name: str) -> dict[str, Any]:
    return tomllib.loads((CHECKS / name).read_text(encoding="utf-8"))
