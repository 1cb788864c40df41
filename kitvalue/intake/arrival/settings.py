"""shop.toml for a spreadsheet that comes in for the first time: the starter's, with its headers, words and series."""

from __future__ import annotations

import re
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.arrival.country import Country, with_country
from kitvalue.intake.arrival.guesses import SeriesSeen, WordMeant
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.settings.pasting import PasteBlock
from kitvalue.intake.settings.words import TURNED
from kitvalue.intake.text.tomltext import Place, toml_heading, toml_key, toml_text
from kitvalue.intake.text.vocabulary import REQUIRED, likely_headers
from kitvalue.intake.text.words import fold

_FEATURES: Final = toml_heading("prices", "features")
_JOT: Final = toml_heading("jot", "words")
_EXAMPLE: Final = re.compile(r'# (?:\w+|"[^"]*") = "[^"]*"')  # a line of the starter that shows how
_FROM, _TO = "# The series you deal in.", "[tax]"  # of the starter's series


@dataclass(frozen=True, slots=True)
class Said:
    """What a sheet's rows and their owner say beyond its columns."""

    series: tuple[SeriesSeen, ...] = ()
    words: tuple[WordMeant, ...] = ()
    home: Country | None = None
    decimal: str | None = None  # the sign that its prices prove, None where they prove none
    guessed_day_first: bool | None = None  # the order of days that the country writes, where the dates show none


@dataclass(frozen=True, slots=True)
class NewLines:
    """What stands in a new shop.toml."""

    to_fill: tuple[PasteBlock, ...]  # the tables in which lines stand open
    guesses: tuple[WordMeant, ...]  # those of the words written in that are not beyond doubt
    private: tuple[int, ...]  # the lines of words for who sells that stand as private
    lines: Mapping[Place, int]  # where its keys stand
    usual: Decimal  # the grade of the commonest condition

    @property
    def guessed(self) -> Mapping[str, tuple[int, ...]]:
        """The lines of the guesses, by column."""
        found: dict[str, list[int]] = {}
        for guess in self.guesses:
            at = self.lines.get(("prices", "words", guess.column, guess.word))
            found.setdefault(guess.column, []).extend([at] if at is not None else [])
        return {column: tuple(sorted(at)) for column, at in found.items() if at}


def new_settings(starter: str, sheet: Incoming, said: Said) -> str:
    """The starter's shop.toml with a spreadsheet's columns and what is said of the rest."""
    text, columns = starter, sheet.columns
    if said.home is not None:
        text = with_country(text, said.home)
    if sheet.day_first is not None:
        text = re.sub(r"(?m)^# day_first = true ", f"day_first = {str(sheet.day_first).lower()} ", text)
    elif said.guessed_day_first is not None:
        line = f"day_first = {str(said.guessed_day_first).lower()}  # a guess: is 03/04/2026 in "
        text = re.sub(r"(?m)^# day_first = true .*", f"{line}{'April' if said.guessed_day_first else 'March'}?", text)
    sized = sheet.sized
    if said.decimal is not None:
        text = re.sub(r'(?m)^# decimal = "." ', f'decimal = "{said.decimal}"   ', text)
    elif sized is not None:
        why = f"  # {sized.why}" if sized.why else "        # so that the marks of prices part thousands, not decimals"
        line = f'{"" if sized.why else "# "}decimal = "{sized.sign}"{why}'
        text = re.sub(r'(?m)^# decimal = ".*$', lambda _: line, text)
    text = _without_features(text, columns)
    mapped = {name: header for name, header in columns.items() if fold(header) != name}
    missing = [name for name in REQUIRED if name not in columns]
    likely = likely_headers(missing, sheet.unused)  # by their words alone: their cells say otherwise
    mapped = {name: likely.get(name, "") for name in missing} | mapped
    text = _under(
        text, toml_heading("prices", "columns"), [f"{toml_key(k)} = {toml_text(v)}" for k, v in mapped.items()]
    )
    text = _under(text, _FEATURES, [f'{toml_key(name)} = "{kind}"' for name, kind in sheet.features.items()], keep=True)
    tables: dict[str, list[str]] = {"condition": _scale_remarks(sheet)}
    for word in said.words:
        tables.setdefault(word.column, []).append(word.line)
    for column, lines in tables.items():
        text = _under(text, toml_heading("prices", "words", column), lines)
    before, after = text[: text.index(_FROM)], text[text.index(f"\n{_TO}\n") + 1 :]
    return f"{before}{_series_text(said.series)}\n\n{after}"


def _scale_remarks(sheet: Incoming) -> list[str]:
    """What is said of numbers among conditions, above the lines that map them, or that stand ready to."""
    if sheet.scale == "ten":
        return [
            "# A scale to ten: halved, to the next half grade that is there. Write what you would see at the bench."
        ]
    if sheet.scale == "school":
        return ["# School marks, of which 1 is the best: turned round."]
    if any(cell in TURNED for cell in sheet.cells.get("condition", ())):
        return [
            "# Numbers are read as our grades: 5 the best, 1 the worst. If 1 is your best, take the # away here:",
            *(f"# {toml_text(mark)} = {toml_text(word)}" for mark, word in TURNED.items()),
        ]
    return []


def _without_features(text: str, columns: Container[str]) -> str:
    """The text with the features that are none of `columns` as remarks, and what is said of them elsewhere."""
    absent: set[str] = set()
    rows, section = [], ""
    for row in text.split("\n"):
        section = row if row.startswith("[") else section
        key = row.partition(" = ")[0]
        if section == _FEATURES and key.isidentifier() and key not in columns:
            absent.add(key)
        of_absent = any(row == toml_heading("prices", "words", name) or f' = "{name}=' in row for name in absent)
        rows.append(f"# {row}" if of_absent or (section == _FEATURES and key in absent) else row)
    return "\n".join(rows)


def _under(text: str, heading: str, lines: Sequence[str], *, keep: bool = False) -> str:
    """The text with lines below a heading and the remarks that stand there, in the place of examples."""
    if not lines:
        return text
    rows = text.split("\n")
    if heading not in rows:  # of a feature that the starter does not have
        at = rows.index(_JOT)
        return "\n".join([*rows[:at], heading, *lines, "", *rows[at:]])
    first = at = rows.index(heading) + 1
    while at < len(rows) and rows[at].startswith("#"):
        at += 1
    remarks = [row for row in rows[first:at] if keep or not _EXAMPLE.fullmatch(row)]
    return "\n".join([*rows[:first], *remarks, *lines, *rows[at:]])


def _series_text(series: Sequence[SeriesSeen]) -> str:
    if not series:
        text = "# No series are listed, so each is taken as it is written. With a list, a line [series.NAME] each, a "
        return f"{text}slip\n# of the keyboard never becomes a series of its own; `also` lists further spellings."
    text = "# The series of your spreadsheet. One that is not listed here is refused, so that a slip of the keyboard\n"
    text += "# never becomes a series of its own; `also` lists further spellings."
    for one in series:
        text += f"\n\n{toml_heading('series', one.name)}  # {_rows(one.rows)}"
        if one.same:
            text += f"\nalso = [{', '.join(map(toml_text, one.same))}]  # a guess: are these the same series?"
        told = ", ".join(f"{toml_text(name)}: {_rows(rows)}" for name, rows in one.alike.items())
        if one.alike and one.same:
            text += f"\n# If these are the same series, too ({told}), write them between the brackets; else add a line"
            text += " [series.NAME]."
        elif one.alike:
            text += f"\n# also = [{', '.join(map(toml_text, one.alike))}]"
            text += (
                f"\n# If that is the same series ({told}), take the # away before also; else add a line [series.NAME]."
            )
    return text


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"
