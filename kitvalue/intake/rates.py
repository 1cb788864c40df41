"""rates.csv: what one unit of a foreign currency is worth in the shop's, by day."""

from __future__ import annotations

import bisect
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from kitvalue.intake.columns import number_column, word_column
from kitvalue.intake.counts import FileCounts
from kitvalue.intake.currencies import meanings
from kitvalue.intake.daycolumn import date_column
from kitvalue.intake.headers import WantedColumns
from kitvalue.intake.numbers import Amount, read_number
from kitvalue.intake.problems import FileError, Problem
from kitvalue.intake.shop import Shop
from kitvalue.intake.tables import TextTable, read_table
from kitvalue.intake.words import Refusal

WANTED: Final = WantedColumns(("date", "currency", "rate"), ())


@dataclass(frozen=True, slots=True)
class Rate:
    """On `date` one unit of a foreign currency cost `rate` units of the shop's."""

    date: dt.date
    rate: Decimal


@dataclass(frozen=True, slots=True)
class Rates:
    """The usable rates, by currency code and then by day; with the problems of the file."""

    by_currency: Mapping[str, Sequence[Rate]]
    problems: tuple[Problem, ...] = ()
    counts: FileCounts | None = None  # None where there is no such file

    def on(self, currency: str, date: dt.date) -> Decimal | None:
        """The newest rate that is not after the day; None where there is none."""
        known = self.by_currency.get(currency, ())
        at = bisect.bisect_right([one.date for one in known], date)
        return known[at - 1].rate if at else None


def read_rates(path: Path, shop: Shop) -> Rates:
    """The rates of a shop; none where there is no such file."""
    if not path.exists():
        return Rates({})
    try:
        table = read_table(path, WANTED, shop.files)
    except FileError as error:
        return Rates({}, error.problems, FileCounts(path.name, 0, 0, 0, 0, None, None, None))
    counted = [True] * len(table.rows)
    days = date_column(table, "date", shop.files.day_first, counted)
    cure = "write what one unit of the currency costs, such as 1.0850"
    rates = number_column(table, "rate", read_number, _above_zero, cure, shop.files.decimal, counted)
    codes = word_column(table, "currency", _code, "write the currency's code, such as CHF")
    undecided = [problem for problem in (days.undecided, rates.undecided) if problem is not None]
    if undecided:
        return Rates({}, (*table.problems, *undecided), _counts(table, 0, shop.files.decimal))
    found: dict[str, list[Rate]] = {}
    problems = [*table.problems, *rates.warnings]
    for at in range(len(table.rows)):
        code, date, rate = codes.values[at], days.column.values[at], rates.column.values[at]
        if isinstance(code, str) and isinstance(date, dt.date) and isinstance(rate, Amount):
            found.setdefault(code, []).append(Rate(date, rate.value))
            continue
        for column in (days.column.plain(), codes.plain(), rates.column.plain()):
            value = column.values[at]
            if value is None or isinstance(value, Refusal):
                problems.append(column.problem(table, at, value or Refusal("empty", "is empty")))
    used = sum(map(len, found.values()))
    by_day = {code: sorted(few, key=lambda one: one.date) for code, few in found.items()}
    return Rates(by_day, tuple(problems), _counts(table, used, rates.sign))


def _counts(table: TextTable, used: int, decimal: str | None) -> FileCounts:
    return FileCounts(table.file, table.read, used, table.read - used, 0, table.encoding, table.delimiter, decimal)


def _above_zero(amount: Amount) -> Refusal | None:
    return None if amount.value > 0 else Refusal("not_positive", "must be above 0")


def _code(text: str) -> str | Refusal:
    found = meanings(text)
    return found[0] if len(found) == 1 else Refusal("currency", "is no currency code")
