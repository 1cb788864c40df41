"""Amounts and plain numbers from the text of a cell. Exact: every value is a Decimal made from its own digits.

A cell that shows its own style ("1.250,00", "480.50") is read by itself. A cell that does not ("1.250" is 1250 or
1.25) gives both readings; whoever reads the whole column decides between them or refuses.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Final, Literal

from kitvalue.intake.text.words import Refusal, fold, is_mangled, visible

# Active alphabetic codes of ISO 4217 (from memory of the published list; funds, metals and test codes left out).
_CODES: Final = """
    AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF
    CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HTG
    HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA
    MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD
    RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX
    USD UYU UZS VES VND VUV WST XAF XCD XCG XOF XPF YER ZAR ZMW ZWG HRK DEM ATS FRF ITL NLG IEP
"""
CODES: Final = frozenset(_CODES.split())

_DOLLARS: Final = ("USD", "CAD", "AUD", "NZD", "SGD", "HKD", "MXN", "TWD", "ARS", "CLP", "COP")
_CROWNS: Final = ("SEK", "NOK", "DKK", "ISK", "CZK")
_POUNDS: Final = ("GBP", "EGP", "LBP", "GIP", "FKP", "SHP")

SIGNS: Final[dict[str, tuple[str, ...]]] = {
    "€": ("EUR",), "£": _POUNDS, "₤": ("GBP", "ITL"), "$": _DOLLARS, "＄": _DOLLARS, "￡": ("GBP",),
    "¥": ("JPY", "CNY"), "￥": ("JPY", "CNY"), "円": ("JPY",), "元": ("CNY", "TWD"), "₩": ("KRW",), "₽": ("RUB",),
    "₹": ("INR",), "₺": ("TRY",), "₴": ("UAH",), "₪": ("ILS",), "฿": ("THB",), "₫": ("VND",), "₱": ("PHP",),
    "₦": ("NGN",), "₡": ("CRC",), "₲": ("PYG",), "₸": ("KZT",), "₼": ("AZN",), "₾": ("GEL",), "₿": ("BTC",),
    "₣": ("CHF", "FRF"), "₵": ("GHS",),
}  # fmt: skip

WORDS: Final[dict[str, tuple[str, ...]]] = {
    "euro": ("EUR",), "euros": ("EUR",), "us$": ("USD",), "usd$": ("USD",), "ca$": ("CAD",), "c$": ("CAD",),
    "can$": ("CAD",), "au$": ("AUD",), "a$": ("AUD",), "nz$": ("NZD",), "hk$": ("HKD",), "s$": ("SGD",),
    "r$": ("BRL",), "mx$": ("MXN",), "nt$": ("TWD",),
    "dollar": _DOLLARS, "dollars": _DOLLARS, "pound": _POUNDS, "pounds": _POUNDS, "pfund": _POUNDS, "quid": ("GBP",),
    "stg": ("GBP",), "sfr": ("CHF",), "sfr.": ("CHF",), "fr": ("CHF", "FRF"), "fr.": ("CHF", "FRF"),
    "franken": ("CHF",), "francs": ("CHF", "FRF", "XAF", "XOF"), "franc": ("CHF", "FRF", "XAF", "XOF"),
    "kr": _CROWNS, "kr.": _CROWNS, "kronen": _CROWNS, "kronor": ("SEK",), "kroner": ("NOK", "DKK"),
    "yen": ("JPY",), "yuan": ("CNY",), "rmb": ("CNY",), "zł": ("PLN",), "zl": ("PLN",), "zloty": ("PLN",),
    "złoty": ("PLN",), "zlotych": ("PLN",), "złotych": ("PLN",), "kč": ("CZK",), "kc": ("CZK",), "ft": ("HUF",),
    "forint": ("HUF",), "lei": ("RON", "MDL"), "leu": ("RON", "MDL"), "лв": ("BGN",), "руб": ("RUB",),
    "руб.": ("RUB",), "tl": ("TRY",), "rupees": ("INR", "PKR", "LKR"), "dm": ("DEM",), "rand": ("ZAR",),
}  # fmt: skip


@lru_cache(1024)
def meanings(text: str) -> tuple[str, ...]:
    """The currency codes that a code, sign or name can stand for; () where it is none."""
    word = fold(visible(text))
    code = word.upper()
    if code in CODES:
        return (code,)
    return SIGNS.get(word) or WORDS.get(word) or ()


# Errors as spreadsheets print them, in any language: #REF!, #N/A, #NV, #WERT!, #¡VALOR!, #NOM?, Err:508, Erreur:502.
_HASH_ERROR: Final = re.compile(r"#[¡¿]?[^\W\d_a-z][^\d_a-z]*(?:/0)?[!?]?|#(?:ZAHL|NUM)!?", re.UNICODE)
_NUMBERED_ERROR: Final = re.compile(
    r"(?:err|error|fehler|erreur|errore|erro|errores|fout|fel|feil|fejl|virhe|błąd|chyba|hiba|ошибка|greška|viga)\.?"
    r"\s?:\s?\d{3}",
    re.IGNORECASE,
)
LONGEST: Final = 120  # characters; beyond it a cell is no number or date, and no pattern is tried on it
_LETTERS_FOR_DIGITS: Final = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5", "B": "8", "О": "0"})
_ANY_DIGIT: Final = str.maketrans("123456789", "0" * 9)
_NUM: Final = r"\d[\d.,' ]*"
_RANGE: Final = re.compile(
    rf"{_NUM}[^\w\d]*\s*(?:[a-z€£$]{{0,4}})\s*(?:-|[‐-―]|~|〜|～|\.\.+|…|\bbis\b|\bto\b|\btill\b|\buntil\b|\ba\b|\bà\b)\s*"
    rf"(?:[a-z€£$]{{0,4}})\s*\d",
    re.IGNORECASE,
)
_BETWEEN: Final = re.compile(r"\b(?:between|zwischen|from|von)\b.*\d.*\b(?:and|und|to|bis)\b.*\d", re.IGNORECASE)
_TWO: Final = re.compile(
    r"\d.*(?:[/|\\;]|\bor\b|\boder\b|\bstatt\b|\bwas\b|\bnow\b|\bjetzt\b|->|→|>).*\d", re.IGNORECASE
)
_SUM: Final = re.compile(r"^=|\d\s*[+*×x·:]\s*\d|\d\s*\+", re.IGNORECASE)
_SHORTENED: Final = re.compile(r"[+-]?\d+(?:[.,]\d+)?\s?[eE]\s?[+-]?\d+")
_THOUSANDS_WORD: Final = re.compile(r"\d\s?(?:k|tsd\.?|tausend|thousand|grand)(?!\w)", re.IGNORECASE)
_FREIGHT: Final = re.compile(
    r"inkl|incl|versand|shipp|postage|porto|p&p|deliver|lieferung|pick|abhol|plus|zzgl|frei\s?haus|\bvsk?\b|\bfree\b",
    re.IGNORECASE,
)
_ABOUT: Final = re.compile(
    r"[~≈<>≤≥±]|(?<!\w)(?:ca|circa|approx|about|around|etwa|ungefähr|rund|ab|from|up\s+to|max|min|over|über|unter|under|mind)"
    r"(?!\w)",
    re.IGNORECASE,
)
_EACH: Final = re.compile(r"(?<!\w)(?:each|per|pro|je|stück|stk|drum|piece|ea)(?!\w)", re.IGNORECASE)
_STATUS: Final = re.compile(
    r"(?<!\w)(?:sold|asked|asking|hammer|verkauft|reserviert|reserved|gone|weg|vendu|angebot|offer|paid|bezahlt)(?!\w)",
    re.IGNORECASE,
)
_TRUTH: Final = frozenset(["true", "false", "wahr", "falsch", "vrai", "faux", "yes", "no", "ja", "nein"])


def spreadsheet_error(text: str) -> bool:
    """Is the cell an error of a formula, or a number that was too wide for its column?"""
    word = visible(text) if len(text) <= LONGEST else ""
    if not word:
        return False
    if word[0] == "#":
        return set(word) == {"#"} or _HASH_ERROR.fullmatch(word.replace(" ", "")) is not None
    return ":" in word and _NUMBERED_ERROR.fullmatch(word) is not None


def error_refusal(text: str) -> Refusal:
    """The refusal of a cell for which `spreadsheet_error` holds."""
    if set(visible(text)) == {"#"}:
        return Refusal(
            "too_narrow", "shows that the column was too narrow when saved", "widen the column and export again"
        )
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
    if not any(c.isdigit() for c in plain):
        return _word(plain)
    return _shape(plain) or _beside(plain) or Refusal("not_a_number", "is no number")


def _word(plain: str) -> Refusal:
    if is_mangled(plain):
        return Refusal("mangled", "was saved with the wrong encoding", "export the file again as UTF-8")
    if plain.casefold() in _TRUTH:
        return Refusal("word", "is a yes or no, no amount")
    if _STATUS.search(plain):
        return Refusal("word", "is a word, no amount", "write the amount; does the word belong in price_kind?")
    return Refusal("word", "is a word and holds no amount")


def _shape(plain: str) -> Refusal | None:
    """Digits in an order that is no single number."""
    if _SHORTENED.fullmatch(plain):
        return Refusal(
            "shortened", "was shortened by the spreadsheet", "format the column as a number and export again"
        )
    if plain.startswith("="):
        return Refusal("formula", "is a formula, and formulas are not worked out", "write the number itself")
    if plain[0] == "(" and plain[-1] == ")":
        return Refusal("negative", "is in brackets, as bookkeepers write negative amounts")
    if re.fullmatch(r"\d+ ?[-‐-―−]{1,2}", plain):
        return Refusal("two_readings", "can be a negative amount or one without cents", "write the number alone")
    if _is_slip(plain):
        return Refusal("letter", "has a letter where a digit should be", "write the digit (zero, not O; one, not l)")
    if any(c in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069" for c in plain):
        return Refusal("direction", "holds signs that turn the order of its digits", "type the number anew")
    if _RANGE.search(plain) or _BETWEEN.search(plain):
        return Refusal("range", "is a range", "write one amount")
    if _THOUSANDS_WORD.search(plain):
        return Refusal("shortened", "is shortened", "write the amount in full, such as 1200")
    return None


def _is_slip(plain: str) -> bool:
    """A number once its letters are read as the digits they look like, with no more letters than digits."""
    bare = re.sub(r"[\s€£$.,'-]", "", plain)
    mended = bare.translate(_LETTERS_FOR_DIGITS)
    letters = sum(c.isalpha() for c in bare)
    return mended.isdigit() and 0 < letters <= sum(c.isdigit() for c in bare)


def _beside(plain: str) -> Refusal | None:
    """One number and something beside it that changes what it means."""
    if _FREIGHT.search(plain):
        return Refusal("mixed", "mixes price and freight", "give each its own column")
    if "%" in plain:
        return Refusal("percent", "holds a percentage", "write the amount itself")
    if _EACH.search(plain):
        return Refusal("each", "is a price for one piece", "write the price of the whole kit")
    if _TWO.search(plain):
        return Refusal("two_amounts", "holds two amounts", "write two rows, or one amount")
    if _SUM.search(plain):
        return Refusal("sum", "is a sum, and sums are not worked out", "write the result")
    if _ABOUT.search(plain):
        return Refusal("about", "is no exact amount", "write the one amount that was seen")
    if _STATUS.search(plain):
        return Refusal("mixed", "mixes an amount and a word", "write the amount alone; the word belongs in price_kind")
    if is_mangled(plain):
        return Refusal("mangled", "was saved with the wrong encoding", "export the file again as UTF-8")
    return None


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
