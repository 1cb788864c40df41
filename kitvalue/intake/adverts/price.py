"""The price of the kit, what kind of price it is, and the freight."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from kitvalue.intake.adverts.text import AdvertText, Find, Money, Outcome, Taken
from kitvalue.intake.text.languages import pattern
from kitvalue.intake.text.lexicon import Lexicon, at_end, said
from kitvalue.intake.text.numbers import Amount, meanings, plain, read_amount
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

    `named`: a currency, an ending such as ",-" or a price word stands beside it. `ranged`: it is one end of a range.
    """

    find: Find
    money: Money
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


def _lowered(advert: AdvertText, amounts: Sequence[Sum]) -> list[Sum]:
    """The amounts with each "from 600 to 480" as what was asked before and what is asked now: going down, it is no
    range. Between bare numbers a word must say that it is a price.
    """
    amounts = list(amounts)
    for m in _LOWERED.finditer(advert.plain):
        old, new = _value(m["old"]), _value(m["new"])
        if old is None or new is None or not old.value > new.value >= _LEAST_ASKED:
            continue
        around = f"{advert.before(m.start(), 40)} {advert.after(m.end(), 24)} {m[0]}"
        by_word = _SAYS_LOWERED.search(around) is not None
        for at, one in enumerate(amounts):
            if one.find.start <= m.start("old") < one.find.end:
                amounts[at] = replace(one, role="earlier", ranged=False)
            elif one.find.start <= m.start("new") < one.find.end:
                amounts[at] = replace(one, named=one.named or by_word, ranged=False)
    return amounts


def _sum(advert: AdvertText, m: re.Match[str], value: Amount, before: str, after: str, words: Lexicon) -> Sum:
    codes = [c for part in (m["before"], m["after"]) if part for c in meanings(part.strip().rstrip("."))]
    negotiable, fixed = (_ends(words[key], before) or _starts(words[key], after) for key in ("negotiable", "fixed"))
    role = _role(before, after, words)
    behind = advert.plain[m.end() : m.end() + 24]
    named = (
        bool(codes or m["ending"] or negotiable or fixed or role in ("freight", "each"))
        or any(_ends(words[meaning], before) for meaning in ("price", "sold", "hammer"))
        or _starts(words["free freight"], after)
        or (value.value >= _LEAST_ASKED and (_ends(words["asks"], before) or _starts(words["asked behind"], after)))
        or _TO_THE_END.match(behind) is not None
    )
    lower_end = _RANGE_BEFORE.search(advert.plain[max(0, m.start() - 10) : m.start()])
    ranged = _RANGE.match(behind[:14]) is not None or lower_end is not None
    money = Money(value.value, tuple(dict.fromkeys(codes)))
    return Sum(Find(*m.span()), money, role, named, ranged, negotiable, fixed)


def _value(number: str) -> Amount | None:
    """The number; three digits behind its one mark are thousands, for no price has a thousandth part."""
    read = read_amount(number)
    if isinstance(read, Refusal):
        return None
    return read if isinstance(read, Amount) else Amount(read.as_thousands)


def _ends(pattern: re.Pattern[str], before: str) -> bool:
    return at_end(pattern, before.rstrip(" :=(,-[")) is not None


def _starts(pattern: re.Pattern[str], after: str) -> bool:
    return pattern.match(after.lstrip(" ,.(/[:-")) is not None


def _role(before: str, after: str, words: Lexicon) -> str:
    """What the amount is for, by the nearest word on either side."""
    thing = re.sub(r"^[ ,(]*(?:for|für)[ ]*(?:the|die|das|den)?[ ]*", "", after)
    if _starts(words["each"], after) or _ends(words["each"], before):
        return "each"
    if _ends_near(words["freight"], before, 3) or _is_freight(words["freight"], after):
        return "freight"
    if _ends_near(words["earlier"], before, 2) and not _ends_near(words["price"], before, 1):
        return "earlier"
    if _ends_near(words["other thing"], before, 1) or _starts(words["other thing"], thing):
        return "other thing"
    return "price"


def _is_freight(freight: re.Pattern[str], after: str) -> bool:
    """Is an amount the freight that is named behind it ("25 € Versand"), and not a price to which freight comes?"""
    head = re.sub(r"^[ (]*(?:(?:for|für)[ ]+)?(?:(?:the|den|die)[ ]+)?", "", after)
    m = freight.match(head)
    return m is not None and _COMES_ON_TOP.match(head[m.end() :]) is None


def _ends_near(pattern: re.Pattern[str], before: str, most: int) -> bool:
    """Does one of the last `most` words before an amount match, with no other amount or comma in between?"""
    tail = before.rstrip(" :=(-[")
    between = (tail[m.end() :] for m in pattern.finditer(tail))
    return any("," not in words and len(words.split()) < most for words in between)


def distinct(amounts: Iterable[Sum]) -> dict[Money, Sum]:
    """Amounts of one value told once; the one that names a currency stands for all."""
    kept: dict[Money, Sum] = {}
    for one in amounts:
        same = next((money for money in kept if money.value == one.money.value), None)
        if same is None:
            kept[one.money] = one
        elif one.money.currencies and not same.currencies:
            del kept[same]
            kept[one.money] = one
    return kept


_PERCENT: Final = r"(\d{1,2}(?:[.,]\d{1,2})?) ?%"
_PREMIUM: Final = pattern(
    rf"{_PERCENT} ?(?:buyer'?s? )?{said('premium')}|{said('premium')}[ :]*(?:of |von )?{_PERCENT}"
)
_NO_PREMIUM: Final = pattern(rf"(?:no|ohne|kein) (?:buyer'?s? )?{said('premium')}")
_FIRM: Final = pattern(rf"(?<!\w){said('firm')}(?!\w)")
_DENIED: Final = pattern(rf"\b{said('unsold')}[ -]*$")


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


def price_seen(advert: AdvertText, amounts: Sequence[Sum], words: Lexicon, own: str) -> PriceSeen:
    """Everything about money, from the amounts of an advert. The price is one that names itself money, and only else a
    bare number. `own`: the shop's currency.
    """
    asked = distinct(one for one in amounts if one.role == "price" and one.named)
    money = next(iter(asked)) if len(asked) == 1 else None
    freight = _freight(advert, amounts, words, (money.currencies if money else ()) or (own,), own)
    haggle, remarks = _haggle(amounts, advert, words), _remarks(advert, amounts)
    why = _why_no_price(advert, amounts, list(asked.values()))
    if why is not None or money is None:
        no_kind = Outcome(None, "without a price there is no kind of price")
        return PriceSeen(Outcome(None, why), no_kind, None, freight, None, haggle, remarks, len(asked))
    one = asked[money]
    kind = _kind(advert, one, words)
    premium = _premium(advert) if kind.taken is not None and kind.taken.value == "hammer" else None
    price = Outcome(Taken("price", plain(money.value), advert.words(_with_words(advert, one, words))))
    return PriceSeen(price, kind, premium, freight, money, haggle, remarks, 1)


def _why_no_price(advert: AdvertText, amounts: Sequence[Sum], asked: Sequence[Sum]) -> str | None:
    """Why no amount is the price; None where one of those `asked` is."""
    if asked and asked[0].ranged:
        place = _widened(advert, asked[0].find) if len(asked) == 1 else Find(asked[0].find.start, asked[1].find.end)
        return f"{advert.words(place)} is a range, not one price"
    if asked:
        words = listed((advert.words(one.find) for one in asked), 4)
        return f"{len(asked)} prices: {words}" if len(asked) > 1 else None
    each = next((one for one in amounts if one.role == "each"), None)
    if each is not None:
        return f"{advert.words(each.find)} is the price of one drum, and none is named for the whole kit"
    bare = listed((advert.words(one.find) for one in amounts if one.role == "price"), 4)
    return f"no currency and no word such as price or VB stands beside {bare}" if bare else "no amount is named"


def _widened(advert: AdvertText, find: Find) -> Find:
    """An amount with the rest of its range."""
    behind = re.match(rf"[ ]?(?:-|to|bis|or|oder|/){_SIGN}[\d.,]+", advert.plain[find.end : find.end + 16])
    before = re.search(r"[\d.,]+[ ]?(?:-|to|bis)[ ]?$", advert.plain[max(0, find.start - 14) : find.start])
    return Find(find.start - len(before[0] if before else ""), find.end + len(behind[0] if behind else ""))


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
    named = distinct(one for one in amounts if one.role == "freight")
    if len(named) > 1:
        return Outcome(
            None, f"{len(named)} amounts for freight: {listed((advert.words(one.find) for one in named.values()), 3)}"
        )
    for money, one in named.items():
        text = advert.words(_with_freight_word(advert, one.find, words))
        price, freight = ({own} if own in of else {*of} for of in (codes, money.currencies or codes))
        if not price & freight:
            return Outcome(None, f"{text} is in another currency than the price")
        return Outcome(Taken("freight", plain(money.value), text))
    free = words["free freight"].search(advert.plain)
    if free is not None and not _DENIED.search(advert.before(free.start())):
        return Outcome(Taken("freight", "0", free[0]), remarks=(f'"{free[0]}": the price holds the freight',))
    if fetch := words["pick-up"].search(advert.plain):
        return Outcome(None, f'"{fetch[0]}": it has to be fetched, and what that costs you is not in the advert')
    if sent := words["freight"].search(advert.plain):
        return Outcome(None, f'"{sent[0]}" without an amount')
    return Outcome(None, "nothing is said about freight; blank is unknown, never 0")


def _with_freight_word(advert: AdvertText, find: Find, words: Lexicon) -> Find:
    """An amount with the word for freight beside it."""
    before, after = advert.before(find.start), advert.after(find.end)
    last = max(words["freight"].finditer(before), key=lambda m: m.end(), default=None)
    if last is not None:
        return Find(find.start - len(before) + last.start(), find.end)
    first = words["freight"].search(after)
    return find if first is None else Find(find.start, find.end + first.end())


def _haggle(amounts: Sequence[Sum], advert: AdvertText, words: Lexicon) -> Literal["fixed", "negotiable"] | None:
    """Whether the price is firm: by the word beside it, else by the only one in the advert."""
    prices = [one for one in amounts if one.role == "price"]
    fixed, negotiable = any(one.fixed for one in prices), any(one.negotiable for one in prices)
    if not fixed and not negotiable:
        negotiable = words["negotiable"].search(words["fixed"].sub(" ", advert.plain)) is not None
        fixed = _FIRM.search(advert.plain) is not None
    if fixed == negotiable:
        return None
    return "fixed" if fixed else "negotiable"


_NO_PRICE: Final = {
    "earlier": "is an earlier or a new price, not this one",
    "each": "is the price of one drum",
    "other thing": "is for something else than the kit",
}


def _remarks(advert: AdvertText, amounts: Sequence[Sum]) -> tuple[str, ...]:
    """Amounts that were seen and are no price of the kit."""
    told = [one for one in amounts if one.role == "earlier" or (one.named and one.role in _NO_PRICE)]
    return tuple(dict.fromkeys(f'"{advert.words(one.find)}" {_NO_PRICE[one.role]}' for one in told))
