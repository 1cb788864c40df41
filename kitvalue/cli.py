"""The command line: parse, call one use case, print, exit."""

from __future__ import annotations

import sys
from datetime import date
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

import click

from kitvalue import __version__, usecases
from kitvalue.asked import KitWanted
from kitvalue.cli_answers import Said, answering
from kitvalue.intake.problems import Level


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
    from kitvalue.pages.answers.check import check_answer
    from kitvalue.pages.terminal.check import check_text, problem_lines

    done = usecases.check_shop(folder, strict=strict)
    shown = done.rows if rows else None
    return Said(
        check_answer(done.files, shown),
        check_text(done.files, done.problems, shown),
        done.problems,
        problem_lines=problem_lines(done.problems),
        exit_status=2 if any(p.level is not Level.WARNING for p in done.problems) else 0,
    )


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


def _day(context: click.Context, parameter: click.Parameter, text: str | None) -> date | None:
    """A date option, read as the files' dates are."""
    from kitvalue.intake.dates import Day, read_date

    if text is None:
        return None
    read = read_date(text)
    if not isinstance(read, Day):
        raise click.BadParameter(f'"{text}" is no date that can be read in one way; write for instance 2026-11-25')
    return read.date


@main.command()
@click.option("--series", required=True, help="The series, as shop.toml or the book spells it.")
@click.option("--pieces", required=True, type=click.IntRange(1, 99), help="How many drums, no cymbals or stands.")
@click.option("--condition", required=True, metavar="GRADE", help="As it stands: 1 to 5, halves, or the word.")
@click.option("--finished", metavar="GRADE", help="The condition it will be sold in; as it stands if not given.")
@click.option("--with", "features", multiple=True, metavar="NAME=VALUE", help="A declared feature; may be repeated.")
@click.option("--on", callback=_day, metavar="DATE", help="The day of the sale; the book's newest date if not given.")
@click.option("--since", callback=_day, metavar="DATE", help="Say how far prices have moved since that day.")
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
    from kitvalue.pages.answers.market import value_answer
    from kitvalue.pages.terminal.market import value_text

    wanted = KitWanted(series, pieces, condition, finished, features, on)
    done = usecases.value_one(folder, wanted, range_percent, since=since, unseen=unseen)
    return Said(
        value_answer(done.valuation, done.moved, done.currency),
        value_text(done.valuation, done.moved, done.currency, done.cautions),
        cautions=done.cautions,
    )


@main.command()
@click.argument("plan")
@click.pass_obj
@answering
def cost(folder: Path, plan: str) -> Said:
    """What a build costs landed, line by line, and what it must sell for. PLAN is a name in builds/ or a path.

    \b
    Example:
      kitvalue --shop myshop cost example
    """
    from kitvalue.pages.answers.cost import cost_answer
    from kitvalue.pages.terminal.cost import cost_text

    sheet = usecases.cost_build(folder, plan)
    return Said(cost_answer(sheet), cost_text(sheet), cautions=sheet.cautions)


def _amount(context: click.Context, parameter: click.Parameter, text: str | None) -> Decimal | None:
    """A money option above 0, through its text."""
    if text is None:
        return None
    try:
        found = Decimal(text)
    except InvalidOperation as why:
        raise click.BadParameter(f'"{text}" is no amount; write for instance 2300 or 2300.50') from why
    if not found.is_finite() or not 0 < found < 10**9:
        raise click.BadParameter(f'"{text}" is no price; write an amount above 0')
    return found


@main.command()
@click.argument("plan")
@click.option("--at", callback=_amount, metavar="PRICE", help="A gross price to try instead of the suggested one.")
@click.pass_obj
@answering
def price(folder: Path, plan: str, at: Decimal | None) -> Said:
    """What to ask for a finished build, at home and abroad, and what that leaves.

    \b
    Example:
      kitvalue --shop myshop price example --at 2300
    """
    from kitvalue.pages.answers.price import price_answer
    from kitvalue.pages.terminal.price import price_text

    done = usecases.price_build(folder, plan, at)
    return Said(
        price_answer(done.sheet, done.pricing),
        price_text(done.sheet, done.pricing, done.cautions),
        cautions=done.cautions,
    )


@main.command()
@click.argument("plan")
@click.pass_obj
@answering
def compare(folder: Path, plan: str) -> Said:
    """A build against buying an original: by pieces, where they tie, what would turn the answer.

    \b
    Example:
      kitvalue --shop myshop compare example
    """
    from kitvalue.pages.answers.compare import compare_answer
    from kitvalue.pages.terminal.compare import compare_text

    done = usecases.compare_build(folder, plan)
    return Said(
        compare_answer(done.comparison),
        compare_text(done.comparison, done.headline, done.cautions),
        cautions=done.cautions,
    )


@main.command()
@click.pass_obj
@answering
def report(folder: Path) -> Said:
    """Write the owner's page, everything on one sheet: out/report.html.

    \b
    Example:
      kitvalue --shop myshop report
    """
    done = usecases.report_shop(folder, date.today())
    answer: dict[str, Any] = {"written": [str(done.path)]}
    return Said(answer, f"Written: {done.path}", done.problems, done.cautions)
