"""shop.toml for a spreadsheet that comes in for the first time: the starter's, with its headers, words and series."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.books.bookrows import says_total
from kitvalue.intake.books.specs import PRICES, feature_specs
from kitvalue.intake.settings.pasting import PasteBlock
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import TURNED, is_number_to_ten, scale_to_ten
from kitvalue.intake.text.languages import any_of, word_lists
from kitvalue.intake.text.problems import UNKNOWN_WORDS, Level, Problem
from kitvalue.intake.text.tomltext import Place, toml_heading, toml_key, toml_text
from kitvalue.intake.text.words import Refusal, fold, likeness, says_not_known, trimmed

_BLANK: Final = ' = ""  # '  # of a line that stands open, before its rows


@dataclass(frozen=True, slots=True)
class Guess:
    """The grade that a word for a condition likely is, by our word for it, and in how many rows the word stands."""

    word: str
    grade: str
    rows: int


def guessed_grade(text: str) -> str | None:
    """Our word for the grade that a condition likely is, None where its words are not common ones. "a bit rough", which
    says how much, is taken for "rough" alone, where the two have no grade of their own.
    """
    words = " ".join(re.findall(r"[^\W_]+", fold(text[:200])))
    grades = {word: ours for ours, known in word_lists("grades").items() for word in known}
    while words not in grades and (how_much := re.match(rf"{any_of('cells', 'how much')} (?=.)", words)):
        words = words[how_much.end() :]
    return grades.get(words)


def guess_for(line: str) -> Guess | None:
    """The guess for an open line of shop.toml, such as `"good" = ""  # 13 rows`; None where there is none."""
    key, blank, rows = line.rpartition(_BLANK)
    if not blank:
        return None
    (word,) = tomllib.loads(f"{key} = 0")
    grade = guessed_grade(word)
    return Guess(word, grade, int(rows.split()[0])) if grade is not None else None


_MOST_SERIES: Final = 60
_CONDITION: Final = toml_heading("prices", "words", "condition")
_FEATURES: Final = toml_heading("prices", "features")
_CHANNEL: Final = toml_heading("prices", "words", "channel")
# Standard rates, from memory.
_USUAL_VAT: Final[Mapping[str, str]] = {
    "GBP": "20", "CHF": "8.1", "SEK": "25", "NOK": "25", "DKK": "25", "PLN": "23", "CZK": "21", "HUF": "27",
}  # fmt: skip
_EXAMPLE: Final = re.compile(r'# (?:\w+|"[^"]*") = "[^"]*"')  # a line of the starter that shows how
_FROM, _TO = "# The series you deal in.", "[tax]"  # of the starter's series


@dataclass(frozen=True, slots=True)
class SeriesSeen:
    """A series as a spreadsheet spells it most, and in how many rows; `alike`: spellings that look like it -> rows."""

    name: str
    rows: int
    alike: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What a first reading of the spreadsheet's rows gives."""

    blocks: tuple[PasteBlock, ...] = ()  # the lines that its words ask for
    decimal: str | None = None  # the sign that its prices prove, None where they prove none

    @property
    def guesses(self) -> tuple[Guess, ...]:
        """The grades that are written in for words of conditions."""
        lines = (line for block in self.blocks if block.heading == _CONDITION for line in block.lines)
        return tuple(guess for guess in map(guess_for, lines) if guess is not None)


@dataclass(frozen=True, slots=True)
class NewLines:
    """What stands in a new shop.toml."""

    to_fill: tuple[PasteBlock, ...]  # the tables in which lines stand open
    guesses: tuple[Guess, ...]  # the grades written in for words of conditions
    private: tuple[int, ...]  # the lines of words for who sells that stand as private
    lines: Mapping[Place, int]  # where its keys stand
    usual: Decimal  # the grade of the commonest condition

    @property
    def guessed(self) -> tuple[int, ...]:
        """The lines of the guesses."""
        places = (("prices", "words", "condition", guess.word) for guess in self.guesses)
        return tuple(sorted(self.lines[place] for place in places if place in self.lines))


def series_seen(cells: Iterable[str]) -> tuple[SeriesSeen, ...]:
    """The series of a column, the most frequent first; () where nearly every cell is another, so that none is a series.
    A spelling that looks like a more frequent one is not a series of its own, nor the same one: its owner says which.
    """
    spelt: dict[str, Counter[str]] = {}
    for cell in map(trimmed, cells):
        if cell and not says_total(cell) and not says_not_known(cell):
            spelt.setdefault(fold(cell), Counter())[cell] += 1
    often = sorted(spelt.values(), key=lambda one: -one.total())
    if len(often) > _MOST_SERIES or 2 * len(often) > sum(one.total() for one in often):
        return ()
    rows: dict[str, int] = {}
    alike: dict[str, dict[str, int]] = {}
    for one in often:
        name = one.most_common(1)[0][0]
        near = likeness(name, {known: known for known in rows})
        (alike.setdefault(near.names[0], {}) if near.telling else rows)[name] = one.total()
    return tuple(SeriesSeen(name, count, alike.get(name, {})) for name, count in rows.items())


def unknown_words(cells: Mapping[str, Sequence[str]], shop: Shop, file: str) -> list[Problem]:
    """The refusal of each cell (by our column) that holds a word which a shop does not know yet."""
    own = [spec for spec in PRICES if spec.name in ("condition", "price_kind", "channel")]
    yes_no = [name for name, kind in shop.prices.features.items() if kind == "yes-no"]
    readers = {spec.name: spec.reader(shop) for spec in (*own, *feature_specs(shop, yes_no))}
    return [
        Problem(file, None, name, cell, why.code, Level.REFUSED, why.reason)
        for name, read in readers.items()
        for cell in cells.get(name, ())
        if isinstance(why := read(cell), Refusal) and why.code in UNKNOWN_WORDS
    ]


def new_settings(
    starter: str, sheet: Incoming, series: Sequence[SeriesSeen], seen: FirstLook, currency: str | None
) -> str:
    """The starter's shop.toml with a spreadsheet's columns, its `series`, what a first look at its rows gave and the
    `currency` of its prices.
    """
    text, columns = starter, sheet.columns
    if currency is not None:
        text = re.sub(r'(?m)^currency = "[A-Z]{3}" ', f'currency = "{currency}" ', text)
        if currency in _USUAL_VAT:
            line = f"rate = {_USUAL_VAT[currency]:<9}# percent: your own VAT. The usual rate with {currency}; check it."
            text = re.sub(r"(?m)^rate = \d+ +# percent: your own VAT\.", line, text)
    if sheet.day_first is not None:
        text = re.sub(r"(?m)^# day_first = true ", f"day_first = {str(sheet.day_first).lower()} ", text)
    sized = sheet.sized
    if seen.decimal is not None:
        text = re.sub(r'(?m)^# decimal = "." ', f'decimal = "{seen.decimal}"   ', text)
    elif sized is not None:
        why = f"  # {sized.why}" if sized.why else "        # so that the marks of prices part thousands, not decimals"
        line = f'{"" if sized.why else "# "}decimal = "{sized.sign}"{why}'
        text = re.sub(r'(?m)^# decimal = ".*$', lambda _: line, text)
    text = _without_features(text, columns)
    mapped = [f"{toml_key(name)} = {toml_text(header)}" for name, header in columns.items() if fold(header) != name]
    text = _under(text, toml_heading("prices", "columns"), mapped)
    for block in seen.blocks:
        lines = block.lines
        if block.heading == _CHANNEL:  # the name of a place says nothing of who sells: private, as a blank cell
            lines = tuple(re.sub(r'= ""(  # \d+ rows?)$', r'= "private"\1', line) for line in lines)
        elif block.heading == _CONDITION:
            guesses = [guess_for(line) for line in lines]
            lines = tuple(
                f' = "{guess.grade}"  # '.join(line.rsplit(_BLANK, 1)) + "; a guess: is it so?" if guess else line
                for line, guess in zip(lines, guesses, strict=True)
            )
        text = _under(text, block.heading, lines)
    text = _under(text, _CONDITION, _numbers(sheet.cells.get("condition", ())))
    before, after = text[: text.index(_FROM)], text[text.index(f"\n{_TO}\n") + 1 :]
    return f"{before}{_series_text(series)}\n\n{after}"


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


def _under(text: str, heading: str, lines: Sequence[str]) -> str:
    """The text with lines below a heading and the remarks that stand there, in the place of examples."""
    if not lines:
        return text
    rows = text.split("\n")
    if heading not in rows:
        return "\n".join([*rows, heading, *lines, ""])
    first = at = rows.index(heading) + 1
    while at < len(rows) and rows[at].startswith("#"):
        at += 1
    remarks = [row for row in rows[first:at] if not _EXAMPLE.fullmatch(row)]
    return "\n".join([*rows[:first], *remarks, *lines, *rows[at:]])


def _numbers(conditions: Sequence[str]) -> list[str]:
    """Lines for conditions that are numbers: halved where they run to ten, else ready to be turned round."""
    counts = Counter(trimmed(cell) for cell in conditions if is_number_to_ten(cell))
    if scale_to_ten(conditions):
        lines = [
            "# A scale to ten: halved, to the next half grade that is there. Write what you would see at the bench."
        ]
        marks = {cell: Decimal(cell.replace(",", ".")) for cell in counts}
        for cell, mark in sorted(marks.items(), key=lambda pair: -pair[1]):
            half = mark.quantize(Decimal(1), ROUND_HALF_UP) / 2  # the better half grade where two are as near
            grade = min(max(half, Decimal(1)), Decimal(5)).normalize()
            lines.append(f'{toml_text(cell)} = "{grade:f}"  # {_rows(counts[cell])}')
        return lines
    if any(cell in TURNED for cell in counts):
        return [
            "# Numbers are read as our grades: 5 the best, 1 the worst. If 1 is your best, take the # away here:",
            *(f"# {toml_text(mark)} = {toml_text(word)}" for mark, word in TURNED.items()),
        ]
    return []


def _series_text(series: Sequence[SeriesSeen]) -> str:
    if not series:
        text = "# No series are listed, so each is taken as it is written. With a list, a line [series.NAME] each, a "
        return f"{text}slip\n# of the keyboard never becomes a series of its own; `also` lists further spellings."
    text = "# The series of your spreadsheet. One that is not listed here is refused, so that a slip of the keyboard\n"
    text += "# never becomes a series of its own; `also` lists further spellings."
    for one in series:
        text += f"\n\n{toml_heading('series', one.name)}  # {_rows(one.rows)}"
        if one.alike:
            told = ", ".join(f"{toml_text(name)}: {_rows(rows)}" for name, rows in one.alike.items())
            text += f"\n# also = [{', '.join(map(toml_text, one.alike))}]\n# If that is the same series ({told}), take "
            text += "the # away before also; else add a line [series.NAME]."
    return text


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"
