"""`plan`: lay out a build from a few words."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from kitvalue.cli.answers import Question, Said, is_terminal, series_names, shop_command

if TYPE_CHECKING:
    from kitvalue.commands.folder import ShopFolder
    from kitvalue.commands.plan import Told

ASKED = {  # what a terminal is asked where no option says it
    "original": "The original it stands beside, a series of your book",
    "donors": "Donors, by their names in offers.csv, such as D03,D07 (blank: none)",
    "drums": 'Its drums, such as "22x16 bass, 16x16 floor" (blank: all that the donors have)',
    "new": 'New shells with their price, such as "20x12 bass=140" (blank: none)',
    "cut": 'Shells to cut down, such as "14x5 snare from 14x10" (blank: none)',
    "jobs": "Work, such as rewrap,edges,heads (blank: none; kitvalue plan --jobs lists what there is)",
    "finished": "The condition it is finished to",
}


@shop_command
@click.argument("name", required=False)
@click.option("--original", metavar="SERIES", shell_complete=series_names, help="What a customer could buy instead.")
@click.option("--donors", metavar="OFFERS", help="The kits it is made of, by their names in offers.csv: D03,D07.")
@click.option("--drums", help='Its drums: "22x16 bass, 16x16 floor". All that the donors have if not given.')
@click.option("--new", multiple=True, metavar="DRUM=PRICE", help='A new shell, net: "20x12 bass=140".')
@click.option("--cut", multiple=True, metavar="DRUM", help='A shell cut down: "14x5 snare from 14x10".')
@click.option("--job", "jobs", multiple=True, metavar="NAME", help="A kind of work; may be repeated.")
@click.option("--finished", metavar="GRADE", help="The condition it is finished to; 5 if not given.")
@click.option("--share", metavar="PERCENT", help="What it fetches of the original's price: 70, or 60-80 in doubt.")
@click.option("--repair", metavar="MONEY", help="What the original needs to play and look like yours; 0 if not given.")
@click.option("--jobs", "list_jobs", is_flag=True, help="List the job sheets that --job takes.")
@click.option("--change", is_flag=True, help="Change a plan that is there: what the options name and nothing else.")
@click.option("--yes", is_flag=True, help="Write the plan without asking.")
def plan(folder: ShopFolder, name: str | None, list_jobs: bool, change: bool, yes: bool, **options: Any) -> Said:  # noqa: ANN401
    """Lay out a build: write builds/NAME.toml from a few words. Nothing is written over.

    On a terminal it asks for what is missing, shows what it understood and writes after a yes. Without one --original
    and one of --donors, --drums and --new are needed. What nobody said has a default, marked in the plan. Job sheets
    say what a kind of work needs; those in jobs/ of the shop go before the program's. --change puts other figures in
    their place in a plan that is there, and what is new at its end; remarks and all else stay.

    \b
    Reads   shop.toml, offers.csv, jobs/, done.csv,
            out/fit.json (else prices.csv)
    Writes  builds/NAME.toml

    \b
    Example:
      kitvalue --shop myshop plan five-piece \\
        --original Inishmore --donors 2 --job rewrap \\
        --job heads --yes
    """
    from kitvalue.commands import plan as command
    from kitvalue.pages.answers import jobs_answer, plan_answer
    from kitvalue.pages.terminal.plan import jobs_text, plan_text

    if list_jobs:
        sheets = command.jobs(folder)
        return Said(jobs_answer(sheets), jobs_text(sheets))
    if name is None:
        raise click.UsageError("the plan's NAME is missing: write kitvalue plan NAME, or --jobs for the job sheets")
    if not change:
        command.new_plan(folder, name)
    context = click.get_current_context()
    as_json = context.params.get("as_json") or context.find_root().params.get("as_json")
    asks = is_terminal(sys.stdin) and not (yes or as_json)
    lay = command.change if change else command.plan
    told = command.Told(**{key: value for key, value in options.items() if value})
    done = lay(folder, name, _asked(told) if asks and not change else told)

    def write() -> str:
        return f"Written: {command.write_plan(folder, done)}"

    written = None if asks else write()
    text = plan_text(done)
    return Said(
        plan_answer(done, written and written.removeprefix("Written: ")),
        f"{text}\n\n{written}",
        cautions=done.cautions,
        question=Question(text, f"Write builds/{done.plan.name}.toml?", write) if asks else None,
    )


def _asked(told: Told) -> Told:
    """The options with what a terminal answers for those that are missing."""
    answers: dict[str, Any] = {}
    for key, question in ASKED.items():
        if not getattr(told, key):
            default = {"original": None, "finished": "5"}.get(key, "")
            said = click.prompt(question, default=default, show_default=bool(default), err=True).strip()
            answers[key] = (said,) if said and key in ("new", "cut", "jobs") else said or None
            if key in ("new", "cut", "jobs") and not said:
                answers[key] = ()
    return replace(told, **answers)
