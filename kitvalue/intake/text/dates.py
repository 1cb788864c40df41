"""Days from the text of a cell.

ISO dates are exact and no setting touches them. A date with dots is day.month.year. A date with slashes (or with
hyphens and the year last) is taken if only one order gives a day; where several do, `day_first` decides, and without
it the cell is given back with all its readings. A day after today has not been, and is refused; a two-digit year ahead
is that of the century before.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.text.languages import pattern, word_numbers
from kitvalue.intake.text.numbers import LONGEST, error_refusal, spreadsheet_error
from kitvalue.intake.text.words import Refusal, visible

_FIRST_YEAR: Final = 1900
_LAST_YEAR: Final = 2099
AFTER_TODAY: Final = "after_today"  # the code of a day that has not been
_TIME: Final = r"(?:[T ,]+\d{1,2}[:.]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?\s?(?:[ap]\.?m\.?|uhr|z|utc|[+-]\d{2}:?\d{2})?)?"
ORDINAL: Final = r"(?:\.|st|nd|rd|th|er|ste|de|e|[º°])?"  # behind the number of a day: "1st", "1er", "1º"
_SHAPES: Final = tuple(
    pattern(rf"{shape}{_TIME}")
    for shape in (
        r"(?P<year>\d{4})([-./])(?P<month>\d{1,2})\2(?P<day>\d{1,2})",
        r"(?P<day>\d{1,2})\. ?(?P<month>\d{1,2})\. ?(?P<year>\d{4}|\d{2})",
        rf"(?P<day>\d{{1,2}}){ORDINAL}[ -]?(?:(?:of|de) |d['’])?(?P<month>[^\W\d_]+)\.?,?[ -]?(?:del? )?['’]?"
        r"(?P<year>\d{4}|\d{2})",
        r"(?P<month>[^\W\d_]+)\.?[ -](?P<day>\d{1,2})(?:st|nd|rd|th)?(?:, ?| |-)(?P<year>\d{4})",
        r"(?P<year>\d{4})[ -](?P<month>[^\W\d_]+)\.?[ -](?P<day>\d{1,2})",
    )
)
_YEAR_LAST: Final = pattern(rf"(?<!\d)(\d{{1,2}})([-/])(\d{{1,2}})\2(\d{{4}}|\d{{2}}){_TIME}")
_WEEKDAY: Final = re.compile(r"([^\W\d_]{2,10})(?:\.,|,|\.)? ?(?=\w)")


@dataclass(frozen=True, slots=True)
class Day:
    """A day that the cell shows beyond doubt."""

    date: dt.date


@dataclass(frozen=True, slots=True)
class SeveralDays:
    """A cell that gives different days in different orders; `dates` in the order day first, month first, year first."""

    dates: tuple[dt.date, ...]


DateReading = Day | SeveralDays | Refusal


def read_date(text: str, day_first: bool | None = None, today: dt.date = dt.date.max) -> DateReading:
    """The day in a cell, `today` or before; a time of day is dropped. Of several days one at least is not ahead."""
    read = _any_day(text, day_first, today)
    days = () if isinstance(read, Refusal) else (read.date,) if isinstance(read, Day) else read.dates
    if not days or min(days) <= today:
        return read
    return Refusal(AFTER_TODAY, f"is a day after today, {today.isoformat()}", "correct the day or its year")


def _any_day(text: str, day_first: bool | None, today: dt.date) -> DateReading:
    if len(text) > LONGEST:
        return Refusal("not_a_date", "is too long for a date")
    plain = visible(text).removeprefix("'")
    if spreadsheet_error(text):
        return error_refusal(text)
    if not plain:
        return Refusal("empty", "is empty")
    word = _WEEKDAY.match(plain)
    weekday = word_numbers("weekdays").get(word[1].casefold()) if word is not None else None
    read = _by_shape(plain[word.end() :], day_first, today) if word is not None and weekday is not None else None
    if read is None or (isinstance(read, Refusal) and read.code == "not_a_date"):  # "Mar" is a month and martes
        return _by_shape(plain, day_first, today)
    if isinstance(read, Day) and read.date.weekday() != weekday:
        return Refusal("weekday", f"names a weekday, and {read.date.isoformat()} falls on another")
    return read


def day_order(text: str) -> bool | None:
    """Whether a date shows its order by itself: True where it can only be read day first ("13/4/2023"), False where
    only month first ("2/20/2023"), None for every other cell.
    """
    if len(text) > LONGEST or not isinstance(read_date(text), Day):
        return None
    m = _YEAR_LAST.search(visible(text))
    if m is None or int(m[1]) == int(m[3]):
        return None
    day_first, month_first = (isinstance(_day(m[4], *rest), Day) for rest in ((m[3], m[1]), (m[1], m[3])))
    return day_first if day_first != month_first else None


def _by_shape(plain: str, day_first: bool | None, today: dt.date) -> DateReading:
    for shape in _SHAPES:
        if m := shape.fullmatch(plain):
            month = m["month"] if m["month"].isdigit() else word_numbers("months").get(m["month"].casefold())
            if month is not None:
                return _day(m["year"], str(month), m["day"], today)
    if m := _YEAR_LAST.fullmatch(plain):
        return _either_order(m[1], m[3], m[4], m[2] == "-", day_first, today)
    if re.fullmatch(r"\d{8}", plain):
        return _day(plain[:4], plain[4:6], plain[6:])
    if re.fullmatch(r"\d{5}(?:[.,]\d+)?", plain):
        cure = "format the column as a date and export again"
        return Refusal("day_number", "is the spreadsheet's own day number", cure)
    has_digits = any(c.isdigit() for c in plain)
    return Refusal("not_a_date", "is no date that can be read" if has_digits else "is a word, no date")


def _either_order(one: str, two: str, year: str, hyphen: bool, day_first: bool | None, today: dt.date) -> DateReading:
    """Day or month first. With hyphens and two-digit years the year may stand first as well."""
    first, second = _day(year, two, one, today), _day(year, one, two, today)
    if day_first is not None:
        wanted, other = (first, second) if day_first else (second, first)
        return wanted if isinstance(wanted, Day) else other
    readings = [first, second]
    if hyphen and len(year) == 2 and len(one) == 2:
        readings.append(_day(one, two, year, today))
    days = dict.fromkeys(reading.date for reading in readings if isinstance(reading, Day))
    if not days:
        return first
    return Day(next(iter(days))) if len(days) == 1 else SeveralDays(tuple(days))


def _day(year: str, month: str, day: str, today: dt.date = dt.date.max) -> Day | Refusal:
    number = int(year)
    if len(year) == 2:
        number += 2000 if number < 70 else 1900  # as POSIX strptime reads %y, but for the year 69
        number -= 100 if number > today.year else 0
    try:
        date = dt.date(number, int(month), int(day))
    except ValueError:
        return Refusal("no_such_day", "is no day of the calendar")
    if not _FIRST_YEAR <= number <= _LAST_YEAR:
        return Refusal("year", f"has a year outside {_FIRST_YEAR} to {_LAST_YEAR}")
    return Day(date)
