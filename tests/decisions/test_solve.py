"""The solvers: on published break-even examples, on functions with none, one and two roots."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.decisions.unknowns import nearest_root
from tests.checks import check_rows

TINY = Decimal("1e-12")
DOUBLED = [Decimal(0), *(Decimal(2**n) for n in range(40))]


def cut(low: int, high: int, cells: int) -> list[Decimal]:
    """The edges of equal parts of a range."""
    return [*(low + Decimal(high - low) / cells * i for i in range(cells)), Decimal(high)]


def units_for(row: dict[str, str]) -> Decimal:
    """Units at which a trade makes the row's profit, by the solver of the unknowns."""
    price, variable, fixed = (Decimal(row[key]) for key in ("price", "variable_cost", "fixed_cost"))
    wanted = Decimal(row["profit"] or 0)
    units = nearest_root(lambda q: (price - variable) * q - fixed - wanted, DOUBLED, Decimal(0))
    assert units is not None
    return units


def answer(row: dict[str, str]) -> Decimal:
    price, variable, fixed = (Decimal(row[key]) for key in ("price", "variable_cost", "fixed_cost"))
    match row["quantity"].split(" ")[0], row["quantity"].split(" ")[-1]:
        case "contribution", _:
            return price - variable
        case "profit", _:
            return (price - variable) * Decimal(row["units"]) - fixed
        case _, "sales":
            return units_for(row) * price
    return units_for(row)


# Accounting textbooks and a calculator's manual: the source stands beside each row, read unless it says otherwise.
@pytest.mark.parametrize("row", check_rows("cvp_break_even.csv"), ids=lambda row: row["id"])
def test_published_break_evens(row: dict[str, str]) -> None:
    found = answer(row)
    if "whole units" in row["quantity"]:
        found = found.to_integral_value(rounding=ROUND_CEILING)
    assert abs(found - Decimal(row["expected"])) <= Decimal(row["tolerance"]) + TINY


roots = st.decimals(min_value="0.01", max_value=100_000, places=4)


@given(roots, st.decimals(min_value="0.001", max_value=1000, places=3), st.sampled_from([1, -1]))
def test_the_root_above_is_found_whichever_way_the_function_runs(root: Decimal, slope: Decimal, sign: int) -> None:
    found = nearest_root(lambda x: sign * slope * (x - root), DOUBLED, Decimal(0))
    assert found is not None
    assert abs(found - root) < Decimal("1e-9")


def test_no_root_is_an_answer() -> None:
    assert nearest_root(lambda x: x + 1, DOUBLED, Decimal(0)) is None
    assert nearest_root(lambda x: max(Decimal(3), 5 - x), DOUBLED, Decimal(0)) is None
    assert nearest_root(lambda x: x * x + 1, cut(-1, 1, 10), Decimal(0)) is None


def test_a_root_on_the_edge_counts() -> None:
    assert nearest_root(lambda x: x, DOUBLED, Decimal(0)) == 0
    assert nearest_root(lambda x: x - 2, cut(1, 2, 1), Decimal(1)) == 2
    assert nearest_root(lambda x: x - 1, cut(1, 5, 8), Decimal(3)) == 1


@pytest.mark.parametrize("unit", ["0.5", "1", "-1", "2"])
def test_the_unit_a_function_is_told_in_does_not_move_its_root(unit: str) -> None:
    """1 - 2 x, times a unit, is that unit itself at one edge and the same below 0 at the other."""
    assert nearest_root(lambda x: Decimal(unit) * (1 - 2 * x), cut(0, 1, 1), Decimal(0)) == Decimal("0.5")


def test_of_two_roots_the_nearest_to_the_plan_is_told() -> None:
    def function(x: Decimal) -> Decimal:
        return (x - Decimal("1.3")) * (x - Decimal("4.4"))

    for near, root in ((Decimal(2), "1.3"), (Decimal(4), "4.4")):
        found = nearest_root(function, cut(1, 5, 80), near)
        assert found is not None
        assert abs(found - Decimal(root)) < TINY


def test_a_root_in_the_last_part_is_found() -> None:
    found = nearest_root(lambda x: x - Decimal("4.97"), cut(1, 5, 80), Decimal(2))
    assert found is not None
    assert abs(found - Decimal("4.97")) < TINY


@given(st.decimals(min_value="1.01", max_value="4.99", places=2), st.integers(1, 60))
def test_the_root_lies_in_whichever_part_it_lies(root: Decimal, cells: int) -> None:
    found = nearest_root(lambda x: root - x, cut(1, 5, cells), Decimal(3))
    assert found is not None
    assert abs(found - root) < TINY
