"""The buying commands: `shortlist` and `source`."""

from __future__ import annotations

import sys
from contextlib import nullcontext
from datetime import date
from typing import TYPE_CHECKING

import click

from kitvalue.cli.answers import Said, day_of_sale, plan_names, shop_command

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder


@shop_command
@click.option(
    "--plan", shell_complete=plan_names, metavar="PLAN", help="Judge each offer as a donor of this build, too."
)
@click.option(
    "--on", type=day_of_sale, metavar="DATE",
    help="The day of the sale, such as 2026-11-25; the book's newest date if not given.",
)  # fmt: skip
@click.option("--csv", "as_csv", is_flag=True, help="Write the table to out/shortlist.csv as well.")
@click.option("--details", is_flag=True, help="Show every use by every VAT route as well.")
def shortlist(folder: ShopFolder, plan: str | None, on: date | None, as_csv: bool, details: bool) -> Said:
    """Every offer: what it is worth and up to what price it pays. The most profitable comes first.

    Each offer is judged sold on (as it is, or as its finished and hours say), in parts and, with --plan, rebuilt, by
    each VAT route. Stop at: the highest price, freight on top, that leaves the margin on average and loses no more
    often than loss_chance. Open at: what to name first. Profit and chance of a loss are at the price that it will
    probably be had for.

    \b
    Reads   shop.toml, offers.csv, parts.csv, builds/,
            out/fit.json (else prices.csv)
    Writes  with --csv out/shortlist.csv

    \b
    Example:
      kitvalue --shop myshop shortlist --plan example
    """
    from kitvalue.commands import shortlist as command
    from kitvalue.pages.answers import shortlist_answer
    from kitvalue.pages.terminal.buying import shortlist_text

    quiet = sys.stderr is None or not sys.stderr.isatty()
    with nullcontext() if quiet else click.progressbar(length=100, label="Judging offers", file=sys.stderr) as bar:
        tell = None if bar is None else (lambda done: bar.update(int(100 * done) - bar.pos))
        done = command.shortlist(folder, plan, on, csv=as_csv, tell=tell)
    ranked, written = done.shortlist, None if done.written is None else str(done.written)
    return Said(
        lambda: {**shortlist_answer(ranked), "written": written},
        lambda: shortlist_text(ranked, written, details=details),
        done.problems,
        ranked.cautions,
        verdicts=[ranked.verdict.sentence],
    )


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option(
    "--best", type=click.IntRange(1, 20), default=1, show_default=True, metavar="N",
    help="How many different answers, the cheapest first.",
)  # fmt: skip
@click.option("--write", metavar="FILE", help="Save the cheapest answer as a new plan, such as builds/NAME.toml.")
def source(folder: ShopFolder, plan: str, best: int, write: str | None) -> Said:
    """Which offers and new shells make a plan's drums at least cost. Shells may be cut down, never lengthened.

    PLAN is a name in builds/ or a path. Drums left over count with what they bring. The answer is proven the
    cheapest, or told with the gap that is left. [buying] in shop.toml sets limits. Exit status 1 where the drums
    cannot be had.

    \b
    Reads   shop.toml, offers.csv, parts.csv, builds/PLAN.toml
    Writes  with --write the new plan

    \b
    Example:
      kitvalue --shop myshop source example --best 3
    """  # fmt: skip
    from kitvalue.commands import source as command
    from kitvalue.pages.answers import source_answer
    from kitvalue.pages.terminal.buying import source_text

    done = command.source(folder, plan, best, write)
    sourcing, written = done.sourcing, None if done.written is None else str(done.written)
    answer, text = source_answer(sourcing, written), source_text(sourcing, written)
    status = 1 if sourcing.answers[0].status == "infeasible" else 0
    return Said(answer, text, done.problems, sourcing.cautions, exit_status=status)
