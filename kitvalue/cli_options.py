"""Options that are read by the program's own rules, and what a shell offers for them, for click to call."""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

import click

from kitvalue.intake.problems import shown


def series_names(context: click.Context, parameter: click.Parameter, begun: str) -> list[str]:
    """The series of shop.toml, else those of the saved fit, that begin like `begun`; none where neither can be read."""
    import json
    import tomllib

    folder = _shop_folder(context)
    try:
        names = list(tomllib.loads((folder / "shop.toml").read_text(encoding="utf-8")).get("series", {}))
        if not names:
            fitted = json.loads((folder / "out" / "fit.json").read_text(encoding="utf-8"))
            names = [str(name) for name in fitted["recipe"]["series"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return []
    return [name for name in sorted(names) if name.casefold().startswith(begun.casefold())]


def plan_names(context: click.Context, parameter: click.Parameter, begun: str) -> list[str]:
    """The plans in builds/ that begin like `begun`."""
    try:
        found = sorted(path.stem for path in (_shop_folder(context) / "builds").glob("*.toml"))
    except OSError:
        return []
    return [name for name in found if name.startswith(begun)]


def _shop_folder(context: click.Context) -> Path:
    return Path(context.find_root().params.get("folder") or ".")


def day(context: click.Context, parameter: click.Parameter, text: str | None) -> date | None:
    """A date option, read as the files' dates are."""
    if text is None:
        return None
    from kitvalue.intake.dates import Day, read_date

    read = read_date(text)
    if not isinstance(read, Day):
        raise click.BadParameter(f'"{text}" is no date that can be read in one way; write for instance 2026-11-25')
    return read.date


class Whole(click.IntRange):
    """A whole number between two bounds; `what` says in the message what it counts."""

    def __init__(self, low: int, high: int, what: str) -> None:
        super().__init__(low, high)
        self.what = what

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:  # noqa: ANN401
        """The number in an option's text."""
        try:
            return int(super().convert(value, param, ctx))
        except click.BadParameter:
            message = f"{shown(str(value), 40)} does not belong here; write {self.what}, {self.min} to {self.max}"
            self.fail(message, param, ctx)


DRUMS = Whole(1, 99, "a number of drums")


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


def bench_hours(context: click.Context, parameter: click.Parameter, text: str | None) -> Decimal | None:
    """An option of hours at the bench, read as the files' hours are: 6, 5.5 or 5:30."""
    if text is None:
        return None
    from kitvalue.intake.done import hours_check, read_hours
    from kitvalue.intake.numbers import Amount

    read = read_hours(text)
    if not isinstance(read, Amount) or hours_check(read) is not None:
        raise click.BadParameter(f'"{text}" is no number of hours; write for instance 6 or 5:30')
    return read.value
