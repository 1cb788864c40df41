"""The commands that write pages: the owner's report, the customer's sheet, the pocket card."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue.cli_answers import Said, answering

if TYPE_CHECKING:
    from kitvalue.printing import Printed


def _said(done: Printed) -> Said:
    lines = [f"Written: {path}" for path in done.written]
    return Said({"written": [str(path) for path in done.written]}, "\n".join(lines), cautions=done.cautions)


@click.command()
@click.option(
    "--charts", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
    help="Write the report's pictures into DIR as well, each as SVG and PNG.",
)  # fmt: skip
@click.pass_obj
@answering
def report(folder: Path, charts: Path | None) -> Said:
    """Write the owner's page, everything on one sheet: out/report.html.

    \b
    Example:
      kitvalue --shop myshop report --charts pictures
    """
    from kitvalue import usecases

    done = usecases.report_shop(folder, date.today(), charts)
    lines = [f"Written: {done.path}"]
    if charts is not None:
        lines.append(f"and {len(done.charts)} pictures in {charts}")
    written = [str(path) for path in (done.path, *done.charts)]
    return Said({"written": written}, "\n".join(lines), done.problems, done.cautions)


@click.command()
@click.argument("plan")
@click.option("--hide-costs", is_flag=True, help="Leave out how the price comes about.")
@click.option("--show-purchases", is_flag=True, help="Give what the used drums were bought for a line of its own.")
@click.option(
    "--lang", "language", default="en", show_default=True, metavar="CODE", help="The sheet's language: de, en."
)
@click.option("--pdf", is_flag=True, help="Write a PDF as well.")
@click.pass_obj
@answering
def sheet(folder: Path, plan: str, hide_costs: bool, show_purchases: bool, language: str, pdf: bool) -> Said:
    """Write the customer's sheet of a build, one or two pages of A4: out/sheet-NAME.html.

    \b
    Example:
      kitvalue --shop myshop sheet example --hide-costs
    """
    from kitvalue import printing

    wanted = printing.SheetWanted(plan, language, hide_costs, show_purchases, pdf)
    return _said(printing.print_sheet(folder, wanted, date.today()))


@click.command()
@click.option("--plan", metavar="PLAN", help="Say up to what price a donor pays for this build.")
@click.pass_obj
@answering
def card(folder: Path, plan: str | None) -> Said:
    """Write the pocket page for a market, which needs no network: out/card.html.

    \b
    Example:
      kitvalue --shop myshop card --plan example
    """
    from kitvalue import printing

    return _said(printing.print_card(folder, plan, date.today()))
