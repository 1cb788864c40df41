"""The commands that write pages: the owner's report, the customer's sheet, the pocket card."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue.cli.answers import Said, plan_names, shop_command

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder
    from kitvalue.commands.writing import Printed


def _said(done: Printed) -> Said:
    lines = [f"Written: {path}" for path in done.written]
    return Said({"written": [str(path) for path in done.written]}, "\n".join(lines), cautions=done.cautions)


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
    lines = [f"Written: {done.path}"]
    if charts is not None:
        lines.append(f"and {len(done.charts)} pictures in {charts}")
    written = [str(path) for path in (done.path, *done.charts)]
    return Said({"written": written}, "\n".join(lines), done.problems, done.cautions)


@shop_command
@click.argument("plan", shell_complete=plan_names)
@click.option("--hide-costs", is_flag=True, help="Leave out how the price comes about.")
@click.option("--show-purchases", is_flag=True, help="Give what the used drums were bought for a line of its own.")
@click.option(
    "--lang", "language", default="en", show_default=True, metavar="CODE", help="The sheet's language: de, en."
)
@click.option("--pdf", is_flag=True, help='Write a PDF as well; needs pip install "kitvalue[pdf]".')
def sheet(folder: ShopFolder, plan: str, hide_costs: bool, show_purchases: bool, language: str, pdf: bool) -> Said:
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

    wanted = command.SheetWanted(plan, language, hide_costs, show_purchases, pdf)
    return _said(command.sheet(folder, wanted, date.today()))


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
