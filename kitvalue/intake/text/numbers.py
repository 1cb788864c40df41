"""Amounts and plain numbers from the text of a cell. Exact: every value is a Decimal made from its own digits.

A cell that shows its own style ("1.250,00", "480.50") is read by itself. A cell that does not ("1.250" is 1250 or
1.25) gives both readings; whoever reads the whole column decides between them or refuses.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache, lru_cache
from typing import Final, Literal

from kitvalue.intake.text.languages import any_of, pattern, word_file
from kitvalue.intake.text.words import MOJIBAKE, Refusal, fold, visible


@lru_cache(1024)
def meanings(text: str) -> tuple[str, ...]:
    """The currency codes that a code, sign or name can stand for; () where it is none."""
    word = fold(visible(text))
    currencies = word_file("currencies.toml")
    if word.isalpha() and word.upper() in currencies["codes"].split():
        return (word.upper(),)
    return tuple((currencies["signs"].get(word) or currencies["names"].get(word) or "").split())


LONGEST: Final = 120  # characters; beyond it a cell is no number or date, and no pattern is tried on it
# Errors as spreadsheets print them, in any language: #REF!, #N/A, #NV, #WERT!, #¡VALOR!, #NOM?, Err:508, Erreur:502.
_HASH_ERROR: Final = re.compile(r"#[¡¿]?[^\W\d_a-z][^\d_a-z]*(?:/0)?[!?]?|#(?:ZAHL|NUM)!?", re.UNICODE)
_LETTERS_FOR_DIGITS: Final = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5", "B": "8", "О": "0"})
_ANY_DIGIT: Final = str.maketrans("123456789", "0" * 9)


def spreadsheet_error(text: str) -> bool:
    """Is the cell an error of a formula, or a number that was too wide for its column?"""
    word = visible(text) if len(text) <= LONGEST else ""
    if word[:1] == "#":
        return set(word) == {"#"} or _HASH_ERROR.fullmatch(word.replace(" ", "")) is not None
    return ":" in word and pattern(rf"{any_of('cells', 'error')}\.?\s?:\s?\d{{3}}").fullmatch(word) is not None


def _whole(key: str) -> str:
    """A pattern for the words of [cells] under a key, never within another word."""
    return rf"(?<!\w){any_of('cells', key)}(?!\w)"


def error_refusal(text: str) -> Refusal:
    """The refusal of a cell for which `spreadsheet_error` holds."""
    if set(visible(text)) == {"#"}:
        cure = "widen the column and export again"
        return Refusal("too_narrow", "shows that the column was too narrow when saved", cure)
    return Refusal("spreadsheet_error", "is a spreadsheet error", "repair the formula and export again")


def why_no_amount(text: str) -> Refusal:
    """The reason why a cell is no number."""
    if len(text) > LONGEST:
        return Refusal("too_long", "is too long")
    plain = visible(text)
    if not plain:
        return Refusal("empty", "is empty")
    if spreadsheet_error(text):
        return error_refusal(text)
    if not any(c.isalnum() for c in plain):
        return Refusal("no_amount", "is no amount")
    return _why_not(plain.translate(_ANY_DIGIT))


@lru_cache(4096)
def _why_not(plain: str) -> Refusal:
    """The same of a text in which every digit stands for any: a column is often unreadable in one way throughout."""
    bare = re.sub(r"[\s€£$.,'-]", "", plain)
    if bare.translate(_LETTERS_FOR_DIGITS).isdigit() and 0 < sum(map(str.isalpha, bare)) <= sum(map(str.isdigit, bare)):
        return Refusal("letter", "has a letter where a digit should be", "write the digit (zero, not O; one, not l)")
    no_number = Refusal("not_a_number", "is no number")
    return next((why for reason, why in _reasons() if reason.search(plain)), no_number)


@cache
def _reasons() -> tuple[tuple[re.Pattern[str], Refusal], ...]:
    """Why a text is no single number, or what beside one changes what it means; the first that fits is told."""
    money = r"\s*[a-z€£$]{0,4}\s*"
    until = rf"(?:-|[‐-―]|~|〜|～|\.\.+|…|\b{any_of('cells', 'until')}\b)"
    between = rf"\b{any_of('cells', 'between')}\b.*\d.*\b{any_of('cells', 'and')}\b.*\d"
    other = rf"(?:[/|\\;]|\b{any_of('cells', 'or')}\b|->|→|>)"
    mangled = ("mangled", "was saved with the wrong encoding", "export the file again as UTF-8")
    reasons = (
        (rf"\A\D*(?:{MOJIBAKE})\D*\Z", *mangled),
        (rf"\A{any_of('cells', 'truth')}\Z", "word", "is a yes or no, no amount", None),
        (rf"\A(?=\D*\Z)\D*{_whole('status')}",
         "word", "is a word, no amount", "write the amount; does the word belong in price_kind?"),
        (r"\A\D*\Z", "word", "is a word and holds no amount", None),
        (r"\A[+-]?\d+(?:[.,]\d+)?\s?e\s?[+-]?\d+\Z",
         "shortened", "was shortened by the spreadsheet", "format the column as a number and export again"),
        (r"\A=", "formula", "is a formula, and formulas are not worked out", "write the number itself"),
        (r"(?s)\A\(.*\)\Z", "negative", "is in brackets, as bookkeepers write negative amounts", None),
        (r"\A\d+ ?[-‐-―−]{1,2}\Z",
         "two_readings", "can be a negative amount or one without cents", "write the number alone"),
        ("[\u202a-\u202e\u2066-\u2069]",
         "direction", "holds signs that turn the order of its digits", "type the number anew"),
        (rf"\d[\d.,' ]*[^\w\d]*{money}{until}{money}\d|{between}", "range", "is a range", "write one amount"),
        (rf"\d\s?{any_of('cells', 'thousand')}(?!\w)",
         "shortened", "is shortened", "write the amount in full, such as 1200"),
        (any_of("cells", "freight"), "mixed", "mixes price and freight", "give each its own column"),
        ("%", "percent", "holds a percentage", "write the amount itself"),
        (_whole("each"), "each", "is a price for one piece", "write the price of the whole kit"),
        (rf"\d.*{other}.*\d", "two_amounts", "holds two amounts", "write two rows, or one amount"),
        (r"\d\s*[+*x×·:]\s*\d|\d\s*\+", "sum", "is a sum, and sums are not worked out", "write the result"),
        (rf"[~≈<>≤≥±]|{_whole('about')}", "about", "is no exact amount", "write the one amount that was seen"),
        (_whole("status"), "mixed", "mixes an amount and a word",
         "write the amount alone; the word belongs in price_kind"),
        (MOJIBAKE, *mangled),
    )  # fmt: skip
    return tuple((pattern(reason), Refusal(*why)) for reason, *why in reasons)


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
_ENDING: Final = re.compile(r"([.,:])\s?(?:[-‐-―⸺⁻=]{1,2}|_)$")
_MINUS: Final = re.compile(r"^[-‐-―]\s?(?=[\d.,])")
_SIGN_FIRST: Final = re.compile(rf"^([-‐-―+])\s?{_GAP}\s?")  # "-€ 450"
# Reasons that speak of prices, said of a number that is none.
_NO_NUMBER: Final = {
    "word": "is a word", "mixed": "is no plain number", "each": "is no plain number", "about": "is no exact number",
    "two_amounts": "is not one number", "no_amount": "is no number",
}  # fmt: skip


def read_amount(text: str) -> Reading:
    """Money: digits with a currency, "480,-", VB and the like around them. Negative values are for the caller."""
    simple = _SIMPLE.fullmatch(text)
    if simple is not None:
        return Amount(Decimal(text.replace(",", ".")), _sign(simple[1]))
    if len(text) > LONGEST or spreadsheet_error(text):
        return why_no_amount(text)
    plain = visible(text).translate(_APOSTROPHES)
    body, fixed = _remark("fixed").subn(_GAP, plain)
    body, negotiable = _remark("negotiable").subn(_GAP, body)
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


@cache
def _remark(key: str) -> re.Pattern[str]:
    """A word that may stand beside a price, with the signs around it."""
    return pattern(rf"[\s(\[/:;=,]*{_whole(key)}\.?[\s)\]:;=,]*")


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


def _clearer(digits: Refusal, text: str) -> Refusal:
    """What the whole cell is, where that says more than the digits alone."""
    why = why_no_amount(text) if digits.code in ("not_a_number", "bad_grouping") else digits
    return digits if why.code == "not_a_number" else why


def read_percent(text: str) -> Reading:
    """A percentage: "20", "20 %", "12,5%"."""
    plain = visible(text)
    return read_number(plain[:-1].rstrip() if plain.endswith("%") else text)


def _without_currency(body: str) -> tuple[str, tuple[str, ...], bool]:
    """The body without its currency words, what they can stand for, and whether they contradict each other."""
    said: list[tuple[str, ...]] = []

    def taken_out(match: re.Match[str]) -> str:
        word = match[0]
        before_digit = match.end() < len(body) and body[match.end()].isdigit()
        codes = meanings(word) or (() if before_digit and word[-1] == "." else meanings(word.rstrip(".")))
        if codes:
            said.append(codes)
        return _GAP if codes else word

    bare = _SIGN_FIRST.sub(r"\1", _currency().sub(taken_out, body))
    if not said:
        return body, (), False
    common = tuple(code for code in said[0] if all(code in other for other in said))
    return bare, common, not common or len(said) > 2


@cache
def _currency() -> re.Pattern[str]:
    """A word with what may belong to it, or a sign. A word right before ".5" or ",5" is taken only with a dot of its
    own ("Fr.480"): else the mark could be a decimal sign.
    """
    signs = re.escape("".join(word_file("currencies.toml")["signs"]))
    return re.compile(rf"[^\W\d_]+\$|[^\W\d_]+(?:\.(?!\d)|(?![.,]\d|[^\W\d_]))|[^\W\d_]+\.|[{signs}]")


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
    if ending is None:
        read = _plain_digits(body)
    elif (whole := _ungrouped(body)) is None:
        return Refusal("not_a_number", "is no number")
    else:  # only ",-" and a grouping prove the decimal sign: ".-" is written in countries of either kind
        used = next((c for c in body if c in ".,"), None)
        read = Amount(Decimal(whole), _other(used) if used is not None else "," if ending[1] == "," else None)
    if negative and isinstance(read, Amount):
        return replace(read, value=-read.value)
    if negative and isinstance(read, TwoReadings):
        return replace(read, as_decimal=-read.as_decimal, as_thousands=-read.as_thousands)
    return read


def _plain_digits(body: str) -> Amount | TwoReadings | Refusal:
    marks = [c for c in body if c in _MARKS]
    if not marks:
        return Amount(Decimal(body))
    last = marks[-1]
    head, _, tail = body.rpartition(last)
    digits, sign = _ungrouped(body), _other(last) if last in ".," else None
    if last in ".," and marks.count(last) == 1:
        mark: Sign = "," if last == "," else "."
        if len(marks) == 1 and len(tail) == 3 and len(head) <= 3 and head[:1] not in ("", "0"):
            return TwoReadings(mark, Decimal(f"{head}.{tail}"), Decimal(head + tail))
        whole = _ungrouped(head) if head else "0"  # a bare end ("480.") is no decimal
        digits, sign = None if whole is None else f"{whole}.{tail or '0'}", mark if tail else None
    if digits is None:
        where = "has its marks where neither thousands nor decimals can be"
        return Refusal("bad_grouping", where, "write the number without them")
    return Amount(Decimal(digits), sign)


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
