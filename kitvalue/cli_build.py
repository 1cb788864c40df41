"""The commands of a build: what it costs, what to ask, how it stands against an original, how it turned out."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import click

from kitvalue.cli_answers import Said, answering
from kitvalue.cli_options import amount


@click.command()
@click.argument("plan")
@click.option("--csv", "as_csv", is_flag=True, help="Write the lines to out/cost-NAME.csv as well.")
@click.pass_obj
@answering
def cost(folder: Path, plan: str, as_csv: bool) -> Said:
    """What a build costs landed, line by line, and what it must sell for. PLAN is a name in builds/ or a path.

    \b
    Example:
      kitvalue --shop myshop cost example
    """
    from kitvalue import usecases
    from kitvalue.pages.answers.cost import cost_answer
    from kitvalue.pages.terminal.cost import cost_text

    sheet = usecases.cost_build(folder, plan)
    text, written = cost_text(sheet), []
    if as_csv:
        path = usecases.write_cost_csv(folder, sheet)
        written, text = [str(path)], f"{text}\nWritten: {path}"
    answer: dict[str, Any] = {**cost_answer(sheet), "written": written}
    return Said(answer, text, cautions=sheet.cautions)


@click.command()
@click.argument("plan")
@click.option("--at", callback=amount, metavar="PRICE", help="A gross price to try instead of the suggested one.")
@click.pass_obj
@answering
def price(folder: Path, plan: str, at: Decimal | None) -> Said:
    """What to ask for a finished build, at home and abroad, and what that leaves.

    \b
    Example:
      kitvalue --shop myshop price example --at 2300
    """
    from kitvalue import usecases
    from kitvalue.pages.answers.price import price_answer
    from kitvalue.pages.terminal.price import price_text

    done = usecases.price_build(folder, plan, at)
    return Said(
        price_answer(done.sheet, done.pricing),
        price_text(done.sheet, done.pricing, done.cautions),
        cautions=done.cautions,
    )


@click.command()
@click.argument("plan")
@click.pass_obj
@answering
def compare(folder: Path, plan: str) -> Said:
    """A build against buying an original: by pieces, where they tie, what would turn the answer.

    \b
    Example:
      kitvalue --shop myshop compare example
    """
    from kitvalue import usecases
    from kitvalue.pages.answers.compare import compare_answer
    from kitvalue.pages.terminal.compare import compare_text

    done = usecases.compare_build(folder, plan)
    return Said(
        compare_answer(done.comparison),
        compare_text(done.comparison, done.headline, done.cautions),
        cautions=done.cautions,
    )


@click.command()
@click.pass_obj
@answering
def done(folder: Path) -> Said:
    """Finished builds from done.csv: planned against actual, and the hours and shares that they teach.

    \b
    Example:
      kitvalue --shop myshop done
    """
    from kitvalue.finished import finished_builds
    from kitvalue.pages.answers.outcome import outcome_answer
    from kitvalue.pages.terminal.outcome import outcome_text

    book = finished_builds(folder)
    return Said(
        outcome_answer(book.jobs, book.hours, book.shares, book.currency),
        outcome_text(book.jobs, book.hours, book.shares, book.currency, book.cautions),
        book.problems,
        book.cautions,
    )
