"""What a new sheet leaves open, as questions that one key answers, those about most rows first."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from kitvalue.intake.arrival.guesses import SeriesSeen, WordMeant
from kitvalue.intake.settings.pasting import our_words, word_kind
from kitvalue.intake.text.vocabulary import GRADES, REQUIRED
from kitvalue.intake.text.words import fold

_SERIES: Final = "series"
_SAME, _OWN = "the same", "another"
_MOST_HEADERS: Final = 9  # as many as there are digits to press


@dataclass(frozen=True, slots=True)
class Question:
    """What a word (or, where it is blank, a column) stands for. `choices`: the key to press -> the answer; `like`: the
    series that a spelling looks like.
    """

    column: str
    word: str
    rows: int
    choices: Mapping[str, str]
    like: str = ""


Ask = Callable[[Question], str | None]  # the answer, None where it is left open


def column_questions(columns: Mapping[str, str], unused: Sequence[str], rows: int) -> tuple[Question, ...]:
    """Which header holds each column that is needed and not found."""
    choices = {str(at): header for at, header in enumerate(unused[:_MOST_HEADERS], 1)}
    return tuple(Question(name, "", rows, choices) for name in REQUIRED if name not in columns and choices)


def questions(
    words: Sequence[WordMeant], series: Sequence[SeriesSeen], features: Mapping[str, str]
) -> tuple[Question, ...]:
    """The words that stand open or are taken for private alone, and the spellings that may be a known series."""
    found = [
        Question(one.column, one.word, one.rows, _choices(word_kind(one.column, features)))
        for one in words
        if not one.means or (one.guess and one.column == "channel")
    ]
    found += [
        Question(_SERIES, spelling, rows, {"y": _SAME, "n": _OWN}, one.name)
        for one in series
        for spelling, rows in one.alike.items()
    ]
    return tuple(sorted((one for one in found if one.choices), key=lambda one: -one.rows))


def _choices(kind: str) -> Mapping[str, str]:
    """A key for each answer: the grade's number, or the first letter."""
    return {f"{GRADES[word]:f}" if word in GRADES else word[0]: word for word in our_words(kind)}


def with_series(series: Sequence[SeriesSeen], answers: Mapping[tuple[str, str], str]) -> tuple[SeriesSeen, ...]:
    """The series where their owner has said which spellings are the same."""
    found: list[SeriesSeen] = []
    for one in series:
        said = {name: answers.get((_SERIES, fold(name))) for name in one.alike}
        same = {name: rows for name, rows in one.alike.items() if said[name] == _SAME}
        left = {name: rows for name, rows in one.alike.items() if said[name] is None}
        found.append(replace(one, rows=one.rows + sum(same.values()), alike=left, same={**one.same, **same}))
        found += [SeriesSeen(name, rows, {}, {}) for name, rows in one.alike.items() if said[name] == _OWN]
    return tuple(found)
