"""TOML files: read by their own text, checked against a model, every mistake in plain words with its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from decimal import Decimal
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
Path_ = Place
_MOST_BYTES: Final = 4 * 1024 * 1024
_MOST_PROBLEMS: Final = 200  # that are told of one file
_LONGEST_LINE: Final = 4000  # characters
_LARGEST: Final = Decimal(10) ** 12
_FINEST: Final = -12  # the exponent of the last decimal that can be meant


class TomlFile:
    """One TOML file as read: its values, and on which line each key stands."""

    def __init__(self, path: Path, file: str) -> None:
        """Raises FileError where the file cannot be read or is no TOML."""
        self.file = file
        data = read_bytes(path, file)
        if len(data) > _MOST_BYTES:
            raise refused_file(file, "too_big", f"is larger than {_MOST_BYTES // 2**20} MB; a settings file is small")
        self.text = decode(data.removeprefix(b"\xef\xbb\xbf"), file, "utf-8").text if data else ""
        _refuse_long_lines(file, self.text)
        try:
            self.values: dict[str, Any] = tomllib.loads(self.text, parse_float=Decimal)
        except tomllib.TOMLDecodeError as why:
            raise syntax_error(file, self.text, str(why)) from None
        except RecursionError:
            raise refused_file(file, "nested", "its values are nested too deeply") from None
        except (ValueError, ArithmeticError):
            raise refused_file(file, "syntax", "holds a number or date that cannot be read") from None
        self.lines = key_lines(self.text)

    def problem(self, where: Path_, code: str, message: str, text: str | None = None) -> Problem:
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
            problems = self._out_of_range(values)
        except RecursionError:
            raise refused_file(self.file, "nested", "its values are nested too deeply") from None
        record: M | None = None
        if not problems:
            try:
                record = model.model_validate(values, context=context)
                problems = list(more(record))
            except ValidationError as error:
                errors = error.errors(include_url=False)[:_MOST_PROBLEMS]
                problems = _once([self._plain(model, one) for one in _deepest(errors)])
                stood_in = _with_stand_ins(values, errors)
                if stood_in is not None:
                    problems += more(model.model_validate(stood_in, context=context))
        if problems or record is None:
            raise file_error(self.file, problems)
        return record

    def _out_of_range(self, values: Mapping[str, Any]) -> list[Problem]:
        found = []
        for where, value in _leaves(values, ()):
            number = value if isinstance(value, Decimal) else Decimal(value) if type(value) is int else None
            if number is None:
                continue
            if not number.is_finite() or abs(number) >= _LARGEST or _exponent(number) < _FINEST:
                text = str(value)
                found.append(self.problem(where, "range", f"{shown(text, 30)} is no sensible number", text))
        return found

    def _plain(self, model: type[BaseModel], error: ErrorDetails) -> Problem:
        where = tuple(part for part in error["loc"] if part != "[key]")
        kind, value = error["type"], error["input"]
        if kind == "extra_forbidden":
            return self._unknown_key(model, where)
        if kind == "missing":
            what = f"the table {table_name(where)}" if known_keys(model, where) else key_name(where)
            return self.problem(where, "missing_key", f"{what} is missing; add it{_below(where)}")
        if kind == "string_type" and isinstance(value, Mapping):  # `v.good = "mend"` is a table called v
            message = "is a table, which a dot in its key makes; put a key with a dot in double quotes"
            return self.problem(where, kind, message)
        text = value if isinstance(value, str) else _as_toml(value)
        if "stand_in" in (context := error.get("ctx") or {}):
            return self.problem(where, kind, f"{shown(text)} {context['why']}", text)
        said = shown(text, 40)
        return self.problem(where, kind, f"{said} {_reason(kind, context, text)}", text)

    def _unknown_key(self, model: type[BaseModel], where: Path_) -> Problem:
        name = str(where[-1])
        known = known_keys(model, where[:-1])
        likely = nearest(name, known)
        what = "table" if len(where) == 1 else "key"
        place = f" in {table_name(where[:-1])}" if len(where) > 1 else ""
        hint = f"did you mean {likely}?" if likely else f"known there: {listed(known, 20)}"
        return self.problem(where, "unknown_key", f"there is no {what} {shown(name)}{place}; {hint}", name)


def no_such_value(code: str, why: str, stand_in: object) -> PydanticCustomError:
    """What a validator raises of a text that is of the right kind and cannot be read: `why` and what to do. With the
    `stand_in` in its place the rest of the file is checked.
    """
    return PydanticCustomError(code, "{why}", {"why": why, "stand_in": stand_in})


def _with_stand_ins(values: Mapping[str, Any], errors: Sequence[ErrorDetails]) -> dict[str, Any] | None:
    """The values with a stand-in for each that cannot be read; None where something else is wrong as well."""
    whole = deepcopy(dict(values))
    for one in errors:
        if "stand_in" not in one.get("ctx", {}):
            return None
        table: Any = whole
        for part in one["loc"][:-1]:
            table = table[part]
        table[one["loc"][-1]] = one["ctx"]["stand_in"]
    return whole


def _refuse_long_lines(file: str, text: str) -> None:
    """Raise FileError for a line that no person writes: reading it could take longer than anybody waits."""
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > _LONGEST_LINE:
            message = f"the line has {len(line):,} characters, and at most {_LONGEST_LINE:,} are read; shorten it"
            raise refused_file(file, "long_line", message, row=number)


def file_error(file: str, problems: Sequence[Problem]) -> FileError:
    """The error that carries all problems of one file, in the file's order."""
    ordered = sorted(problems, key=lambda problem: problem.row or 0)
    first = ordered[0].line() if ordered else file
    more = f" (and {len(ordered) - 1} more in this file)" if len(ordered) > 1 else ""
    return FileError(first + more, ordered)


def key_path(where: Path_) -> str:
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


def key_name(where: Path_) -> str:
    return str(where[-1]) if isinstance(where[-1], str) else key_path(where)


def table_name(where: Path_) -> str:
    """The heading of a table: `[tax]`, `[[drum]] 3`."""
    if where and isinstance(where[-1], int):
        return f"[[{'.'.join(str(part) for part in where[:-1])}]] {where[-1] + 1}"
    return f"[{'.'.join(str(part) for part in where)}]"


def _below(where: Path_) -> str:
    return f" under {table_name(where[:-1])}" if len(where) > 1 else ""


def known_keys(model: type[BaseModel], where: Path_) -> list[str]:
    """The keys that the table at `where` may have."""
    current: object = model
    for part in where:
        current = _inside(current, part)
        if current is None:
            return []
    if not (isinstance(current, type) and issubclass(current, BaseModel)):
        return []
    return [field.alias or name for name, field in current.model_fields.items()]


def _inside(kind: object, part: str | int) -> object:
    """The type one step further down: a field, a dict's value, a tuple's item."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        names = {field.alias or name: field.annotation for name, field in kind.model_fields.items()}
        return _bare(names.get(str(part)))
    arguments = get_args(kind)
    if get_origin(kind) is dict:
        return _bare(arguments[1])
    if get_origin(kind) is tuple:
        return _bare(arguments[0])
    return None


def _bare(kind: object) -> object:
    """A type without Annotated and without None."""
    while get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    if get_origin(kind) in (UnionType, Union):
        kind = next((_bare(one) for one in get_args(kind) if one is not type(None)), None)
    return kind


def _reason(kind: str, context: Mapping[str, Any], text: str) -> str:
    """Why a value does not fit, and what would."""
    if kind == "literal_error":
        choices = re.findall(r"'((?:[^'\\]|\\.)*)'|(\d+)", str(context.get("expected", "")))
        words = [word or number for word, number in choices]
        likely = nearest(text, words)
        shown_words = [word if word[:1].isalnum() else shown(word) for word in words]
        hint = f"; did you mean {likely}?" if likely else ""
        return f"does not belong here; write {listed(shown_words, 20, last='or')}{hint}"
    limits = {
        "greater_than_equal": ("ge", "must be {} or more"),
        "greater_than": ("gt", "must be above {}"),
        "less_than": ("lt", "must be below {}"),
        "less_than_equal": ("le", "must be {} or less"),
    }
    if kind in limits:
        key, words_for_it = limits[kind]
        return f"is out of range; it {words_for_it.format(context.get(key))}"
    return _REASONS.get(kind, "is not of the kind that belongs here")


_REASONS: Final = {
    "number_type": "is no number; write it without quotes and with a decimal point, such as 42.50",
    "grade": "is no bench grade; write 1 to 5 in halves, or wipe, freshen, mend, remake or harvest",
    "int_type": "is no whole number; write one without quotes, such as 4",
    "int_from_float": "is no whole number; write one, such as 4",
    "string_type": "is no text; put it in double quotes",
    "string_pattern_mismatch": 'is no currency code; write three capital letters, such as "EUR"',
    "bool_type": "is neither true nor false; write one of them without quotes",
    "tuple_type": 'is no list; write it in square brackets, such as ["bass", "rack"]',
    "dict_type": "is a single value, and a table belongs here",
    "model_type": "is a single value, and a table belongs here",
    "model_attributes_type": "is a single value, and a table belongs here",
    "too_short": "is empty; at least one is needed",
    "string_too_short": "is empty",
    "blank": "is blank; write a text",
}


def _as_toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    return "a list" if isinstance(value, list | tuple) else str(value)


def _leaves(value: object, where: Path_) -> list[tuple[Path_, object]]:
    if isinstance(value, Mapping):
        return [leaf for key, inner in value.items() for leaf in _leaves(inner, (*where, key))]
    if isinstance(value, list | tuple):
        return [leaf for at, inner in enumerate(value) for leaf in _leaves(inner, (*where, at))]
    return [(where, value)]


def _exponent(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _deepest(errors: list[ErrorDetails]) -> list[ErrorDetails]:
    """The errors without those that merely follow: a list seems empty when all its items are wrong."""
    return [
        one
        for one in errors
        if one["type"] != "too_short"
        or not any(
            len(other["loc"]) > len(one["loc"]) and other["loc"][: len(one["loc"])] == one["loc"] for other in errors
        )
    ]


def _once(problems: list[Problem]) -> list[Problem]:
    return list(dict.fromkeys(problems))


_LONGEST_CURE: Final = 100  # characters of a line that is shown mended
_BARE: Final = r"[A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*"
_KEY: Final = r"""([^"'#=\[\]{}]+?)\s*=\s*(.*)"""
_HEADING: Final = r"""\[+\s*((?:[A-Za-z0-9_-]+\s*\.\s*)*)([^"'\[\]]+?)\s*\]"""
_QUOTED: Final = "with other letters than A to Z, digits, _ and - stands in double quotes"


def syntax_error(file: str, text: str, why: str) -> FileError:
    """The error for a file of which the TOML reader says `why`, with the line and its cure."""
    place = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", why)
    reason = re.sub(r"\s*\(at .*\)$", "", why)
    lines = text.splitlines()
    number = int(place[1]) if place is not None and place[1] else max(len(lines), 1)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    message = f"{shown(line)} is not valid TOML: {reason[:1].lower()}{reason[1:]}; {_cure(line)}"
    return refused_file(file, "syntax", message, row=number, text=line)


def _cure(line: str) -> str:
    unquoted = _quoted_key(line) or _quoted_heading(line)
    if unquoted is not None:
        return unquoted
    if re.search(r"=\s*\d+,\d", line):
        return "write numbers with a decimal point, such as 42.50"
    if re.search(r"=\s*[^\W\d]", line):
        return 'put texts in double quotes, such as "EUR"'
    return "correct this line"


def _quoted_key(line: str) -> str | None:
    """The cure of `sehr gut = "freshen"`."""
    found = re.match(_KEY, line)
    if found is None or re.fullmatch(_BARE, found[1]):
        return None
    return f"a key {_QUOTED}: {_cut(f'{toml_text(found[1])} = {found[2]}')}"


def _quoted_heading(line: str) -> str | None:
    """The cure of `[series.Slane 2]`."""
    found = re.match(_HEADING, line)
    if found is None or toml_key(found[2]) == found[2]:
        return None
    return f"a name {_QUOTED}: {_cut(line[: found.start(2)] + toml_text(found[2]) + line[found.end(2) :])}"


def _cut(line: str) -> str:
    return line if len(line) <= _LONGEST_CURE else f"{line[:_LONGEST_CURE]}…"
