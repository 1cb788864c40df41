"""Days: ISO exact, dots day first, slashes by one reading or by the setting."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.text.dates import Day, SeveralDays, day_order, read_date
from kitvalue.intake.text.words import Refusal


@pytest.mark.parametrize(
    "text",
    ["2023-04-03", "2023-4-3", "2023/04/03", "2023.04.03", "20230403", "03.04.2023", "3.4.23", "03. 04. 2023",
     "03.04.2023 00:00", "2023-04-03T10:15:00Z", "2023-04-03 1:00 PM", "3. April 2023", "3 Apr 23", "3-Apr-2023",
     "April 3, 2023", "3rd of April 2023", "Mo, 03.04.2023", "Monday 3 April 2023", "\u200e3.4.2023", "'03.04.2023",
     " 2023-04-03 ", "2023 April 3"],
)  # fmt: skip
@pytest.mark.parametrize("day_first", [None, True, False])
def test_one_meaning_whatever_the_setting(text: str, day_first: bool | None) -> None:
    assert read_date(text, day_first) == Day(dt.date(2023, 4, 3))


@pytest.mark.parametrize(
    ("text", "month", "day"),
    [("3 Mär 23", 3, 3), ("3. März 2023", 3, 3), ("3. Mrz. 2023", 3, 3), ("1. Mai 2023", 5, 1),
    ("2. Jänner 2023", 1, 2),
     ("24 Dez 2023", 12, 24), ("24 December 2023", 12, 24), ("7 Okt 2023", 10, 7), ("13/4/23", 4, 13),
     ("4/23/23", 4, 23),
     ("4/4/23", 4, 4), ("31-12-2023", 12, 31)],
)  # fmt: skip
def test_month_names_and_single_readings(text: str, month: int, day: int) -> None:
    assert read_date(text) == Day(dt.date(2023, month, day))


@pytest.mark.parametrize("text", ["4/3/23", "4/3/2023", "04-03-2023"])
def test_two_readings_wait_for_the_setting(text: str) -> None:
    assert read_date(text) == SeveralDays((dt.date(2023, 3, 4), dt.date(2023, 4, 3)))
    assert read_date(text, True) == Day(dt.date(2023, 3, 4))
    assert read_date(text, False) == Day(dt.date(2023, 4, 3))


def test_hyphens_with_a_short_year_may_have_the_year_first() -> None:
    assert read_date("13-04-23") == SeveralDays((dt.date(2023, 4, 13), dt.date(2013, 4, 23)))


@pytest.mark.parametrize(
    ("text", "code"),
    [("31.02.2023", "no_such_day"), ("00.00.0000", "no_such_day"), ("2023-02-30", "no_such_day"), ("2023-13-01",
    "no_such_day"),
     ("31/31/2023", "no_such_day"), ("29.02.2023", "no_such_day"), ("0023-04-03", "year"), ("01.01.3023", "year"),
     ("45019", "day_number"), ("45019,5", "day_number"), ("2023-04", "not_a_date"), ("3.4.", "not_a_date"), ("",
     "empty"),
     ("April 2023", "not_a_date"), ("3 maja 2023", "not_a_date"), ("gestern", "not_a_date"), ("23/4/3", "not_a_date"),
     ("Tue 3 Apr 2023", "weekday"), ("#REF!", "spreadsheet_error"), ("####", "too_narrow"), ("1/" * 200, "not_a_date")],
)  # fmt: skip
def test_no_day_says_why(text: str, code: str) -> None:
    read = read_date(text)
    assert isinstance(read, Refusal)
    assert read.code == code


@given(st.dates(dt.date(1970, 1, 1), dt.date(2069, 12, 31)), st.sampled_from([None, True, False]))
def test_exact_styles_come_back(day: dt.date, day_first: bool | None) -> None:
    for text in (day.isoformat(), f"{day:%d.%m.%Y}", f"{day:%d.%m.%y}", f"{day:%Y/%m/%d}"):
        assert read_date(text, day_first) == Day(day)


@given(st.dates(dt.date(1970, 1, 1), dt.date(2069, 12, 31)))
def test_slashes_follow_the_setting_or_hold_the_day(day: dt.date) -> None:
    assert read_date(f"{day:%d/%m/%Y}", True) == Day(day)
    assert read_date(f"{day:%m/%d/%Y}", False) == Day(day)
    read = read_date(f"{day:%d/%m/%Y}")
    assert read == Day(day) or (isinstance(read, SeveralDays) and day in read.dates)


TEXT = st.one_of(st.text(max_size=30), st.text("0123456789./- :MaiApr", max_size=14))


@given(TEXT, st.sampled_from([None, True, False]))
def test_any_text_is_read_or_refused(text: str, day_first: bool | None) -> None:
    assert isinstance(read_date(text, day_first), Day | SeveralDays | Refusal)


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("13/4/2023", True), ("4/13/2023", False), ("4/3/2023", None), ("2026-04-13", None), ("Thu 13/4/2023", True),
        ("13.4.2023", None), ("13-4-2023", True), ("13-4-23", None),
    ],
)  # fmt: skip
def test_which_order_a_date_shows(text: str, first: bool | None) -> None:
    assert day_order(text) is first
