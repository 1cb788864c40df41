"""The commands of a build: what it costs, what to ask, how it stands against an original, how it turned out."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import click

from kitvalue.cli.answers import Said, amount, plan_names, shop_command

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option("--csv", "as_csv", is_flag=True, help="Write the lines to out/cost-PLAN.csv as well.")
def cost(folder: ShopFolder, plan: str, as_csv: bool) -> Said:
    """What a build costs landed, and what it must sell for. PLAN is a name in builds/ or a path.

    Money is net in the shop's currency where nothing else is said, to the cent. The last table gives, by each VAT
    route, the price of no profit and the floor that leaves your margin. It needs no price book.

    \b
    Reads   shop.toml, builds/PLAN.toml
    Writes  with --csv out/cost-PLAN.csv

    \b
    Example:
      kitvalue --shop myshop cost example
    """
    from kitvalue.commands import cost as command
    from kitvalue.pages.answers import cost_answer
    from kitvalue.pages.terminal.builds import cost_text

    sheet = command.cost(folder, plan)
    text, written = cost_text(sheet), []
    if as_csv:
        path = command.write_cost_csv(folder, sheet)
        written, text = [str(path)], f"{text}\nWritten: {path}"
    answer: dict[str, Any] = {**cost_answer(sheet), "written": written}
    return Said(answer, text, cautions=sheet.cautions)


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option("--at", type=amount, metavar="PRICE", help="A price to try, VAT included, instead of the suggested one.")
def price(folder: ShopFolder, plan: str, at: Decimal | None) -> Said:
    """What to ask for a finished build, and what that leaves. PLAN is a name in builds/ or a path.

    The suggested price is the smaller of what the market pays for such a kit and of what makes a customer indifferent
    to an original at the door, but never under the floor that leaves your margin. Prices hold VAT where nothing else
    is said.

    \b
    Reads   shop.toml, builds/PLAN.toml, out/fit.json
            (else prices.csv)
    Writes  out/fit.json where the files have changed

    \b
    Example:
      kitvalue --shop myshop price example --at 2300
    """
    from kitvalue.commands import price as command
    from kitvalue.pages.answers import price_answer
    from kitvalue.pages.terminal.builds import price_text

    done = command.price(folder, plan, at)
    return Said(
        price_answer(done.sheet, done.pricing),
        price_text(done.sheet, done.pricing, done.cautions),
        cautions=done.cautions,
    )


@shop_command
@click.argument("plan", shell_complete=plan_names)
def compare(folder: ShopFolder, plan: str) -> Said:
    """Hold a build against buying an original. By pieces, where they tie, what would turn the answer.

    PLAN is a name in builds/ or a path. Both stand at the buyer's door: the build with freight and VAT, the original
    with freight, duty and what it still needs. One unknown at a time is moved by a tenth, the one that moves the
    profit most comes first.

    \b
    Reads   shop.toml, builds/PLAN.toml, out/fit.json
            (else prices.csv)
    Writes  out/fit.json where the files have changed

    \b
    Example:
      kitvalue --shop myshop compare example
    """
    from kitvalue.commands import compare as command
    from kitvalue.pages.answers import compare_answer
    from kitvalue.pages.terminal.builds import compare_text

    done = command.compare(folder, plan)
    return Said(
        compare_answer(done.comparison),
        compare_text(done.comparison, done.headline, done.cautions),
        cautions=done.cautions,
    )


@shop_command
def done(folder: ShopFolder) -> Said:
    """Finished builds: planned against actual, and what they teach.

    The hours of operations and the share of an original's price that your jobs teach are printed as settings to paste;
    nothing is changed for you.

    \b
    Reads   shop.toml, done.csv, builds/, out/fit.json
            (else prices.csv)
    Writes  out/fit.json where the files have changed

    \b
    Example:
      kitvalue --shop myshop done
    """
    from kitvalue.commands import done as command
    from kitvalue.pages.answers import outcome_answer
    from kitvalue.pages.terminal.builds import outcome_text

    book = command.done(folder)
    return Said(
        outcome_answer(book.jobs, book.hours, book.shares, book.currency),
        outcome_text(book.jobs, book.hours, book.shares, book.currency, book.cautions),
        book.problems,
        book.cautions,
    )
