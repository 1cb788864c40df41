"""Money: decimals rounded half up to the cent, steps, percent, what a kit costs until it is sold, partly known sums."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal

from kitvalue.intake.settings.shop import SellingTable
from kitvalue.intake.text.problems import FileError, Level, Problem

CENT = Decimal("0.01")
ZERO = Decimal(0)
HUNDRED = Decimal(100)


def cents(amount: Decimal) -> Decimal:
    """`amount` to the cent, half up and symmetric: a credit rounds as the charge it takes back (EN 16931)."""
    return amount.quantize(CENT, rounding=ROUND_HALF_UP) + ZERO  # + 0 turns -0.00 into 0.00


def cents_up(amount: Decimal) -> Decimal:
    """The least whole number of cents that is not below `amount`: a price rounded so still leaves its margin."""
    return amount.quantize(CENT, rounding=ROUND_CEILING) + ZERO


def down_to_step(amount: Decimal, step: Decimal) -> Decimal:
    """The largest multiple of `step` (above 0) at or below `amount`."""
    return (amount / step).to_integral_value(rounding=ROUND_FLOOR) * step


def up_to_step(amount: Decimal, step: Decimal) -> Decimal:
    """The smallest multiple of `step` (above 0) at or above `amount`."""
    return (amount / step).to_integral_value(rounding=ROUND_CEILING) * step


def percent(value: Decimal) -> Decimal:
    """23 -> 0.23."""
    return value / HUNDRED


def money_text(amount: Decimal) -> str:
    """The amount as people write it: `1,240.00`."""
    return f"{cents(amount):,.2f}"


@dataclass(frozen=True, slots=True)
class PartlyKnown:
    """A sum of money of which some summands may be unknown: `unknown` names each of them."""

    known: Decimal
    unknown: tuple[str, ...] = ()

    def text(self, word: str = "+") -> str:
        """`1,240.00`, or `1,240.00 + 1 unknown`; `less` of a profit from which the unknown is still to be paid."""
        return money_text(self.known) + (f" {word} {len(self.unknown)} unknown" if self.unknown else "")


def plan_file(name: str) -> str:
    return f"builds/{name}.toml"


def plan_problem(name: str, place: str, code: str, message: str, text: str | None = None) -> Problem:
    """A fault in a plan; `place` is the table and key, such as `work 2 (Cut bearing edges).operation`."""
    return Problem(plan_file(name), None, place, text, code, Level.FILE, message)


def shop_problem(place: str, code: str, message: str, text: str | None = None) -> Problem:
    return Problem("shop.toml", None, place, text, code, Level.FILE, message)


def refusal(problems: Sequence[Problem]) -> FileError:
    """One error with every problem, of which there is one at least."""
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    return FileError(problems[0].line() + more, problems)


def months_held(selling: SellingTable) -> Decimal:
    """Months from buying a kit to selling it; 0 where nothing is reckoned by them.

    Raises FileError where holding or capital is set and the months are not.
    """
    needing = [
        key for key, is_set in (("holding", selling.holding is not None), ("capital", selling.capital)) if is_set
    ]
    if selling.months_to_sell is None and needing:
        message = f"{needing[0]} is set and months_to_sell is not: add the months from buying a kit to selling it"
        raise refusal([shop_problem("selling.months_to_sell", "no_months", message)])
    return selling.months_to_sell or ZERO


def holding_cost(selling: SellingTable) -> Decimal:
    """What keeping one kit until it is sold costs, net: months times the cost of a month; 0 where neither is set."""
    return (selling.holding or ZERO) * months_held(selling)
