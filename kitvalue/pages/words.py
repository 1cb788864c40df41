"""Numbers, dates and names as people read them: one place decides how a figure is written."""

from __future__ import annotations

import base64
import hashlib
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Final, Literal

from kitvalue.intake.text.numbers import plain as plain_number
from kitvalue.intake.text.vocabulary import GRADES

if TYPE_CHECKING:  # neither is needed to write a figure
    from jinja2 import Environment

    from kitvalue.intake.books.bookrows import FeatureRead
    from kitvalue.market.encoding import FeatureValue

NBSP: Final = "\u00a0"
MINUS: Final = "\u2212"
DASH: Final = "\u2013"
NOT_COMPUTED: Final = "Cannot be computed"
MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
# Signs that reorder or hide the text around them; joiners that emoji need are not among them.
HIDDEN = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")


def plain(text: str) -> str:
    """Any text made safe to set: control signs, lone surrogates and signs that turn the reading order become U+FFFD."""
    return "".join(
        "\ufffd" if c in HIDDEN or unicodedata.category(c) in ("Cc", "Cs") or ord(c) & 0xFFFE == 0xFFFE else c
        for c in text
    )


def width(text: str) -> int:
    """Columns that a text takes: wide signs (Japanese, emoji) take two, combining ones none."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def cut(text: str, columns: int) -> list[str]:
    """A text in pieces of so many columns."""
    pieces, used = [""], 0
    for char in text:
        if pieces[-1] and used + width(char) > columns:
            pieces.append("")
            used = 0
        pieces[-1] += char
        used += width(char)
    return pieces


def short(text: str, columns: int) -> str:
    """The text in at most so many columns, cut with an ellipsis."""
    return text if width(text) <= columns else f"{cut(text, columns - 1)[0].rstrip()}…"


def number(value: float | Decimal, decimals: int = 0) -> str:
    """`1,240`, `−3.5`: half up, thousands separated, a true minus sign, never a minus zero."""
    exact = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
    rounded = exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    return f"{rounded + 0:,.{decimals}f}".replace("-", MINUS)


def trimmed(value: float | Decimal, decimals: int = 2) -> str:
    """A quantity without trailing zeros: `7`, `3.5`, `1,200`."""
    text = number(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def amount(value: float | Decimal) -> str:
    """An estimate of money without its currency: whole from 100 on, to the cent below where it has cents."""
    return number(value, 0 if abs(float(value)) >= 100 or float(value).is_integer() else 2)


def cents(value: Decimal) -> str:
    """Money of a cost sheet: always to the cent."""
    return number(value, 2)


def exact(value: Decimal) -> str:
    """A price as set: its cents only where it has any."""
    return number(value, 0 if value == value.to_integral_value() else 2)


def with_currency(text: str, currency: str) -> str:
    """`EUR 1,240`, kept on one line."""
    return f"{currency}{NBSP}{text}"


def percent(value: float | Decimal, decimals: int | None = None) -> str:
    """`12 %`, `3.4 %`: to a tenth under 10."""
    places = decimals if decimals is not None else int(abs(float(value)) < 10)
    return f"{number(value, places)}{NBSP}%"


def change(value: float | Decimal, decimals: int | None = None) -> str:
    """A change, with its sign: `+12 %`, `−3.4 %`, `0.0 %`."""
    text = percent(value, decimals)
    nothing = all(c not in "123456789" for c in text)
    return text if nothing or text.startswith(MINUS) else f"+{text}"


def capital(text: str) -> str:
    """The text with a large first letter."""
    return text[:1].upper() + text[1:]


def span(low: float | Decimal, high: float | Decimal, write: Callable[[float | Decimal], str]) -> str:
    """A range with an en dash: `1,180–1,620`. For figures without a sign."""
    return f"{write(low)}{DASH}{write(high)}"


def change_span(low: float, high: float) -> str:
    """A range of changes, where a dash would read as one more minus: `−12 to −3 %`."""
    return f"{change(low).removesuffix(f'{NBSP}%')} to {change(high)}"


def day(when: date) -> str:
    """`25 November 2026`, whatever the machine's language."""
    return f"{when.day}{NBSP}{MONTHS[when.month - 1]} {when.year}"


def count(how_many: int, one: str, more: str | None = None) -> str:
    """`1 row`, `38 rows`."""
    return f"{number(how_many)}{NBSP}{one if how_many == 1 else more or one + 's'}"


def feature_words(features: Iterable[FeatureRead | FeatureValue]) -> str:
    """Features as a file tells them: `hardware yes, holes 2`."""

    def told(value: Decimal | float | bool | str) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, Decimal):
            return plain_number(value)
        return value if isinstance(value, str) else f"{value:g}"

    return ", ".join(f"{f.name} {told(f.value)}" for f in features if f.value is not None)


def work_words(finished: Decimal | None, hours: Decimal | None, parts: Decimal | None) -> str:
    """What is done to a kit before it is sold: `finished 4 (freshen), 6 hours, parts 85`."""
    told = [] if finished is None else [f"finished {grade(finished)}"]
    told += [] if hours is None else [_hours(hours)]
    return ", ".join(told if parts is None else [*told, f"parts {exact(parts)}"])


def sold_words(finished: Decimal | None, hours: Decimal | None) -> str:
    """The same in a sentence about the kit: `in condition 4 after 6 hours`."""
    told = [] if finished is None else [f"in condition {trimmed(finished, 1)}"]
    return " ".join(told if hours is None else [*told, f"after {_hours(hours)}"])


def _hours(hours: Decimal) -> str:
    return f"{trimmed(hours)} {'hour' if hours == 1 else 'hours'}"


def grade(value: Decimal | float) -> str:
    """`3 (mend)`, `3.5`."""
    return f"{float(value):g}" + "".join(f" ({word})" for word, ours in GRADES.items() if ours == value)


def in_so_many(share: float) -> str:
    """A share as people say it: `1 in 8`, `none`, `all`."""
    if not 0 < share < 1:
        return "none" if share <= 0 else "all"
    return f"{number(100 * share)} in 100" if share > 0.5 else f"1 in {number(1 / share)}"


ColumnKind = Literal["n", "w", "s"]
RowKind = Literal["", "subtotal", "total", "marked"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, and whether it holds figures (set right, digits aligned), words or whole sentences."""

    head: str
    kind: ColumnKind = "n"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of ready text, the first cell being its name."""

    cells: tuple[str, ...]
    kind: RowKind = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table. `notes` stand beneath it, a line each: what was left away, what a column means."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()

    @property
    def slim(self) -> bool:
        """Few columns read better close together than spread over the page."""
        return len(self.columns) <= 3

    @property
    def short(self) -> bool:
        """Few enough rows to stay together on one printed page."""
        return len(self.rows) <= 18


@dataclass(frozen=True, slots=True)
class Fact:
    """A figure that stands alone: what it is, the figure, and a line that explains it."""

    label: str
    value: str
    note: str = ""


def columns_of(heads: str) -> tuple[Column, ...]:
    """`Series< | Rows | Perhaps<<`: a column each; `<` is for words, `<<` for whole sentences, else figures."""
    kinds: dict[str, ColumnKind] = {"": "n", "<": "w", "<<": "s"}
    parts = [head.strip().partition("<") for head in heads.split("|")]
    return tuple(Column(head, kinds[sign + more]) for head, sign, more in parts)


def table(caption: str, heads: str | Sequence[Column], rows: Iterable[Row | tuple[str, ...]], *notes: str) -> Table:
    """A table of `columns_of` the heads; a note that is blank is left out."""
    columns = columns_of(heads) if isinstance(heads, str) else tuple(heads)
    told = tuple(row if isinstance(row, Row) else Row(row) for row in rows)
    return Table(caption, columns, told, tuple(note for note in notes if note))


def and_more(left: int, more: str, where: str) -> str:
    """The note beneath a table cut short: `and 38 more rows: kitvalue check lists them all`, else blank."""
    return f"and {number(left)} {more}: {where}" if left > 0 else ""


def templates() -> Environment:
    """The templates of this room: every value is escaped, and an unknown name is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    def finalize(value: object) -> object:  # signs that could hide or turn the text around them are made visible
        return plain(value) if isinstance(value, str) and not hasattr(value, "__html__") else value

    return Environment(
        loader=PackageLoader("kitvalue.pages"), autoescape=True, undefined=StrictUndefined, finalize=finalize,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def digest(text: str) -> str:
    """The `sha256-` value of a Content-Security-Policy, without its prefix."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
