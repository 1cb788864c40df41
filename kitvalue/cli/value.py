"""`value` on the command line: what a kit is worth, and what is asked for it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import click

from kitvalue.cli.answers import DRUMS, Said, Whole, amount, bench_hours, day, series_names, shop_command

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder


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
@click.option("--on", type=day, metavar="DATE", help="The day of the sale; the book's newest date if not given.")
@click.option("--since", type=day, metavar="DATE", help="Say by how many percent prices have moved since that day.")
@click.option("--unseen", is_flag=True, help="Value a series that the book does not have as an unknown one.")
@click.option(
    "--range", "range_percent", type=Whole(1, 99, "a whole percentage"), default=80, show_default=True,
    metavar="PERCENT", help="How many of 100 sales the range is to hold.",
)  # fmt: skip
def value(
    folder: ShopFolder, series: str, pieces: int, condition: str, finished: str | None, features: tuple[str, ...],
    asked: Decimal | None, hours: Decimal | None, parts: Decimal | None, on: date | None, since: date | None,
    unseen: bool, range_percent: int,
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
    from kitvalue.decisions.asked import AskedPrice, KitNamed
    from kitvalue.pages.answers import value_answer
    from kitvalue.pages.terminal.market import value_text

    if asked is None and (hours is not None or parts is not None):
        raise click.UsageError("--hours and --parts say what is done to a kit that is asked for: give --asked, too")
    named = KitNamed(series, pieces, condition, finished, features, on)
    price = None if asked is None else AskedPrice(asked, hours, parts)
    done = command.value(folder, named, range_percent, since=since, unseen=unseen, asked=price)
    said = ""
    if done.asked is not None:
        from kitvalue.pages.terminal.buying import asked_text

        said = asked_text(done.asked, done.valuation.buy_in.typical)
    return Said(
        value_answer(done.valuation, done.moved, done.currency, done.holding, done.asked),
        value_text(done.valuation, done.moved, done.currency, done.cautions, done.holding, said),
        cautions=done.cautions,
    )
