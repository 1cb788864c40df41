"""`new`: a shop folder laid out, as a worked example or from the owner's spreadsheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from kitvalue.cli.answers import Said, shop_command

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder


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
    knows your headers, series and words. What a word for a condition likely means is written in as a guess, to be
    looked at; where only you can say it, its line is left open. A folder that is not empty is refused.

    \b
    Writes  FOLDER/shop.toml, prices.csv, offers.csv;
            as an example also parts.csv, done.csv,
            builds/example.toml

    \b
    Example:
      kitvalue new demo
      kitvalue new myshop --prices kits.csv
    """
    from kitvalue.commands import new as command
    from kitvalue.pages.answers import arrival_answer
    from kitvalue.pages.terminal import arrival

    name = str(folder)
    shop = f"kitvalue --shop {name}" if all(c.isalnum() or c in "/._-" for c in name) else f'kitvalue --shop "{name}"'
    if spreadsheet is None:
        files = command.lay_out(folder).files
        return Said({"folder": name, "files": list(files)}, arrival.laid_out_text(name, files, shop))
    done = command.take_over(folder, spreadsheet)
    counts, problems = done.check.files, done.check.problems
    made = arrival.made_text(spreadsheet.name, done.sheet, done.series, done.currency, done.settings.guesses)
    then = arrival.next_text(shop, counts[0], problems, done.sheet, done.series, done.settings)
    return Said(
        arrival_answer(name, done.files, done.sheet, done.series, done.currency, counts, done.settings),
        f"{made}\n\n{then}",
        problems,
        problem_lines=(),  # what is to be done about them is the text
    )
