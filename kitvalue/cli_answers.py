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


@dataclass(frozen=True, slots=True)
class Said:
    """What a command has to say: an object for programs, a text for people, the problems of the files, the exit."""

    answer: dict[str, Any]
    text: str
    problems: Sequence[Problem] = ()
    cautions: Sequence[str] = ()
    problem_lines: Sequence[str] | None = None  # how to list the problems, where not in the usual short way
    exit_status: int = 0


def answering(run: Callable[..., Said]) -> Callable[..., None]:
    """A command that answers as text or, with --json, as one object; user errors give one line and their status."""

    def command(*args: Any, as_json: bool, **options: Any) -> NoReturn:  # noqa: ANN401 - click's own arguments
        try:
            said = run(*args, **options)
        except KitvalueError as error:
            _say_error(error, as_json)
            sys.exit(error.exit_status)
        _say(said, as_json)
        sys.exit(said.exit_status)

    flag = click.option("--json", "as_json", is_flag=True, help="Answer with one JSON object.")
    return flag(update_wrapper(command, run))


def _say(said: Said, as_json: bool) -> None:
    for line in _problem_lines(said.problems) if said.problem_lines is None else said.problem_lines:
        click.echo(line, err=True)
    if as_json:
        _print_json(said.answer, said.problems, said.cautions)
    else:
        click.echo(said.text)


def _say_error(error: KitvalueError, as_json: bool) -> None:
    for line in (*_problem_lines([p for p in error.problems if p.line() != error.message]), error.message):
        click.echo(line, err=True)
    if as_json:
        _print_json({"error": error.message}, error.problems, ())


def _print_json(answer: dict[str, Any], problems: Sequence[Problem], cautions: Sequence[str]) -> None:
    from kitvalue.pages.answers.common import envelope

    click.echo(json.dumps({**answer, **envelope(problems, cautions)}, indent=2, ensure_ascii=False, allow_nan=False))


def _problem_lines(problems: Sequence[Problem]) -> list[str]:
    """Refusals in full up to a bound; of warnings only how many there are. `check` lists them all."""
    hard = [p for p in problems if p.level is not Level.WARNING]
    warnings = len(problems) - len(hard)
    more = [f"{len(hard) - MOST_LINES} more problems"] if len(hard) > MOST_LINES else []
    more += [f"{warnings} warning{'s' if warnings > 1 else ''}"] if warnings else []
    lines = [p.line() for p in hard[:MOST_LINES]]
    return [*lines, f"{' and '.join(more)}: kitvalue check lists them"] if more else lines
