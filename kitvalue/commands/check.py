"""`check`: every file of the shop read, and every problem in the order in which its owner meets it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from kitvalue.intake.books.bookrows import RowAsRead, read_rates
from kitvalue.intake.books.done import read_done
from kitvalue.intake.books.offers import read_offers
from kitvalue.intake.books.parts import read_parts
from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.settings.pasting import PasteBlock, paste_blocks
from kitvalue.intake.settings.plan import plan_names, plan_warnings, read_plan
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.settings.toml import TomlFile
from kitvalue.intake.text.problems import FileCounts, FileError, Level, PlanCounts, Problem

SHOP: Final = "shop.toml"
PRICES: Final = "prices.csv"
OFFERS: Final = "offers.csv"
PARTS: Final = "parts.csv"
RATES: Final = "rates.csv"
DONE: Final = "done.csv"


@dataclass(frozen=True, slots=True, eq=False)
class CheckDone:
    """Every file of the shop, read. `rows` are the price book's rows as read."""

    files: tuple[FileCounts, ...]
    plans: tuple[PlanCounts, ...]
    problems: tuple[Problem, ...]
    rows: Sequence[RowAsRead]
    paste: tuple[PasteBlock, ...]  # lines for shop.toml that the problems ask for


def check_shop(folder: Path, *, strict: bool = False) -> CheckDone:
    """Read every file and collect every problem. `strict` refuses a file with any refused row as a whole."""
    shop = read_shop(folder)
    book = read_pricebook(folder / PRICES, shop)
    counts = [book.counts]
    problems = [problem for problem in book.problems if problem.file != RATES]
    rows = book.rows_as_read
    more = _tables(folder, shop, book.counts.decimal)
    counts += more.counts
    problems += more.problems
    plans = _plans(folder, shop)
    problems += plans.problems
    if strict:
        problems += [_not_strict(c) for c in counts if c.refused and c.used]
        counts = [replace(c, used=0, refused=c.read - c.set_aside) if c.refused else c for c in counts]
        rows = rows if counts[0].used else ()
    paste = paste_blocks(problems, shop, TomlFile(folder / SHOP, SHOP).lines)
    return CheckDone(tuple(counts), plans.plans, tuple(problems), rows, paste)


@dataclass(frozen=True, slots=True)
class _Tables:
    counts: tuple[FileCounts, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class _Plans:
    plans: tuple[PlanCounts, ...]
    problems: tuple[Problem, ...]


def _tables(folder: Path, shop: Shop, decimal: str | None) -> _Tables:
    """The tables beside the price book, each where there is such a file; `decimal` is the price book's sign."""
    counts: list[FileCounts] = []
    problems: list[Problem] = []
    if (folder / OFFERS).exists():
        offers = read_offers(folder / OFFERS, shop)
        counts.append(offers.counts)
        problems += [_with_sign_of_prices(problem, decimal) for problem in offers.problems]
    if (folder / PARTS).exists():
        parts = read_parts(folder / PARTS, shop)
        counts.append(parts.counts)
        problems += parts.problems
    rates = read_rates(folder / RATES, shop)
    if rates.counts is not None:
        counts.append(rates.counts)
        problems += rates.problems
    if (folder / DONE).exists():
        done = read_done(folder / DONE, shop, plan_names(folder))
        counts.append(done.counts)
        problems += done.problems
    return _Tables(tuple(counts), tuple(problems))


def _with_sign_of_prices(problem: Problem, decimal: str | None) -> Problem:
    """A file whose decimal sign nothing shows: what the price book is read with is worth knowing, yet no proof."""
    if problem.code != "undecided_decimal" or decimal is None:
        return problem
    return replace(problem, message=f'{problem.message} ({PRICES} is read with decimal = "{decimal}")')


def _plans(folder: Path, shop: Shop) -> _Plans:
    plans: list[PlanCounts] = []
    problems: list[Problem] = []
    for name in plan_names(folder):
        file = f"builds/{name}.toml"
        try:
            plan = read_plan(name, folder, shop)
        except FileError as error:
            plans.append(PlanCounts(file, None))
            problems += error.problems
        else:
            plans.append(PlanCounts(file, len(plan.drum)))
            problems += plan_warnings(plan)
    return _Plans(tuple(plans), tuple(problems))


def _not_strict(counts: FileCounts) -> Problem:
    message = f"{counts.refused} of {counts.read} rows are refused, and --strict allows none: mend them first"
    return Problem(counts.file, None, None, None, "strict", Level.FILE, message)
