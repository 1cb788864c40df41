"""parts.csv: what single parts fetch."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.books.offers import Part, read_parts
from kitvalue.intake.tables.specification import FileReading
from kitvalue.intake.text.drums import drum_meant
from kitvalue.intake.text.sizes import Size
from tests.intake.shops import SETTINGS, shop_in

HEADER = "part;value;chance;weeks"


def read(folder: Path, *rows: str, header: str = HEADER) -> FileReading[Part]:
    shop = shop_in(folder, SETTINGS)
    (folder / "parts.csv").write_text("\n".join([header, *rows, ""]), encoding="utf-8")
    return read_parts(folder / "parts.csv", shop)


def test_sound_parts(tmp_path: Path) -> None:
    reading = read(tmp_path, "22x16;95,00;80 %;8", "13 inch rack;60;85;5,5", "drum;20 EUR;50;0", "bass hoops;30;70;4")
    assert reading.problems == ()
    assert [(p.part, p.value, p.chance, p.weeks) for p in reading.rows] == [
        ("22x16", 95, Decimal("0.8"), 8), ("13 inch rack", 60, Decimal("0.85"), Decimal("5.5")),
        ("drum", 20, Decimal("0.5"), 0), ("bass hoops", 30, Decimal("0.7"), 4),
    ]  # fmt: skip
    assert [p.drum is not None for p in reading.rows] == [True, True, True, False]
    assert (reading.counts.read, reading.counts.used) == (4, 4)


def test_the_most_exact_row_means_a_drum(tmp_path: Path) -> None:
    exact, wide, any_drum, hoops = read(tmp_path, "13x9;70;80;5", "13 inch;60;80;5", "drum;20;50;5", "hoops;9;9;9").rows
    size = Size(Decimal(13), Decimal(9))
    assert [p.fits(size) for p in (exact, wide, any_drum, hoops)] == [3, 2, 1, 0]
    assert [p.fits(Size(Decimal(13), Decimal(11))) for p in (exact, wide, any_drum, hoops)] == [0, 2, 1, 0]
    assert [p.fits(Size(Decimal(16), Decimal(16))) for p in (exact, wide, any_drum, hoops)] == [0, 0, 1, 0]


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        ("22x16;;80;8", "value", "empty"),
        (";95;80;8", "part", "empty"),
        ("22x16;0;80;8", "value", "not_positive"),
        ("22x16;95 CHF;80;8", "value", "currency"),
        ("22x16;95;120;8", "chance", "range"),
        ("22x16;95;often;8", "chance", "word"),
        ("22x16;95;0,8;8", "chance", "fraction"),
        ("22x16;95;80;600", "weeks", "range"),
        ("22x16;80-95;80;8", "value", "range"),
    ],
)
def test_refused_rows_leave_the_others(tmp_path: Path, row: str, column: str, code: str) -> None:
    reading = read(tmp_path, row, "drum;20;50;5")
    (problem,) = reading.problems
    assert (problem.file, problem.row, problem.column) == ("parts.csv", 2, column)
    assert problem.code == code, problem
    assert [part.part for part in reading.rows] == ["drum"]


def test_a_part_named_twice_is_refused_the_second_time(tmp_path: Path) -> None:
    reading = read(tmp_path, "22x16;95;80;8", " 22X16 ;90;80;8")
    assert [p.code for p in reading.problems] == ["part_twice"]
    assert "row 2 already" in reading.problems[0].message
    assert len(reading.rows) == 1


def test_a_column_of_fractions_is_taken_and_told(tmp_path: Path) -> None:
    reading = read(tmp_path, "22x16;95;0,8;8", "drum;20;1;5")
    assert [part.chance for part in reading.rows] == [Decimal("0.8"), 1]
    assert [(p.code, p.level.value) for p in reading.problems] == [("fractions", "warning")]


def test_a_file_without_a_column_is_refused_whole(tmp_path: Path) -> None:
    reading = read(tmp_path, "22x16;95;8", header="part;value;weeks")
    assert reading.rows == ()
    assert "chance" in reading.problems[0].message


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("22x16", (22, 16)), ("16 x 14 floor tom", (16, 14)), ('14x6.5" snare', (14, Decimal("6.5"))),
        ("14", (14, None)),
        ('16" floor', (16, None)), ("bass drum 22", (22, None)), ("Drum", (None, None)), ("shell", (None, None)),
    ],
)  # fmt: skip
def test_names_of_drums(name: str, meant: tuple[object, object]) -> None:
    found = drum_meant(name, "diameter-depth")
    assert found is not None
    assert (found.diameter, found.depth) == meant


@pytest.mark.parametrize("name", ["bass hoops", "22x16 head", "legs 16 inch", "badge", "rack", "16 14 drums"])
def test_names_of_other_parts(name: str) -> None:
    assert drum_meant(name, "diameter-depth") is None


@given(st.text(max_size=40))
def test_any_name_is_read_or_not_without_an_error(name: str) -> None:
    drum_meant(name, "depth-diameter")


def test_a_header_alone_is_a_file_without_parts(tmp_path: Path) -> None:
    path = tmp_path / "parts.csv"
    path.write_text("part,value,chance,weeks\n\n", encoding="utf-8")
    reading = read_parts(path, shop_in(tmp_path))
    assert (reading.rows, reading.problems, reading.counts.read, reading.counts.refused) == ((), (), 0, 0)
