"""The commands of the shop's files and of the market: `new`, `check`, `jot`, `take`, `fit` and `value`."""

from __future__ import annotations

import shlex
import sys
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue.cli.answers import (
    DRUMS,
    Question,
    Said,
    Whole,
    amount,
    bench_hours,
    day,
    day_of_sale,
    is_terminal,
    say,
    series_names,
    shop_command,
)
from kitvalue.intake.text.problems import Level

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder
    from kitvalue.intake.arrival.questions import Question as Open

MOST_PASTED = 200_000  # bytes; far more than an advert has


class _Asker:
    """Asks one question after the other on the terminal, until somebody has had enough."""

    def __init__(self) -> None:
        self.stopped = False

    def __call__(self, question: Open) -> str | None:
        from kitvalue.pages.terminal.arrival import STOP, question_text

        if self.stopped:
            return None
        say(question_text(question), end=False)
        try:
            while not (key := click.getchar().strip("\r\n")):
                pass  # Enter behind an answer is none to the next question
        except EOFError:
            key = STOP
        answer = question.choices.get(key.casefold())
        self.stopped = answer is None and key.casefold() in (STOP, "\x04")
        say(f" {answer or ('stop' if self.stopped else 'left open')}")
        return answer


@shop_command
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--prices", "spreadsheet", type=click.Path(path_type=Path), metavar="CSV",
    help="Lay it out from your own spreadsheet of prices, saved as CSV.",
)  # fmt: skip
def new(_: ShopFolder, folder: Path, spreadsheet: Path | None) -> Said:
    """Lay out a shop FOLDER, as an example or from a spreadsheet.

    Without --prices its invented prices, offers, parts and plan answer at once, and the remarks in shop.toml and
    builds/example.toml say what each key means. With --prices your rows become prices.csv as they are, and shop.toml
    knows your headers, series and words. What a word likely means is written in as a guess, to be
    looked at, and used until you change it; on a terminal you are asked for what only you can say, one key an answer,
    and what you leave stands open there. A folder that is not empty is refused.

    \b
    Writes  FOLDER/shop.toml, prices.csv, offers.csv,
            parts.csv, done.csv, builds/example.toml

    \b
    Example:
      kitvalue new demo
      kitvalue new myshop --prices kits.csv
    """
    from kitvalue.commands import new as command
    from kitvalue.pages.answers import arrival_answer
    from kitvalue.pages.terminal import arrival

    name = str(folder)
    shop = shlex.join(["kitvalue", "--shop", name])
    if spreadsheet is None:
        files = command.lay_out(folder)
        return Said({"folder": name, "files": list(files)}, arrival.laid_out_text(name, files, shop))
    here = click.get_current_context()
    as_json = here.params["as_json"] or here.find_root().params["as_json"]
    asking = is_terminal(sys.stdin, sys.stdout) and not as_json
    done = command.take_over(folder, spreadsheet, date.today(), _Asker() if asking else None)
    counts, problems = done.check.files, done.check.problems
    made = arrival.made_text(spreadsheet.name, done.sheet, done.series, done.currency, done.settings.guesses)
    then = arrival.next_text(shop, counts[0], problems, done.sheet, done.series, done.settings)
    return Said(
        arrival_answer(name, done.files, done.sheet, done.series, done.currency, counts, done.settings),
        f"{made}\n\n{then}",
        problems,
        problem_lines=(),  # what is to be done about them is the text
    )


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
        lambda: check_answer(done.files, done.plans, done.problems, shown),
        lambda: check_text(done.files, done.plans, done.problems, shown, done.paste),
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

    Several adverts in one paste, with blank lines, rules or numbers between them, become a row each. Adverts in
    English, German, French, Dutch, Italian and Spanish are understood.

    \b
    Reads   shop.toml, prices.csv (offers.csv with --offer)
    Writes  one row at the end of that file, if you agree

    \b
    Example:
      kitvalue --shop myshop jot \\
        "Burren, 22x16 16x16 13x9 12x8, 480 EUR VB, mend"
    """
    from kitvalue.commands import jot as command
    from kitvalue.intake.adverts.jot import Jotted
    from kitvalue.intake.text.words import rows_phrase
    from kitvalue.pages.answers import jot_answer
    from kitvalue.pages.terminal.arrival import jot_text
    from kitvalue.pages.terminal.table import wrapped

    if text is None and sys.stdin is not None:  # else it was closed
        if sys.stdin.isatty():
            click.echo(
                "Paste the advert, then press Ctrl-D on a line of its own (Windows: Ctrl-Z and Enter):", err=True
            )
        text = sys.stdin.buffer.read(MOST_PASTED).decode("utf-8-sig", errors="replace")
    jottings = command.jot_each(folder, text or "", date.today(), offer=offer)
    noted = [one for one in jottings if isinstance(one, Jotted)]
    last, rows = noted[-1], "row" if len(noted) == 1 else f"{len(noted)} rows"

    def write() -> str:
        command.write_jotted(folder, last)
        return f"Written: {rows_phrase([one.row.row for one in noted])} of {last.file}"

    ending = write() if yes else f"Nothing is written: --yes writes the {rows}."
    verdicts = command.offer_verdicts(folder, noted) if offer else {}
    told = "\n\n".join((*(wrapped(one.sentence, "") for one in verdicts.values()), jot_text(jottings)))
    it = "it" if len(noted) == 1 else f"these {rows}"
    return Said(
        jot_answer(jottings, verdicts, written=yes),
        f"{told}\n\n{ending}",
        cautions=[notice for one in noted for notice in one.notices],
        question=None if yes else Question(told, f"Write {it} into {last.file}?", write),
    )


@shop_command
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--yes", is_flag=True, help="Write the rows without asking; without it and without a terminal nothing is written."
)
def take(folder: ShopFolder, file: Path, yes: bool) -> Said:
    """Merge FILE, a newer export of your spreadsheet, into prices.csv.

    Rows that stand there already are left, new ones are set behind the last, changed ones are shown with the old and
    the new value and changed in their place; of the other rows no byte changes. Where nothing tells a change from
    another kit, the row is shown and not taken. Headers, delimiter, encoding and decimal sign of FILE may be others
    than the book's. The book as it was is kept in out/before/.

    \b
    Reads   FILE, shop.toml, prices.csv, rates.csv
    Writes  prices.csv, if you agree

    \b
    Example:
      kitvalue --shop myshop take export.csv
    """
    from kitvalue.commands import take as command
    from kitvalue.pages.answers import take_answer
    from kitvalue.pages.terminal.arrival import problem_lines, take_text

    taken = command.take(folder, file)

    def write() -> str:
        command.write_taken(folder, taken)
        return "Written: prices.csv"

    told = take_text(taken)
    ending = "There is nothing to write."
    if taken.brings:
        ending = write() if yes else "Nothing is written: --yes writes the rows."
    return Said(
        lambda: take_answer(taken, written=yes and taken.brings),
        f"{told}\n\n{ending}",
        taken.problems,
        taken.notices,
        problem_lines=problem_lines(taken.problems),
        question=Question(told, "Write that into prices.csv?", write) if taken.brings and not yes else None,
    )


@shop_command
@click.option("--plain", is_flag=True, help="Least squares without robust weights: every row counts in full.")
@click.option("--no-pool", is_flag=True, help="Let every series stand alone, however few its rows.")
def fit(folder: ShopFolder, plain: bool, no_pool: bool) -> Said:
    """Fit the price book and save the fit in out/fit.json.

    Tells what moves a price, each effect with its 95 % range, how well prices not seen are predicted, and which rows
    are far from all others. It needs 12 usable rows. Other commands fit by themselves when a file has changed.

    \b
    Reads   shop.toml, prices.csv, rates.csv
    Writes  out/fit.json

    \b
    Example:
      kitvalue --shop myshop fit
    """
    from kitvalue.commands import fit as command
    from kitvalue.commands.folder import FIT_FILE, OUT
    from kitvalue.pages.answers import fit_answer
    from kitvalue.pages.terminal.market import fit_text

    market = command.fit(folder, robust=not plain, pooled=not no_pool)
    return Said(
        fit_answer(market.fit, market.counts),
        fit_text(market.fit, market.counts, str(folder.path / OUT / FIT_FILE)),
        market.problems,
        (*market.cautions, *market.fit.cautions),
    )


@shop_command
@click.option(
    "--series", required=True, shell_complete=series_names, help="The series, as shop.toml or the book spells it."
)
@click.option("--pieces", required=True, type=DRUMS, help="How many drums, no cymbals or stands.")
@click.option(
    "--condition", required=True, metavar="GRADE",
    help="As it stands: 5 wipe, 4 freshen, 3 mend, 2 remake, 1 harvest, or a half; a word of yours for one of them.",
)  # fmt: skip
@click.option("--finished", metavar="GRADE", help="The condition it will be sold in; as it stands if not given.")
@click.option(
    "--with", "features", multiple=True, metavar="NAME=VALUE",
    help="A feature declared in shop.toml, such as hardware=yes; may be repeated. At the book's average if not given.",
)  # fmt: skip
@click.option(
    "--asked", type=amount, metavar="PRICE",
    help="What is asked for it: is that much, and up to what price it pays.",
)  # fmt: skip
@click.option(
    "--hours", type=bench_hours, metavar="HOURS",
    help="Bench hours to restore it, on top of prepare; needs --asked.",
)  # fmt: skip
@click.option("--parts", type=amount, metavar="MONEY", help="Heads and parts bought for it, net; needs --asked.")
@click.option("--freight", type=amount, metavar="MONEY", help="What it costs to get it here; needs --asked.")
@click.option("--details", is_flag=True, help="Every way to sell it and VAT route as well; needs --asked.")
@click.option(
    "--on", type=day_of_sale, metavar="DATE", help="The day of the sale; the book's newest date if not given."
)
@click.option("--since", type=day, metavar="DATE", help="Say by how many percent prices have moved since that day.")
@click.option("--unseen", is_flag=True, help="Value a series that the book does not have as an unknown one.")
@click.option(
    "--range", "range_percent", type=Whole(1, 99, "a whole percentage"), default=80, show_default=True,
    metavar="PERCENT", help="How many of 100 sales the range is to hold.",
)  # fmt: skip
def value(
    folder: ShopFolder, series: str, pieces: int, condition: str, finished: str | None, features: tuple[str, ...],
    asked: Decimal | None, hours: Decimal | None, parts: Decimal | None, freight: Decimal | None, on: date | None,
    since: date | None, unseen: bool, range_percent: int, details: bool,
) -> Said:  # fmt: skip
    """What a kit is worth: to buy in, and to sell again finished. With --asked: whether that is much, and the most to
    pay, as shortlist would say it of an offer that is sold on.

    All figures are in the shop's currency. One sale: four of five such sales fall inside. Market level: how well the
    typical price itself is known. The five nearest sightings are each adjusted to this kit.

    \b
    Reads   shop.toml, out/fit.json (else prices.csv)
    Writes  out/fit.json where the files have changed

    \b
    Example:
      kitvalue --shop myshop value --series Burren \\
        --pieces 5 --condition 3 --finished 5 --asked 350
    """
    from kitvalue.commands import value as command
    from kitvalue.decisions.named import AskedPrice, KitNamed
    from kitvalue.pages.answers import value_answer
    from kitvalue.pages.terminal.market import value_text

    if asked is None and (details or any(one is not None for one in (hours, parts, freight))):
        raise click.UsageError("--hours, --parts, --freight and --details are of a kit that is asked for: add --asked")
    named = KitNamed(series, pieces, condition, finished, features, on)
    price = None if asked is None else AskedPrice(asked, hours, parts, freight)
    done = command.value(folder, named, range_percent, since=since, unseen=unseen, asked=price)
    said = verdict = ""
    if done.asked is not None:
        from kitvalue.pages.terminal.buying import asked_text

        verdict = done.asked.verdict.sentence
        said = asked_text(done.asked, done.valuation.buy_in.typical, details=details)
    return Said(
        value_answer(done.valuation, done.moved, done.currency, done.holding, done.asked),
        value_text(done.valuation, done.moved, done.currency, done.cautions, done.holding, verdict, said),
        cautions=done.cautions,
    )
