"""Condition cells as grades, and sheets that count the other way round: school marks, of which 1 is the best."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from itertools import chain
from typing import Final, Literal

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.languages import any_of, pattern, word_lists, word_numbers
from kitvalue.intake.text.numbers import error_refusal, spreadsheet_error
from kitvalue.intake.text.tomltext import toml_heading, toml_text
from kitvalue.intake.text.vocabulary import GRADES, grade
from kitvalue.intake.text.words import Refusal, fold, likeness, listed, not_known, says_not_known, trimmed, visible

WORDS_TABLE: Final = "[prices.words.condition]"
# School marks by our words; what 6 is where there is one, its owner has to say (common practice, no source).
TURNED: Final[Mapping[str, str]] = {"1": "wipe", "2": "freshen", "3": "mend", "4": "remake", "5": "harvest"}
_DASH: Final = "-‐‑‒–—−"
_LAST, _OF_TEN_ALONE = Decimal(5), Decimal(7)  # the best grade; 6 can be a school mark
FEWEST_OF_TEN: Final = 3  # rows


@dataclass(frozen=True, slots=True)
class ShopGrades:
    """A shop's own words for a condition. `words`: folded word -> grade; `numbers`: those of them that are numbers."""

    words: Mapping[str, Decimal]
    numbers: Mapping[Decimal, Decimal]

    @property
    def turned(self) -> bool:
        """Does a number stand for another grade than ours, or one of a scale to ten for any? Then none can be ours."""
        pairs = self.numbers.items()
        return any(number != ours if number <= _LAST else number >= _OF_TEN_ALONE for number, ours in pairs)

    def find(self, text: str) -> Decimal | None:
        """The grade in a cell: by the shop's word for it, else by ours; None where it is neither, or a number that the
        shop has not mapped beside others that it has.
        """
        own, ours = self.words.get(fold(text)), grade(text)
        if own is None and ours is None:
            return of_ten(text)
        if own is not None or ours is None or not self.turned or fold(text) in GRADES:
            return own or ours
        return self.numbers.get(ours)

    def asked(self, text: str) -> Decimal | None:
        """The grade on a command line, which speaks our grades: by number or word, else by the shop's word for it."""
        return grade(text) or self.words.get(fold(text))

    def written(self, of: Decimal) -> str | None:
        """How a grade is written into the shop's files so that it is read back as it is; None where nothing says it."""
        if not self.turned:
            return format(of.normalize(), "f")
        own = (format(number.normalize(), "f") for number, ours in self.numbers.items() if ours == of)
        words = (word for word, ours in GRADES.items() if ours == of and self.find(word) == of)
        return next(chain(own, words), None)


def shop_grades(shop: Shop) -> ShopGrades:
    """The words of [prices.words.condition]."""
    return grades_by(shop.prices.words.get("condition", {}))


def grades_by(mapped: Mapping[str, str]) -> ShopGrades:
    """The grades by the words mapped to ours; what is mapped to none is left out."""
    words = {fold(word): found for word, ours in mapped.items() if (found := grade(ours)) is not None}
    numbers = {}
    for word, ours in words.items():  # a grade's number, or one beyond the grades of a scale to ten
        number = grade(word) or (Decimal(word.replace(",", ".")) if is_number_to_ten(word) else None)
        if word not in GRADES and number:
            numbers[number] = ours
    return ShopGrades(words, numbers)


def read_grade(text: str, grades: ShopGrades) -> Decimal | Refusal:
    """The grade in a cell, or why there is none."""
    if spreadsheet_error(text):
        return error_refusal(text)
    found = grades.find(text)
    if found is not None:
        return found
    if grade(text) is not None:
        why = "can be our grade or your own mark, as shop.toml maps other numbers"
        return Refusal("not_a_grade", why, f"map it too, under {WORDS_TABLE}")
    if says_not_known(text):
        return not_known("write its grade")
    hint = f"write 1 to 5 in halves, {listed(GRADES, last='or')}, or map the word under {WORDS_TABLE}"
    return Refusal("not_a_grade", "is no bench grade", hint)


def grade_name(of: Decimal) -> str:
    """`grade 2 (remake)`; of a half the number alone."""
    word = next((f" ({word})" for word, ours in GRADES.items() if ours == of), "")
    return f"grade {of.normalize():f}{word}"


def turned_words() -> str:
    """The mappings of a sheet in which 1 is the best, as shop.toml takes them."""
    return ", ".join(f"{toml_text(mark)} = {toml_text(word)}" for mark, word in TURNED.items())


def halved_words() -> str:
    """The mappings of a sheet that goes to ten, as shop.toml takes them."""
    marks = (Decimal(mark) for mark in range(10, 0, -1))
    return ", ".join(f'"{mark}" = "{halved(mark).normalize():f}"' for mark in marks)


def _looks_like(pattern: str, cleaned: Callable[[str], str], longest: float = 8) -> Callable[[str], bool]:
    compiled = re.compile(pattern)
    return lambda text: len(text) <= longest and compiled.fullmatch(cleaned(text)) is not None


# What a condition is: one plain digit; a mark as schools give it where 1 is the best, such as "2-", "3+", "1-2"; a
# number of a scale that goes to ten; a number from 0 to 10, in whole or with a decimal.
is_digit: Final = _looks_like("[1-6]", trimmed, math.inf)
is_school_mark: Final = _looks_like(rf"[1-6] ?[{_DASH}+]|[1-6] ?[{_DASH}] ?[1-6]", visible)
is_of_ten: Final = _looks_like(r"(?:[7-9]|10)(?:[.,]5)?(?: ?/ ?10)?|[1-6](?:[.,]5)? ?/ ?10", visible)
is_number_to_ten: Final = _looks_like(r"(?:[0-9]|10)(?:[.,][0-9])?", trimmed)


def of_ten(text: str) -> Decimal | None:
    """The grade of a mark that says ten itself, such as "7/10" or "7 out of 10": half of it. None for all others."""
    found = pattern(rf"(\d{{1,2}}(?:[.,]\d)?) ?(?:/|{any_of('cells', 'out of')}) ?10").fullmatch(visible(text[:30]))
    mark = Decimal(found[1].replace(",", ".")) if found is not None else None
    return halved(mark) if mark is not None and mark <= 10 else None


def halved(mark: Decimal) -> Decimal:
    """The grade of a mark out of ten: its half, to the next half grade that there is, the better of two as near."""
    half = mark.quantize(Decimal(1), ROUND_HALF_UP) / 2
    return min(max(half, Decimal(1)), _LAST)


Scale = Literal["ten", "school"]


def scale_said(header: str) -> Scale | None:
    """The scale that the header of conditions names: "Cond (out of 10)", "Schulnote", "Zustand (1 = top)"."""
    words = re.findall(r"\w+", fold(header[:200]))
    if any(word == "10" or word_numbers("numbers").get(word) == 10 for word in words):
        return "ten"
    best = re.search(rf"(?<!\d)1 ?(?:=|:|is|ist|est|é|es) ?{any_of('cells', 'best')}", fold(header[:200]))
    return "school" if best or not set(words).isdisjoint(word_lists("cells")["school marks"]) else None


def scale_of(header: str, cells: Iterable[str]) -> Scale | None:
    """The scale that conditions are in, where they are not in ours: to ten, where three and more are numbers from 7 to
    10; else as the header names it, or that of schools where a mark as they give it stands among digits.
    """
    every = list(cells)
    if sum(is_number_to_ten(cell) and is_of_ten(cell) for cell in every) >= FEWEST_OF_TEN:
        return "ten"
    said = scale_said(header)
    return said or ("school" if any(map(is_school_mark, every)) and any(map(is_digit, every)) else None)


def mark_grade(scale: Scale, cell: str) -> Decimal | None:
    """The grade that a number or a mark stands for in a scale; None for a cell that is neither."""
    if scale == "ten":
        return halved(Decimal(trimmed(cell).replace(",", "."))) if is_number_to_ten(cell) else None
    found = re.fullmatch(rf"([1-6])(?:[.,]([05]))?(?: ?(?:([{_DASH}] ?[1-6])|[{_DASH}+]))?", visible(cell[:8]))
    if found is None:
        return None
    mark = Decimal(f"{found[1]}.{found[2] or 0}")
    if found[3]:  # between two marks
        mark = (mark + Decimal(found[3][-1])) / 2
    return max(6 - mark, Decimal(1))


@dataclass(frozen=True, slots=True)
class SeriesNames:
    """The series of shop.toml. `spellings`: folded name or `also` name -> the shop's own spelling; may be empty."""

    spellings: Mapping[str, str]

    @property
    def declared(self) -> bool:
        """Does shop.toml list series at all?"""
        return bool(self.spellings)

    def find(self, text: str) -> str | None:
        """The shop's spelling of a name, None where it is not in the list."""
        return self.spellings.get(fold(text))

    def advice(self, text: str) -> str:
        """What to do about a name that is not in the list."""
        found = likeness(text, self.spellings)
        if found.telling:
            (name,) = found.names
            table = toml_heading("series", name)
            return f"did you mean {name}? Write it so, or add this spelling to also under {table}"
        if not found.names:
            every = listed(dict.fromkeys(self.spellings.values()))
            return f"write one of {every}, or add the line [series.NAME] to shop.toml"
        names = listed(found.names, last="or")
        can_be = f"it can be {names}" if len(found.names) > 1 else f"it is only a part of a spelling of {names}"
        declare = "declare another one with the line [series.NAME] in shop.toml"
        return f"{can_be}: write which series it is, {declare}, or leave the kit out"


def series_names(shop: Shop) -> SeriesNames:
    """The lookup for a shop's list of series."""
    spellings: dict[str, str] = {}
    for name, table in shop.series.items():
        for spelling in (name, *table.also):
            spellings.setdefault(fold(spelling), name)
    return SeriesNames(spellings)
