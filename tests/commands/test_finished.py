"""The outcome book through the command line, and the cost sheet as a CSV file."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest

from tests.shops import run, sample_shop


def test_finished_builds_stand_against_their_plans(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    data = run(shop, "done", "--json").data
    assert [job["plan"] for job in data["jobs"]] == ["inishmore-restored", "seven-piece", "inishmore-restored"]
    sheet = run(shop, "cost", "seven-piece", "--json").data
    job = data["jobs"][1]
    assert job["net_cost"]["planned"] == sheet["net_cost"]
    assert job["hours"]["planned"] == pytest.approx(sheet["hours"])
    assert job["hours"]["actual"] == 35


def test_nothing_is_changed_by_what_was_learned(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    before = {p: p.read_bytes() for p in shop.rglob("*") if p.is_file() and p.parent.name != "out"}
    ran = run(shop, "done")
    assert ran.status == 0
    assert "To paste under [work.hours]" in ran.out
    after = {p: p.read_bytes() for p in shop.rglob("*") if p.is_file() and p.parent.name != "out"}
    assert after == before


def test_without_the_file_one_line_says_what_it_holds(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "done.csv").unlink()
    ran = run(shop, "done")
    assert ran.status == 2
    assert "there is no done.csv" in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_a_job_of_an_unknown_plan_is_refused_by_row(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    with (shop / "done.csv").open("a", encoding="utf-8", newline="") as file:
        file.write("eight-piece;01.10.2026;30;;;;900;;;\r\n")
    ran = run(shop, "done", "--json")
    assert ran.status == 0
    assert len(ran.data["jobs"]) == 3
    assert [(p["file"], p["row"]) for p in ran.data["problems"] if p["level"] == "refused"] == [("done.csv", 5)]


def test_cost_as_csv_holds_every_line_and_adds_up(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    data = run(shop, "cost", "seven-piece", "--csv", "--json").data
    path = shop / "out" / "cost-seven-piece.csv"
    assert data["written"] == [str(path)]
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    rows = list(csv.DictReader(io.StringIO(raw.decode("utf-8-sig"))))
    assert len(rows) == len(data["lines"])
    assert sum(Decimal(row["net"]) for row in rows) == Decimal(str(data["net_cost"]))


def test_a_file_without_builds_says_what_to_write(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "done.csv").write_text("plan;finished_on\n", encoding="utf-8")
    ran = run(shop, "done")
    assert ran.status == 1
    assert ran.err.strip() == "done.csv has no finished build in it yet: write a row for each job (plan, finished_on)"
    assert run(shop, "check").status == 0


def test_a_file_of_which_no_row_can_be_read_says_where_to_look(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "done.csv").write_text("plan;finished_on\nnone;2026-10-01\n", encoding="utf-8")
    ran = run(shop, "done")
    assert ran.status == 1
    assert "done.csv row 2, column plan" in ran.err
    assert ran.err.strip().endswith("the one row of done.csv cannot be read: kitvalue check lists what to mend")


def test_hours_are_told_to_a_hundredth(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    with (shop / "done.csv").open("a", encoding="utf-8", newline="") as file:
        file.write("seven-piece;01.10.2026;33:20;5:20;8:40;4:10;900;;;\r\n")
    job = run(shop, "done", "--json").data["jobs"][-1]
    hours = [job["hours"], *({k: one[k] for k in ("planned", "actual")} for one in job["operations"])]
    assert job["hours"]["actual"] == 33.33
    assert all(value in (None, round(value or 0, 2)) for one in hours for value in (one["planned"], one["actual"]))
