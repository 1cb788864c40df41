"""What is done to a kit on offer before it is sold: the columns `finished`, `hours` and `parts` of offers.csv."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Final

from kitvalue.intake.bookcolumns import freight_check, read_shop_grade
from kitvalue.intake.columns import Column, ColumnFindings, number_column, word_column
from kitvalue.intake.done import hours_check, read_hours
from kitvalue.intake.marks import grade_name
from kitvalue.intake.numbers import Amount, Reading, Sign, read_amount
from kitvalue.intake.shop import Shop
from kitvalue.intake.tables import TextTable
from kitvalue.intake.words import Refusal, is_dash, says_not_known

FINISHED_CURE: Final = "write the grade that it will be sold in, or leave it blank if it is sold as it is"
PARTS_CURE: Final = "write what heads and parts for it cost, such as 85, or leave it blank"
HOURS_CURE: Final = "write the bench hours that restoring it takes, such as 6 or 5:30, or leave it blank"


def finished_column(table: TextTable, shop: Shop) -> Column[Decimal]:
    """The grade that each kit will be sold in, in the words of `condition`; None where nothing is said."""
    return word_column(table, "finished", _finished_reader(shop), FINISHED_CURE)


def _finished_reader(shop: Shop) -> Callable[[str], Decimal | Refusal | None]:
    grade = read_shop_grade(shop)

    def read(text: str) -> Decimal | Refusal | None:
        found = grade(text)
        return None if isinstance(found, Refusal) and _says_nothing(text) else found

    return read


def hours_column(table: TextTable, decimal: Sign | None, counted: Sequence[bool]) -> ColumnFindings[Amount]:
    """The bench hours that restoring each kit takes, 0 or more; None where nothing is said. `decimal` is the sign that
    the shop or another column of the file gives."""
    return number_column(table, "hours", _read_hours, hours_check, HOURS_CURE, decimal, counted)


def _read_hours(text: str) -> Reading | None:
    return None if _says_nothing(text) else read_hours(text)


def parts_column(table: TextTable, decimal: Sign | None, counted: Sequence[bool]) -> ColumnFindings[Amount]:
    """What is bought for each kit, money net of the VAT that is deducted, 0 or more; None where nothing is said."""
    return number_column(table, "parts", _read_parts, freight_check, PARTS_CURE, decimal, counted)


def _read_parts(text: str) -> Reading | None:
    return None if _says_nothing(text) else read_amount(text)


def _says_nothing(text: str) -> bool:
    return is_dash(text) or says_not_known(text)


def sold_worse(finished: Decimal | None, condition: Decimal | None) -> Refusal | None:
    """The refusal of a grade below the one that the kit is bought in."""
    if finished is None or condition is None or finished >= condition:
        return None
    return Refusal("below_condition", f"is below the condition that it is bought in, {grade_name(condition)}")
