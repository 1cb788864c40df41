"""Numbers and dates as people read them: one place decides how a figure is written."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

NBSP: Final = "\u00a0"
MINUS: Final = "\u2212"
DASH: Final = "\u2013"
MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def number(value: float | Decimal, decimals: int = 0) -> str:
    """`1,240`, `−3.5`: half up, thousands separated, a true minus sign, never a minus zero."""
    exact = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
    rounded = exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    return f"{rounded + 0:,.{decimals}f}".replace("-", MINUS)


def trimmed(value: float | Decimal, decimals: int = 2) -> str:
    """A quantity without trailing zeros: `7`, `3.5`, `1,200`."""
    text = number(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def amount(value: float | Decimal) -> str:
    """An estimate of money without its currency: whole from 100 on, to the cent below where it has cents."""
    return number(value, 0 if abs(float(value)) >= 100 or float(value).is_integer() else 2)


def cents(value: Decimal) -> str:
    """Money of a cost sheet: always to the cent."""
    return number(value, 2)


def exact(value: Decimal) -> str:
    """A price as set: its cents only where it has any."""
    return number(value, 0 if value == value.to_integral_value() else 2)


def with_currency(text: str, currency: str) -> str:
    """`EUR 1,240`, kept on one line."""
    return f"{currency}{NBSP}{text}"


def percent(value: float | Decimal, decimals: int | None = None) -> str:
    """`12 %`, `3.4 %`: to a tenth under 10."""
    places = decimals if decimals is not None else int(abs(float(value)) < 10)
    return f"{number(value, places)}{NBSP}%"


def change(value: float | Decimal, decimals: int | None = None) -> str:
    """A change, with its sign: `+12 %`, `−3.4 %`, `0.0 %`."""
    text = percent(value, decimals)
    nothing = all(c not in "123456789" for c in text)
    return text if nothing or text.startswith(MINUS) else f"+{text}"


def span(low: float | Decimal, high: float | Decimal, write: Callable[[float | Decimal], str]) -> str:
    """A range with an en dash: `1,180–1,620`. For figures without a sign."""
    return f"{write(low)}{DASH}{write(high)}"


def change_span(low: float, high: float) -> str:
    """A range of changes, where a dash would read as one more minus: `−12 to −3 %`."""
    return f"{change(low).removesuffix(f'{NBSP}%')} to {change(high)}"


def day(when: date) -> str:
    """`25 November 2026`, whatever the machine's language."""
    return f"{when.day}{NBSP}{MONTHS[when.month - 1]} {when.year}"


def count(how_many: int, one: str, more: str | None = None) -> str:
    """`1 row`, `38 rows`."""
    return f"{number(how_many)}{NBSP}{one if how_many == 1 else more or one + 's'}"


def in_so_many(share: float) -> str:
    """A share as people say it: `1 in 8`, `none`, `all`."""
    if not 0 < share < 1:
        return "none" if share <= 0 else "all"
    return f"{number(100 * share)} in 100" if share > 0.5 else f"1 in {number(1 / share)}"
