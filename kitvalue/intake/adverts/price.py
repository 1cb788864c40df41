"""The price of the kit, what kind of price it is, and the freight."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from kitvalue.intake.adverts.scoring import DOUBT, PRICE, Scored
from kitvalue.intake.adverts.text import AdvertText, Find, Outcome, Taken, ToldAmount
from kitvalue.intake.text.languages import pattern
from kitvalue.intake.text.lexicon import Lexicon, said
from kitvalue.intake.text.numbers import plain
from kitvalue.intake.text.words import listed


def _distinct(amounts: Iterable[Scored]) -> list[Scored]:
    """Amounts of one value told once; the one that names a currency stands for all."""
    kept: dict[Decimal, Scored] = {}
    for one in amounts:
        value = one.amount.value
        if value not in kept or (one.amount.currencies and not kept[value].amount.currencies):
            kept.pop(value, None)
            kept[value] = one
    return list(kept.values())


_PERCENT: Final = r"(\d{1,2}(?:[.,]\d{1,2})?) ?%"
_PREMIUM: Final = pattern(
    rf"{_PERCENT}[^.\n%\d]{{0,16}}\b{said('premium')}(?!\w)|(?<!\w){said('premium')}[^.\n%\d]{{0,16}}{_PERCENT}"
)
_NO_PREMIUM: Final = pattern(rf"(?:no|ohne|kein) (?:buyer'?s? )?{said('premium')}")
_FIRM: Final = pattern(rf"(?<!\w){said('firm')}(?!\w)")
_DENIED: Final = pattern(rf"\b{said('unsold')}[ -]*$")
_NO_PRICE: Final = {
    "earlier": "is an earlier price, not this one",
    "paid": "was paid for it earlier, and is not this price",
    "story": "is told of earlier times, and is not this price",
    "bid": "was offered for it, and is not the price",
    "worth": "is what it cost new or is said to be worth, not this price",
    "invoice": "stands on an invoice, and is not this price",
    "estimate": "is an estimate, not a price",
    "opening bid": "is where the bids start or stand, not a price",
    "deposit": "is a deposit",
    "instalment": "is a part of a price, or paid by the month",
    "extra": "comes on top, for something that is not in the price",
    "each": "is the price of one drum",
    "other thing": "is for something else than the kit",
}


@dataclass(frozen=True, slots=True)
class AdvertPrice:
    """The price asked or paid and what goes with it; `premium` is None where none is due. Remarks tell the amounts that
    are no price of the kit; `candidates` is the number of amounts that could be it,
    `amounts` tells all of them.
    """

    price: Outcome
    currency: Outcome
    kind: Outcome
    premium: Outcome | None
    freight: Outcome
    haggle: Literal["fixed", "negotiable"] | None
    remarks: tuple[str, ...]
    candidates: int
    amounts: tuple[ToldAmount, ...]


_PLACEHOLDERS: Final = {"1", "1234", "9999", "11111", "12345", "99999", "111111", "123456", "999999"}
_SURE: Final = ("now", "buy now", "hammer", "sold", "lowered")  # one of these is enough beside other prices
_LEAD: Final = 2  # points before the next
_MOST_DOWN: Final = Decimal("0.4")  # of a price, paid beforehand
_ITEMS: Final = 3  # amounts of a list of things
_THING: Final = re.compile(r"[^\W\d_]{4,}")


def read_price(
    advert: AdvertText, amounts: Sequence[Scored], words: Lexicon, own: str, kit: Sequence[Find]
) -> AdvertPrice:
    """Everything about money, from the amounts of an advert. `own`: the shop's currency; `kit`: where the series and
    the drums stand.
    """
    asked = _of_the_kit(advert, _candidates(amounts), kit)
    freight = _freight(advert, amounts, words, (len(asked) == 1 and asked[0].amount.currencies) or (own,), own)
    premium = _premium(advert)
    if why := _why_no_price(advert, amounts, asked):
        price = Outcome(None, why)
        currency, kind = (Outcome(None, f"without a price there is no {one}") for one in ("currency", "kind of price"))
    else:
        text = advert.words(_with_words(advert, asked[0]))
        price = Outcome(Taken("price", plain(asked[0].amount.value), text))
        currency, kind = _currency(asked[0].amount.currencies, text, own), _kind(advert, asked[0], words)
        if premium is None and kind.taken is not None and kind.taken.value == "hammer":
            premium = Outcome(None, "a hammer price needs the auction's premium in percent, and the advert names none")
    prices = [one for one in amounts if one.role in (PRICE, DOUBT)]
    fixed, negotiable = any(one.has("fixed") for one in prices), any(one.has("negotiable") for one in prices)
    if not fixed and not negotiable:  # by no word beside a price: by the only one in the advert
        negotiable = words["negotiable"].search(words["fixed"].sub(" ", advert.plain)) is not None
        behind = (advert.after(one.amount.find.end).lstrip(" ,;:.(/-") for one in prices)
        fixed = _FIRM.search(advert.plain) is not None or any(map(words["fixed"].match, behind))
    haggle: Literal["fixed", "negotiable"] | None = None
    if fixed != negotiable:
        haggle = "fixed" if fixed else "negotiable"
    told = [one for one in amounts if one.role == "earlier" or (one.amount.money and one.role in _NO_PRICE)]
    remarks = dict.fromkeys(f'"{advert.words(one.amount.find)}" {_NO_PRICE[one.role]}{_because(one)}' for one in told)
    every = tuple(
        ToldAmount(plain(one.amount.value), advert.words(one.amount.find), one.role, one.reasons)
        for one in amounts
        if one.reasons
    )
    return AdvertPrice(price, currency, kind, premium, freight, haggle, tuple(remarks), len(asked), every)


def _because(one: Scored) -> str:
    words = dict.fromkeys(f'"{reason.words}"' for reason in one.reasons if reason.role == one.role)
    return f" ({listed(words, 3)})"


def _candidates(amounts: Sequence[Scored]) -> list[Scored]:
    """The amounts that can be the price; one alone where words such as "now" set it before the others."""
    asked = _distinct(one for one in amounts if one.role == PRICE)
    doubtful = [one for one in _distinct(amounts) if one.role == DOUBT and one.amount.money]
    if not asked or max(one.points for one in asked) < _LEAD:
        asked += doubtful
    asked.sort(key=lambda one: -one.points)
    if len(asked) > 1 and asked[0].has(*_SURE) and asked[0].points >= asked[1].points + _LEAD:
        return asked[:1]
    return sorted(asked, key=lambda one: one.amount.find.start)


def _of_the_kit(advert: AdvertText, asked: list[Scored], kit: Sequence[Find]) -> list[Scored]:
    """Of a list of things with a price each, the kit's."""
    if len(asked) < _ITEMS or any(one.amount.ranged for one in asked):
        return asked
    stretches, last = [], 0
    for one in asked:
        start = max(last, advert.plain.rfind("\n", 0, one.amount.find.start) + 1)
        stretches.append(Find(start, one.amount.find.start))
        last = one.amount.find.end
    ours = [any(find.start <= place.start < find.end for place in kit) for find in stretches]
    others = [advert.words(find) for find, own in zip(stretches, ours, strict=True) if not own]
    if sum(ours) == 1 and all(_THING.search(text) for text in others):
        return [asked[ours.index(True)]]
    return asked


def _why_no_price(advert: AdvertText, amounts: Sequence[Scored], asked: Sequence[Scored]) -> str | None:
    """Why no amount is the price; None where the one that is `asked` is."""
    if asked and asked[0].amount.ranged:
        ends = [one.amount.find for one in amounts if one.amount.ranged]
        at = ends.index(asked[0].amount.find)
        first, last = ends[at - at % 2], ends[min(at - at % 2 + 1, len(ends) - 1)]
        return f"{advert.words(Find(first.start, last.end))} is a range, not one price"
    if len(asked) > 1:
        return f"{len(asked)} prices: {listed((advert.words(one.amount.find) for one in asked), 4)}"
    if asked:
        one = asked[0]
        freight = next((other for other in amounts if other.role == "freight"), one)
        if freight.amount.value > one.amount.value:
            return f"{advert.words(one.amount.find)} is less than {advert.words(freight.amount.find)} for freight"
        if f"{one.amount.value:f}" in _PLACEHOLDERS:
            return f"{advert.words(one.amount.find)} looks as if it held the place of a price"
        if one.role == DOUBT:
            against = listed((f'"{reason.words}"' for reason in one.reasons if reason.role != PRICE), 3)
            return f"{advert.words(one.amount.find)} may be the price, and {against} speaks against it"
        down = next((other for other in amounts if other.role == "deposit"), None)
        if down is not None and down.amount.value > _MOST_DOWN * one.amount.value:
            words = f"{advert.words(down.amount.find)} {_NO_PRICE[down.role]}{_because(down)}"
            return f"{words}: {advert.words(one.amount.find)} may be what is left to pay"
        return None
    told = next((one for one in amounts if one.amount.money and one.role in _NO_PRICE), None)
    each = next((one for one in amounts if one.role == "each"), told)
    if each is not None:
        words = advert.words(each.amount.find)
        return f"{words} {_NO_PRICE[each.role]}{_because(each)}, and none is named for the whole kit"
    bare = listed((advert.words(one.amount.find) for one in amounts if one.role == "none"), 4)
    return f"no currency and no word such as price or VB stands beside {bare}" if bare else "no amount is named"


def _with_words(advert: AdvertText, one: Scored) -> Find:
    """The amount with the words for a price that stand right beside it."""
    start, end = one.amount.find.start, one.amount.find.end
    finds = [reason.find for reason in one.reasons if reason.role == PRICE]
    for find in sorted(finds, key=lambda find: -find.start):
        if find.start < start and not advert.plain[find.end : start].strip(" :=(,-["):
            start = find.start
    for find in sorted(finds, key=lambda find: find.start):
        if find.end > end and not advert.plain[end : find.start].strip(" ,.(/:-"):
            end = find.end
    return Find(start, end)


def _kind(advert: AdvertText, one: Scored, words: Lexicon) -> Outcome:
    """asked, sold or hammer. A bare "sold" far from the price says nothing about what was paid, and one beside words
    of haggling is not meant so.
    """
    for reason in sorted(one.reasons, key=lambda reason: reason.code):  # the hammer before what is only sold
        kind = reason.code
        if kind not in ("hammer", "sold"):
            continue
        if kind == "sold" and one.has("fixed", "negotiable"):
            return Outcome(None, f'"{reason.words}" beside a price that is still asked; blank counts as asked')
        return Outcome(Taken("price_kind", kind, reason.words))
    for m in words["sold"].finditer(advert.plain):
        if not _DENIED.search(advert.before(m.start())):
            sold = advert.words(Find(*m.span()))
            return Outcome(None, f"the advert says {sold}, but not that this price was paid; blank counts as asked")
    for meaning in ("negotiable", "fixed", "for sale"):
        if said_so := words[meaning].search(advert.plain):
            return Outcome(Taken("price_kind", "asked", said_so[0].strip(" .")))
    return Outcome(Taken("price_kind", "asked", advert.words(one.amount.find)))


def _currency(codes: Sequence[str], words: str, own: str) -> Outcome:
    """The price's currency; the shop's own where a sign or a name can mean it, as in prices.csv."""
    if own in codes or len(codes) == 1:
        return Outcome(Taken("currency", own if own in codes else codes[0], words))
    can_be = f"{words} can be {listed(codes, 4, last='or')}"
    return Outcome(None, can_be if codes else "the price names none; blank counts as the shop's")


def premiums(advert: AdvertText) -> list[Find]:
    """Where a premium is told, with the words behind it, which are of its own VAT."""
    return [Find(m.start(), m.end() + len(advert.after(m.end()))) for m in _PREMIUM.finditer(advert.plain)]


def _premium(advert: AdvertText) -> Outcome | None:
    """The auction's premium in percent of the hammer price; None where the advert speaks of none."""
    if m := _PREMIUM.search(advert.plain):
        return Outcome(Taken("premium", (m[1] or m[2]).replace(",", "."), advert.words(Find(*m.span()))))
    if m := _NO_PREMIUM.search(advert.plain):
        return Outcome(Taken("premium", "0", m[0]))
    return None


def _freight(advert: AdvertText, amounts: Sequence[Scored], words: Lexicon, codes: Sequence[str], own: str) -> Outcome:
    """What sending it costs on top: an amount, 0 where it is in the price, blank where it can only be fetched, and
    where it is not in the price's currency (`codes`, all that it can be; the shop's own where that is among them).
    """
    named = _distinct(one for one in amounts if one.role == "freight")
    if len(named) > 1:
        told = listed((advert.words(one.amount.find) for one in named), 3)
        return Outcome(None, f"{len(named)} amounts for freight: {told}")
    if named:
        start, end = named[0].amount.find.start, named[0].amount.find.end  # with the word for freight beside it
        before = advert.before(start)
        if last := max(words["freight"].finditer(before), key=lambda m: m.end(), default=None):
            start -= len(before) - last.start()
        elif first := words["freight"].search(advert.after(end)):
            end += first.end()
        text = advert.words(Find(start, end))
        price, freight = ({own} if own in of else {*of} for of in (codes, named[0].amount.currencies or codes))
        if not price & freight:
            return Outcome(None, f"{text} is in another currency than the price")
        if any(one.amount.value < named[0].amount.value for one in amounts if one.role == PRICE):
            return Outcome(None, f"{text} is more than the price")
        return Outcome(Taken("freight", plain(named[0].amount.value), text))
    free = words["free freight"].search(advert.plain)
    if free is not None and not _DENIED.search(advert.before(free.start())):
        return Outcome(Taken("freight", "0", free[0]), remarks=(f'"{free[0]}": the price holds the freight',))
    if fetch := words["pick-up"].search(advert.plain):
        return Outcome(None, f'"{fetch[0]}": it has to be fetched, and what that costs you is not in the advert')
    if sent := words["freight"].search(advert.plain):
        return Outcome(None, f'"{sent[0]}" without an amount')
    return Outcome(None, "nothing is said about freight; blank is unknown, never 0")
