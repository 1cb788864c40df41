"""Every value that tests are held against names its source and says whether it was read."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHECKS = Path(__file__).resolve().parents[1] / "shared" / "checks"
WORDS = ("read", "from memory", "computed")
TABLES = sorted(CHECKS.glob("*.csv"))
WORKED_HERE = CHECKS / "worked_case.toml"  # reckoned by hand for this program
VALUES = sorted(set(CHECKS.rglob("*.toml")) - {WORKED_HERE})


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def says_where_it_is_from(entry: dict[str, Any]) -> bool:
    """A source, and one of the words, alone or before a semicolon with the rest of the story."""
    word = entry.get("read_or_memory")
    return bool(entry.get("source")) and isinstance(word, str) and word.split(";")[0].strip() in WORDS


def unsourced(entry: dict[str, Any], place: str) -> Iterator[str]:
    """The places of values that neither they nor a table around them give a source."""
    if says_where_it_is_from(entry):
        return
    for key, value in entry.items():
        for inner in value if isinstance(value, list) else [value]:
            yield from unsourced(inner, f"{place}.{key}") if isinstance(inner, dict) else [f"{place}.{key}"]


def test_there_are_values() -> None:
    assert {path.stem for path in TABLES} >= {"units", "vat_en16931_examples", "cvp_break_even", "mixed_models"}
    assert CHECKS / "nist" / "certified.toml" in VALUES
    assert CHECKS / "vat_margin.toml" in VALUES


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_every_row_has_a_source_and_a_word(path: Path) -> None:
    rows = rows_of(path)
    assert len(rows) >= 3
    assert [row["id"] for row in rows if not says_where_it_is_from(row)] == []


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_every_row_has_its_own_id_a_number_and_a_tolerance(path: Path) -> None:
    rows = rows_of(path)
    assert len({row["id"] for row in rows}) == len(rows)
    for row in rows:
        assert None not in row, f"{row['id']} has more cells than the header"
        assert row["quantity"]
        float(row["expected"])
        assert float(row["tolerance"]) >= 0


@pytest.mark.parametrize("path", VALUES, ids=lambda path: path.stem)
def test_every_table_has_a_source_and_a_word(path: Path) -> None:
    assert list(unsourced(tomllib.loads(path.read_text(encoding="utf-8")), path.stem)) == []


def test_the_case_worked_by_hand_says_that_no_source_stands_behind_it() -> None:
    assert "no outside source" in WORKED_HERE.read_text(encoding="utf-8").split("[", 1)[0]


@pytest.mark.parametrize("entry", [{"source": "a book"}, {"source": "", "read_or_memory": "read"}, {"a": {"b": 1}}])
def test_a_value_without_its_origin_is_found(entry: dict[str, Any]) -> None:
    assert list(unsourced(entry, "there"))


def test_nist_data_have_their_certified_number_of_rows() -> None:
    certified = tomllib.loads((CHECKS / "nist" / "certified.toml").read_text(encoding="utf-8"))
    assert len(certified) == 11
    for name, values in certified.items():
        assert len(rows_of(CHECKS / "nist" / f"{name}.csv")) == values["n"]
        assert ("relative_tolerance" in values) != values.get("refused", False)
