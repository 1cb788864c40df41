"""Faults of a plan or of shop.toml that only show when the build is costed, as problems for the user."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.problems import FileError, Level, Problem


def plan_file(name: str) -> str:
    """`builds/NAME.toml`."""
    return f"builds/{name}.toml"


def plan_problem(name: str, place: str, code: str, message: str, text: str | None = None) -> Problem:
    """A fault in a plan; `place` is the table and key, such as `work 2 (Cut bearing edges).operation`."""
    return Problem(plan_file(name), None, place, text, code, Level.FILE, message)


def shop_problem(place: str, code: str, message: str, text: str | None = None) -> Problem:
    """A fault in shop.toml."""
    return Problem("shop.toml", None, place, text, code, Level.FILE, message)


def refusal(problems: Sequence[Problem]) -> FileError:
    """One error with every problem, of which there is one at least."""
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    return FileError(problems[0].line() + more, problems)


def refuse(problems: Sequence[Problem]) -> None:
    """Raise the `refusal` of these problems; nothing where there is none."""
    if problems:
        raise refusal(problems)
