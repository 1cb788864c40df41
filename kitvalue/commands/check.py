"""`check`: every file of the shop read, and every problem in the order in which its owner meets it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import DONE, OFFERS, PRICES, RATES, SETTINGS
from kitvalue.intake.books.bookrows import RowAsRead, read_rates
from kitvalue.intake.settings.pasting import PasteBlock, paste_blocks
from kitvalue.intake.settings.plan import plan_warnings
from kitvalue.intake.settings.shop import shop_warnings
from kitvalue.intake.settings.toml import TomlFile
from kitvalue.intake.text.problems import FileCounts, FileError, Level, PlanCounts, Problem


@dataclass(frozen=True, slots=True, eq=False)
class CheckDone:
    """Every file of the shop, read. `rows` are the price book's rows as read."""

    files: tuple[FileCounts, ...]
    plans: tuple[PlanCounts, ...]
    problems: tuple[Problem, ...]
    rows: Sequence[RowAsRead]
    paste: tuple[PasteBlock, ...]  # lines for shop.toml that the problems ask for


def check(folder: ShopFolder, *, strict: bool = False) -> CheckDone:
    """Read every file and collect every problem. `strict` refuses a file with any refused row as a whole."""
    shop, book = folder.shop, folder.prices()
    counts, rows = [book.counts], book.rows_as_read
    problems = [problem for problem in book.problems if problem.file != RATES]
    if folder.has(OFFERS):
        counts.append(folder.offers.counts)
        for problem in folder.offers.problems:
            message = problem.message
            if problem.code == "undecided_decimal" and book.counts.decimal is not None:  # worth knowing, yet no proof
                message += f' ({PRICES} is read with decimal = "{book.counts.decimal}")'
            problems.append(replace(problem, message=message))
    rates = read_rates(folder.path / RATES, shop, folder.today)
    for table in (folder.parts, rates, folder.finished if folder.has(DONE) else None):
        if table is not None and table.counts is not None:
            counts.append(table.counts)
            problems += table.problems
    problems += shop_warnings(shop)
    plans: list[PlanCounts] = []
    for name in folder.plan_names:
        try:
            plan = folder.plan(name)
        except FileError as error:
            plans.append(PlanCounts(f"builds/{name}.toml", None))
            problems += error.problems
        else:
            plans.append(PlanCounts(f"builds/{name}.toml", len(plan.drum)))
            problems += plan_warnings(plan)
    if strict:
        for c in counts:
            if c.refused and c.used:
                refused = f"{c.refused} of {c.read} rows are refused, and --strict allows none: mend them first"
                problems.append(Problem(c.file, None, None, None, "strict", Level.FILE, refused))
        counts = [replace(c, used=0, refused=c.read - c.set_aside) if c.refused else c for c in counts]
        rows = rows if counts[0].used else ()
    paste = paste_blocks(problems, shop, TomlFile(folder.path / SETTINGS, SETTINGS).lines)
    return CheckDone(tuple(counts), tuple(plans), tuple(problems), rows, paste)
