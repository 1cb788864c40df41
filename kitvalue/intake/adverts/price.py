"""The price of the kit, what kind of price it is, and the freight."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken
from kitvalue.intake.text.languages import pattern
from kitvalue.intake.text.lexicon import Lexicon, at_end, said
from kitvalue.intake.text.numbers import TwoReadings, meanings, plain, read_amount
from kitvalue.intake.text.words import Refusal, listed

_CODES: Final = "EUR|GBP|USD|CHF|SEK|NOK|DKK|PLN|CZK|HUF|RON|AUD|CAD|NZD|JPY"
_NAMES: Final = (
    "(?:usd?|can?|c|au|a|nz|hk|s)\\$|dm|yen|kron(?:en|or|er)|zloty|złoty|"
    "euros?|pounds?|quid|dollars?|franken|sfr\\.?|fr\\.|kr\\.?|zł|kč|€|£|\\$|¥|₤"
)
_CURRENCY: Final = rf"(?:(?<![^\W\d_])(?:{_CODES}|{_NAMES})(?![^\W\d_]))"
_NUMBER: Final = r"(?:\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d{1,2})?|\d{1,7}(?:[.,]\d{1,2})?)(?![\d])"
_AMOUNT: Final = pattern(
    rf"(?<![\w.,/+])(?P<before>{_CURRENCY}[ ]?)?(?P<number>{_NUMBER})(?P<ending>(?:[ ]?[,.]?-{{1,2}}(?![\w>-])|,-)?)"
    rf"(?P<after>[ ]?{_CURRENCY})?(?P<k>[ ]?k\b)?"
)
_SIGN: Final = r"[ ]?(?:[€£$]|EUR)?[ ]?"  # before the second number of a range
_RANGE: Final = pattern(rf"[ ]?(?:-|to|bis|or|oder|/){_SIGN}\d")
_RANGE_BEFORE: Final = re.compile(rf"\d[ ]?(?:-|to|bis){_SIGN}$")
_TO_THE_END: Final = pattern(rf"[ ]?(?:-|to|bis){_SIGN}{_NUMBER}[ ]?(?:,-|{_CURRENCY})")
_MEASURE: Final = pattern(rf"[ ]?(?:%|percent|prozent|\"|''|x[ ]?\d|{said('measure')})")
_COMES_ON_TOP: Final = pattern(rf"[ (]*(?:is |ist )?{said('on top')}")
_LEAST_ASKED: Final = 50  # below it "he wants 4" speaks of heads or days
_LOWERED: Final = pattern(
    rf"(?:(?<!\w)(?:from|von|de|van)[ ])?(?:{_CURRENCY}[ ]?)?(?<![\w.,/])(?P<old>{_NUMBER})(?:[ ]?{_CURRENCY}|,-)?[ ]?"
    rf"(?:->|=>|→|(?:down )?(?:to|auf|naar|à)(?!\w))[ ]?(?:{_CURRENCY}[ ]?)?(?P<new>{_NUMBER})"
)
_SAYS_LOWERED: Final = pattern(rf"(?<!\w){said('lowered')}(?!\w)")


@dataclass(frozen=True, slots=True)
class Sum:
    """One amount: what it is for (`price`, `freight`, `each`, `earlier`, `other thing`), and how surely.

    `currencies`: the codes that its currency can stand for, () where none is named. `named`: a currency, an ending such
    as ",-" or a price word stands beside it. `ranged`: it is one end of a range.
    """

    find: Find
    value: Decimal
    currencies: tuple[str, ...]
    role: str
    named: bool
    ranged: bool
    negotiable: bool
    fixed: bool


def sums(advert: AdvertText, words: Lexicon) -> list[Sum]:
    """Every amount of money in the advert, in its order. Places read before as something else are blank."""
    matches = [
        m
        for m in _AMOUNT.finditer(advert.plain)
        if m["before"] or m["after"] or m["ending"] or not _MEASURE.match(advert.plain[m.end("number") :][:12])
    ]
    ends = [0, *(m.end() for m in matches)]
    starts = [*(m.start() for m in matches[1:]), len(advert.plain)]
    amounts: list[Sum] = []
    for m, last, following in zip(matches, ends, starts, strict=False):
        before = advert.before(m.start())[-max(0, m.start() - last) :] if m.start() > last else ""
        after = advert.after(m.end())[: following - m.end()]
        value = _value(m["number"])
        if value is not None and not m["k"]:
            amounts.append(_sum(advert, m, value, before, after, words))
    return _lowered(advert, amounts)


def _sum(advert: AdvertText, m: re.Match[str], value: Decimal, before: str, after: str, words: Lexicon) -> Sum:
    """An amount by what stands beside it: all that makes it the price, or something else, is weighed here."""
    codes = [c for part in (m["before"], m["after"]) if part for c in meanings(part.strip().rstrip("."))]
    negotiable, fixed = (_ends(words[key], before) or _starts(words[key], after) for key in ("negotiable", "fixed"))
    role = _role(before, after, words)
    behind = advert.plain[m.end() : m.end() + 24]
    named = (
        bool(codes or m["ending"] or negotiable or fixed or role in ("freight", "each"))
        or any(_ends(words[meaning], before) for meaning in ("price", "sold", "hammer"))
        or _starts(words["free freight"], after)
        or (value >= _LEAST_ASKED and (_ends(words["asks"], before) or _starts(words["asked behind"], after)))
        or _TO_THE_END.match(behind) is not None
    )
    lower_end = _RANGE_BEFORE.search(advert.plain[max(0, m.start() - 10) : m.start()])
    ranged = _RANGE.match(behind[:14]) is not None or lower_end is not None
    return Sum(Find(*m.span()), value, tuple(dict.fromkeys(codes)), role, named, ranged, negotiable, fixed)


def _role(before: str, after: str, words: Lexicon) -> str:
    """What the amount is for, by the nearest word on either side."""
    thing = re.sub(r"^[ ,(]*(?:for|für)[ ]*(?:the|die|das|den)?[ ]*", "", after)
    head = re.sub(r"^[ (]*(?:(?:for|für)[ ]+)?(?:(?:the|den|die)[ ]+)?", "", after)
    sent = words["freight"].match(head)  # "25 € Versand", and not a price to which freight comes
    roles = {
        "each": _starts(words["each"], after) or _ends(words["each"], before),
        "freight": _ends_near(words["freight"], before, 3) or (sent and not _COMES_ON_TOP.match(head[sent.end() :])),
        "earlier": _ends_near(words["earlier"], before, 2) and not _ends_near(words["price"], before, 1),
        "other thing": _ends_near(words["other thing"], before, 1) or _starts(words["other thing"], thing),
    }
    return next((role for role, is_it in roles.items() if is_it), "price")


def _lowered(advert: AdvertText, amounts: list[Sum]) -> list[Sum]:
    """The amounts with each "from 600 to 480" as what was asked before and what is asked now: going down, it is no
    range. Between bare numbers a word must say that it is a price.
    """
    for m in _LOWERED.finditer(advert.plain):
        old, new = _value(m["old"]), _value(m["new"])
        if old is None or new is None or not old > new >= _LEAST_ASKED:
            continue
        around = f"{advert.before(m.start(), 40)} {advert.after(m.end(), 24)} {m[0]}"
        by_word = _SAYS_LOWERED.search(around) is not None
        for at, one in enumerate(amounts):
            if one.find.start <= m.start("old") < one.find.end:
                amounts[at] = replace(one, role="earlier", ranged=False)
            elif one.find.start <= m.start("new") < one.find.end:
                amounts[at] = replace(one, named=one.named or by_word, ranged=False)
    return amounts


def _value(number: str) -> Decimal | None:
    """The number; three digits behind its one mark are thousands, for no price has a thousandth part."""
    read = read_amount(number)
    if isinstance(read, Refusal):
        return None
    return read.as_thousands if isinstance(read, TwoReadings) else read.value


def _ends(pattern: re.Pattern[str], before: str) -> bool:
    return at_end(pattern, before.rstrip(" :=(,-[")) is not None


def _starts(pattern: re.Pattern[str], after: str) -> bool:
    return pattern.match(after.lstrip(" ,.(/[:-")) is not None


def _ends_near(pattern: re.Pattern[str], before: str, most: int) -> bool:
    """Does one of the last `most` words before an amount match, with no other amount or comma in between?"""
    tail = before.rstrip(" :=(-[")
    between = (tail[m.end() :] for m in pattern.finditer(tail))
    return any("," not in words and len(words.split()) < most for words in between)


def _distinct(amounts: Iterable[Sum]) -> list[Sum]:
    """Amounts of one value told once; the one that names a currency stands for all."""
    kept: dict[Decimal, Sum] = {}
    for one in amounts:
        if one.value not in kept or (one.currencies and not kept[one.value].currencies):
            kept.pop(one.value, None)
            kept[one.value] = one
    return list(kept.values())


_PERCENT: Final = r"(\d{1,2}(?:[.,]\d{1,2})?) ?%"
_PREMIUM: Final = pattern(
    rf"{_PERCENT} ?(?:buyer'?s? )?{said('premium')}|{said('premium')}[ :]*(?:of |von )?{_PERCENT}"
)
_NO_PREMIUM: Final = pattern(rf"(?:no|ohne|kein) (?:buyer'?s? )?{said('premium')}")
_FIRM: Final = pattern(rf"(?<!\w){said('firm')}(?!\w)")
_DENIED: Final = pattern(rf"\b{said('unsold')}[ -]*$")
_NO_PRICE: Final = {
    "earlier": "is an earlier or a new price, not this one",
    "each": "is the price of one drum",
    "other thing": "is for something else than the kit",
}


@dataclass(frozen=True, slots=True)
class AdvertPrice:
    """The price asked or paid and what goes with it; `premium` is None where none is due. Remarks tell the amounts that
    are no price of the kit; `candidates` is the number of amounts that could be it.
    """

    price: Outcome
    currency: Outcome
    kind: Outcome
    premium: Outcome | None
    freight: Outcome
    haggle: Literal["fixed", "negotiable"] | None
    remarks: tuple[str, ...]
    candidates: int


def read_price(advert: AdvertText, amounts: Sequence[Sum], words: Lexicon, own: str) -> AdvertPrice:
    """Everything about money, from the amounts of an advert. The price is one that names itself money, and only else a
    bare number. `own`: the shop's currency.
    """
    asked = _distinct(one for one in amounts if one.role == "price" and one.named)
    freight = _freight(advert, amounts, words, (len(asked) == 1 and asked[0].currencies) or (own,), own)
    premium = None
    if why := _why_no_price(advert, amounts, asked):
        price = Outcome(None, why)
        currency, kind = (Outcome(None, f"without a price there is no {one}") for one in ("currency", "kind of price"))
    else:
        text = advert.words(_with_words(advert, asked[0], words))
        price = Outcome(Taken("price", plain(asked[0].value), text))
        currency, kind = _currency(asked[0].currencies, text, own), _kind(advert, asked[0], words)
        if kind.taken is not None and kind.taken.value == "hammer":
            premium = _premium(advert)
    prices = [one for one in amounts if one.role == "price"]
    fixed, negotiable = any(one.fixed for one in prices), any(one.negotiable for one in prices)
    if not fixed and not negotiable:  # by no word beside a price: by the only one in the advert
        negotiable = words["negotiable"].search(words["fixed"].sub(" ", advert.plain)) is not None
        fixed = _FIRM.search(advert.plain) is not None
    haggle: Literal["fixed", "negotiable"] | None = None
    if fixed != negotiable:
        haggle = "fixed" if fixed else "negotiable"
    told = [one for one in amounts if one.role == "earlier" or (one.named and one.role in _NO_PRICE)]
    remarks = dict.fromkeys(f'"{advert.words(one.find)}" {_NO_PRICE[one.role]}' for one in told)
    return AdvertPrice(price, currency, kind, premium, freight, haggle, tuple(remarks), len(asked))


def _why_no_price(advert: AdvertText, amounts: Sequence[Sum], asked: Sequence[Sum]) -> str | None:
    """Why no amount is the price; None where the one that is `asked` is."""
    if asked and asked[0].ranged:
        start, end = asked[0].find.start, asked[min(1, len(asked) - 1)].find.end
        if len(asked) == 1:  # with the rest of its range
            behind = re.match(rf"[ ]?(?:-|to|bis|or|oder|/){_SIGN}[\d.,]+", advert.plain[end : end + 16])
            before = re.search(r"[\d.,]+[ ]?(?:-|to|bis)[ ]?$", advert.plain[max(0, start - 14) : start])
            start, end = start - len(before[0] if before else ""), end + len(behind[0] if behind else "")
        return f"{advert.words(Find(start, end))} is a range, not one price"
    if asked:
        words = listed((advert.words(one.find) for one in asked), 4)
        return f"{len(asked)} prices: {words}" if len(asked) > 1 else None
    each = next((one for one in amounts if one.role == "each"), None)
    if each is not None:
        return f"{advert.words(each.find)} is the price of one drum, and none is named for the whole kit"
    bare = listed((advert.words(one.find) for one in amounts if one.role == "price"), 4)
    return f"no currency and no word such as price or VB stands beside {bare}" if bare else "no amount is named"


def _with_words(advert: AdvertText, one: Sum, words: Lexicon) -> Find:
    """The amount with the words for a price that stand beside it."""
    start, end = one.find.start, one.find.end
    for meaning in ("negotiable", "fixed", "price", "asks", "asked behind", "sold", "hammer"):
        before, after = advert.before(start), advert.after(end)
        m = at_end(words[meaning], before.rstrip(" :=(,"))
        start -= 0 if m is None else len(before) - m.start()
        gap = len(after) - len(after.lstrip(" ,.(/:-"))
        behind = words[meaning].match(after[gap:])
        if behind is not None and meaning in ("negotiable", "fixed", "asked behind"):
            end += gap + behind.end()
    return Find(start, end)


def _kind(advert: AdvertText, one: Sum, words: Lexicon) -> Outcome:
    """asked, sold or hammer. A bare "sold" far from the price says nothing about what was paid."""
    before, after = advert.before(one.find.start), advert.after(one.find.end)
    for kind in ("hammer", "sold"):
        m = next((m for m in words[kind].finditer(before) if not _DENIED.search(before[: m.start()])), None)
        if m is None and kind == "sold":
            m = words[kind].match(after.lstrip(" ,.(/:-"))
        if m is not None:
            return Outcome(Taken("price_kind", kind, m[0].strip(" .")))
    for m in words["sold"].finditer(advert.plain):
        if not _DENIED.search(advert.before(m.start())):
            sold = advert.words(Find(*m.span()))
            return Outcome(None, f"the advert says {sold}, but not that this price was paid; blank counts as asked")
    for meaning in ("negotiable", "fixed", "for sale"):
        m = words[meaning].search(advert.plain)
        if m is not None:
            return Outcome(Taken("price_kind", "asked", m[0].strip(" .")))
    return Outcome(Taken("price_kind", "asked", advert.words(one.find)))


def _currency(codes: Sequence[str], words: str, own: str) -> Outcome:
    """The price's currency; the shop's own where a sign or a name can mean it, as in prices.csv."""
    if own in codes or len(codes) == 1:
        return Outcome(Taken("currency", own if own in codes else codes[0], words))
    can_be = f"{words} can be {listed(codes, 4, last='or')}"
    return Outcome(None, can_be if codes else "the price names none; blank counts as the shop's")


def _premium(advert: AdvertText) -> Outcome:
    if m := _PREMIUM.search(advert.plain):
        return Outcome(Taken("premium", (m[1] or m[2]).replace(",", "."), advert.words(Find(*m.span()))))
    if m := _NO_PREMIUM.search(advert.plain):
        return Outcome(Taken("premium", "0", m[0]))
    return Outcome(None, "a hammer price needs the auction's premium in percent, and the advert names none")


def _freight(advert: AdvertText, amounts: Sequence[Sum], words: Lexicon, codes: Sequence[str], own: str) -> Outcome:
    """What sending it costs on top: an amount, 0 where it is in the price, blank where it can only be fetched, and
    where it is not in the price's currency (`codes`, all that it can be; the shop's own where that is among them).
    """
    named = _distinct(one for one in amounts if one.role == "freight")
    if len(named) > 1:
        told = listed((advert.words(one.find) for one in named), 3)
        return Outcome(None, f"{len(named)} amounts for freight: {told}")
    if named:
        start, end = named[0].find.start, named[0].find.end  # with the word for freight beside it
        before = advert.before(start)
        if last := max(words["freight"].finditer(before), key=lambda m: m.end(), default=None):
            start -= len(before) - last.start()
        elif first := words["freight"].search(advert.after(end)):
            end += first.end()
        text = advert.words(Find(start, end))
        price, freight = ({own} if own in of else {*of} for of in (codes, named[0].currencies or codes))
        if not price & freight:
            return Outcome(None, f"{text} is in another currency than the price")
        return Outcome(Taken("freight", plain(named[0].value), text))
    free = words["free freight"].search(advert.plain)
    if free is not None and not _DENIED.search(advert.before(free.start())):
        return Outcome(Taken("freight", "0", free[0]), remarks=(f'"{free[0]}": the price holds the freight',))
    if fetch := words["pick-up"].search(advert.plain):
        return Outcome(None, f'"{fetch[0]}": it has to be fetched, and what that costs you is not in the advert')
    if sent := words["freight"].search(advert.plain):
        return Outcome(None, f'"{sent[0]}" without an amount')
    return Outcome(None, "nothing is said about freight; blank is unknown, never 0")
