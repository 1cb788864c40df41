"""What each amount of an advert is: the price of the kit, or something else, by the words of its clause.

Every word of [adverts] and [amounts] that stands in the clause of an amount speaks for one role of the nearest amount,
on the side on which such words stand, with points. What speaks for the price is held against all that speaks for
something else; the reasons are kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from kitvalue.intake.adverts.amounts import LEAST_ASKED, Amount, read_amounts
from kitvalue.intake.adverts.lists import ROLES
from kitvalue.intake.adverts.text import AdvertText, Find, Reason
from kitvalue.intake.text.languages import any_of, pattern
from kitvalue.intake.text.lexicon import Lexicon, said

PRICE: Final = "price"
DOUBT: Final = "doubt"
_NEAR: Final = 4  # words between a thing and that it is sold
_CLAUSE: Final = 99  # words: as far as the clause goes


@dataclass(frozen=True, slots=True)
class _Rule:
    """How words of one meaning speak: for which role, with how many points, up to how many words before an amount and
    behind it (-1: not there). `behind_first`: of two amounts equally near it is the one that stands before the word.
    """

    role: str
    points: int
    before: int
    behind: int
    behind_first: bool = False


_RULES: Final[Mapping[str, _Rule]] = {
    "price": _Rule(PRICE, 2, 1, -1),
    "asks": _Rule(PRICE, 3, 2, -1),
    "asked behind": _Rule(PRICE, 3, -1, 0),
    "takes": _Rule(PRICE, 3, -1, 1),
    "now": _Rule(PRICE, 3, 2, 0),
    "buy now": _Rule(PRICE, 4, 2, 0),
    "negotiable": _Rule(PRICE, 3, 0, 1, behind_first=True),
    "fixed": _Rule(PRICE, 3, 0, 1, behind_first=True),
    "free freight": _Rule(PRICE, 2, -1, 1),
    "sold": _Rule(PRICE, 4, 3, 0),
    "hammer": _Rule(PRICE, 5, 4, 4),
    "freight": _Rule("freight", 4, 2, 0),
    "each": _Rule("each", 4, 1, 0, behind_first=True),
    "earlier": _Rule("earlier", 3, 2, -1),
    "paid": _Rule("paid", 3, _CLAUSE, _CLAUSE),
    "story": _Rule("story", 3, _CLAUSE, _CLAUSE),
    "bid": _Rule("bid", 3, _CLAUSE, _CLAUSE),
    "worth": _Rule("worth", 3, _CLAUSE, 3),
    "new": _Rule("worth", 3, 1, 1, behind_first=True),
    "invoice": _Rule("invoice", 3, _CLAUSE, 3),
    "estimate": _Rule("estimate", 4, _CLAUSE, 3),
    "opening bid": _Rule("opening bid", 5, 4, 3),
    "deposit": _Rule("deposit", 4, _CLAUSE, 4, behind_first=True),
    "instalment": _Rule("instalment", 4, 4, 4, behind_first=True),
    "extra": _Rule("extra", 3, _CLAUSE, 4, behind_first=True),
    "other thing": _Rule("other thing", 3, 5, 1),
}
_ORDER: Final = tuple(dict.fromkeys(rule.role for rule in _RULES.values()))
_SHORT: Final = pattern(rf"(?<!\w){said('short')}$")
_CUT: Final = pattern(rf"[\n;!?•|()\]\[]|,(?!\d)|\.(?=\s|$)|\s[-/]\s|(?<!\w){said('but')}(?!\w)")
_SENTENCE: Final = re.compile(r"[\n!?]|\.(?=\s|$)")
_ONLY_IT: Final = re.compile(r"\([ ]?[^\s()]{0,6}[ ]?[\d.,' ]{2,12}[ ]?[^\s()]{0,5}[ ]?\)")
_DENIED: Final = pattern(rf"\b{said('unsold')}[ -]*$")
_PERCENT: Final = re.compile(r"[ ]*\d{1,2}(?:[.,]\d{1,2})?[ ]?%")
_COUNTED: Final = pattern(rf"(?<![\w.,])(?:1?\d|20)[ -]?(?={said('pieces')}(?!\w))")  # "5 piece": no price for each
_ON_TOP: Final = pattern(rf"[ ]*{said('on top')}(?!\w)")
_WORD: Final = re.compile(r"[^\W_]+")
_BUT_A_LINK: Final = pattern(rf"(?<!\w){said('more')}(?:[ ]+[^\W\d_]+)?[ ]*$")
_INCLUDED: Final = pattern(rf"[ ]*(?:[^\W\d_]+[ ]+)?{any_of('values.yes-no', 'yes')}(?!\w)")
_JOINS: Final = pattern(rf"(?<!\w){said('more')}(?!\w)")


@dataclass(frozen=True, slots=True)
class Scored:
    """An amount with what it is taken for: a role, `doubt` where as much speaks against the price as for it, or
    `none` where nothing makes it money.
    """

    amount: Amount
    role: str
    reasons: tuple[Reason, ...]

    @property
    def points(self) -> int:
        """What speaks for the price less what speaks against it."""
        return sum(one.points if one.role == PRICE else -one.points for one in self.reasons)

    def has(self, *codes: str) -> bool:
        """Does one of these speak for it?"""
        return any(one.code in codes for one in self.reasons)


def score_amounts(advert: AdvertText, words: Lexicon) -> list[Scored]:
    """Every amount with its role and the reasons. `advert`: days, drums and numbers to call are blank in it."""
    amounts = read_amounts(advert)
    cuts = _cuts(advert, amounts)
    reasons: dict[Find, list[Reason]] = {one.find: _own(advert, one) for one in amounts}
    for code, find in _found(advert, amounts, words):
        for one, points in _nearest(advert, amounts, cuts, find, _RULES[code]):
            if code in ("asks", "asked behind") and one.value < LEAST_ASKED:
                continue
            reasons[one.find].append(Reason(_RULES[code].role, code, points, advert.words(find), find))
    for find in others_for_sale(advert, words):
        for one in amounts:
            if find.start <= one.find.start < find.end:
                also = Find(find.start, one.find.start)
                reasons[one.find].append(Reason("other thing", "also", 3, advert.words(also), also))
    for find in _sold_apart(advert, cuts, words):
        for one in amounts:
            if find.start <= one.find.start < find.end:
                reasons[one.find].append(Reason("other thing", "sold apart", 9, advert.words(find), find))
    for one, two in pairwise(amounts):  # both ends of a range are the same thing
        if one.ranged and two.ranged:
            both = dict.fromkeys(r for find in (one.find, two.find) for r in reasons[find] if r.code != "currency")
            for end in (one, two):
                reasons[end.find] = [*_own(advert, end), *both]
    named = any(one.money for one in amounts)
    for at, one in enumerate(amounts):
        if named and not one.money and not reasons[one.find] and _alone(advert, cuts, one, amounts[:at]):
            reasons[one.find].append(Reason(PRICE, "alone", 2, advert.words(one.find), one.find))
    return [Scored(one, _role(reasons[one.find]), tuple(reasons[one.find])) for one in amounts]


def told_of_others(advert: AdvertText, amounts: Sequence[Scored], words: Lexicon) -> list[Find]:
    """The sentences that tell what somebody else paid or thinks, and the ends of those that list other things."""
    told = [one.amount.find for one in amounts if one.role in ("estimate", "paid", "story", "bid", "invoice")]
    finds = [
        Find(one.start - len(advert.before(one.start, 160)), one.end + len(advert.after(one.end, 80))) for one in told
    ]
    return [*finds, *others_for_sale(advert, words)]


def others_for_sale(advert: AdvertText, words: Lexicon) -> list[Find]:
    """From "also for sale" to the end of the sentence."""
    finds = advert.finds(words["also"])
    ends = [_SENTENCE.search(advert.plain, find.end) for find in finds]
    return [Find(find.start, m.start() if m else len(advert.plain)) for find, m in zip(finds, ends, strict=True)]


def _sold_apart(advert: AdvertText, cuts: Sequence[int], words: Lexicon) -> Iterator[Find]:
    """The clauses that tell of one drum or thing that it has been sold."""
    for m in words["sold"].finditer(advert.plain):
        find = _clause(advert, cuts, Find(*m.span()))
        things = {
            part.start(): part
            for role in (*ROLES, "not a drum")
            for part in words[role].finditer(advert.plain, find.start, find.end)
        }
        if len(things) == 1 and not _DENIED.search(advert.before(m.start())):
            ((at, part),) = things.items()
            between = advert.plain[min(m.end(), part.end()) : max(m.start(), at)]
            if len(_WORD.findall(between)) <= _NEAR and not _BUT_A_LINK.search(advert.before(at, 40)):
                yield find


def _clause(advert: AdvertText, cuts: Sequence[int], find: Find) -> Find:
    """The clause that holds a place."""
    start = max((cut for cut in cuts if cut < find.start), default=-1)
    return Find(start + 1, min((cut for cut in cuts if cut >= find.end), default=len(advert.plain)))


def _own(advert: AdvertText, one: Amount) -> list[Reason]:
    """What an amount says of itself."""
    text = advert.words(one.find)
    own = [Reason(PRICE, "currency", 1, text, one.find)] if one.money else []
    if one.times:
        own.append(Reason("instalment", "times", 5, text, one.find))
    if one.lowered is not None:
        role, points = ("earlier", 5) if one.lowered == "from" else (PRICE, 2 * one.money)
        own.append(Reason(role, "lowered", points, text, one.find))
    return own


def _role(reasons: Sequence[Reason]) -> str:
    """The role that the reasons give. A bare number needs a word that makes it a price."""
    sums = dict.fromkeys(_ORDER, 0)
    for reason in reasons:
        sums[reason.role] += reason.points
    price = sums.pop(PRICE)
    other = max(sums, key=lambda role: sums[role])
    against = sum(sums.values())
    if against > price:
        return other
    if against == price:
        return DOUBT if price else "none"
    return PRICE


def _cuts(advert: AdvertText, amounts: Sequence[Amount]) -> list[int]:
    """Where clauses end. A bracket around nothing but an amount belongs to the words before it."""
    spared = {at for m in _ONLY_IT.finditer(advert.plain) for at in (m.start(), m.end() - 1)}
    spared |= {at for one in amounts for at in range(one.find.start, one.find.end)}  # the comma of "450,-"
    ends = [(one.find.end, two.find.start) for one, two in pairwise(amounts) if one.ranged and two.ranged]
    spared |= {at for start, end in ends for at in range(start, end)}  # the dash of "300 - 450"
    found = [m for m in _CUT.finditer(advert.plain) if m.start() not in spared]
    found = [m for m in found if m[0] != "." or not _SHORT.search(advert.plain[max(0, m.start() - 8) : m.start()])]
    return [m.start() for m in found]


def _found(advert: AdvertText, amounts: Sequence[Amount], words: Lexicon) -> Iterator[tuple[str, Find]]:
    """Every word that speaks of amounts, with its meaning. Of two where one holds the other the longer counts."""
    every = [(code, Find(*m.span())) for code in _RULES for m in words[code].finditer(advert.plain)]
    numbers = {at for one in amounts for at in range(one.find.start, one.find.end)}
    for code, find in every:
        within = any(
            other.start <= find.start and find.end <= other.end and other != find and there != code
            for there, other in every
        )
        linked = code == "other thing" and _is_part(advert, find)
        denied = code in ("sold", "hammer") and _DENIED.search(advert.before(find.start))
        inside = find.start in numbers and code not in ("story", "bid", "extra")
        percent = _PERCENT.match(advert.plain, find.end)  # "plus 22 %" is no amount on top
        counted = code in ("each", "extra") and any(m.end() == find.start for m in _COUNTED.finditer(advert.plain))
        of_freight = code == "extra" and any(
            m.end() in (find.start - 1, find.start) for m in words["freight"].finditer(advert.plain)
        )
        if not (of_freight or within or linked or denied or inside or percent or counted):
            yield code, find


def _is_part(advert: AdvertText, find: Find) -> bool:
    """Does a thing come with the kit: "with stands", "cases included"?"""
    included = _INCLUDED.match(advert.after(find.end, 40)) is not None
    return included or _BUT_A_LINK.search(advert.before(find.start, 40)) is not None


def _nearest(
    advert: AdvertText, amounts: Sequence[Amount], cuts: Sequence[int], find: Find, rule: _Rule
) -> list[tuple[Amount, int]]:
    """The amount of its clause that a word speaks of, and the points."""
    start, end = (clause := _clause(advert, cuts, find)).start, clause.end
    if rule.role == PRICE and rule.points >= 4:  # "SOLD 3rd Nov, got 365"
        end = len(advert.plain) if "\n" not in advert.plain[end : end + 1] else end
    here = [one for one in amounts if start <= one.find.start and one.find.end <= end]
    behind = next((one for one in reversed(here) if one.find.start < find.start), None)
    before = next((one for one in here if one.find.end > find.end), None)
    if rule is _RULES["freight"] and (on_top := _ON_TOP.match(advert.plain, find.end)):
        behind, find = None, Find(find.start, on_top.end())  # "350 € postage extra (about 40 €)"
    options: list[tuple[int, bool, Amount]] = []
    for one, reach, between, first in (
        (before, rule.before, slice(find.end, before.find.start if before else 0), not rule.behind_first),
        (behind, rule.behind, slice(behind.find.end if behind else 0, find.start), rule.behind_first),
    ):
        if one is not None and reach >= 0:
            text = advert.plain[between]
            far, joins = len(_WORD.findall(text)), len(_JOINS.findall(text))
            if joins and one is before and rule is _RULES["now"]:
                return []  # "100 now and 300 on collection" are parts of one price
            if far <= reach:
                options.append((far + 2 * joins, not first, one))
    if not options:
        return []
    if rule.role == PRICE and not rule.behind_first:  # "600 now 480": of two the one behind the word
        options = options[:1]
    far, _, one = min(options, key=lambda option: option[:2])
    return [(one, rule.points + (far <= 1 and max(rule.before, rule.behind) >= _CLAUSE))]


def _alone(advert: AdvertText, cuts: Sequence[int], one: Amount, before: Sequence[Amount]) -> bool:
    """Is a bare number all that a clause says, behind another amount?"""
    whole = _clause(advert, cuts, one.find)
    clause = advert.plain[whole.start : one.find.start] + advert.plain[one.find.end : whole.end]
    year = 1950 <= one.value <= 2050
    return bool(before) and not year and one.value >= LEAST_ASKED and not _WORD.search(clause.replace("\x00", ""))
