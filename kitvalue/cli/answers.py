"""How a command answers: as text or as one object, problems to stderr, one clear line for every error."""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import sys
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from functools import update_wrapper
from pathlib import Path
from typing import IO, Any, Final, NoReturn

import click

from kitvalue.intake.text.problems import Caution, Level, Problem, shown, together
from kitvalue.intake.text.words import MOST_PIECES, Refusal, spelt_out

NARROWEST, WIDEST = 60, 120  # columns
MOST_LINES = 20  # of problems, where they are the answer
MOST_BESIDE = 5  # of problems beside an answer
_PLAIN: Final = re.compile(r"[\w .,:+@%=/-]+")  # names that a shell may be offered: it sets them in unquoted
MOST_INDENTED = 200_000  # signs of JSON; more is for programs, and indenting takes longer than the answer


@dataclass(frozen=True, slots=True)
class Question:
    """What a terminal is asked, behind `text` in the place of the command's own; `if_yes` does it and says so."""

    text: str
    words: str
    if_yes: Callable[[], str]


@dataclass(frozen=True, slots=True)
class Said:
    """What a command has to say: an object for programs, a text for people, the problems of the files, the exit."""

    answer: dict[str, Any] | Callable[[], dict[str, Any]]
    text: str | Callable[[], str]  # functions where making both would take as long as the answer
    problems: Sequence[Problem] = ()
    cautions: Sequence[Caution] = ()
    problem_lines: Sequence[str] | None = None  # how to list the problems, where not in the usual short way
    warnings: Sequence[str] = ()  # lines on stderr that the owner should not miss
    exit_status: int = 0
    verdicts: Sequence[str] = ()  # sentences of the text
    question: Question | None = None  # asked on a terminal only, and never with --json


def shop_command(run: Callable[..., Said]) -> click.Command:
    """A command that is handed the shop's folder and answers as text or, with --json on the line, as one object."""

    def answer(context: click.Context, /, as_json: bool, **options: Any) -> NoReturn:  # noqa: ANN401 - click's own
        from kitvalue.pages.terminal.table import as_wide_as

        with as_wide_as(_columns()):
            said = run(context.obj, **options)
            _say(said, as_json or context.find_root().params.get("as_json", False))
        sys.exit(said.exit_status)

    made = click.command()(update_wrapper(click.pass_context(answer), run))
    made.params.append(click.Option(["--json", "as_json"], is_flag=True, help="Answer with one JSON object."))
    return made


def _say(said: Said, as_json: bool) -> None:
    for line in _problem_lines(said.problems, MOST_BESIDE) if said.problem_lines is None else said.problem_lines:
        tell(line)
    for line in said.warnings:
        tell(line)
    if as_json:
        _print_json(said.answer if isinstance(said.answer, dict) else said.answer(), said.problems, said.cautions)
    elif said.question is not None and is_terminal(sys.stdin):
        say(said.question.text, verdicts=said.verdicts)
        agreed = click.confirm(f"\n{said.question.words}", err=True)
        say(said.question.if_yes() if agreed else "Nothing is written.")
    else:
        say(said.text if isinstance(said.text, str) else said.text(), verdicts=said.verdicts)


def say(text: str, *, end: bool = True, verdicts: Sequence[str] = ()) -> None:
    """A text to stdout: of what stands in the files only signs that print, so none of it can steer a terminal. The
    verdicts in it are bold on one, unless NO_COLOR is set (no-color.org)."""
    told = "\n".join(map(spelt_out, text.split("\n")))
    if is_terminal(sys.stdout) and not os.environ.get("NO_COLOR"):
        from kitvalue.pages.terminal.table import wrapped

        for verdict in {wrapped(sentence, "") for sentence in verdicts}:
            told = told.replace(verdict, click.style(verdict, bold=True))
    click.echo(told, nl=end)


def _columns() -> int:
    """How wide answers are set: as the terminal is, within bounds; 80 where it is none."""
    if not is_terminal(sys.stdout):
        return 80
    return min(max(shutil.get_terminal_size().columns, NARROWEST), WIDEST)


def is_terminal(*streams: IO[str] | None) -> bool:
    """Are all of them terminals? None where one was closed."""
    return all(stream is not None and stream.isatty() for stream in streams)


def tell(line: str) -> None:
    """One line to stderr, whatever stands in a file's name; where nobody listens there, the answer goes on."""
    try:
        click.echo(spelt_out(line), err=True)
    except OSError:
        hush(sys.stderr)


def hush(stream: IO[str] | None) -> None:
    """Lead a stream that cannot be written to nowhere, so that nothing more is said of it at the end."""
    if stream is not None:
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno())
            os.close(nowhere)


def say_error(message: str, problems: Sequence[Problem] = (), as_json: bool = False) -> None:
    """Each problem in its line; the error's own line where it says more than the first of them."""
    lines = _problem_lines(problems, MOST_LINES)
    told = any(message.startswith(p.line()) for p in problems)
    for line in lines if told else (*lines, message):
        tell(line)
    if as_json:
        _print_json({"error": message}, problems, ())


def _print_json(answer: dict[str, Any], problems: Sequence[Problem], cautions: Sequence[Caution]) -> None:
    """One object on stdout; signs that do not print, or its encoding lacks, are JSON's escapes, so none is lost."""
    from kitvalue.pages.answers import envelope

    whole = {**answer, **envelope(problems, cautions)}
    encoding = getattr(sys.stdout, "encoding", None) or ""
    escaped = encoding.lower().replace("-", "") != "utf8"
    text = json.dumps(whole, ensure_ascii=escaped, allow_nan=False)
    if len(text) < MOST_INDENTED:
        text = json.dumps(whole, indent=2, ensure_ascii=escaped, allow_nan=False)
    click.echo("\n".join(_escaped(line) for line in text.split("\n")))


def _escaped(line: str) -> str:
    return line if line.isprintable() else "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in line)


def _problem_lines(problems: Sequence[Problem], most: int) -> list[str]:
    """Refusals up to a bound, those of one kind in one line; of warnings only how many. `check` lists them all."""
    hard = together([p for p in problems if p.level is not Level.WARNING])
    untold = sum(len(one.problems) for one in hard[most:])
    warnings = sum(p.level is Level.WARNING for p in problems)
    more = [f"and {untold} more"] if untold else []
    more += [f"{warnings} warning{'s' if warnings > 1 else ''}"] if warnings else []
    lines = [one.line() for one in hard[:most]]
    return [*lines, f"{', '.join(more)}: kitvalue check lists them"] if more else lines


def series_names(context: click.Context, parameter: click.Parameter, begun: str) -> list[str]:
    """The series of shop.toml, else those of the saved fit, that begin like `begun`; none where neither can be read."""
    folder = _shop_folder(context)
    try:
        names = list(tomllib.loads((folder / "shop.toml").read_text(encoding="utf-8")).get("series", {}))
        if not names:
            fitted = json.loads((folder / "out" / "fit.json").read_text(encoding="utf-8"))
            names = [str(name) for name in fitted["recipe"]["series"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return []
    return [name for name in sorted(names) if name.casefold().startswith(begun.casefold()) and _PLAIN.fullmatch(name)]


def plan_names(context: click.Context, parameter: click.Parameter, begun: str) -> list[str]:
    """The plans in builds/ that begin like `begun`."""
    try:
        names = sorted(path.stem for path in (_shop_folder(context) / "builds").glob("*.toml"))
        return [name for name in names if name.startswith(begun) and _PLAIN.fullmatch(name)]
    except OSError:
        return []


def _shop_folder(context: click.Context) -> Path:
    return Path(context.find_root().params.get("folder") or ".")


def day(text: str, last: date | None = None) -> date:
    """A date option, read as the files' dates are: today at most, or the `last` day."""
    from kitvalue.intake.text.dates import AFTER_TODAY, Day, read_date

    read = read_date(text, today=last or date.today())
    if isinstance(read, Day):
        return read.date
    if isinstance(read, Refusal) and read.code == AFTER_TODAY:
        ahead = "more than a year ahead" if last else read.reason
        raise click.BadParameter(f'"{text}" is {ahead.removeprefix("is ")}; {read.cure}')
    raise click.BadParameter(f'"{text}" is no date that can be read in one way; write for instance 2026-11-25')


def day_of_sale(text: str) -> date:
    """The day of a sale, which may lie ahead by a year: no longer is a kit kept in stock, nor a trend drawn on."""
    return day(text, date.today() + timedelta(days=366))


class Whole(click.IntRange):
    """A whole number between two bounds; `what` says in the message what it counts."""

    def __init__(self, low: int, high: int, what: str) -> None:
        super().__init__(low, high)
        self.what = what

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:  # noqa: ANN401
        """The number in an option's text."""
        try:
            return int(super().convert(value, param, ctx))
        except click.BadParameter:
            message = f"{shown(str(value), 40)} does not belong here; write {self.what}, {self.min} to {self.max}"
            self.fail(message, param, ctx)


DRUMS = Whole(1, MOST_PIECES, "a number of drums")


def amount(text: str, *, or_nothing: bool = False) -> Decimal:
    """A money option above 0, through its text."""
    try:
        money = Decimal(text)
    except InvalidOperation as why:
        raise click.BadParameter(f'"{text}" is no amount; write for instance 2300 or 2300.50') from why
    if or_nothing and money == 0:
        return abs(money)
    if not money.is_finite() or not 0 < money < 10**9:
        what = "cost; write 0 or an amount" if or_nothing else "price; write an amount"
        raise click.BadParameter(f'"{text}" is no {what} above 0')
    return money


def charge(text: str) -> Decimal:
    """An option of what something costs: an amount, or 0 where it costs nothing."""
    return amount(text, or_nothing=True)


def bench_hours(text: str) -> Decimal:
    """An option of hours at the bench, read as the files' hours are: 6, 5.5 or 5:30."""
    from kitvalue.intake.books.specs import WORK, read_hours
    from kitvalue.intake.text.numbers import Amount

    read = read_hours(text)
    if not isinstance(read, Amount) or WORK.refusal(read.value) is not None:
        raise click.BadParameter(f'"{text}" is no number of hours; write for instance 6 or 5:30')
    return read.value
