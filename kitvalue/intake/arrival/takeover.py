"""A spreadsheet that comes in for the first time: its rows, its headers, and what its columns show of themselves."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from kitvalue.intake.arrival.columns import MoneyNotes, taken_columns
from kitvalue.intake.arrival.country import language_of
from kitvalue.intake.books.bookrows import says_total
from kitvalue.intake.books.specs import read_sold_for
from kitvalue.intake.settings.words import Scale, scale_of, scale_said
from kitvalue.intake.tables.headers import (
    commonest_delimiter,
    declared_delimiter,
    likely_header,
    split_lines,
    split_rows,
)
from kitvalue.intake.text.dates import day_order
from kitvalue.intake.text.decoding import decode, refused_file
from kitvalue.intake.text.numbers import Amount, Sign, TwoReadings, read_amount
from kitvalue.intake.text.vocabulary import OPTIONAL, REQUIRED
from kitvalue.intake.text.words import Refusal, fold, trimmed

_FEWEST_SIZEDSIGN: Final = 5  # prices that are plain
_FAR: Final = 10  # times smaller or larger than the plain prices


@dataclass(frozen=True, slots=True)
class SizedSign:
    """The decimal sign under which the marks of prices such as 1,250 part thousands."""

    sign: Sign
    why: str = ""  # nothing else fits the prices beside them; blank where that is not sure


def sign_by_size(cells: Iterable[str]) -> SizedSign | None:
    """The sign for prices that leave it open. None where none does, where one proves a sign, and where marks differ."""
    readings = [read_sold_for(cell) for cell in cells]
    both = [read for read in readings if isinstance(read, TwoReadings)]
    plain = [read for read in readings if isinstance(read, Amount)]
    marks = {read.mark for read in both}
    if len(marks) != 1 or any(read.sign is not None for read in plain):
        return None
    mark = marks.pop()
    sign: Sign = "." if mark == "," else ","
    values = [read.value for read in plain if read.value > 0]
    if len(values) < _FEWEST_SIZEDSIGN:
        return SizedSign(sign)
    low, high = min(values), max(values)
    if any(read.as_decimal * _FAR >= low or read.as_thousands > high * _FAR for read in both):
        return SizedSign(sign)
    first, smallest, largest = (f"{value:,}".replace(",", mark) for value in (both[0].as_thousands, low, high))
    return SizedSign(sign, f"{first} is more than a thousand: the other prices lie between {smallest} and {largest}")


_LOOKED_AT: Final = 2000  # rows from which a column is judged


@dataclass(frozen=True, slots=True)
class Incoming:
    """A spreadsheet as it comes in."""

    data: bytes  # the file's; where something stands above the headers, with blank rows there: rows keep their numbers
    delimiter: str
    above: int  # rows that were made blank
    columns: Mapping[str, str]  # our column -> the header that likely holds it, also where that is our own name
    unused: tuple[str, ...]  # headers for which there is none
    series: tuple[str, ...]  # the filled cells of that column but for totals
    currencies: tuple[str, ...]  # the codes that its prices can be in, () where they do not say or say several
    day_first: bool | None  # the order that its dates show, None where they show none or both
    cells: Mapping[str, Sequence[str]]  # our column -> its filled cells, of the first rows
    money: MoneyNotes = field(default_factory=MoneyNotes)
    sized: SizedSign | None = None  # None where the prices leave no sign open
    scale: Scale | None = None  # of its conditions, where it is not ours
    by_cells: tuple[str, ...] = ()  # our columns that no word of their header tells, only what stands there
    features: Mapping[str, str] = field(
        default_factory=dict
    )  # a name for each further column of yes and no -> "yes-no"
    language: str = "en"
    rows: int = 0  # of the first ones those that are looked at
    by_header: Mapping[str, Sequence[str]] = field(default_factory=dict)  # its filled cells

    def with_column(self, name: str, header: str) -> Incoming:
        """The sheet where its owner has said which header holds a column."""
        cells = self.by_header.get(header, ())
        return replace(
            self,
            columns={**self.columns, name: header},
            unused=tuple(one for one in self.unused if one != header),
            cells={**self.cells, name: cells},
            series=tuple(cells) if name == "series" else self.series,
            scale=scale_of(header, cells) if name == "condition" else self.scale,
        )


def incoming(data: bytes, file: str, features: Mapping[str, str]) -> Incoming:
    """What a spreadsheet's export holds. `features`: further columns of ours -> their kind. Raises FileError where it
    is no text or has no row that can be its headers.
    """
    text = decode(data, file)
    lines = split_lines(text.text)
    declared = declared_delimiter(lines)
    if declared is not None:
        lines = lines[1:]
    names = (*REQUIRED, *OPTIONAL, *features)
    sign = declared or commonest_delimiter(lines)
    found = likely_header(lines, sign, names)
    if found is None:
        message = "has no row of headers; the first row of a table says what its columns are"
        raise refused_file(file, "no_header", message)
    header, first = found.raw, found.line
    below = lines[first:]
    headers = [trimmed(cell) for cell in header.cells]
    rows = _rows(below, sign, headers)
    taken = taken_columns(names, headers, rows, features)
    truths = {_feature_name(header): header for header in taken.truths}
    truths = {name: header for name, header in truths.items() if name and name not in names}
    taken_for = {**taken.columns, **truths}
    places = {name: headers.index(header) for name, header in taken_for.items()}
    columns = {name: [row[place] for row in rows if row[place]] for name, place in places.items()}
    titles = [trimmed(cell) for raw in split_rows(lines[:first], sign) for cell in raw.cells if raw.row < header.row]
    filled = any(any(map(trimmed, raw.cells)) for raw in split_rows(lines[:first], sign))
    above = header.row - 1 if filled else 0  # blank rows may stay
    if above:
        whole = "\n" * above + "\n".join(below) + "\n"
        data = whole.encode("utf-8-sig" if text.encoding == "utf-8" else text.encoding)
    orders = {day_order(cell) for cell in columns.get("date", ())} - {None}
    prices = [read_amount(cell) for cell in columns.get("price", ())]
    said = Counter(one.currencies for one in prices if not isinstance(one, Refusal) and one.currencies)
    currencies = next((codes for codes, count in said.most_common(1) if 2 * count > said.total()), ())
    scale = scale_of(taken.columns.get("condition", ""), columns.get("condition", ()))
    if scale is None and any(scale_said(title) == "school" and any(map(str.isdigit, title)) for title in titles):
        scale = "school"
    return Incoming(
        data,
        sign,
        above,
        taken_for,
        unused=tuple(name for name in headers if name and name not in taken_for.values()),
        series=_series(below, sign, places, headers),
        currencies=currencies,
        day_first=orders.pop() if len(orders) == 1 else None,
        cells=columns,
        money=taken.money,
        sized=sign_by_size([*columns.get("price", ()), *columns.get("sold_for", ())]),
        scale=scale,
        by_cells=taken.by_cells,
        features=dict.fromkeys(truths, "yes-no"),
        rows=len(rows),
        by_header={header: [row[at] for row in rows if row[at]] for at, header in enumerate(headers) if header},
        language=language_of([*titles, *headers, *(cell for row in rows for cell in row)]),
    )


def _rows(lines: list[str], delimiter: str, headers: Sequence[str]) -> list[list[str]]:
    """The first rows below the headers, each as wide as they are, but for totals and headers that come again."""
    found = []
    names = sum(map(bool, headers))
    for raw in split_rows(lines[: _LOOKED_AT + 1], delimiter):
        cells = [trimmed(cell) for cell in raw.cells[: len(headers)]]
        cells += [""] * (len(headers) - len(cells))
        total = any(map(says_total, cells)) and 2 * sum(map(bool, cells)) <= names
        if raw.row > 1 and not total and cells != headers:
            found.append(cells)
    return found


def _feature_name(header: str) -> str:
    """A name for a feature of ours: the header's words."""
    return "_".join(re.findall(r"\w+", fold(header[:40])))


def _series(lines: list[str], delimiter: str, places: Mapping[str, int], headers: Sequence[str]) -> tuple[str, ...]:
    """The filled cells of the column of series, but for rows that are totals; () where no column is known for it."""
    found, here = [], places.get("series", 0)
    tell = [places[name] for name in ("pieces", "condition") if name in places]
    for raw in split_rows(lines, delimiter) if "series" in places else ():
        cells, width = raw.cells, len(raw.cells)
        name = trimmed(cells[here]) if here < width and raw.row > 1 else ""
        bare = not any(trimmed(cells[at]) for at in tell if at < width)
        again = all(fold(cells[at]) == fold(headers[at]) for at in places.values() if at < width)
        if name and not again and not (bare and any(map(says_total, cells))):
            found.append(name)
    return tuple(found)
