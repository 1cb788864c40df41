"""The commands of builds: what one costs, what to ask, how it stands against an original, how it turned out; and of the
pages: the owner's report, the customer's sheet, the pocket card."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue.cli.answers import DRUMS, Said, amount, charge, plan_names, shop_command

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kitvalue.commands.folder import ShopFolder
    from kitvalue.commands.writing import Printed
    from kitvalue.decisions.pricing import PriceSheet


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option("--csv", "as_csv", is_flag=True, help="Write the lines to out/cost-PLAN.csv as well.")
@click.option("--details", is_flag=True, help="Show every line, the buying list and the strips to cut as well.")
def cost(folder: ShopFolder, plan: str, as_csv: bool, details: bool) -> Said:
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
    written = [str(command.write_cost_csv(folder, sheet))] if as_csv else []
    verdict = command.build_verdict(folder, plan)
    text = "\n".join((cost_text(sheet, verdict, details=details), *(f"Written: {path}" for path in written)))
    sentences = [] if verdict is None else [verdict.sentence]
    answer = {**cost_answer(sheet, verdict), "written": written}
    return Said(answer, text, cautions=sheet.cautions, verdicts=sentences)


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option("--at", type=amount, metavar="PRICE", help="A price to try, VAT included, instead of the suggested one.")
@click.option("--details", is_flag=True, help="Show how it comes about and the prices elsewhere as well.")
def price(folder: ShopFolder, plan: str, at: Decimal | None, details: bool) -> Said:
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

    made = command.price(folder, plan, at)
    text = price_text(made.sheet, made, made.cautions, details=details)
    answer = price_answer(made.sheet, made)
    return Said(answer, text, cautions=made.cautions, verdicts=[made.verdict.sentence])


@shop_command
@click.argument("plans", metavar="PLAN...", nargs=-1, required=True, shell_complete=plan_names)
@click.option(
    "--against", type=amount, metavar="PRICE", help="One original that a customer names: what is asked for it, gross."
)
@click.option("--pieces", type=DRUMS, help="How many drums that original has; the plan's if not given.")
@click.option("--condition", metavar="GRADE", help="Its condition as it stands; the plan's original's if not given.")
@click.option("--freight", type=charge, metavar="MONEY", help="What it costs to get it here; the plan's if not given.")
@click.option(
    "--repair", type=charge, metavar="MONEY",
    help="What puts it right; the plan's by its drums if not given, nothing where it is as good as the build.",
)  # fmt: skip
@click.option("--details", is_flag=True, help="Show the tie prices, what would turn the answer and both like for like.")
def compare(
    folder: ShopFolder, plans: tuple[str, ...], against: Decimal | None, pieces: int | None, condition: str | None,
    freight: Decimal | None, repair: Decimal | None, details: bool,
) -> Said:  # fmt: skip
    """Hold a build against buying an original. By pieces, where they tie, what would turn the answer.
    With --against: the original that a customer names, and which is the better buy.

    PLAN is a name in builds/ or a path. Both stand at the buyer's door: the build with freight and VAT, the original
    with freight, duty and what it still needs. One unknown at a time is moved by a tenth, the one that moves the
    profit most comes first. Several plans stand side by side instead, each at the price asked for it.

    \b
    Reads   shop.toml, builds/PLAN.toml, out/fit.json
            (else prices.csv)
    Writes  out/fit.json where the files have changed

    \b
    Example:
      kitvalue --shop myshop compare example
      kitvalue --shop myshop compare example \\
        --against 4100 --pieces 5 --condition 2 \\
        --freight 120 --repair 300
    """
    from kitvalue.commands import compare as command
    from kitvalue.decisions.named import OriginalNamed
    from kitvalue.pages.answers import compare_answer
    from kitvalue.pages.terminal.builds import compare_text

    if len(plans) > 1:
        if against is not None:
            raise click.UsageError("--against holds one plan against an original: name one")
        return _side_by_side(command.variants(folder, plans))
    if against is None and any(one is not None for one in (pieces, condition, freight, repair)):
        raise click.UsageError("--pieces, --condition, --freight and --repair are of an original: add --against PRICE")
    named = None if against is None else OriginalNamed(against, pieces, None, freight, repair)
    made = command.compare(folder, plans[0], named, condition)
    text = compare_text(made, made.cautions, details=details)
    return Said(compare_answer(made), text, cautions=made.cautions, verdicts=[made.verdict.sentence])


def _side_by_side(sheets: Sequence[PriceSheet]) -> Said:
    from kitvalue.pages.answers import variants_answer
    from kitvalue.pages.terminal.builds import variants_text

    cautions = tuple(dict.fromkeys(caution for sheet in sheets for caution in sheet.cautions))
    return Said(variants_answer(sheets), variants_text(sheets, cautions), cautions=cautions)


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


def _said(done: Printed) -> Said:
    from kitvalue.pages.terminal.table import wrapped

    written = [str(path) for path in done.written]
    warnings = [f"Take care: {caution.text}" for caution in done.cautions if caution.code == "original_wins"]
    lines = [*([f"{wrapped(done.said, '')}\n"] if done.said else []), *(f"Written: {path}" for path in written)]
    return Said({"written": written}, "\n".join(lines), cautions=done.cautions, warnings=warnings)


@shop_command
@click.option(
    "--charts", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
    help="Write the report's pictures into DIR as well, each as SVG and PNG.",
)  # fmt: skip
def report(folder: ShopFolder, charts: Path | None) -> Said:
    """Write out/report.html, the owner's page with everything on it.

    The market, how well it is known, unusual rows, the offers, every build against its original. One file without
    scripts; nothing is fetched from a network. It prints on A4.

    \b
    Reads   every file of the shop
    Writes  out/report.html; with --charts pictures in DIR

    \b
    Example:
      kitvalue --shop myshop report --charts pictures
    """
    from kitvalue.commands import report as command

    done = command.report(folder, date.today(), charts)
    written = [str(path) for path in done.written]
    more = "" if charts is None else f"\nand {len(written) - 1} pictures in {charts}"
    return Said({"written": written}, f"Written: {written[0]}{more}", done.problems, done.cautions)


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option("--at", type=amount, metavar="PRICE", help="Another price than the plan's, VAT included.")
@click.option("--hide-costs", is_flag=True, help="Leave out how the price comes about.")
@click.option("--show-purchases", is_flag=True, help="Give what the used drums were bought for a line of its own.")
@click.option(
    "--lang", "language", default="en", show_default=True, metavar="CODE", help="The sheet's language: de, en."
)
@click.option("--pdf", is_flag=True, help='Write a PDF as well; needs pip install "kitvalue[pdf]".')
def sheet(
    folder: ShopFolder, plan: str, at: Decimal | None, hide_costs: bool, show_purchases: bool, language: str, pdf: bool
) -> Said:
    """Write out/sheet-PLAN.html, the customer's page of a build. One or two pages of A4.

    PLAN is a name in builds/ or a path. The kit drum by drum, how its price comes about, and a used original beside
    it. Nothing private is on it: no addresses, no notes, no sellers. [promise.LANG] in shop.toml sets what it says of
    guarantee and return.

    \b
    Reads   shop.toml, builds/PLAN.toml, out/fit.json
            (else prices.csv)
    Writes  out/sheet-PLAN.html; with --pdf a PDF too

    \b
    Example:
      kitvalue --shop myshop sheet example --hide-costs
    """
    from kitvalue.commands import sheet as command

    done = command.sheet(
        folder,
        plan,
        date.today(),
        language=language,
        hide_costs=hide_costs,
        show_purchases=show_purchases,
        pdf=pdf,
        at=at,
    )
    return _said(done)


@shop_command
@click.option(
    "--plan", shell_complete=plan_names, metavar="PLAN", help="Say up to what price a donor pays for this build."
)
def card(folder: ShopFolder, plan: str | None) -> Said:
    """Write out/card.html, the pocket page for a market. It needs no network.

    Put it on a phone: series, pieces, condition and features in; buy-in value, resale value and ceilings out. Its
    figures are those of this day's fit, and it warns when it is 90 days old.

    \b
    Reads   shop.toml, out/fit.json (else prices.csv),
            with --plan builds/PLAN.toml
    Writes  out/card.html

    \b
    Example:
      kitvalue --shop myshop card --plan example
    """
    from kitvalue.commands import card as command

    return _said(command.card(folder, plan, date.today()))
