"""The price of the kit, what kind of price it is, and the freight."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from kitvalue.intake.adverts.lexicon import Lexicon
from kitvalue.intake.adverts.money import Sum, distinct
from kitvalue.intake.adverts.record import Money, Outcome, Taken
from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.numbers import plain
from kitvalue.intake.words import listed

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
