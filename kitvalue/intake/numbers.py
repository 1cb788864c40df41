"""Amounts and plain numbers from the text of a cell. Exact: every value is a Decimal made from its own digits.

A cell that shows its own style ("1.250,00", "480.50") is read by itself. A cell that does not ("1.250" is 1250 or
1.25) gives both readings; whoever reads the whole column decides between them or refuses.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

from kitvalue.intake.currencies import SIGNS, meanings
from kitvalue.intake.unreadable import LONGEST, spreadsheet_error, why_no_amount
from kitvalue.intake.words import Refusal, visible

Sign = Literal[",", "."]


@dataclass(frozen=True, slots=True)
class Amount:
    """A number that the cell shows beyond doubt.

    `sign` is the decimal sign that the cell proves (None: "480" proves none), `currencies` the codes that its
    currency word or sign can stand for (() without one), `negotiable` whether it says VB, ono or the like.
    """

    value: Decimal
    sign: Sign | None = None
    currencies: tuple[str, ...] = ()
    negotiable: bool = False


@dataclass(frozen=True, slots=True)
class TwoReadings:
    """A number whose one mark may be the decimal sign or the thousands mark; `mark` is that sign."""

    mark: Sign
    as_decimal: Decimal
    as_thousands: Decimal
    currencies: tuple[str, ...] = ()
    negotiable: bool = False

    def under(self, sign: Sign) -> Amount:
        """The amount where the column's decimal sign is known."""
        value = self.as_decimal if sign == self.mark else self.as_thousands
        return Amount(value, sign, self.currencies, self.negotiable)


Reading = Amount | TwoReadings | Refusal

_SIMPLE: Final = re.compile(r"[0-9]{1,12}(?:([.,])[0-9]{1,2})?")
_MOST_DIGITS: Final = 18
_GAP: Final = "\x00"  # stands where a word was taken out: what lies on its two sides never joins to one number
_MARKS: Final = ".,' "
_APOSTROPHES: Final = str.maketrans(dict.fromkeys("’‘`´ʼ＇′", "'") | {"．": ".", "，": ",", "٫": ",", "−": "-"})
_NEGOTIABLE_WORDS: Final = (
    r"v\.?\s?h?\.?\s?b\.?|verhandlungs(?:basis|sache)|verhandelbar|preis\s+verhandelbar|neg(?:otiable|\.)?|"
    r"n\.?\s?e\.?\s?g\.?|nego|o\.?\s?n\.?\s?o\.?|o\.?\s?v\.?\s?n\.?\s?o\.?|o\.?\s?b\.?\s?o\.?|"
    r"or\s+(?:best|nearest|near)\s+offer|or\s+offer|à\s+débattre|trattabil[ei]|negociable|bieden"
)
_NEGOTIABLE: Final = re.compile(rf"[\s(\[/:;=,]*(?<!\w)(?:{_NEGOTIABLE_WORDS})(?!\w)\.?[\s)\]:;=,]*", re.IGNORECASE)
_FIXED_WORDS: Final = r"f\.?\s?p\.?|fest\s?preis|fixpreis|fixed(?:\s+price)?|fix|firm|non\s+negotiable|not\s+negotiable"
_FIXED: Final = re.compile(rf"[\s(\[/:;=,]*(?<!\w)(?:{_FIXED_WORDS})(?!\w)\.?[\s)\]:;=,]*", re.IGNORECASE)
_ENDING: Final = re.compile(r"([.,:])\s?(?:[-‐-―⸺⁻=]{1,2}|_)$")
_MINUS: Final = re.compile(r"^[-‐-―]\s?(?=[\d.,])")
_SIGN_FIRST: Final = re.compile(rf"^([-‐-―+])\s?{_GAP}\s?")  # "-€ 450"
# A word with what may belong to it, or a sign. A word right before ".5" or ",5" is taken only with a dot of its own
# ("Fr.480"): else the mark could be a decimal sign.
# Reasons that speak of prices, said of a number that is none.
_NO_NUMBER: Final = {
    "word": "is a word", "mixed": "is no plain number", "each": "is no plain number", "about": "is no exact number",
    "two_amounts": "is not one number", "no_amount": "is no number",
}  # fmt: skip
_CURRENCY: Final = re.compile(
    rf"[^\W\d_]+\$|[^\W\d_]+(?:\.(?!\d)|(?![.,]\d|[^\W\d_]))|[^\W\d_]+\.|[{re.escape(''.join(SIGNS))}]"
)


def read_amount(text: str) -> Reading:
    """Money: digits with a currency, "480,-", VB and the like around them. Negative values are for the caller."""
    simple = _SIMPLE.fullmatch(text)
    if simple is not None:
        return Amount(Decimal(text.replace(",", ".")), _sign(simple[1]))
    if len(text) > LONGEST or spreadsheet_error(text):
        return why_no_amount(text)
    plain = visible(text).translate(_APOSTROPHES)
    body, fixed = _FIXED.subn(_GAP, plain)
    body, negotiable = _NEGOTIABLE.subn(_GAP, body)
    if negotiable and not any(c.isdigit() for c in body):
        return Refusal("no_amount", "says that the price is open, and no amount")
    body, currencies, clash = _without_currency(body)
    if fixed > 1 or negotiable > 1 or (fixed and negotiable):
        return why_no_amount(text)
    if clash:
        why = why_no_amount(text)
        return why if why.code != "not_a_number" else Refusal("currency_clash", "names two currencies", "write one")
    read = _digits(body.strip(f"{_GAP} ").removeprefix("'").strip())
    if isinstance(read, Refusal):
        return _clearer(read, text)
    return replace(read, currencies=currencies, negotiable=negotiable > 0)


def currencies_said(text: str, read: Amount | Refusal | None) -> tuple[str, ...]:
    """The currencies that a cell's word or sign can stand for, also where it holds no amount; () without one. `read`
    is what the cell means.
    """
    if isinstance(read, Refusal):
        return _without_currency(visible(text))[1] if len(text) <= LONGEST else ()
    return () if read is None else read.currencies


def read_number(text: str) -> Reading:
    """A plain number, such as a count, a percentage without its sign or a measure. Nothing stands beside the digits."""
    simple = _SIMPLE.fullmatch(text)
    if simple is not None:
        return Amount(Decimal(text.replace(",", ".")), _sign(simple[1]))
    if len(text) > LONGEST or spreadsheet_error(text):
        return why_no_amount(text)
    read = _digits(visible(text).translate(_APOSTROPHES).removeprefix("'").strip())
    if not isinstance(read, Refusal):
        return read
    why = _clearer(read, text)
    return Refusal(why.code, _NO_NUMBER[why.code]) if why.code in _NO_NUMBER else why


def _clearer(found: Refusal, text: str) -> Refusal:
    """What the whole cell is, where that says more than the digits alone."""
    why = why_no_amount(text) if found.code in ("not_a_number", "bad_grouping") else found
    return found if why.code == "not_a_number" else why


def read_percent(text: str) -> Reading:
    """A percentage: "20", "20 %", "12,5%"."""
    if len(text) > LONGEST:
        return why_no_amount(text)
    plain = visible(text)
    return read_number(plain[:-1].rstrip() if plain.endswith("%") else text)


def _without_currency(body: str) -> tuple[str, tuple[str, ...], bool]:
    """The body without its currency words, what they can stand for, and whether they contradict each other."""
    found: list[tuple[str, ...]] = []

    def taken_out(match: re.Match[str]) -> str:
        word = match[0]
        before_digit = match.end() < len(body) and body[match.end()].isdigit()
        codes = meanings(word) or (() if before_digit and word[-1] == "." else meanings(word.rstrip(".")))
        if codes:
            found.append(codes)
        return _GAP if codes else word

    bare = _SIGN_FIRST.sub(r"\1", _CURRENCY.sub(taken_out, body))
    if not found:
        return body, (), False
    common = tuple(code for code in found[0] if all(code in other for other in found))
    return bare, common, not common or len(found) > 2


def _digits(body: str) -> Amount | TwoReadings | Refusal:
    """The number itself: a sign, groups, a decimal part, or an ending for "no cents"."""
    negative = _MINUS.match(body) is not None
    if negative or body.startswith("+"):
        body = body[1:].lstrip()
    ending = _ENDING.search(body)
    if ending is not None:
        body = body[: ending.start()].rstrip()
    if not body or not set(body) <= set("0123456789" + _MARKS) or not any(c.isdigit() for c in body):
        return Refusal("not_a_number", "is no number")
    if sum(c.isdigit() for c in body) > _MOST_DIGITS:
        return Refusal("too_long", "has too many digits for an amount", "write the number itself")
    read = _whole_with_ending(body, ending[1]) if ending is not None else _plain_digits(body)
    if not negative or isinstance(read, Refusal):
        return read
    if isinstance(read, Amount):
        return replace(read, value=-read.value)
    return replace(read, as_decimal=-read.as_decimal, as_thousands=-read.as_thousands)


def _whole_with_ending(body: str, mark: str) -> Amount | Refusal:
    """The whole number before ",-", ".-" or ":-". Only ",-" and a grouping prove the decimal sign: ".-" is written in
    countries of either kind.
    """
    digits = _ungrouped(body)
    if digits is None:
        return Refusal("not_a_number", "is no number")
    used = next((c for c in body if c in ".,"), None)
    if used is not None:
        return Amount(Decimal(digits), _other(used))
    return Amount(Decimal(digits), "," if mark == "," else None)


def _plain_digits(body: str) -> Amount | TwoReadings | Refusal:
    marks = [c for c in body if c in _MARKS]
    if not marks:
        return Amount(Decimal(body))
    last = marks[-1]
    head, _, tail = body.rpartition(last)
    if last in ".," and marks.count(last) == 1:
        if len(marks) > 1 or not _could_be_grouped(head, tail):
            return _decimal(head, last, tail)
        mark: Sign = "," if last == "," else "."
        return TwoReadings(mark, Decimal(f"{head}.{tail}"), Decimal(head + tail))
    digits = _ungrouped(body)
    if digits is None:
        return Refusal(
            "bad_grouping", "has its marks where neither thousands nor decimals can be", "write the number without them"
        )
    return Amount(Decimal(digits), _other(last) if last in ".," else None)


def _could_be_grouped(head: str, tail: str) -> bool:
    return len(tail) == 3 and 1 <= len(head) <= 3 and not head.startswith("0")


def _decimal(head: str, mark: str, tail: str) -> Amount | Refusal:
    """Digits with a proven decimal sign; `head` may be grouped by another mark. A bare end ("480.") is no decimal."""
    whole = _ungrouped(head) if head else "0"
    if whole is None or not (tail or head) or any(c in _MARKS for c in tail):
        return Refusal(
            "bad_grouping", "has its marks where neither thousands nor decimals can be", "write the number without them"
        )
    return Amount(Decimal(f"{whole}.{tail or '0'}"), _sign(mark) if tail else None)


def _ungrouped(body: str) -> str | None:
    """Digits whose one kind of thousands mark stands before every three of them, without the marks."""
    marks = {c for c in body if c in _MARKS}
    if not marks:
        return body
    if len(marks) > 1:
        return None
    first, *groups = body.split(marks.pop())
    sound = 1 <= len(first) <= 3 and first[0] != "0" and all(len(group) == 3 for group in groups)
    return first + "".join(groups) if sound else None


def _sign(mark: str | None) -> Sign | None:
    return "," if mark == "," else "." if mark == "." else None


def _other(mark: str) -> Sign:
    return "." if mark == "," else ","


@dataclass(frozen=True, slots=True)
class ColumnStyle:
    """What the cells of one column say about its decimal sign: how many prove each."""

    commas: int
    dots: int

    @property
    def sign(self) -> Sign | None:
        """The proven decimal sign; None where no cell proves one or cells prove both."""
        if bool(self.commas) == bool(self.dots):
            return None
        return "," if self.commas else "."

    @property
    def mixed(self) -> bool:
        return self.commas > 0 and self.dots > 0


def column_style(readings: Iterable[Reading]) -> ColumnStyle:
    """Count the proofs in a column."""
    signs = [reading.sign for reading in readings if isinstance(reading, Amount)]
    return ColumnStyle(signs.count(","), signs.count("."))


def both_readings(cell: str, two: TwoReadings) -> str:
    """Why a cell with two readings is refused: `cell` is the quoted text."""
    return f"{cell} can be {plain(two.as_thousands)} or {plain(two.as_decimal)}"


def plain(value: Decimal) -> str:
    """A Decimal in plain digits without a tail of zeros: 1250, 1.25."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
