"""done.csv: what is read, what is refused, and that blanks stay blank."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.books.done import FinishedBuild, OperationHours, read_done
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.tables.specification import FileReading
from kitvalue.intake.text.problems import Level
from tests import TODAY

PLANS = ("seven-piece", "inishmore-restored")
HEAD = "plan;finished_on;hours;hours_edge;hours_head;cost;sold_on;sold_for;note\n"


def shop(**files: object) -> Shop:
    return Shop.model_validate(
        {
            "shop": {"name": "Dock Road Drums", "currency": "EUR"},
            "files": files,
            "work": {"rate": Decimal(40), "hours": {"edge": Decimal("0.5"), "head": Decimal("0.2")}},
        }
    )


def read(place: Path, text: str, **files: object) -> FileReading[FinishedBuild]:
    path = place / "done.csv"
    path.write_text(text, encoding="utf-8")
    return read_done(path, shop(**files), PLANS, TODAY)


def test_a_row_as_a_workshop_writes_it(tmp_path: Path) -> None:
    found = read(
        tmp_path, HEAD + "seven-piece;04.05.2026;33,5;5,2;2,8;1.250,00 EUR;01.06.2026;2.310,-;first of its kind\n"
    )
    assert found.problems == ()
    assert found.rows == (
        FinishedBuild(
            2, "seven-piece", dt.date(2026, 5, 4), Decimal("33.5"),
            (OperationHours("edge", Decimal("5.2")), OperationHours("head", Decimal("2.8"))),
            Decimal("1250.00"), dt.date(2026, 6, 1), Decimal(2310), "first of its kind",
        ),
    )  # fmt: skip
    assert (found.counts.read, found.counts.used, found.counts.refused, found.counts.decimal) == (1, 1, 0, ",")


def test_what_is_blank_is_unknown_and_not_nothing(tmp_path: Path) -> None:
    found = read(tmp_path, HEAD + "Seven-Piece.toml;2026-05-04;;0;;;;;\n")
    (one,) = found.rows
    assert one == FinishedBuild(
        2, "seven-piece", dt.date(2026, 5, 4), None, (OperationHours("edge", Decimal(0)),), None, None, None, None
    )


@pytest.mark.parametrize(("text", "hours"), [("5:30", "5.5"), ("5:30:00", "5.5"), ("0:15", "0.25"), ("12", "12")])
def test_hours_and_minutes(tmp_path: Path, text: str, hours: str) -> None:
    (one,) = read(tmp_path, f"{HEAD}seven-piece;2026-05-04;{text};;;;;;\n").rows
    assert one.hours == Decimal(hours)


def test_two_columns_are_enough(tmp_path: Path) -> None:
    found = read(tmp_path, "plan,finished_on\nseven-piece,2026-05-04\n")
    assert len(found.rows) == 1
    assert found.problems == ()


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("sevn-piece;2026-05-04;;;;;;;", "plan", '"sevn-piece" is no plan in builds/; did you mean seven-piece?'),
        ("eight;2026-05-04;;;;;;;", "plan", "the plans: seven-piece and inishmore-restored"),
        (";2026-05-04;;;;;;;", "plan", "the cell is empty"),
        ("seven-piece;;;;;;;;", "finished_on", "the cell is empty"),
        ("seven-piece;2026-13-04;;;;;;;", "finished_on", '"2026-13-04"'),
        ("seven-piece;2026-05-04;-3;;;;;;", "hours", '"-3" is below 0'),
        ("seven-piece;2026-05-04;;about 5;;;;;", "hours_edge", '"about 5"'),
        ("seven-piece;2026-05-04;;5:72;;;;;", "hours_edge", '"5:72"'),
        ("seven-piece;2026-05-04;;five;;;;;", "hours_edge", '"five" is a word; write hours as a number'),
        ("seven-piece;2026-05-04;;;1e9;;;;", "hours_head", '"1e9"'),
        ("seven-piece;2026-05-04;99999;;;;;;", "hours", "no sensible number of hours"),
        ("seven-piece;2026-05-04;;;;-5;;;", "cost", "must be 0 or more"),
        ("seven-piece;2026-05-04;;;;50 USD;;;", "cost", "is not in EUR"),
        ("seven-piece;2026-05-04;;;;;2026-06-01;0;", "sold_for", "must be above 0"),
        ("seven-piece;2026-05-04;;;;;2026-06-01;;", "sold_on", "has no price beside it"),
        ("seven-piece;2026-05-04;7;5;2,5;;;;", "hours", "is less than the operations of this row together (7.5)"),
    ],
)
def test_a_cell_that_cannot_be_taken_refuses_its_row(tmp_path: Path, row: str, column: str, words: str) -> None:
    found = read(tmp_path, f"{HEAD}seven-piece;2026-04-01;;;;;;;\n{row}\n")
    assert [one.row for one in found.rows] == [2]
    hard = [p for p in found.problems if p.level is Level.REFUSED]
    assert len(hard) == 1, [p.line() for p in hard]
    assert (hard[0].row, hard[0].column) == (3, column)
    assert words in hard[0].message
    assert (found.counts.used, found.counts.refused) == (1, 1)


def test_a_sale_without_its_day_is_used_and_said(tmp_path: Path) -> None:
    found = read(tmp_path, HEAD + "seven-piece;2026-05-04;;;;;;2310;\n")
    (problem,) = found.problems
    assert (problem.level, problem.code, problem.column) == (Level.WARNING, "no_sold_on", "sold_for")
    assert found.rows[0].sold_for == 2310


def test_one_job_written_down_twice_counts_once(tmp_path: Path) -> None:
    row = "seven-piece;2026-05-04;33;;;;;;\n"
    found = read(tmp_path, HEAD + row + "inishmore-restored;2026-05-04;33;;;;;;\n" + row)
    assert [one.row for one in found.rows] == [2, 3]
    (problem,) = found.problems
    assert (problem.row, problem.code) == (4, "row_twice")
    assert "repeats row 2" in problem.message


def test_an_operation_that_the_shop_has_not_is_told(tmp_path: Path) -> None:
    found = read(tmp_path, "plan,finished_on,hours_egde\nseven-piece,2026-05-04,5\n")
    (problem,) = found.problems
    assert problem.level is Level.WARNING
    assert 'the column "hours_egde" is not used; did you mean hours_edge?' in problem.message
    assert found.rows[0].operations == ()


def test_one_column_proves_the_decimal_sign_for_another(tmp_path: Path) -> None:
    both = read(tmp_path, HEAD + "seven-piece;2026-05-04;;;;1.150,00;2026-06-01;2.590;\n")
    assert both.problems == ()
    assert (both.rows[0].cost, both.rows[0].sold_for) == (Decimal("1150.00"), Decimal(2590))
    alone = read(tmp_path, HEAD + "seven-piece;2026-05-04;;;;1150;2026-06-01;2.590;\n")
    assert [p.code for p in alone.problems] == ["undecided_decimal"]
    assert alone.rows == ()
    clash = read(tmp_path, HEAD + "seven-piece;2026-05-04;5.5;;;1.150,00;2026-06-01;2.590;\n")
    assert [p.code for p in clash.problems] == ["undecided_decimal"]


def test_a_file_that_leaves_its_dates_open_is_refused_as_a_whole(tmp_path: Path) -> None:
    text = "plan;finished_on\nseven-piece;03/04/2026\n"
    found = read(tmp_path, text)
    assert found.rows == ()
    assert [p.level for p in found.problems] == [Level.FILE]
    assert "day_first" in found.problems[0].message
    assert read(tmp_path, text, day_first=True).rows[0].finished_on == dt.date(2026, 4, 3)


@pytest.mark.parametrize(
    "text", ["", "plan\nseven-piece\n", "plan,plan,finished_on\n", 'plan,finished_on\n"seven-piece\n']
)
def test_a_file_that_cannot_be_trusted_gives_one_problem(tmp_path: Path, text: str) -> None:
    found = read(tmp_path, text)
    assert found.rows == ()
    assert [p.level for p in found.problems] == [Level.FILE]


def test_no_file_is_one_problem(tmp_path: Path) -> None:
    (problem,) = read_done(tmp_path / "done.csv", shop(), PLANS, TODAY).problems
    assert problem.code == "no_file"


hours = st.decimals(0, 200, places=2)


@given(st.lists(st.tuples(hours, hours, st.decimals(0, 9000, places=2)), min_size=1, max_size=8, unique=True))
def test_what_was_written_is_what_is_read(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[Decimal, ...]]
) -> None:
    place = tmp_path_factory.mktemp("done")
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["plan", "finished_on", "hours_edge", "hours_head", "cost"])
    for edge, head, cost in rows:
        writer.writerow(["seven-piece", "2026-05-04", edge, head, f"{cost:.2f}"])
    found = read(place, out.getvalue(), decimal=".")
    assert found.problems == ()
    read_back = [(*(one.hours for one in build.operations), build.cost) for build in found.rows]
    assert read_back == rows


def test_a_header_alone_is_a_file_without_builds(tmp_path: Path) -> None:
    found = read(tmp_path, "plan;finished_on;hours;sold_on\n")
    assert (found.rows, found.problems, found.counts.read, found.counts.refused) == ((), (), 0, 0)
