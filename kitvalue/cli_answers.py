"""How a command answers: as text or as one object, problems to stderr, one clear line for every error."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import update_wrapper
from typing import Any, NoReturn

import click

from kitvalue.intake.problems import KitvalueError, Level, Problem

MOST_LINES = 20
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
    text: str | Callable[[], str]  # a function where making it takes as long as the answer
    problems: Sequence[Problem] = ()
    cautions: Sequence[str] = ()
    problem_lines: Sequence[str] | None = None  # how to list the problems, where not in the usual short way
    exit_status: int = 0
    question: Question | None = None  # asked on a terminal only, and never with --json


def answering(run: Callable[..., Said]) -> Callable[..., None]:
    """A command that answers as text or, with --json, as one object; user errors give one line and their status."""

    def command(*args: Any, as_json: bool, **options: Any) -> NoReturn:  # noqa: ANN401 - click's own arguments
        try:
            said = run(*args, **options)
            _say(said, as_json)
        except KitvalueError as error:
            _say_error(error, as_json)
            sys.exit(error.exit_status)
        sys.exit(said.exit_status)

    flag = click.option("--json", "as_json", is_flag=True, help="Answer with one JSON object.")
    return flag(update_wrapper(command, run))


def _say(said: Said, as_json: bool) -> None:
    for line in _problem_lines(said.problems) if said.problem_lines is None else said.problem_lines:
        click.echo(line, err=True)
    if as_json:
        _print_json(said.answer if isinstance(said.answer, dict) else said.answer(), said.problems, said.cautions)
    elif said.question is not None and _is_terminal():
        click.echo(said.question.text)
        agreed = click.confirm(f"\n{said.question.words}", err=True)
        click.echo(said.question.if_yes() if agreed else "Nothing is written.")
    else:
        click.echo(said.text if isinstance(said.text, str) else said.text())


def _is_terminal() -> bool:
    return sys.stdin.isatty()


def _say_error(error: KitvalueError, as_json: bool) -> None:
    """Each problem in its line; the error's own line where it says more than the first of them."""
    lines = _problem_lines(error.problems)
    told = any(error.message.startswith(p.line()) for p in error.problems)
    for line in lines if told else (*lines, error.message):
        click.echo(line, err=True)
    if as_json:
        _print_json({"error": error.message}, error.problems, ())


def _print_json(answer: dict[str, Any], problems: Sequence[Problem], cautions: Sequence[str]) -> None:
    from kitvalue.pages.answers.common import envelope

    whole = {**answer, **envelope(problems, cautions)}
    text = json.dumps(whole, ensure_ascii=False, allow_nan=False)
    if len(text) < MOST_INDENTED:
        text = json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)
    click.echo(text)


def _problem_lines(problems: Sequence[Problem]) -> list[str]:
    """Refusals in full up to a bound; of warnings only how many there are. `check` lists them all."""
    hard = [p for p in problems if p.level is not Level.WARNING]
    warnings = len(problems) - len(hard)
    more = [f"{len(hard) - MOST_LINES} more problems"] if len(hard) > MOST_LINES else []
    more += [f"{warnings} warning{'s' if warnings > 1 else ''}"] if warnings else []
    lines = [p.line() for p in hard[:MOST_LINES]]
    return [*lines, f"{' and '.join(more)}: kitvalue check lists them"] if more else lines
