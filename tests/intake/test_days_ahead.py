"""Days that have not been, and days far from all others. Source: common practice, no source; what a fit holds for is
worked out by hand.
"""

from __future__ import annotations

import datetime as dt
import re
import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.commands.folder import ShopFolder
from kitvalue.intake.text.dates import AFTER_TODAY, Day, read_date
from kitvalue.intake.text.decoding import decode
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.words import Refusal
from tests import TODAY
from tests.shops import run, sample_shop


@given(st.dates(dt.date(1927, 1, 1), dt.date(2099, 12, 31)))
def test_a_two_digit_year_ahead_is_of_the_century_before(day: dt.date) -> None:
    read = read_date(f"{day:%d.%m.%y}", today=TODAY)
    if isinstance(read, Refusal):  # later this year, or no day of that year: 29.02.00 was none in 1900
        assert (day > TODAY and day.year == TODAY.year) or (day.month, day.day) == (2, 29)
    else:
        assert isinstance(read, Day)
        assert read.date <= TODAY
        assert (read.date.year - day.year) % 100 == 0
        assert read.date.year > TODAY.year - 100


@pytest.mark.parametrize("text", ["2026-11-26", "26.11.2026", "31.12.2069", "5/23/2031", "Thu 26.11.26"])
def test_a_day_after_today_is_refused(text: str) -> None:
    read = read_date(text, today=TODAY)
    assert isinstance(read, Refusal)
    assert read.code == AFTER_TODAY
    assert "2026-11-25" in read.reason


def test_today_itself_is_no_day_ahead() -> None:
    assert read_date("25.11.26", today=TODAY) == Day(TODAY)


def test_a_fit_with_refused_days_holds_for_its_day_alone_and_any_other_for_its_year(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    used = len(ShopFolder(shop, TODAY).market.fit.book)
    saved = (shop / "out" / "fit.json").read_bytes()
    assert ShopFolder(shop, TODAY + dt.timedelta(days=9)).market.problems == ()  # the saved one
    assert (shop / "out" / "fit.json").read_bytes() == saved
    book = shop / "prices.csv"
    book.write_bytes(book.read_bytes() + b"01.12.2026;Burren;5;mend;400,00;asked;private;;;yes;0;;\n")
    assert len(ShopFolder(shop, TODAY).market.fit.book) == used
    assert len(ShopFolder(shop, TODAY).market.fit.book) == used
    assert len(ShopFolder(shop, dt.date(2026, 12, 1)).market.fit.book) == used + 1


def test_an_option_takes_no_day_ahead_but_that_of_a_sale(tmp_path: Path) -> None:
    shop, ahead = sample_shop(tmp_path), dt.date.today() + dt.timedelta(days=200)
    words = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3")
    assert run(shop, *words, "--on", ahead.isoformat()).status == 0
    said = run(shop, *words, "--since", ahead.isoformat())
    assert said.status == 2
    assert ahead.isoformat() in said.err
    assert "after today" in said.err
    far = run(shop, *words, "--on", (ahead + dt.timedelta(days=200)).isoformat())
    assert far.status == 2
    assert "more than a year ahead" in far.err


def test_plans_that_cannot_be_read_are_said_to_be_so(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path, fitted=False)
    shutil.rmtree(shop / "builds")
    (shop / "builds").write_text("no folder", encoding="utf-8")
    ran = run(shop, "check")
    assert ran.status == 2
    assert "builds/ cannot be read: not a directory" in ran.err


@pytest.mark.parametrize("text", ["Bör", "Škoda", "Łódź", "naïve"])
@pytest.mark.parametrize("name", ["utf-8", "ascii", "cp1252"])
@pytest.mark.parametrize("stored", ["cp1252", "cp1250", "cp850", "mac-roman", "latin-1"])
def test_an_encoding_that_is_advised_reads_the_file(text: str, name: str, stored: str) -> None:
    data = f"series;note\nBurren;{text}\x81\n".encode(stored, errors="ignore")
    for setting in (name, None):
        try:
            decode(data, "prices.csv", setting)
        except FileError as error:
            found = re.search(r'encoding = "([\w-]+)"', str(error))
            if found is not None:
                assert decode(data, "prices.csv", found[1]).text
