"""Options that are read by the program's own rules, for click to call."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation

import click


def day(context: click.Context, parameter: click.Parameter, text: str | None) -> date | None:
    """A date option, read as the files' dates are."""
    from kitvalue.intake.dates import Day, read_date

    if text is None:
        return None
    read = read_date(text)
    if not isinstance(read, Day):
        raise click.BadParameter(f'"{text}" is no date that can be read in one way; write for instance 2026-11-25')
    return read.date


def amount(context: click.Context, parameter: click.Parameter, text: str | None) -> Decimal | None:
    """A money option above 0, through its text."""
    if text is None:
        return None
    try:
        found = Decimal(text)
    except InvalidOperation as why:
        raise click.BadParameter(f'"{text}" is no amount; write for instance 2300 or 2300.50') from why
    if not found.is_finite() or not 0 < found < 10**9:
        raise click.BadParameter(f'"{text}" is no price; write an amount above 0')
    return found
