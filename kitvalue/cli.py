"""The command line: parse, call one use case, print, exit."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue import __version__
from kitvalue.cli_answers import Question, Said, answering
from kitvalue.cli_build import compare, cost, done, price
from kitvalue.cli_buying import shortlist, source
from kitvalue.cli_options import day
from kitvalue.cli_pages import card, report, sheet
from kitvalue.intake.problems import Level

if TYPE_CHECKING:
    from kitvalue.jotting import Jotted

MOST_PASTED = 200_000  # bytes; far more than an advert has


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "--version", message="kitvalue %(version)s")
@click.option(
    "--shop", "folder", type=click.Path(path_type=Path), default=Path(), envvar="KITVALUE_SHOP", show_envvar=True,
    help="The shop's folder; the current one if not given.",
)  # fmt: skip
@click.pass_context
def main(context: click.Context, folder: Path) -> None:
    """What a used drum kit is worth, what a rebuild costs landed, and where the two break even.

    \b
    Start with:
      kitvalue new myshop
      kitvalue --shop myshop check
      kitvalue --shop myshop value --series Burren --pieces 5 --condition 3
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that lacks a sign shows "?" instead of failing
    context.obj = folder


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@answering
def new(folder: Path) -> Said:
    """Lay out a shop FOLDER with a worked example.

    \b
    Example:
      kitvalue new myshop
    """
    from kitvalue import usecases

    done = usecases.new_shop(folder)
    listing = "\n".join(f"  {name}" for name in done.files)
    text = f"Laid out {done.folder}:\n{listing}\n\nNow put your own rows into prices.csv, then:\n"
    return Said(
        {"folder": str(done.folder), "files": list(done.files)},
        text + f"  kitvalue --shop {_quoted(done.folder)} check",
    )


def _quoted(path: Path) -> str:
    text = str(path)
    return text if all(c.isalnum() or c in "/._-" for c in text) else f'"{text}"'


@main.command()
@click.option("--rows", is_flag=True, help="Show every row as it was read.")
@click.option("--strict", is_flag=True, help="Refuse a file as a whole when any of its rows is refused.")
@click.pass_obj
@answering
def check(folder: Path, rows: bool, strict: bool) -> Said:
    """Read every file of the shop and list every problem.

    \b
    Example:
      kitvalue --shop myshop check
    """
    from kitvalue import usecases
    from kitvalue.pages.answers.check import check_answer
    from kitvalue.pages.terminal.check import check_text, problem_lines

    done = usecases.check_shop(folder, strict=strict)
    shown = done.rows if rows else None
    return Said(
        check_answer(done.files, done.plans, done.problems, shown),
        check_text(done.files, done.plans, done.problems, shown),
        done.problems,
        problem_lines=problem_lines(done.problems),
        exit_status=2 if any(p.level is not Level.WARNING for p in done.problems) else 0,
    )


@main.command()
@click.argument("text", required=False)
@click.option("--offer", is_flag=True, help="Note it in offers.csv instead of prices.csv.")
@click.option("--yes", is_flag=True, help="Write the row without asking.")
@click.pass_obj
@answering
def jot(folder: Path, text: str | None, offer: bool, yes: bool) -> Said:
    """Turn a pasted advert into a row of prices.csv. TEXT is the advert; without it standard input is read.

    What was understood is printed beside the words it comes from, and nothing is written before you say yes.

    \b
    Example:
      kitvalue --shop myshop jot "Burren, 22x16 16x16 13x9 12x8, 480 EUR VB, pick-up only"
    """
    from kitvalue import usecases
    from kitvalue.pages.answers.jot import jot_answer
    from kitvalue.pages.terminal.jot import jot_text

    jotting = usecases.jot_advert(folder, _pasted() if text is None else text, date.today(), offer=offer)
    if yes:
        usecases.write_jotted(jotting)
    file, row = jotting.path.name, jotting.row
    done = f"Written: row {row.row} of {file}"
    told = jot_text(file, jotting.understood, row, jotting.notices)
    ending = done if yes else "Nothing is written: --yes writes the row."
    return Said(
        jot_answer(file, jotting.understood, row, written=yes),
        f"{told}\n\n{ending}",
        cautions=jotting.notices,
        question=None if yes else Question(told, f"Write it into {file}?", lambda: _written(jotting, done)),
    )


def _written(jotting: Jotted, done: str) -> str:
    from kitvalue import usecases

    usecases.write_jotted(jotting)
    return done


def _pasted() -> str:
    """An advert from standard input; a terminal is told how to end it."""
    if sys.stdin.isatty():
        click.echo("Paste the advert, then press Ctrl-D on a line of its own (Windows: Ctrl-Z and Enter):", err=True)
    return sys.stdin.buffer.read(MOST_PASTED).decode("utf-8-sig", errors="replace")


@main.command()
@click.option("--plain", is_flag=True, help="Least squares without robust weights.")
@click.option("--no-pool", is_flag=True, help="Let every series stand alone.")
@click.pass_obj
@answering
def fit(folder: Path, plain: bool, no_pool: bool) -> Said:
    """Fit the price book and save the fit in out/fit.json.

    \b
    Example:
      kitvalue --shop myshop fit
    """
    from kitvalue import usecases
    from kitvalue.pages.answers.market import fit_answer
    from kitvalue.pages.terminal.market import fit_text

    done = usecases.fit_shop(folder, robust=not plain, pooled=not no_pool)
    market = done.market
    return Said(
        fit_answer(market.fit, market.counts),
        fit_text(market.fit, market.counts, str(done.saved_in)),
        market.problems,
        (*market.cautions, *market.fit.cautions),
    )


@main.command()
@click.option("--series", required=True, help="The series, as shop.toml or the book spells it.")
@click.option("--pieces", required=True, type=click.IntRange(1, 99), help="How many drums, no cymbals or stands.")
@click.option("--condition", required=True, metavar="GRADE", help="As it stands: 1 to 5, halves, or the word.")
@click.option("--finished", metavar="GRADE", help="The condition it will be sold in; as it stands if not given.")
@click.option("--with", "features", multiple=True, metavar="NAME=VALUE", help="A declared feature; may be repeated.")
@click.option("--on", callback=day, metavar="DATE", help="The day of the sale; the book's newest date if not given.")
@click.option("--since", callback=day, metavar="DATE", help="Say how far prices have moved since that day.")
@click.option("--unseen", is_flag=True, help="Value a series that the book does not have as an unknown one.")
@click.option(
    "--range",
    "range_percent",
    type=click.IntRange(1, 99),
    default=80,
    show_default=True,
    metavar="PERCENT",
    help="How many of 100 sales the range is to hold.",
)
@click.pass_obj
@answering
def value(
    folder: Path,
    series: str,
    pieces: int,
    condition: str,
    finished: str | None,
    features: tuple[str, ...],
    on: date | None,
    since: date | None,
    unseen: bool,
    range_percent: int,
) -> Said:
    """What a kit is worth: to buy in, and to sell again finished.

    \b
    Example:
      kitvalue --shop myshop value --series Burren --pieces 5 --condition 3 --finished 5
    """
    from kitvalue import usecases
    from kitvalue.asked import KitWanted
    from kitvalue.pages.answers.market import value_answer
    from kitvalue.pages.terminal.market import value_text

    wanted = KitWanted(series, pieces, condition, finished, features, on)
    done = usecases.value_one(folder, wanted, range_percent, since=since, unseen=unseen)
    return Said(
        value_answer(done.valuation, done.moved, done.currency, done.holding),
        value_text(done.valuation, done.moved, done.currency, done.cautions, done.holding),
        cautions=done.cautions,
    )


main.add_command(cost)
main.add_command(price)
main.add_command(compare)
main.add_command(done)
main.add_command(shortlist)
main.add_command(source)
main.add_command(report)
main.add_command(sheet)
main.add_command(card)
