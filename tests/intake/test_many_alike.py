"""A book of one kit over and over: what is looked at grows with its rows, and no faster. Counted, not timed."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from kitvalue.intake.books import bookwarnings
from kitvalue.intake.books.bookwarnings import near_duplicates
from kitvalue.intake.text import problems
from kitvalue.intake.text.problems import together
from tests.intake.shops import kit, read_rows, warned


def test_twice_the_rows_of_one_kit_are_twice_the_comparisons(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    row, looks, compare = read_rows(tmp_path, kit()).rows_as_read[0], 0, bookwarnings._may_be_one

    def counted(*given: object) -> bool:
        nonlocal looks
        looks += 1
        return compare(*given)  # type: ignore[arg-type]

    def spent(rows: int) -> int:
        nonlocal looks
        looks = 0
        dearer = [replace(row, row=n, price=Decimal(n)) for n in range(2, rows + 2)]  # none is an earlier one again
        assert near_duplicates(dearer, "prices.csv") == []
        return looks

    monkeypatch.setattr(bookwarnings, "_may_be_one", counted)
    assert spent(2400) <= 2.2 * spent(1200)


def test_of_rows_alike_each_is_set_aside_and_their_words_are_read_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reading = read_rows(tmp_path, *[kit(str(400 + n % 3)) for n in range(3000)])
    aside, read = warned(reading, "repeated_row"), []

    class Counted:
        def sub(self, by: str, text: str) -> str:
            read.append(text)
            return re.sub(r'"[^"]*"|\d+', by, text)

    monkeypatch.setattr(problems, "_OWN", Counted())
    (alike,) = together(aside)
    assert (reading.counts.used, reading.counts.set_aside, len(aside), len(read)) == (3, 2997, 2997, 3)
    assert "(and 2996 more like it, rows 6, 7, 8" in alike.line()
