"""TOML files: read by their own text, checked against a model, every mistake in plain words with its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from copy import deepcopy
from decimal import Decimal
from functools import reduce
from operator import getitem
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Final, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from kitvalue.intake.text.decoding import decode, read_bytes, refused_file
from kitvalue.intake.text.problems import FileError, Level, Problem, shown
from kitvalue.intake.text.tomltext import Place, key_lines, toml_key, toml_text
from kitvalue.intake.text.words import listed, nearest

M = TypeVar("M", bound=BaseModel)
_MOST_BYTES: Final = 4 * 1024 * 1024
_MOST_PROBLEMS: Final = 200  # that are told of one file
_LONGEST_LINE: Final = 4000  # characters; no person writes longer ones, and reading them could take long
_LARGEST: Final = Decimal(10) ** 12
_FINEST: Final = -12  # the exponent of the last decimal that can be meant
_TABLE: Final = "is a single value, and a table belongs here"
_REASONS: Final = {
    "number_type": "is no number; write it without quotes and with a decimal point, such as 42.50",
    "grade": "is no bench grade; write 1 to 5 in halves, or wipe, freshen, mend, remake or harvest",
    "int_type": "is no whole number; write one without quotes, such as 4",
    "int_from_float": "is no whole number; write one, such as 4",
    "string_type": "is no text; put it in double quotes",
    "string_pattern_mismatch": 'is no currency code; write three capital letters, such as "EUR"',
    "bool_type": "is neither true nor false; write one of them without quotes",
    "tuple_type": 'is no list; write it in square brackets, such as ["bass", "rack"]',
    "dict_type": _TABLE,
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "too_short": "is empty; at least one is needed",
    "string_too_short": "is empty",
    "blank": "is blank; write a text",
    "greater_than_equal": "is out of range; it must be {ge} or more",
    "greater_than": "is out of range; it must be above {gt}",
    "less_than": "is out of range; it must be below {lt}",
    "less_than_equal": "is out of range; it must be {le} or less",
}


class TomlFile:
    """One TOML file as read: its values, and on which line each key stands."""

    def __init__(self, path: Path, file: str) -> None:
        """Raises FileError where the file cannot be read or is no TOML."""
        self.file = file
        data = read_bytes(path, file)
        if len(data) > _MOST_BYTES:
            raise refused_file(file, "too_big", f"is larger than {_MOST_BYTES // 2**20} MB; a settings file is small")
        self.text = decode(data.removeprefix(b"\xef\xbb\xbf"), file, "utf-8").text if data else ""
        for number, line in enumerate(self.text.split("\n"), start=1):
            if len(line) > _LONGEST_LINE:
                message = f"the line has {len(line):,} characters, and at most {_LONGEST_LINE:,} are read; shorten it"
                raise refused_file(file, "long_line", message, row=number)
        try:
            self.values: dict[str, Any] = tomllib.loads(self.text, parse_float=Decimal)
        except tomllib.TOMLDecodeError as why:
            place = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", str(why))
            reason = re.sub(r"\s*\(at .*\)$", "", str(why))
            lines = self.text.splitlines()
            number = int(place[1]) if place is not None and place[1] else max(len(lines), 1)
            line = lines[number - 1].strip() if number <= len(lines) else ""
            message = f"{shown(line)} is not valid TOML: {reason[:1].lower()}{reason[1:]}; {_cure(line)}"
            raise refused_file(file, "syntax", message, row=number, text=line) from None
        except RecursionError:
            raise refused_file(file, "nested", "its values are nested too deeply") from None
        except (ValueError, ArithmeticError):
            raise refused_file(file, "syntax", "holds a number or date that cannot be read") from None
        self.lines = key_lines(self.text)

    def problem(self, where: Place, code: str, message: str, text: str | None = None) -> Problem:
        """A problem at one key, with its line where the file shows one."""
        line = next((self.lines[where[:n]] for n in range(len(where), 0, -1) if where[:n] in self.lines), None)
        return Problem(self.file, line, key_path(where), text, code, Level.FILE, message)

    def checked(
        self,
        model: type[M],
        values: Mapping[str, Any],
        more: Callable[[M], Sequence[Problem]],
        context: Mapping[str, str] | None = None,
    ) -> M:
        """The record in these values. Raises FileError with every problem of the file; `more` looks for those beyond
        the types of single keys, and is asked once these are right. `context` is for the model's validators.
        """
        try:
            problems = list(self._out_of_range(values))
        except RecursionError:
            raise refused_file(self.file, "nested", "its values are nested too deeply") from None
        if not problems:
            try:
                record = model.model_validate(values, context=context)
                problems = list(more(record))
            except ValidationError as error:
                errors = error.errors(include_url=False)[:_MOST_PROBLEMS]
                inner = {one["loc"][:n] for one in errors for n in range(len(one["loc"]))}
                # A list seems empty when all its items are wrong.
                told = [one for one in errors if one["type"] != "too_short" or one["loc"] not in inner]
                problems = list(dict.fromkeys(self._plain(model, one) for one in told))
                if all("stand_in" in one.get("ctx", {}) for one in errors):  # else what they are is told first
                    whole: dict[Any, Any] = deepcopy(dict(values))
                    for one in errors:
                        *table, key = one["loc"]
                        reduce(getitem, table, whole)[key] = one["ctx"]["stand_in"]
                    problems += more(model.model_validate(whole, context=context))
        if not problems:
            return record
        problems.sort(key=lambda problem: problem.row or 0)
        others = f" (and {len(problems) - 1} more in this file)" if len(problems) > 1 else ""
        raise FileError(problems[0].line() + others, problems)

    def _out_of_range(self, value: object, where: Place = ()) -> Iterator[Problem]:
        """Numbers that nobody can mean, at any depth."""
        if isinstance(value, Mapping):
            for key, inner in value.items():
                yield from self._out_of_range(inner, (*where, key))
        elif isinstance(value, list):
            for at, inner in enumerate(value):
                yield from self._out_of_range(inner, (*where, at))
        elif isinstance(value, Decimal | int) and not isinstance(value, bool):
            number, text = Decimal(value), str(value)
            exponent = number.as_tuple().exponent
            if isinstance(exponent, str) or abs(number) >= _LARGEST or exponent < _FINEST:
                yield self.problem(where, "range", f"{shown(text, 30)} is no sensible number", text)

    def _plain(self, model: type[BaseModel], error: ErrorDetails) -> Problem:
        """What the model has against a value, in plain words."""
        where = tuple(part for part in error["loc"] if part != "[key]")
        kind, value, context = error["type"], error["input"], error.get("ctx") or {}
        table = table_name(where[:-1])
        if kind == "extra_forbidden":
            name, known = str(where[-1]), known_keys(model, where[:-1])
            what, place = ("table", "") if len(where) == 1 else ("key", f" in {table}")
            hint = or_known(name, known, f"known there: {listed(known, 20)}")
            return self.problem(where, "unknown_key", f"there is no {what} {shown(name)}{place}; {hint}", name)
        if kind == "missing":
            name = str(where[-1]) if isinstance(where[-1], str) else key_path(where)
            what = f"the table {table_name(where)}" if known_keys(model, where) else name
            below = f" under {table}" if len(where) > 1 else ""
            return self.problem(where, "missing_key", f"{what} is missing; add it{below}")
        if kind == "string_type" and isinstance(value, Mapping):  # `v.good = "mend"` is a table called v
            message = "is a table, which a dot in its key makes; put a key with a dot in double quotes"
            return self.problem(where, kind, message)
        text = str(value)
        if isinstance(value, bool):
            text = text.lower()
        elif isinstance(value, Mapping | list | tuple):
            text = "a table" if isinstance(value, Mapping) else "a list"
        if "stand_in" in context:
            return self.problem(where, kind, f"{shown(text)} {context['why']}", text)
        reason = _REASONS.get(kind, "is not of the kind that belongs here").format(**context)
        if kind == "literal_error":
            choices = re.findall(r"'((?:[^'\\]|\\.)*)'|(\d+)", str(context.get("expected", "")))
            words = [word or number for word, number in choices]
            likely = nearest(text, words)
            told = listed((word if word[:1].isalnum() else shown(word) for word in words), 20, last="or")
            reason = f"does not belong here; write {told}{f'; did you mean {likely}?' if likely else ''}"
        return self.problem(where, kind, f"{shown(text, 40)} {reason}", text)


def no_such_value(code: str, why: str, stand_in: object) -> PydanticCustomError:
    """What a validator raises of a text that is of the right kind and cannot be read: `why` and what to do. With the
    `stand_in` in its place the rest of the file is checked.
    """
    return PydanticCustomError(code, "{why}", {"why": why, "stand_in": stand_in})


def key_path(where: Place) -> str:
    """A key as a person names it: `tax.rate`, `drum 3, from`."""
    words = ""
    for part in where:
        if isinstance(part, int):
            words += f" {part + 1}"
        elif words and words[-1].isdigit() and " " in words:
            words += f", {part}"
        else:
            words += f".{part}" if words else part
    return words


def table_name(where: Place) -> str:
    """The heading of a table: `[tax]`, `[[drum]] 3`."""
    if where and isinstance(where[-1], int):
        return f"[[{'.'.join(str(part) for part in where[:-1])}]] {where[-1] + 1}"
    return f"[{'.'.join(str(part) for part in where)}]"


def known_keys(model: type[BaseModel], where: Place) -> list[str]:
    """The keys that the table at `where` may have."""
    kind: object = model
    for part in where:  # one step further down: a field, a dict's value, a tuple's item
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            kind = {field.alias or name: field.annotation for name, field in kind.model_fields.items()}.get(str(part))
        else:
            kind = get_args(kind)[1 if get_origin(kind) is dict else 0] if get_origin(kind) in (dict, tuple) else None
        while get_origin(kind) in (Annotated, UnionType, Union):  # bare, without None
            kind = next(one for one in get_args(kind) if one is not type(None))
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return []
    return [field.alias or name for name, field in kind.model_fields.items()]


def or_known(name: str, known: Collection[str], otherwise: str = "") -> str:
    """What to write instead of a name that is not known; `otherwise` where none is like it."""
    likely = nearest(name, known)
    otherwise = otherwise or (f"known: {listed(known, 30)}" if known else "there are none")
    return f"did you mean {likely}?" if likely else otherwise


_LONGEST_CURE: Final = 100  # characters of a line that is shown mended
_BARE: Final = r"[A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*"
_KEY: Final = r"""([^"'#=\[\]{}]+?)\s*=\s*(.*)"""
_HEADING: Final = r"""\[+\s*((?:[A-Za-z0-9_-]+\s*\.\s*)*)([^"'\[\]]+?)\s*\]"""


def _cure(line: str) -> str:
    """What to do about a line; that of `sehr gut = "freshen"` and `[series.Slane 2]` is the line in quotes."""
    key, heading = re.match(_KEY, line), re.match(_HEADING, line)
    what = mended = ""
    if key is not None and not re.fullmatch(_BARE, key[1]):
        what, mended = "key", f"{toml_text(key[1])} = {key[2]}"
    elif heading is not None and toml_key(heading[2]) != heading[2]:
        what, mended = "name", line[: heading.start(2)] + toml_text(heading[2]) + line[heading.end(2) :]
    if mended:
        cut = mended if len(mended) <= _LONGEST_CURE else f"{mended[:_LONGEST_CURE]}…"
        return f"a {what} with other letters than A to Z, digits, _ and - stands in double quotes: {cut}"
    if re.search(r"=\s*\d+,\d", line):
        return "write numbers with a decimal point, such as 42.50"
    if re.search(r"=\s*[^\W\d]", line):
        return 'put texts in double quotes, such as "EUR"'
    return "correct this line"
