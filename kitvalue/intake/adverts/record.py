"""What was understood of an advert."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from kitvalue.intake.sizes import Size


@dataclass(frozen=True, slots=True)
class Taken:
    """One column's value in plain form (`480.50`, `2026-11-03`, `asked`) and the advert's words that it comes from."""

    field: str
    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """A column that the advert leaves open, and why."""

    field: str
    reason: str


@dataclass(frozen=True, slots=True)
class Understood:
    """What an advert says: the values it gives, what it leaves open, remarks, and the drums with known sizes.

    `haggle`: "fixed" or "negotiable" where the advert says so. `not_used`: its phrases about the kit that are in none
    of these.
    """

    taken: tuple[Taken, ...]
    unknown: tuple[Unknown, ...]
    remarks: tuple[str, ...]
    sizes: tuple[Size, ...]
    haggle: Literal["fixed", "negotiable"] | None
    not_used: tuple[str, ...]

    def value(self, field: str) -> str | None:
        """The value of one column; None where the advert leaves it open."""
        return next((one.value for one in self.taken if one.field == field), None)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The finding for one column: a value with its words, or the reason why there is none. Remarks say the rest."""

    taken: Taken | None
    reason: str | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Money:
    """An amount with the codes that its currency can stand for; () where the advert names none."""

    value: Decimal
    currencies: tuple[str, ...]
