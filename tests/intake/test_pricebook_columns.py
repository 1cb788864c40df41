"""prices.csv: what only whole columns show, rows that tell of one kit twice, and declared features."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from tests.intake.shops import SETTINGS, kit, read_rows, refused, warned, whole_file

FEATURED = (
    SETTINGS
    + """
[prices.features]
hardware = "yes-no"
holes = "number"
colour = "word"

[prices.words.hardware]
mit = "yes"
"""
)
FEATURE_HEADER = "series;pieces;condition;price;hardware;holes;colour"


# ---- what only the column shows ------------------------------------------------------------------------------------


def test_a_column_proves_what_a_cell_leaves_open(tmp_path: Path) -> None:
    assert [row.price for row in read_rows(tmp_path, kit("1.250"), kit("480,00"), kit("2.100")).rows_as_read] == [
        1250,
        480,
        2100,
    ]
    assert [row.price for row in read_rows(tmp_path, kit("1,250"), kit("480.00")).rows_as_read] == [1250, 480]


@pytest.mark.parametrize(("text", "sign"), [("1.250", ","), ("1,250", ".")])
def test_an_undecidable_sign_refuses_the_file_until_it_is_set(tmp_path: Path, text: str, sign: str) -> None:
    problem = whole_file(read_rows(tmp_path, kit("980"), kit(text)))
    assert (problem.row, problem.column, problem.text) == (3, "price", text)
    for word in ("1250", "1.25", "decimal", "[files]"):
        assert word in problem.message
    settings = SETTINGS + f'\n[files]\ndecimal = "{sign}"\n'
    assert [row.price for row in read_rows(tmp_path, kit("980"), kit(text), settings=settings).rows_as_read] == [
        980,
        1250,
    ]


def test_mixed_styles_are_read_as_written_and_said(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit("480,00"), kit("480.50"), kit("1.250,00"))
    assert [row.price for row in reading.rows_as_read] == [480, Decimal("480.50"), 1250]
    (warning,) = warned(reading, "mixed_styles")
    assert "row 3" in warning.message
    (problem,) = refused(read_rows(tmp_path, kit("480,00"), kit("480.50"), kit("1.250")))
    assert (problem.row, problem.code) == (4, "two_readings")
    assert "1250" in problem.message
    assert "1.25" in problem.message


def test_a_totals_row_decides_nothing(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit("480"), kit("612"), "Summe;;;;1.092;;;;;")
    assert reading.counts.used == 2
    (problem,) = refused(reading)
    assert (problem.row, problem.column, problem.text) == (4, "date", "Summe")


@pytest.mark.parametrize(
    ("row", "column"),
    [("Total:;;13;;1442;;;;;", "date"), (";Gesamt;;;1442;;;;;", "series"), (";;;;480,83;;;;;average", "series"),
     (";;;;Ø 480;;;;;", "price"), (";;;;;;;;;a remark only", "series"),
     ("TOTAL;40 kits;;;24,910.00;;;;;", "date")],
)  # fmt: skip
def test_rows_that_are_no_kit(tmp_path: Path, row: str, column: str) -> None:
    (problem,) = refused(read_rows(tmp_path, kit(), row))
    assert (problem.row, problem.column, problem.code) == (3, column, "totals_row")


def test_slash_dates_need_the_setting_where_both_orders_give_a_day(tmp_path: Path) -> None:
    problem = whole_file(read_rows(tmp_path, kit(date="4/3/23"), kit("1", date="5/6/23")))
    assert (problem.row, problem.text) == (2, "4/3/23")
    assert "day_first" in problem.message
    (one,) = refused(read_rows(tmp_path, kit(date="4/3/23"), kit("490", date="13/4/23"), kit("500", date="2023-04-03")))
    assert (one.row, one.code) == (2, "two_dates")
    for day_first, month in (("true", 3), ("false", 4)):
        settings = SETTINGS + f"\n[files]\nday_first = {day_first}\n"
        reading = read_rows(tmp_path, kit(date="4/3/23"), kit("490", date="2023-05-11"), settings=settings)
        assert [row.date and row.date.month for row in reading.rows_as_read] == [month, 5]


# ---- repeats -------------------------------------------------------------------------------------------------------


def test_a_row_that_repeats_another_is_set_aside(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit(note="red"), kit(note=" red"), kit(note="blue"), kit("470", note="red"))
    assert [row.row for row in reading.rows_as_read] == [2, 4, 5]
    (warning,) = warned(reading, "repeated_row")
    assert warning.row == 3
    assert "row 2" in warning.message
    assert (reading.counts.set_aside, reading.counts.refused) == (1, 0)


def test_of_one_listing_only_the_latest_row_counts(tmp_path: Path) -> None:
    header = "date;series;pieces;condition;price;ref"
    rows = ["2024-05-01;Burren;4;good;450;A1", "2024-04-01;Burren;4;good;520;A1", ";Burren;4;good;510;A1",
            "2024-04-01;Burren;4;good;400;-", "2024-04-02;Burren;4;good;410;-", "2024-04-01;Burren;4;good;300;B2",
            "2024-04-02;Slane;4;good;310;B2", "2024-04-02;Slane;4;good;330;C3"]  # fmt: skip
    reading = read_rows(tmp_path, *rows, header=header)
    assert [row.row for row in reading.rows_as_read] == [2, 5, 6, 9]
    assert [p.row for p in warned(reading, "relisted")] == [3, 4]
    assert [(p.row, p.code) for p in refused(reading)] == [(7, "ref_clash"), (8, "ref_clash")]
    counts = reading.counts
    assert (counts.read, counts.used, counts.refused, counts.set_aside) == (8, 4, 2, 2)


def test_spelling_neighbours_are_warned_of_and_not_merged(tmp_path: Path) -> None:
    settings = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'
    header = "series;pieces;condition;price"
    rows = [
        "Burren;4;4;480",
        "burren ;4;4;490",
        "Buren;4;4;500",
        "Corrib Burren;4;4;510",
        "Slane 2;4;4;400",
        "Slane 3;4;4;410",
    ]
    reading = read_rows(tmp_path, *rows, header=header, settings=settings)
    assert reading.book is not None
    assert reading.book.series_names == ("Burren", "Buren", "Corrib Burren", "Slane 2", "Slane 3")
    assert [(p.text, p.row) for p in warned(reading, "series_spelling")] == [("Buren", 4), ("Corrib Burren", 5)]


# ---- features ------------------------------------------------------------------------------------------------------


def test_features_of_every_kind(tmp_path: Path) -> None:
    rows = [
        "Burren;4;good;480;yes;2;Red",
        "Burren;4;good;490;MIT;0,5;red",
        "Burren;4;good;500;nein;0;blue",
        "Burren;4;good;510;;;",
    ]
    reading = read_rows(tmp_path, *rows, header=FEATURE_HEADER, settings=FEATURED)
    assert reading.book is not None
    hardware, holes, colour = reading.book.features
    assert hardware.values[:3].tolist() == [1.0, 1.0, 0.0]
    assert holes.values[:3].tolist() == [2.0, 0.5, 0.0]
    assert (colour.words, colour.values[:3].tolist()) == (("Red", "blue"), [0.0, 0.0, 1.0])
    assert all(np.isnan(one.values[3]) for one in reading.book.features)
    assert "row 5" in warned(reading, "blank_hardware")[0].message


def test_feature_cells_that_cannot_be_taken(tmp_path: Path) -> None:
    rows = ["Burren;4;good;480;maybe;2;red", "Burren;4;good;490;yes;two;red", "Burren;4;good;500;1;2;#REF!"]
    reading = read_rows(tmp_path, *rows, header=FEATURE_HEADER, settings=FEATURED)
    assert [(p.row, p.column) for p in refused(reading)] == [(2, "hardware"), (3, "holes"), (4, "colour")]


def test_a_declared_feature_without_a_column_is_left_out_and_said(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit(), settings=FEATURED)
    assert reading.book is not None
    assert reading.book.features == ()
    assert [p.text for p in warned(reading, "absent_feature")] == ["hardware", "holes", "colour"]


def test_weights(tmp_path: Path) -> None:
    rows = ["Burren;4;good;480;2,5", "Burren;4;good;490;", "Burren;4;good;500;0"]
    reading = read_rows(tmp_path, *rows, header="series;pieces;condition;price;weight")
    assert reading.book is not None
    assert reading.book.weight.tolist() == [2.5, 1.0]
    assert [p.column for p in refused(reading)] == ["weight"]


def test_a_kit_with_a_word_of_totals_in_it_stays_a_kit(tmp_path: Path) -> None:
    reading = read_rows(tmp_path, kit(note="total mess"), "2024-01-02;Burren;;3;500;sold;forum;;;sum")
    assert [(problem.row, problem.code) for problem in refused(reading)] == [(3, "empty")]
