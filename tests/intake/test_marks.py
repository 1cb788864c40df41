"""Conditions by numbers that count the other way round, and cells that say that something is not known."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from kitvalue.intake.books.offers import read_offers
from kitvalue.intake.books.pricebook import PriceReading
from kitvalue.intake.settings.words import grades_by, is_of_ten, is_school_mark
from kitvalue.intake.text.problems import Level
from kitvalue.intake.text.words import says_not_known
from tests.intake.shops import SETTINGS, read_rows, refused, shop_in, warned, whole_file

TURNED = '1 = "wipe"\n2 = "freshen"\n3 = "mend"\n4 = "remake"\n5 = "harvest"\n'
OURS = {"1": "wipe", "2": "freshen", "3": "mend", "4": "remake", "5": "harvest"}
HEADER = "series;pieces;condition;price"


def settings(*words: str) -> str:
    """The usual settings with more words for a condition."""
    heading = "[prices.words.condition]\n"
    return SETTINGS.replace(heading, heading + "".join(f"{line}\n" for line in words))


def marked(folder: Path, *marks: str, rule: str = SETTINGS) -> PriceReading:
    """Rows that differ in their condition, and in their price."""
    rows = [f"Burren;4;{mark};{480 + at}" for at, mark in enumerate(marks)]
    return read_rows(folder, *rows, header=HEADER, settings=rule)


def test_mapped_numbers_are_read_the_other_way_round(tmp_path: Path) -> None:
    rule = settings(*TURNED.splitlines())
    reading = marked(tmp_path, "1", " 2 ", "3,0", "4.0", "5", "٥", "wipe", "good", rule=rule)
    assert [row.condition for row in reading.rows_as_read] == [5, 4, 3, 2, 1, 1, 5, 4]
    path = tmp_path / "offers.csv"
    path.write_text("offer;series;pieces;condition;price\nD1;Burren;4;2;300\nD2;Burren;4;5;300\n", encoding="utf-8")
    assert [offer.condition for offer in read_offers(path, shop_in(tmp_path, rule)).rows] == [4, 1]


def test_a_number_left_out_of_a_turned_scale_is_refused_with_both_meanings(tmp_path: Path) -> None:
    """Of "2.5" beside "2" = "freshen" nothing says whether it is our 2.5 or the sheet's."""
    reading = marked(tmp_path, "2", "2.5", "mend", rule=settings('2 = "freshen"', '"3" = "mend"'))
    assert [row.condition for row in reading.rows_as_read] == [4, 3]
    (problem,) = refused(reading)
    assert (problem.row, problem.code) == (3, "not_a_grade")
    assert "our grade or your own mark" in problem.message
    assert "map it too, under [prices.words.condition]" in problem.message


def test_numbers_mapped_to_themselves_turn_nothing(tmp_path: Path) -> None:
    reading = marked(tmp_path, "5", "2.5", "6", rule=settings('5 = "wipe"', '6 = "harvest"'))
    assert [row.condition for row in reading.rows_as_read] == [5, Decimal("2.5"), 1]


@pytest.mark.parametrize(
    ("mapped", "grade", "written"),
    [
        (OURS, "4", "2"), (OURS, "3", "3"), (OURS, "3.5", None), ({**OURS, "2.5": "3.5"}, "3.5", "2.5"),
        ({"fine": "wipe"}, "3.5", "3.5"), ({}, "4.0", "4"), ({"2": "freshen"}, "5", "wipe"),
        ({"2": "freshen"}, "4", "2"),
    ],
)  # fmt: skip
def test_a_grade_is_written_so_that_it_is_read_back(mapped: dict[str, str], grade: str, written: str | None) -> None:
    grades = grades_by(mapped)
    found = grades.written(Decimal(grade))
    assert found == written
    assert found is None or grades.find(found) == Decimal(grade)


@pytest.mark.parametrize(
    ("mapped", "text", "asked"),
    [(OURS, "2", 2), (OURS, "freshen", 4), (OURS, "2.5", Decimal("2.5")), ({"fine": "wipe"}, "Fine", 5),
     ({"6": "harvest"}, "6", 1), ({}, "fine", None)],
)  # fmt: skip
def test_a_command_line_speaks_our_grades(mapped: dict[str, str], text: str, asked: Decimal | int | None) -> None:
    assert grades_by(mapped).asked(text) == asked


@pytest.mark.parametrize("mark", ["2-", "3+", "1-2", "2 - 3", "2–", "6+"])
def test_a_school_mark(mark: str) -> None:
    assert is_school_mark(mark)


@pytest.mark.parametrize("text", ["2", "10", "3b", "2.5", "4/5", "7+", "good+", "-2", "2-3-4", "-", "", "12-13", "2--"])
def test_no_school_mark(text: str) -> None:
    assert not is_school_mark(text)


def test_school_marks_beside_digits_are_warned_of_once(tmp_path: Path) -> None:
    reading = marked(tmp_path, "2", "2-", "good", "1-2")
    (problem,) = warned(reading, "marks_scale")
    assert (problem.row, problem.column, problem.text) == (None, "condition", "2-")
    assert "5 the best" in problem.message
    assert "rows 3 and 5" in problem.message
    for mark, word in OURS.items():
        assert f'"{mark}" = "{word}"' in problem.message
    assert [one.row for one in refused(reading)] == [3, 5]


@pytest.mark.parametrize("word", ['1 = "wipe"', '"5" = "wipe"', '2 = "2"'])
def test_no_such_warning_once_a_digit_is_mapped(tmp_path: Path, word: str) -> None:
    assert not warned(marked(tmp_path, "2", "2-", rule=settings(word)), "marks_scale")


def test_mapping_the_marks_alone_leaves_the_warning(tmp_path: Path) -> None:
    """The digits are still read the other way round."""
    reading = marked(tmp_path, "2", "2-", rule=settings('"2-" = "3.5"'))
    assert not refused(reading)
    assert warned(reading, "marks_scale")


@pytest.mark.parametrize("marks", [("good", "2-"), ("2", "fair"), ("2.5", "3+")])
def test_no_such_warning_without_both(tmp_path: Path, marks: tuple[str, str]) -> None:
    assert not warned(marked(tmp_path, *marks), "marks_scale")


@pytest.mark.parametrize(
    ("text", "of_ten"),
    [
        ("7", True),
        ("10", True),
        ("8.5", True),
        ("7/10", True),
        ("3/10", True),
        ("6", False),
        ("5", False),
        ("11", False),
    ],
)
def test_a_scale_to_ten(text: str, of_ten: bool) -> None:
    assert is_of_ten(text) == of_ten


def grades(tmp_path: Path, *marks: str, rule: str = "") -> list[float]:
    return [float(row.condition) for row in marked(tmp_path, *marks, rule=rule or settings("")).rows_as_read]


def test_a_column_that_runs_to_ten_is_halved_and_that_is_said_once(tmp_path: Path) -> None:
    """Common practice, no source: three and more numbers over 6 are no slips."""
    reading = marked(tmp_path, "5", "8", "good", "10", "7")
    assert [float(row.condition) for row in reading.rows_as_read] == [2.5, 4.0, 4.0, 5.0, 3.5]
    (problem,) = warned(reading, "halved")
    assert (problem.row, problem.level) == (2, Level.WARNING)
    assert 'out of ten are halved (rows 2, 3, 5 and 6): "5" counts as 2.5' in problem.message
    assert grades(tmp_path, "7/10", "9 / 10", "8 out of 10") == [3.5, 4.5, 4.0]


def test_two_numbers_over_six_may_be_slips_and_school_marks_are_none_of_ten(tmp_path: Path) -> None:
    assert grades(tmp_path, "5", "8", "10") == [5.0]
    assert "school mark" in warned(marked(tmp_path, "5", "8", "7", "9", "2-"), "marks_scale")[0].message
    assert grades(tmp_path, "8", "10", "7", "4", rule=settings('"8" = "4"\n4 = "2"')) == [4.0, 2.0]


def test_marks_of_ten_beside_plain_numbers_are_asked_about(tmp_path: Path) -> None:
    (problem,) = warned(marked(tmp_path, "7/10", "4", "3"), "marks_scale")
    assert "plain numbers are read as our grades" in problem.message
    assert '"7" = "3.5"' in problem.message


NOT_KNOWN = ("?", "??", " ? ", "n/a", "N.A.", "unknown", "Unbekannt", "k.A.", "k. A.", "not known", "weiß nicht")
FEATURES = SETTINGS + '[prices.features]\nhardware = "yes-no"\nholes = "number"\ncolour = "word"\n'
WIDE = "date;series;pieces;condition;price;status;channel;hardware;holes;colour"
OPTIONAL = ("date", "price_kind", "channel", "hardware", "holes", "colour")


@pytest.mark.parametrize("mark", NOT_KNOWN)
def test_what_is_not_known_counts_as_blank(tmp_path: Path, mark: str) -> None:
    assert says_not_known(mark)
    full = "2024-04-03;Burren;4;3;480;sold;dealer;yes;2;red"
    reading = read_rows(
        tmp_path, full, f"{mark};Burren;4;3;500;{';'.join([mark] * 5)}", ";Burren;4;3;520;;;;;",
        header=WIDE, settings=FEATURES,
    )  # fmt: skip
    assert not refused(reading)
    _, marked_row, blank = reading.rows_as_read
    assert (marked_row.date, marked_row.price_kind, marked_row.channel) == (None, "asked", "private")
    assert marked_row.features == blank.features
    assert all(one.value is None for one in marked_row.features)
    for name in OPTIONAL:
        (problem,) = warned(reading, f"blank_{name}")
        assert "rows 3 and 4" in problem.message


@pytest.mark.parametrize("mark", NOT_KNOWN)
@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("rule", [SETTINGS, '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'])
def test_what_is_needed_and_not_known_is_refused(tmp_path: Path, mark: str, place: int, rule: str) -> None:
    cells = ["Burren", "4", "3", "480"]
    cells[place] = mark
    reading = read_rows(tmp_path, "Burren;4;3;480", ";".join(cells), header=HEADER, settings=rule)
    (problem,) = refused(reading)
    assert (problem.row, problem.column) == (3, HEADER.split(";")[place])
    assert "; " in problem.message
    if place in (0, 2):
        assert problem.code == "not_known"


def test_a_word_for_what_is_not_known_may_be_mapped(tmp_path: Path) -> None:
    rule = FEATURES + '[prices.words.hardware]\n"?" = "no"\n'
    rule = rule.replace("[prices.words.channel]\n", '[prices.words.channel]\nunknown = "dealer"\n')
    reading = read_rows(tmp_path, "Burren;4;3;480;unknown;?", header=f"{HEADER};channel;hardware", settings=rule)
    (row,) = reading.rows_as_read
    assert row.channel == "dealer"
    assert [one.value for one in row.features] == [False]


def test_a_question_mark_for_a_currency_is_no_shop_currency(tmp_path: Path) -> None:
    (problem,) = refused(read_rows(tmp_path, "Burren;4;3;480;?", header=f"{HEADER};currency"))
    assert problem.code == "currency"


def test_a_sign_that_is_not_the_shops_names_the_setting(tmp_path: Path) -> None:
    (problem,) = refused(read_rows(tmp_path, "Burren;4;3;£480", header=HEADER))
    assert problem.message.endswith(
        "write the code in the currency column, or, if all your prices are in it, "
        'set currency = "GBP" under [shop]'
    )  # fmt: skip
    rule = SETTINGS.replace('currency = "EUR"', 'currency = "GBP"')
    assert not refused(read_rows(tmp_path, "Burren;4;3;£480", header=HEADER, settings=rule))


def test_a_currency_without_a_rate_names_the_setting(tmp_path: Path) -> None:
    (problem,) = refused(read_rows(tmp_path, "Burren;4;3;480;GBP", header=f"{HEADER};currency"))
    assert "write the price in EUR, or add a rate for GBP to rates.csv" in problem.message
    assert problem.message.endswith('if all your prices are in GBP, set currency = "GBP" under [shop]')
    tmp_path.joinpath("rates.csv").write_text("date;currency;rate\n2024-01-01;GBP;1.15\n", encoding="utf-8")
    row = "2023-01-01;Burren;4;3;480;GBP"
    (problem,) = refused(read_rows(tmp_path, row, header=f"date;{HEADER};currency"))
    assert problem.message.endswith("or add a rate for GBP to rates.csv")


def test_an_undecided_sign_hides_no_other_problem(tmp_path: Path) -> None:
    """All that a second run would find once the sign is set is told in the first."""
    rows = (
        "2024-04-03;Burren;4;3;1.250", "2024-13-03;Burren;4;3;480", "2024-04-03;Buren;five;x;£1.480",
        "2024-04-03;Burren;4;2-;", "Summe;;;;2.730",
    )  # fmt: skip
    header = f"date;{HEADER}"
    first = read_rows(tmp_path, *rows, header=header)
    assert whole_file(first).text == "1.250"
    assert first.problems[0].level is Level.FILE
    assert (first.counts.read, first.counts.used, first.counts.refused) == (5, 0, 5)
    then = read_rows(tmp_path, *rows, header=header, settings=SETTINGS + '[files]\ndecimal = ","\n')
    assert refused(first) == refused(then)
    assert {(one.row, one.column) for one in refused(first)} == {
        (3, "date"), (4, "series"), (4, "pieces"), (4, "condition"), (4, "price"), (5, "condition"), (5, "price"),
        (6, "date"),
    }  # fmt: skip
    assert warned(first, "marks_scale") == warned(then, "marks_scale")
    assert warned(first, "absent_columns") == warned(then, "absent_columns")


def test_undecided_dates_hide_no_other_problem(tmp_path: Path) -> None:
    tmp_path.joinpath("rates.csv").write_text("date;currency;rate\n2024-03-05;CHF;1.05\n", encoding="utf-8")
    rows = ("03/04/2024;Burren;4;3;480 CHF", "05/06/2024;Burren;0;3;490")
    first = read_rows(tmp_path, *rows, header=f"date;{HEADER}")
    assert whole_file(first).code == "undecided_date"
    assert [(one.row, one.column) for one in refused(first)] == [(3, "pieces")]
