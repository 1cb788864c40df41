"""The price of the kit, what kind of price it is, and the freight."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from kitvalue.intake.adverts.text import AdvertText, Find, Money, Outcome, Taken
from kitvalue.intake.text.lexicon import Lexicon
from kitvalue.intake.text.numbers import Amount, meanings, plain, read_amount
from kitvalue.intake.text.words import Refusal, listed

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


_PREMIUM: Final = re.compile(
    r"(\d{1,2}(?:[.,]\d{1,2})?) ?% ?(?:buyer'?s? )?(?:premium|aufgeld|agio)|"
    r"(?:premium|aufgeld|agio)[ :]*(?:of |von )?(\d{1,2}(?:[.,]\d{1,2})?) ?%",
    re.IGNORECASE,
)
_NO_PREMIUM: Final = re.compile(r"(?:no|ohne|kein) (?:buyer'?s? )?(?:premium|aufgeld|agio)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class PriceSeen:
    """The price asked or paid and what goes with it."""

    price: Outcome
    kind: Outcome
    premium: Outcome | None
    freight: Outcome
    money: Money | None  # the price's
    haggle: Literal["fixed", "negotiable"] | None
    remarks: tuple[str, ...]
    candidates: int  # amounts that could be the price


def price_seen(advert: AdvertText, found: Sequence[Sum], words: Lexicon, own: str) -> PriceSeen:
    """Everything about money, from the amounts found in an advert. `own`: the shop's currency."""
    asked = _candidates(found)
    remarks = _remarks(advert, found)
    codes = next(iter(asked)).currencies if len(asked) == 1 else ()
    freight = _freight(advert, found, words, codes or (own,), own)
    if len(asked) != 1:
        reason = _why_no_price(advert, found, list(asked.values()))
        no_kind = Outcome(None, "without a price there is no kind of price")
        return PriceSeen(
            Outcome(None, reason), no_kind, None, freight, None, _haggle(found, advert, words), remarks, len(asked)
        )
    ((money, one),) = asked.items()
    if one.ranged:
        reason = f"{advert.words(_widened(advert, one.find))} is a range, not one price"
        no_kind = Outcome(None, "without a price there is no kind of price")
        return PriceSeen(Outcome(None, reason), no_kind, None, freight, None, _haggle(found, advert, words), remarks, 1)
    text = advert.words(_with_words(advert, one, words))
    kind = _kind(advert, one, words)
    premium = _premium(advert) if kind.taken is not None and kind.taken.value == "hammer" else None
    price = Outcome(Taken("price", plain(money.value), text))
    return PriceSeen(price, kind, premium, freight, money, _haggle(found, advert, words), remarks, 1)


def _candidates(found: Sequence[Sum]) -> dict[Money, Sum]:
    """The amounts that could be the kit's price: those that name themselves money, and only else a bare number."""
    return distinct(one for one in found if one.role == "price" and one.named)


def _why_no_price(advert: AdvertText, found: Sequence[Sum], asked: Sequence[Sum]) -> str:
    if len(asked) > 1:
        if asked[0].ranged:
            return f"{advert.words(Find(asked[0].find.start, asked[1].find.end))} is a range, not one price"
        return f"{len(asked)} prices: {listed((advert.words(one.find) for one in asked), 4)}"
    each = [one for one in found if one.role == "each"]
    if each:
        return f"{advert.words(each[0].find)} is the price of one drum, and none is named for the whole kit"
    bare = [one for one in found if one.role == "price"]
    if bare:
        numbers = listed((advert.words(one.find) for one in bare), 4)
        return f"no currency and no word such as price or VB stands beside {numbers}"
    return "no amount is named"


def _widened(advert: AdvertText, find: Find) -> Find:
    """An amount with the rest of its range."""
    behind = re.match(
        r"[ ]?(?:-|to|bis|or|oder|/)[ ]?(?:[€£$]|EUR)?[ ]?[\d.,]+", advert.plain[find.end : find.end + 16]
    )
    before = re.search(r"[\d.,]+[ ]?(?:-|to|bis)[ ]?$", advert.plain[max(0, find.start - 14) : find.start])
    start = find.start - len(before[0]) if before is not None else find.start
    return Find(start, find.end + (behind.end() if behind is not None else 0))


def _with_words(advert: AdvertText, one: Sum, words: Lexicon) -> Find:
    """The amount with the negotiable or fixed word that stands beside it."""
    start, end = one.find.start, one.find.end
    for meaning in ("negotiable", "fixed", "price", "asks", "asked behind", "sold", "hammer"):
        before = advert.before(start)
        tail = before.rstrip(" :=(,")
        hit = next((m for m in words[meaning].finditer(tail) if m.end() == len(tail)), None)
        if hit is not None:
            start -= len(before) - hit.start()
        after = advert.after(end)
        gap = len(after) - len(re.sub(r"^[ ,.(/:-]+", "", after))
        behind = words[meaning].match(after[gap:])
        if behind is not None and meaning in ("negotiable", "fixed", "asked behind"):
            end += gap + behind.end()
    return Find(start, end)


def _kind(advert: AdvertText, one: Sum, words: Lexicon) -> Outcome:
    """asked, sold or hammer. A bare "sold" far from the price says nothing about what was paid."""
    before, after = advert.before(one.find.start), advert.after(one.find.end)
    for meaning, word in (("hammer", "hammer"), ("sold", "sold")):
        for m in words[meaning].finditer(before):
            if _no_denial(before[: m.start()]):
                return Outcome(Taken("price_kind", word, m[0].strip(" .")))
        m2 = re.match(r"^[ ,.(/:-]*", after)
        hit = words[meaning].match(after[m2.end() if m2 is not None else 0 :])
        if hit is not None and meaning == "sold":
            return Outcome(Taken("price_kind", word, hit[0].strip(" .")))
    far = next((m for m in words["sold"].finditer(advert.plain) if _no_denial(advert.before(m.start()))), None)
    if far is not None:
        words_seen = advert.words(Find(*far.span()))
        return Outcome(None, f"the advert says {words_seen}, but not that this price was paid; blank counts as asked")
    for meaning in ("negotiable", "fixed", "for sale"):
        hit = words[meaning].search(advert.plain)
        if hit is not None:
            return Outcome(Taken("price_kind", "asked", hit[0].strip(" .")))
    return Outcome(Taken("price_kind", "asked", advert.words(one.find)))


def _no_denial(before: str) -> bool:
    return re.search(r"\b(?:not|un|nicht|never|to be|kann|können|wird|werden)[ -]*$", before, re.IGNORECASE) is None


def _premium(advert: AdvertText) -> Outcome:
    m = _PREMIUM.search(advert.plain)
    if m is not None:
        return Outcome(Taken("premium", (m[1] or m[2]).replace(",", "."), advert.words(Find(*m.span()))))
    none = _NO_PREMIUM.search(advert.plain)
    if none is not None:
        return Outcome(Taken("premium", "0", none[0]))
    return Outcome(None, "a hammer price needs the auction's premium in percent, and the advert names none")


def _freight(advert: AdvertText, found: Sequence[Sum], words: Lexicon, codes: Sequence[str], own: str) -> Outcome:
    """What sending it costs on top: an amount, 0 where it is in the price, blank where it can only be fetched, and
    where it is not in the price's currency (`codes`, all that it can be).
    """
    amounts = distinct(one for one in found if one.role == "freight")
    if len(amounts) == 1:
        ((money, one),) = amounts.items()
        said = advert.words(_with_freight_word(advert, one.find, words))
        price, freight = _meant(codes, own), _meant(money.currencies or codes, own)
        if not set(price) & set(freight):
            return Outcome(None, f"{said} is in another currency than the price")
        return Outcome(Taken("freight", plain(money.value), said))
    if amounts:
        return Outcome(
            None, f"{len(amounts)} amounts for freight: {listed((advert.words(s.find) for s in amounts.values()), 3)}"
        )
    free = words["free freight"].search(advert.plain)
    if free is not None and _no_denial(advert.before(free.start())):
        return Outcome(Taken("freight", "0", free[0]), remarks=(f'"{free[0]}": the price holds the freight',))
    fetch = words["pick-up"].search(advert.plain)
    if fetch is not None:
        return Outcome(None, f'"{fetch[0]}": it has to be fetched, and what that costs you is not in the advert')
    sent = words["freight"].search(advert.plain)
    if sent is not None:
        return Outcome(None, f'"{sent[0]}" without an amount')
    return Outcome(None, "nothing is said about freight; blank is unknown, never 0")


def _meant(codes: Sequence[str], own: str) -> Sequence[str]:
    """What a sign means: the shop's own currency where it can."""
    return (own,) if own in codes else codes


def _with_freight_word(advert: AdvertText, find: Find, words: Lexicon) -> Find:
    """An amount with the word for freight beside it."""
    before, after = advert.before(find.start), advert.after(find.end)
    last = max(words["freight"].finditer(before), key=lambda m: m.end(), default=None)
    if last is not None:
        return Find(find.start - len(before) + last.start(), find.end)
    first = words["freight"].search(after)
    return Find(find.start, find.end + first.end()) if first is not None else find


def _haggle(found: Sequence[Sum], advert: AdvertText, words: Lexicon) -> Literal["fixed", "negotiable"] | None:
    """Whether the price is firm: by the word beside it, else by the only one in the advert."""
    prices = [one for one in found if one.role == "price"]
    fixed = any(one.fixed for one in prices)
    negotiable = any(one.negotiable for one in prices)
    if not fixed and not negotiable:
        plain_text = words["fixed"].sub(" ", advert.plain)
        negotiable = words["negotiable"].search(plain_text) is not None
        fixed = (
            re.search(
                r"(?<!\w)(?:festpreis|fixpreis|fixed price|firm price|price is firm|no offers|"
                r"nicht verhandelbar|non negotiable)(?!\w)",
                advert.plain,
                re.IGNORECASE,
            )
            is not None
        )
    if fixed == negotiable:
        return None
    return "fixed" if fixed else "negotiable"


def _remarks(advert: AdvertText, found: Sequence[Sum]) -> tuple[str, ...]:
    """Amounts that were seen and are no price of the kit."""
    said = {
        "earlier": "is an earlier or a new price, not this one",
        "each": "is the price of one drum",
        "other thing": "is for something else than the kit",
    }
    return tuple(
        dict.fromkeys(
            f'"{advert.words(one.find)}" {said[one.role]}'
            for one in found
            if (one.role in said and one.named) or one.role == "earlier"
        )
    )
