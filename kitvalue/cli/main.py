"""The command line: parse, call one use case, print, exit."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue import __version__
from kitvalue.cli.answers import Question, Said, shop_command
from kitvalue.cli.build import compare, cost, done, price
from kitvalue.cli.buying import shortlist, source
from kitvalue.cli.new import new
from kitvalue.cli.pages import card, report, sheet
from kitvalue.cli.program import Program
from kitvalue.cli.value import value
from kitvalue.intake.text.problems import Level

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder


MOST_PASTED = 200_000  # bytes; far more than an advert has


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "--version", message="kitvalue %(version)s")
@click.option(
    "--shop", "folder", type=click.Path(path_type=Path), default=Path(), envvar="KITVALUE_SHOP", show_envvar=True,
    help="The shop's folder, before the command; the current folder if not given.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Answer with one JSON object; it may follow the command, too.")
@click.pass_context
def main(context: click.Context, folder: Path, as_json: bool) -> None:
    """What a used drum kit is worth, what a rebuild costs landed, and where the two break even.

    \b
    Start with:
      kitvalue new myshop
      kitvalue --shop myshop check
      kitvalue --shop myshop value --series Burren \\
        --pieces 5 --condition 3

    Answers go to standard output, problems to standard error. With --json a command answers with one object.

    \b
    Exit status:
      0  done
      1  no answer: too few rows, no such series, a price
         that cannot be met
      2  a file or the command line is wrong
    """
    from kitvalue.commands.folder import ShopFolder

    context.obj = ShopFolder(folder)


@shop_command
@click.option("--rows", is_flag=True, help="Show every row as it was read.")
@click.option("--strict", is_flag=True, help="Refuse a file as a whole when any of its rows is refused.")
def check(folder: ShopFolder, rows: bool, strict: bool) -> Said:
    """Read every file of the shop and list every problem.

    Rows are numbered as the spreadsheet shows them. A refused row is left out and the others are used; a warning says
    how a row was taken. Exit status 2 where anything is refused.

    \b
    Reads   every file of the shop
    Writes  nothing

    \b
    Example:
      kitvalue --shop myshop check
    """
    from kitvalue.commands import check as command
    from kitvalue.pages.answers import check_answer
    from kitvalue.pages.terminal.arrival import check_text, problem_lines

    done = command.check(folder, strict=strict)
    shown = done.rows if rows else None
    return Said(
        check_answer(done.files, done.plans, done.problems, shown),
        check_text(done.files, done.plans, done.problems, shown, done.paste),
        done.problems,
        problem_lines=problem_lines(done.problems, done.paste),
        exit_status=2 if any(p.level is not Level.WARNING for p in done.problems) else 0,
    )


@shop_command
@click.argument("text", required=False)
@click.option("--offer", is_flag=True, help="Note it in offers.csv, the kits on offer now, instead of prices.csv.")
@click.option(
    "--yes", is_flag=True, help="Write the row without asking; without it and without a terminal nothing is written."
)
def jot(folder: ShopFolder, text: str | None, offer: bool, yes: bool) -> Said:
    """Turn a pasted advert into a row of prices.csv. TEXT is the advert; without it standard input is read.

    What was understood is printed beside the words it comes from, and nothing is written before you say yes. What
    the advert does not say stays blank. [jot.words] in shop.toml teaches further words.

    \b
    Reads   shop.toml, prices.csv (offers.csv with --offer)
    Writes  one row at the end of that file, if you agree

    \b
    Example:
      kitvalue --shop myshop jot \\
        "Burren, 22x16 16x16 13x9 12x8, 480 EUR VB, mend"
    """
    from kitvalue.commands import jot as command
    from kitvalue.pages.answers import jot_answer
    from kitvalue.pages.terminal.arrival import jot_text

    jotting = command.jot(folder, _pasted() if text is None else text, date.today(), offer=offer)
    file, row = jotting.file, jotting.row

    def write() -> str:
        command.write_jotted(folder, jotting)
        return f"Written: row {row.row} of {file}"

    ending = write() if yes else "Nothing is written: --yes writes the row."
    told = jot_text(file, jotting.understood, row, jotting.notices)
    return Said(
        jot_answer(file, jotting.understood, row, written=yes),
        f"{told}\n\n{ending}",
        cautions=jotting.notices,
        question=None if yes else Question(told, f"Write it into {file}?", write),
    )


def _pasted() -> str:
    """An advert from standard input; a terminal is told how to end it."""
    if sys.stdin is None:  # it was closed
        return ""
    if sys.stdin.isatty():
        click.echo("Paste the advert, then press Ctrl-D on a line of its own (Windows: Ctrl-Z and Enter):", err=True)
    return sys.stdin.buffer.read(MOST_PASTED).decode("utf-8-sig", errors="replace")


@shop_command
@click.option("--plain", is_flag=True, help="Least squares without robust weights: every row counts in full.")
@click.option("--no-pool", is_flag=True, help="Let every series stand alone, however few its rows.")
def fit(folder: ShopFolder, plain: bool, no_pool: bool) -> Said:
    """Fit the price book and save the fit in out/fit.json.

    Tells what moves a price, each effect with its 95 % range, how well prices not seen are foretold, and which rows are
    far from all others. It needs 12 usable rows. Other commands fit by themselves when a file has changed.

    \b
    Reads   shop.toml, prices.csv, rates.csv
    Writes  out/fit.json

    \b
    Example:
      kitvalue --shop myshop fit
    """
    from kitvalue.commands import fit as command
    from kitvalue.pages.answers import fit_answer
    from kitvalue.pages.terminal.market import fit_text

    done = command.fit(folder, robust=not plain, pooled=not no_pool)
    market = done.market
    return Said(
        fit_answer(market.fit, market.counts),
        fit_text(market.fit, market.counts, str(done.saved_in)),
        market.problems,
        (*market.cautions, *market.fit.cautions),
    )


for command in (check, jot, fit, new, value, cost, price, compare, done, shortlist, source, report, sheet, card):
    main.add_command(command)
