"""Amounts of money in an advert, and what each is for."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.record import Money
from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.currencies import meanings
from kitvalue.intake.numbers import Amount, read_amount
from kitvalue.intake.words import Refusal

_CODES: Final = "EUR|GBP|USD|CHF|SEK|NOK|DKK|PLN|CZK|HUF|RON|AUD|CAD|NZD|JPY"
_NAMES: Final = (
    "(?:usd?|can?|c|au|a|nz|hk|s)\\$|dm|yen|kron(?:en|or|er)|zloty|złoty|"
    "euros?|pounds?|quid|dollars?|franken|sfr\\.?|fr\\.|kr\\.?|zł|kč|€|£|\\$|¥|₤"
)
_CURRENCY: Final = rf"(?:(?<![^\W\d_])(?:{_CODES}|{_NAMES})(?![^\W\d_]))"
_NUMBER: Final = r"(?:\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d{1,2})?|\d{1,7}(?:[.,]\d{1,2})?)(?![\d])"
_ENDING: Final = r"(?:[ ]?[,.]?-{1,2}(?![\w>-])|,-)?"
_AMOUNT: Final = re.compile(
    rf"(?<![\w.,/+])(?P<before>{_CURRENCY}[ ]?)?(?P<number>{_NUMBER})(?P<ending>{_ENDING})"
    rf"(?P<after>[ ]?{_CURRENCY})?(?P<k>[ ]?k\b)?",
    re.IGNORECASE,
)
_RANGE: Final = re.compile(r"^[ ]?(?:-|to|bis|or|oder|/)[ ]?(?:[€£$]|EUR)?[ ]?\d", re.IGNORECASE)
_PERCENT: Final = re.compile(r"^[ ]?(?:%|percent|prozent)", re.IGNORECASE)
_MEASURE: Final = re.compile(
    r"^[ ]?(?:\"|''|inch|in\b|zoll|mm|cm|m\b|km|kg|lbs?|uhr|h\b|am\b|pm\b|x[ ]?\d|-?(?:piece|pc|pcs|"
    r"teilig|tlg|tlg\.|ply|lagig|years?|"
    r"jahre?n?|months?|monate?n?|drums?|kits?|toms?|trommeln|lugs?|miles|min|minuten|minutes|er\b))",
    re.IGNORECASE,
)
_COMES_ON_TOP: Final = re.compile(
    r"[ (]*(?:is |ist )?(?:möglich|extra|possible|available|gegen|nach|auf|kommt|at cost|trägt|not|"
    r"nicht|exkl|excl|zzgl|on top|can|kann)",
    re.IGNORECASE,
)
_TO_THE_END: Final = re.compile(
    rf"^[ ]?(?:-|to|bis)[ ]?(?:[€£$]|EUR)?[ ]?{_NUMBER}[ ]?(?:,-|{_CURRENCY})", re.IGNORECASE
)
_LEAST_ASKED: Final = 50  # below it "he wants 4" speaks of heads or days
_LOWERED: Final = re.compile(
    rf"(?:(?<!\w)(?:from|von|de|van)[ ])?(?:{_CURRENCY}[ ]?)?(?<![\w.,/])(?P<old>{_NUMBER})(?:[ ]?{_CURRENCY}|,-)?[ ]?"
    rf"(?:->|=>|→|(?:down )?(?:to|auf|naar|à)(?!\w))[ ]?(?:{_CURRENCY}[ ]?)?(?P<new>{_NUMBER})",
    re.IGNORECASE,
)
_SAYS_LOWERED: Final = re.compile(
    r"(?<!\w)(?:price|preis|prix|prijs|down|drop(?:s|ped)?|reduced|reduction|lowered|cut|gesenkt|reduziert|"
    r"runter(?:gesetzt)?|herabgesetzt|baissé|verlaagd)(?!\w)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Sum:
    """One amount: what it is for (`price`, `freight`, `each`, `earlier`, `other thing`), and how surely.

    `named`: a currency, an ending such as ",-" or a price word stands beside it. `span` of more than a number: a range.
    """

    find: Find
    money: Money
    role: str
    named: bool
    ranged: bool
    negotiable: bool
    fixed: bool


@dataclass(frozen=True, slots=True)
class _Lowered:
    """Two sums of which the second takes the first one's place; `said`: a word says that they are prices."""

    old: Find
    new: Find
    said: bool


def sums(advert: AdvertText, words: Lexicon) -> list[Sum]:
    """Every amount of money in the advert, in its order. Places read before as something else are blank."""
    matches = [m for m in _AMOUNT.finditer(advert.plain) if not _is_measure(advert, m)]
    changes = _lowered(advert)
    found: list[Sum] = []
    for at, m in enumerate(matches):
        last = matches[at - 1].end() if at else 0
        following = matches[at + 1].start() if at + 1 < len(matches) else len(advert.plain)
        before = advert.before(m.start())[-max(0, m.start() - last) :] if m.start() > last else ""
        after = advert.after(m.end())[: following - m.end()]
        amount = _sum(advert, m, before, after, words)
        if amount is not None:
            found.append(amount)
    return [_as_lowered(one, changes) for one in found]


def _lowered(advert: AdvertText) -> list[_Lowered]:
    """Each "from 600 to 480": going down, it is no range. Between bare numbers a word must say that it is a price."""
    found: list[_Lowered] = []
    for m in _LOWERED.finditer(advert.plain):
        old, new = _value(m["old"]), _value(m["new"])
        if old is not None and new is not None and old.value > new.value >= _LEAST_ASKED:
            around = f"{advert.before(m.start(), 40)} {advert.after(m.end(), 24)}"
            said = _SAYS_LOWERED.search(f"{around} {m[0]}") is not None
            found.append(_Lowered(Find(*m.span("old")), Find(*m.span("new")), said))
    return found


def _as_lowered(one: Sum, changes: Iterable[_Lowered]) -> Sum:
    """A sum that is what was asked before, or what is asked now."""
    for change in changes:
        if one.find.start <= change.old.start < one.find.end:
            return replace(one, role="earlier", ranged=False)
        if one.find.start <= change.new.start < one.find.end:
            return replace(one, named=one.named or change.said, ranged=False)
    return one


def _is_measure(advert: AdvertText, m: re.Match[str]) -> bool:
    behind = advert.plain[m.end("number") : m.end("number") + 12]
    if m["before"] or m["after"] or m["ending"]:
        return False
    return _PERCENT.match(behind) is not None or _MEASURE.match(behind) is not None


def _sum(advert: AdvertText, m: re.Match[str], before: str, after: str, words: Lexicon) -> Sum | None:
    value = _value(m["number"])
    if value is None or m["k"]:
        return None
    codes = [c for part in (m["before"], m["after"]) if part for c in meanings(part.strip().rstrip("."))]
    negotiable = _beside(words["negotiable"], before, after)
    fixed = _beside(words["fixed"], before, after)
    role = _role(before, after, words)
    named = bool(codes or m["ending"] or negotiable or fixed or _ends(words["price"], before))
    named = named or role in ("freight", "each") or _ends(words["sold"], before) or _ends(words["hammer"], before)
    named = (
        named
        or _starts(words["free freight"], after)
        or (value.value >= _LEAST_ASKED and (_ends(words["asks"], before) or _starts(words["asked behind"], after)))
        or _TO_THE_END.match(advert.plain[m.end() : m.end() + 24]) is not None
    )
    ranged = _RANGE.match(advert.plain[m.end() : m.end() + 14]) is not None or (
        re.search(r"\d[ ]?(?:-|to|bis)[ ]?(?:[€£$]|EUR)?[ ]?$", advert.plain[max(0, m.start() - 10) : m.start()])
        is not None
    )
    find = Find(m.start(), m.end())
    return Sum(find, Money(value.value, tuple(dict.fromkeys(codes))), role, named, ranged, negotiable, fixed)


def _value(number: str) -> Amount | None:
    """The number; three digits behind its one mark are thousands, for no price has a thousandth part."""
    read = read_amount(number)
    if isinstance(read, Refusal):
        return None
    return read if isinstance(read, Amount) else Amount(read.as_thousands)


def _beside(pattern: re.Pattern[str], before: str, after: str) -> bool:
    """Does a word stand right beside an amount, on either side?"""
    return _ends(pattern, before) or _starts(pattern, after)


def _ends(pattern: re.Pattern[str], before: str) -> bool:
    tail = before.rstrip(" :=(,-[")
    return any(m.end() == len(tail) for m in pattern.finditer(tail))


def _starts(pattern: re.Pattern[str], after: str) -> bool:
    head = re.sub(r"^[ ,.(/\[:-]+", "", after)
    m = pattern.match(head)
    return m is not None


def _role(before: str, after: str, words: Lexicon) -> str:
    """What the amount is for, by the nearest word on either side."""
    if _starts(words["each"], after) or _ends(words["each"], before):
        return "each"
    if _ends_near(words["freight"], before) or _is_freight(words["freight"], after):
        return "freight"
    if _ends_near(words["earlier"], before, 2) and not _ends_near(words["price"], before, 1):
        return "earlier"
    if _ends_near(words["other thing"], before, 1) or _starts(
        words["other thing"], re.sub(r"^[ ,(]*(?:for|für)[ ]*(?:the|die|das|den)?[ ]*", "", after)
    ):
        return "other thing"
    return "price"


def _is_freight(freight: re.Pattern[str], after: str) -> bool:
    """Is an amount the freight that is named behind it ("25 € Versand"), and not a price to which freight comes?"""
    head = re.sub(r"^[ (]*(?:(?:for|für)[ ]+)?(?:(?:the|den|die)[ ]+)?", "", after)
    hit = freight.match(head)
    return hit is not None and _COMES_ON_TOP.match(head[hit.end() :]) is None


def _ends_near(pattern: re.Pattern[str], before: str, most: int = 3) -> bool:
    """Does one of the last few words before an amount match, with no other amount or comma in between?"""
    tail = before.rstrip(" :=(-[")
    for m in pattern.finditer(tail):
        between = tail[m.end() :]
        if "," not in between and len(between.split()) <= most - 1:
            return True
    return False


def distinct(found: Iterable[Sum]) -> dict[Money, Sum]:
    """Amounts of one value told once; the one that names a currency stands for all."""
    kept: dict[Money, Sum] = {}
    for one in found:
        same = next((m for m in kept if m.value == one.money.value), None)
        if same is None:
            kept[one.money] = one
        elif one.money.currencies and not same.currencies:
            del kept[same]
            kept[one.money] = one
    return kept
