"""Figures as a terminal shows them, in plain signs; `?` is for what is not known, a dash for what there is not."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal


def money(value: Decimal | float | None) -> str:
    """Whole money with thousands separators; `?` where it is not known."""
    return "?" if value is None else f"{value:z,.0f}"


def cents(value: Decimal | float | None) -> str:
    """Money to the cent; `?` where it is not known."""
    return "?" if value is None else f"{value:,.2f}"


def percent(value: Decimal | float | None, digits: int = 0, sign: bool = False) -> str:
    """A percentage."""
    if value is None:
        return "?"
    shown = round(float(value), digits) + 0.0  # no minus before a zero
    return f"{shown:{'+' if sign else ''}.{digits}f} %"


def change(value: Decimal | float | None, digits: int = 1) -> str:
    """A percentage with its sign."""
    return percent(value, digits, sign=True)


def share(value: Decimal | float) -> str:
    """A share or a chance in percent."""
    return percent(100 * float(value))


def figure(value: Decimal | float | None) -> str:
    """A quantity without needless zeros; `?` where it is not known."""
    return "?" if value is None else f"{float(value):.3f}".rstrip("0").rstrip(".")


def dash(value: Decimal | float | None, write: Callable[[Decimal | float], str] = money) -> str:
    """A figure, or a dash where there is none."""
    return "-" if value is None else write(value)


def counted(how_many: int, what: str) -> str:
    """`1 row`, `38 rows`."""
    return f"{how_many} {what}{'' if how_many == 1 else 's'}"
