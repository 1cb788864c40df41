"""A newer export held against a price book: which of its rows stand there already, which are new, which have changed.

What is compared is what was read, in the columns that both have; where the export is blank it takes nothing away.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final, cast

from kitvalue.intake.books.bookrows import RowAsRead
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import shop_grades
from kitvalue.intake.text.problems import Caution, Level, Problem
from kitvalue.intake.text.words import fold

Fact = object
_OF_KIT: Final = ("series", "pieces", "date", "channel")
_OF_PRICE: Final = frozenset({"price", "asked", "price_kind", "currency", "premium", "sold_for"})
_TOLD: Final = (*_OF_KIT, "condition", "price", "price_kind", "currency")
_WORDS: Final = ("price_kind", "channel", "ref", "note")  # columns whose cells go over as they are


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One usable row: its number in its sheet, what names its listing, and what it says, by column."""

    row: int
    ref: str | None
    facts: Mapping[str, Fact]

    def told(self, names: Iterable[str]) -> tuple[Fact, ...]:
        return tuple(self.facts.get(name) for name in names)


@dataclass(frozen=True, slots=True)
class Pair:
    """A row of the export and the row of the book that it belongs to."""

    row: int
    of_row: int


@dataclass(frozen=True, slots=True)
class Merge:
    """Rows of an export: `left` stand in the book as they are, `added` are new, `changed` stand there otherwise, and of
    `open` ones nothing tells whether they are a change of that row or another kit.
    """

    left: tuple[Pair, ...]
    added: tuple[int, ...]
    changed: tuple[Pair, ...]
    open: tuple[Pair, ...]


def sheet_row(row: RowAsRead, columns: Iterable[str]) -> SheetRow:
    """What a row says in some columns."""
    both = set(columns)
    facts: dict[str, Fact] = {name: value for name in ("freight", "premium", "weight", "date", "channel")
                              if name in both and (value := getattr(row, name)) is not None}  # fmt: skip
    facts |= {"series": fold(row.series), "pieces": row.pieces, "condition": row.condition}
    facts |= {"price": row.price, "price_kind": row.price_kind, "currency": row.currency}
    if row.asked is not None and {"price", "sold_for"} <= both:
        facts["asked"] = row.asked
    if "note" in both and row.note:
        facts["note"] = plain(row.note)
    facts |= {one.name: fold(one.value) if isinstance(one.value, str) else one.value for one in row.features
              if one.name in both and one.value is not None}  # fmt: skip
    return SheetRow(row.row, fold(plain(row.ref)) if row.ref and "ref" in both else None, facts)


def plain(text: str) -> str:
    """A text without what only one file's style gives it: line breaks, and the sign that makes it safe to open."""
    return " ".join(text.split()).lstrip("'")


def says_otherwise(new: SheetRow, old: SheetRow) -> set[str]:
    """The facts of a row that another does not have so; what it does not say is none."""
    return {name for name, fact in new.facts.items() if fact != old.facts.get(name)}


@dataclass(slots=True)
class _Matching:
    """The rows that are not yet matched, in the sheets' order, and those that are."""

    book: dict[int, SheetRow]
    export: dict[int, SheetRow]
    left: list[Pair] = field(default_factory=list)
    changed: list[Pair] = field(default_factory=list)
    open: list[Pair] = field(default_factory=list)

    def pair(self, into: list[Pair], new: SheetRow, old_row: int) -> None:
        into.append(Pair(new.row, old_row))
        del self.export[new.row]
        self.book.pop(old_row, None)

    def alike(self, names: Sequence[str]) -> list[tuple[list[SheetRow], list[SheetRow]]]:
        """The rows of book and export that are alike in some facts, where both have such rows."""
        found: dict[tuple[Fact, ...], tuple[list[SheetRow], list[SheetRow]]] = {}
        for side, rows in enumerate((self.book, self.export)):
            for row in rows.values():
                found.setdefault(row.told(names), ([], []))[side].append(row)
        return [group for group in found.values() if group[0] and group[1]]


def merge(
    book: Sequence[SheetRow], export: Sequence[SheetRow], refs: Mapping[str, Sequence[int]], known: Sequence[Pair] = ()
) -> Merge:
    """Match the rows of an export with those of a book. `refs`: the rows of each of the book's listings, also those
    that do not count; `known`: rows that are beside these in both sheets, and say the same.
    """
    rows = _Matching({row.row: row for row in book}, {row.row: row for row in export}, [*known])
    for new in export:
        if new.ref is not None and new.ref in refs:
            _same_listing(rows, new, refs[new.ref])
    for olds, news in rows.alike(_TOLD):
        _same_facts(rows, olds, news)
    found = {pair.of_row for pair in (*rows.left, *rows.changed)}
    again: dict[int, bool] = {}
    above = 0
    for count, old in enumerate(sorted([*(row.row for row in book), *(pair.of_row for pair in known)])):
        again[old] = 0 < count <= 2 * above
        above += old in found
    for olds, news in rows.alike(_OF_KIT):
        _same_kit(rows, olds, news, again=all(again[old.row] for old in olds))
    left = tuple(sorted(rows.left, key=lambda pair: pair.row))
    return Merge(left, tuple(rows.export), tuple(rows.changed), tuple(rows.open))


def _same_listing(rows: _Matching, new: SheetRow, listing: Sequence[int]) -> None:
    """A row whose ref the book has. Where the book has a later row of the listing, that is the one that counts."""
    counting = next((rows.book[row] for row in listing if row in rows.book), None)
    if counting is None:
        return rows.pair(rows.changed, new, listing[-1])
    seen, known = new.facts.get("date"), counting.facts.get("date")
    outdated = len(listing) > 1 and isinstance(seen, dt.date) and isinstance(known, dt.date) and seen < known
    same = outdated or not says_otherwise(new, counting)
    return rows.pair(rows.left if same else rows.changed, new, counting.row)


def _same_facts(rows: _Matching, olds: list[SheetRow], news: Sequence[SheetRow]) -> None:
    """Of rows alike in all that is always told: those that say nothing else either, what is equal in full first."""
    for exact in (True, False):
        for new in news:
            found = next(
                (
                    old
                    for old in olds
                    if new.row in rows.export
                    and not _two_listings(new, old)
                    and (new.facts == old.facts if exact else not says_otherwise(new, old))
                ),
                None,
            )
            if found is not None:
                olds.remove(found)
                rows.pair(rows.left, new, found.row)


def _same_kit(rows: _Matching, olds: list[SheetRow], news: list[SheetRow], *, again: bool) -> None:
    """Rows of the same kit of one day that say something else. In the same sheet exported `again`, as the rows above
    show (what was taken before stands behind), a row of the book that is no longer there has changed, and which
    of several is which makes no difference where none is missing.
    """
    olds = [old for old in olds if not all(_two_listings(new, old) for new in news)]
    news = [new for new in news if not all(_two_listings(new, old) for old in olds)]
    dated = bool(olds) and "date" in olds[0].facts
    if not olds or not (dated or again):
        return
    sure = dated and again and len(olds) <= len(news)
    pairs = zip(_by_condition(news), _by_condition(olds), strict=False)
    for new, old in pairs if sure else ((new, olds[0]) for new in news):
        rows.pair(rows.changed if sure else rows.open, new, old.row)


def _two_listings(one: SheetRow, other: SheetRow) -> bool:
    return one.ref is not None and other.ref is not None and one.ref != other.ref


def _by_condition(rows: Iterable[SheetRow]) -> list[SheetRow]:
    return sorted(rows, key=lambda row: cast(Decimal, row.facts["condition"]))


def values_of(row: RowAsRead, raw: Mapping[str, str], places: Collection[str], shop: Shop) -> dict[str, str]:
    """The row's values for the columns of the book (`places`), words as they stand in its own cells (`raw`)."""
    own = row.currency == shop.shop.currency
    unit = "" if own or "currency" in places else f" {row.currency}"
    values = {name: raw[name] for name in (*_WORDS, *shop.prices.features) if raw.get(name)}
    values |= {"series": row.series, "pieces": str(row.pieces)}
    values |= {name: f"{value:f}" for name in ("premium", "weight") if (value := getattr(row, name)) is not None}
    if row.freight is not None:
        values["freight"] = f"{row.freight:f}{unit}"
    if row.date is not None:
        values["date"] = row.date.isoformat()
    said = raw.get("condition", "")
    written = shop_grades(shop).written(row.condition) if any(map(str.isdigit, said)) else None
    values["condition"] = written or said
    price, asked = f"{row.price:f}{unit}", "" if row.asked is None else f"{row.asked:f}{unit}"
    paid = row.price_kind == "sold" and "sold_for" in places
    values |= {"price": asked, "sold_for": price} if paid else {"price": price, "sold_for": ""}
    if raw.get("sold_for") or not raw.get("price_kind"):
        values["price_kind"] = row.price_kind
    if raw.get("currency") or not own:
        values["currency"] = row.currency
    return values


def changed_values(values: Mapping[str, str], otherwise: Collection[str]) -> dict[str, str]:
    """Of a row's values those of the facts that have changed; all that says what a price is goes together."""
    names = {*otherwise, *(_OF_PRICE if not _OF_PRICE.isdisjoint(otherwise) else ())}
    return {name: value for name, value in values.items() if name in names and (value or name == "sold_for")}


@dataclass(frozen=True, slots=True)
class CellChange:
    """A cell of the book, by its header there: what stands in it and what the export has."""

    column: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class ChangedRow:
    """A row of the export that stands in the book otherwise."""

    row: int
    book_row: int
    cells: tuple[CellChange, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """What an export brings, rows by their numbers in `file`. `data` is the book with it, made from its `state`."""

    file: str
    read: int
    added: tuple[RowAsRead, ...]
    changed: tuple[ChangedRow, ...]
    open: tuple[ChangedRow, ...]  # nothing tells whether they are the book's row or another kit; not taken
    left: tuple[Pair, ...]
    problems: tuple[Problem, ...]  # of the export
    notices: tuple[Caution, ...]
    data: bytes
    state: str

    @property
    def refused(self) -> tuple[Problem, ...]:
        """Why rows are not taken."""
        return tuple(problem for problem in self.problems if problem.level is Level.REFUSED)

    @property
    def brings(self) -> bool:
        """Is there anything to write?"""
        return bool(self.added or self.changed)
