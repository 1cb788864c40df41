"""The lines of a cost sheet as CSV: what a spreadsheet reads back, and that no text becomes a formula."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.pages.files import COSTS, cost_csv
from kitvalue.workshop.costing import CostSheet, cost_sheet
from tests import worked


def sheet(**plan: Any) -> CostSheet:
    return cost_sheet(worked.plan(**plan), worked.shop())


def cells(text: str, delimiter: str = ",") -> list[list[str]]:
    assert text.startswith("\ufeff")
    return list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), delimiter=delimiter, strict=True))


def test_every_line_is_a_row_and_they_add_up() -> None:
    made = sheet()
    head, *rows = cells(cost_csv(made))
    assert tuple(head) == COSTS
    assert [row[1] for row in rows] == [line.what for line in made.chosen.lines]
    assert sum(Decimal(row[5]) for row in rows) == worked.expected("full", "net_cost")
    edges = next(row for row in rows if row[1] == "Cut bearing edges")
    assert edges == ["work", "Cut bearing edges", "7", "hour", "42.0000", "294.00", "14 edges at 0.5 h"]
    assert next(row for row in rows if row[1].startswith("Stands"))[5].startswith("-")  # a credit stays a number


def test_a_decimal_comma_goes_with_semicolons() -> None:
    text = cost_csv(sheet(), ",")
    rows = cells(text, ";")
    assert all(len(row) == len(COSTS) for row in rows)
    assert next(row for row in rows if row[1] == "Cut bearing edges")[5] == "294,00"
    assert text.endswith("\r\n")


def test_what_is_not_known_is_blank_and_not_nothing() -> None:
    donors = worked.plan_tables()["donor"]
    rows = cells(cost_csv(sheet(donor=[donors[0] | {"freight": None}, donors[1]])))
    freight = next(row for row in rows if row[1] == "Freight of donor A")
    assert (freight[4], freight[5]) == ("", "")


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_a_text_that_looks_like_a_formula_is_defused(start: str) -> None:
    part = worked.plan_tables()["part"]
    what = f'{start}HYPERLINK("x")'
    rows = cells(cost_csv(sheet(part=[part[0] | {"what": what}, part[1]])))
    assert "'" + what in [row[1] for row in rows]


@settings(max_examples=60)
@given(st.text(min_size=1, max_size=20).filter(lambda text: text.strip() and text.isprintable()))
def test_any_text_comes_back_as_it_was(what: str) -> None:
    part = worked.plan_tables()["part"]
    made = sheet(part=[part[0] | {"what": what}, part[1]])
    for decimal, delimiter in ((".", ","), (",", ";")):
        rows = cells(cost_csv(made, "," if decimal == "," else "."), delimiter)
        found = [row[1] for row in rows]
        assert what in found or "'" + what in found
        assert not any(cell.startswith(("=", "+", "@", "\t", "\r")) for row in rows for cell in row)
