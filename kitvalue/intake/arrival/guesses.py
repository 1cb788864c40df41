"""What a new sheet's own words likely mean: written into shop.toml and used until their owner changes it."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from kitvalue.intake.books.bookrows import says_total
from kitvalue.intake.books.specs import PRICES, feature_specs
from kitvalue.intake.settings.pasting import UnknownWord, word_kind, word_line
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import Scale, mark_grade
from kitvalue.intake.text.languages import any_of, word_lists
from kitvalue.intake.text.problems import UNKNOWN_WORDS, Level, Problem
from kitvalue.intake.text.vocabulary import GRADES
from kitvalue.intake.text.words import Refusal, fold, is_dash, likeness, says_not_known, trimmed

A_GUESS: Final = "; a guess: is it so?"
_MOST_SERIES: Final = 60
_MOST_WORDS: Final = 40  # lines of one table
_CROSSES: Final = ("x", "×", "✕", "✖")
_TICKS: Final = ("✓", "✔", "v", "√")
_NAMES: Final = {grade: word for word, grade in GRADES.items()}


@dataclass(frozen=True, slots=True)
class WordMeant:
    """A word of a column, in how many rows it stands, and our word for it: "" where it stands open. `guess`: it is not
    beyond doubt.
    """

    column: str
    word: str
    rows: int
    means: str
    guess: bool = False

    @property
    def line(self) -> str:
        """As shop.toml has it."""
        return word_line(self.word, self.means, self.rows, A_GUESS if self.guess else "")


def guessed_grade(text: str) -> str | None:
    """Our word for the grade that a condition likely is, None where its words are not common ones. "a bit rough", which
    says how much, is taken for "rough" alone, where the two have no grade of their own.
    """
    words = _bare(text[:200])
    grades = _bare_grades()
    while words not in grades and (how_much := re.match(rf"{any_of('cells', 'how much')} (?=.)", words)):
        words = words[how_much.end() :]
    return grades.get(words)


@cache
def _bare_grades() -> Mapping[str, str]:
    return {_bare(word): ours for ours, known in word_lists("grades").items() for word in known}


def _bare(text: str) -> str:
    """Words without accents, apostrophes and marks: "Player's", "etat d'usage"."""
    spelt = unicodedata.normalize("NFD", re.sub("['’]", "", fold(text)))
    return " ".join(re.findall(r"[^\W_]+", "".join(c for c in spelt if not unicodedata.combining(c))))


def guessed_truth(word: str, others: Iterable[str]) -> str | None:
    """What a cross or a dash says in a column of yes and no: a cross is yes but beside ticks."""
    if is_dash(word):
        return "no"
    if fold(word) in _CROSSES:
        return "yes" if set(map(fold, others)).isdisjoint(_TICKS) else "no"
    return "yes" if fold(word) in _TICKS else None


def words_meant(
    unknown: Mapping[str, Sequence[UnknownWord]],
    features: Mapping[str, str],
    scale: Scale | None,
    conditions: Sequence[str],
    answers: Mapping[tuple[str, str], str],
) -> tuple[WordMeant, ...]:
    """The words of a sheet that shop.toml has to map. `unknown`: those that its reader asked for, by column; `scale`
    and `conditions`: of its conditions; `answers`: (column, folded word) -> our word, as their owner said it.
    """
    marks = _marks(scale, conditions) if scale is not None else ()
    known = {(mark.column, fold(mark.word)) for mark in marks}
    found = [*marks]
    for column, words in unknown.items():
        kind = word_kind(column, features)
        texts = [word.text for word in words]
        for word in words[:_MOST_WORDS]:
            if (column, fold(word.text)) in known:
                continue
            guess = None
            if kind == "condition":
                guess = guessed_grade(word.text)
            elif kind == "yes-no":
                guess = guessed_truth(word.text, texts)
            elif kind == "channel":  # the name of a place says nothing of who sells: private, as a blank cell
                guess = "private"
            found.append(
                WordMeant(column, word.text, word.rows, word.likely or guess or "", not word.likely and bool(guess))
            )
    said = {(one.column, fold(one.word)): one for one in found}
    return tuple(
        WordMeant(one.column, one.word, one.rows, answers[place]) if place in answers else one
        for place, one in said.items()
    )


def _marks(scale: Scale, conditions: Sequence[str]) -> tuple[WordMeant, ...]:
    """The numbers and marks of a scale that is not ours, the best first."""
    counts = Counter(trimmed(cell) for cell in conditions if mark_grade(scale, cell) is not None)
    grades = {cell: grade for cell in counts if (grade := mark_grade(scale, cell)) is not None}
    return tuple(
        WordMeant(
            "condition",
            cell,
            counts[cell],
            _NAMES[grade] if grade in _NAMES and scale == "school" else f"{grade.normalize():f}",
            guess=True,
        )
        for cell, grade in sorted(grades.items(), key=lambda pair: -pair[1])
    )


@dataclass(frozen=True, slots=True)
class SeriesSeen:
    """A series as a spreadsheet spells it most, and in how many rows, its other spellings counted; `alike`: spellings
    that look like it -> rows; `same`: those that differ in a hyphen, an ending or a word in brackets alone -> rows.
    """

    name: str
    rows: int
    alike: Mapping[str, int]
    same: Mapping[str, int]


_BRACKETED: Final = re.compile(r"\s*[(\[][^)\]]*[)\]]\s*")
_ENDINGS: Final = ("s", "'s", "’s", "es")
_FEWEST_LETTERS: Final = 4  # of a name to which an ending can be added


def _key(name: str) -> str:
    """A name without what is in brackets, hyphens and spaces."""
    return re.sub(r"[\s\-‐‑–._]+", "", _BRACKETED.sub(" ", fold(name)))


def spelt_alike(cells: Iterable[str]) -> Mapping[str, str]:
    """Each spelling in a column (that of most rows first, case left aside) -> the name of which it is another, that
    differs in a hyphen, an ending or a word in brackets alone; else itself.
    """
    counts = _counted(cells)
    often = sorted(counts, key=lambda name: -counts[name])
    plain = {_key(name): name for name in reversed(often) if not _BRACKETED.search(name)}
    names = {}
    for name in often:
        key = _key(name)
        stems = [key, *(key.removesuffix(end) for end in _ENDINGS if key.endswith(end))]
        others = (plain[stem] for stem in stems if stem in plain and len(stem) >= _FEWEST_LETTERS)
        names[name] = next((other for other in others if other != name), name)
    return names


def _counted(cells: Iterable[str]) -> dict[str, int]:
    """The rows of each name, as it is spelt most."""
    spelt: dict[str, Counter[str]] = {}
    for cell in map(trimmed, cells):
        if cell and not says_total(cell) and not says_not_known(cell):
            spelt.setdefault(fold(cell), Counter())[cell] += 1
    return {one.most_common(1)[0][0]: one.total() for one in spelt.values()}


def series_seen(cells: Iterable[str]) -> tuple[SeriesSeen, ...]:
    """The series of a column, the most frequent first; () where nearly every cell is another, so that none is a series.
    A spelling that looks like a more frequent one is not a series of its own, nor the same one: its owner says which,
    unless it differs in as little as `SeriesSeen.same` says.
    """
    every = list(cells)
    counts, names = _counted(every), spelt_alike(every)
    rows: Counter[str] = Counter()
    for spelling, name in names.items():
        rows[name] += counts[spelling]
    if len(rows) > _MOST_SERIES or 2 * len(rows) > rows.total():
        return ()
    kept: dict[str, int] = {}
    alike: dict[str, dict[str, int]] = {}
    for name, count in rows.most_common():
        near = likeness(name, {known: known for known in kept})
        (alike.setdefault(near.names[0], {}) if near.telling else kept)[name] = count
    return tuple(
        SeriesSeen(name, count, alike.get(name, {}), _others(name, names, counts)) for name, count in kept.items()
    )


def _others(name: str, names: Mapping[str, str], counts: Mapping[str, int]) -> dict[str, int]:
    return {one: counts[one] for one, of in names.items() if of == name and one != name}


def refused_words(cells: Mapping[str, Sequence[str]], shop: Shop, file: str) -> list[Problem]:
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
