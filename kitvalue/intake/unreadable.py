"""What a cell is when it is not a number: the reason and the cure, in words."""

from __future__ import annotations

import re
from typing import Final

from kitvalue.intake.words import Refusal, is_mangled, visible

# Errors as spreadsheets print them, in any language: #REF!, #N/A, #NV, #WERT!, #¡VALOR!, #NOM?, Err:508, Erreur:502.
_HASH_ERROR: Final = re.compile(r"#[¡¿]?[^\W\d_a-z][^\d_a-z]*(?:/0)?[!?]?|#(?:ZAHL|NUM)!?", re.UNICODE)
_NUMBERED_ERROR: Final = re.compile(
    r"(?:err|error|fehler|erreur|errore|erro|errores|fout|fel|feil|fejl|virhe|błąd|chyba|hiba|ошибка|greška|viga)\.?"
    r"\s?:\s?\d{3}",
    re.IGNORECASE,
)
LONGEST: Final = 120  # characters; beyond it a cell is no number or date, and no pattern is tried on it
_LETTERS_FOR_DIGITS: Final = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5", "B": "8", "О": "0"})
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
