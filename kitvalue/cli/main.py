"""The command line as a whole: whatever goes wrong on it ends in one clear line, one exit status and no traceback."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any, NoReturn

import click

from kitvalue import __version__
from kitvalue.cli.answers import hush, say_error
from kitvalue.cli.build import card, compare, cost, done, price, report, sheet
from kitvalue.cli.buying import shortlist, source
from kitvalue.cli.market import check, fit, jot, new, take, value
from kitvalue.cli.plan import plan
from kitvalue.commands.writing import reason
from kitvalue.intake.text.problems import KitvalueError, shown
from kitvalue.intake.text.words import listed, nearest

WRONG = 2  # a file or the command line
STOPPED = 130  # 128 + SIGINT, as shells count it
NOBODY_READS = 141  # 128 + SIGPIPE


class Program(click.Group):
    """The commands. With --json anywhere on the line, a mistake is answered with one object, too."""

    def main(
        self, args: Sequence[str] | None = None, prog_name: str | None = "kitvalue", complete_var: str | None = None,
        standalone_mode: bool = True, **extra: Any,  # noqa: ANN401 - click's own
    ) -> Any:  # fmt: skip # noqa: ANN401
        """Run a command line and exit, as click's own does."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        words = list(sys.argv[1:] if args is None else args)
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a terminal that lacks a sign shows "?" instead of failing
        try:
            status = super().main(words or ["--help"], prog_name, complete_var, standalone_mode=False, **extra)
            sys.exit(status or 0)
        except SystemExit:
            if type(sys.stdout).__name__.endswith("PacifyFlushWrapper"):  # click saw EPIPE; its 1 means refused here
                _leave_quietly(NOBODY_READS)
            raise
        except (Exception, KeyboardInterrupt) as why:
            flags = words[: words.index("--")] if "--" in words else words
            as_json = any(word == "--json" or word.startswith("--json=") for word in flags)
            try:
                _explain(why, as_json)
            except BrokenPipeError:
                _leave_quietly(NOBODY_READS)
            except OSError as full:  # stdout itself cannot be written
                hush(sys.stdout)
                say_error(f"cannot write the answer: {reason(full)}")
                _leave_quietly(WRONG)
            raise

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command named, or an error that names the nearest one."""
        if self.get_command(ctx, args[0]) is None:
            names = self.list_commands(ctx)
            near = nearest(args[0], names)
            hint = f"did you mean {near}?" if near else f"the commands are {listed(names, len(names))}"
            ctx.fail(f"there is no command {shown(args[0])}; {hint}")
        return super().resolve_command(ctx, args)


def _explain(why: BaseException, as_json: bool) -> None:
    """Say what is wrong and exit. From what no user can cause it comes back: its traceback is wanted."""
    match why:
        case KitvalueError():
            message, status = why.message, why.exit_status
        case click.ClickException():
            message, status = _in_one_line(why), why.exit_code
        case _ if _stopped(why):
            message, status = "stopped: every file is as it was or whole", STOPPED
        case MemoryError():
            message, status = "there is not enough memory for this", WRONG
        case OSError() if why.filename is not None:
            message, status = f"cannot use {why.filename}: {reason(why)}", WRONG
        case OSError():
            raise why  # of a stream
        case _:
            if as_json:
                say_error(f"a fault of kitvalue itself: {type(why).__name__}: {why}", as_json=True)
            return
    say_error(message, why.problems if isinstance(why, KitvalueError) else (), as_json)
    sys.exit(status)


def _stopped(why: BaseException | None) -> bool:
    """Did somebody stop the run? A compiled library that is stopped while loading makes an ImportError of it."""
    while isinstance(why, ImportError):
        why = why.__cause__ or why.__context__
    return isinstance(why, click.Abort | KeyboardInterrupt)


def _in_one_line(error: click.ClickException) -> str:
    """What click has to say, as one line that ends with where help is."""
    text = " ".join(error.format_message().split()).rstrip(".")
    text = text[:1].lower() + text[1:]
    context = getattr(error, "ctx", None)
    if context is None:
        return text
    if isinstance(error, click.NoSuchOption) and error.option_name == "--shop":
        text = "--shop stands before the command: kitvalue --shop FOLDER " + context.command.name
    return f"{text} ({context.command_path} --help)"


def _leave_quietly(status: int) -> NoReturn:
    hush(sys.stdout)
    hush(sys.stderr)
    sys.exit(status)


@click.group(
    cls=Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    commands=(
        check, jot, take, fit, new, value, plan, cost, price, compare, done, shortlist, source, report, sheet, card,
    ),
)  # fmt: skip
@click.version_option(__version__, "--version", message="kitvalue %(version)s")
@click.option(
    "--shop", "folder", type=click.Path(path_type=Path), default=Path(), envvar="KITVALUE_SHOP", show_envvar=True,
    help="The shop's folder, before the command; the current folder if not given.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Answer with one JSON object; it may follow the command, too.")
@click.pass_context
def main(context: click.Context, folder: Path, as_json: bool) -> None:
    """What a used drum kit is worth, what a rebuild costs landed, and where the two break even.

    \b
    Start with:
      kitvalue new myshop
      kitvalue --shop myshop check
      kitvalue --shop myshop value --series Burren \\
        --pieces 5 --condition 3

    Answers go to standard output, problems to standard error. With --json a command answers with one object.

    \b
    Exit status:
      0  done
      1  no answer: too few rows, no such series, a price
         that cannot be met
      2  a file or the command line is wrong
    """
    from kitvalue.commands.folder import ShopFolder

    context.obj = ShopFolder(folder, date.today())
