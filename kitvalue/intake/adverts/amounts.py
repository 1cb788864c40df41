"""Every amount of money in an advert: where it stands, its value and currency, and which amounts are one range."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import Final

from kitvalue.intake.adverts.text import AdvertText, Find
from kitvalue.intake.text.languages import any_of, pattern
from kitvalue.intake.text.lexicon import said
from kitvalue.intake.text.numbers import TwoReadings, meanings, read_amount
from kitvalue.intake.text.words import Refusal

_CODES: Final = "EUR|GBP|USD|CHF|SEK|NOK|DKK|PLN|CZK|HUF|RON|AUD|CAD|NZD|JPY"
_NAMES: Final = (
    "(?:usd?|can?|c|au|a|nz|hk|s)\\$|dm|mark|yen|kron(?:en|or|er)|zloty|złoty|gulden|francs?|lire|pesetas|"
    "euros?|pounds?|quid|dollars?|franken|sfr\\.?|fr\\.|kr\\.?|zł|kč|€|£|\\$|¥|₤"
)
CURRENCY: Final = rf"(?:(?<![^\W\d_])(?:{_CODES}|{_NAMES})(?![^\W\d_]))"
_NUMBER: Final = r"(?:\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d{1,2})?|\d{1,7}(?:[.,]\d{1,2})?)(?![\d])"
_AMOUNT: Final = pattern(
    rf"(?<![\w.,/])(?:(?<!\+)|(?={_NUMBER}[ ]?{CURRENCY}))"
    rf"(?P<before>{CURRENCY}[ ]?)?(?P<number>{_NUMBER})(?P<k>[ ]?k(?![^\W\d_]))?"
    rf"(?P<ending>(?:[ ]?[,.]?-{{1,2}}(?![\w>-]|[ ]?[\d€£$])|,-)?)(?P<after>[ ]?{CURRENCY}|(?<=k)[€£$])?"
)
_PLAIN_NUMBER: Final = r"\d{1,3}(?:[.,']?\d{3}){0,2}(?:[.,]\d{1,2})?"
_SECOND: Final = pattern(  # the stroke of "350/450 €" and of "€350/450"
    rf"(?<=[\d€£$/-])/(?={_PLAIN_NUMBER}[ ]?{CURRENCY})|"
    rf"(?P<first>{CURRENCY}[ ]?{_PLAIN_NUMBER})/(?=\d{{2,6}}(?![\w/.,-]))"
)
_MEASURE: Final = pattern(rf"[ ]?(?:%|percent|prozent|\"|''|x[ ]?\d|{said('measure')})")
_OR: Final = any_of("amounts", "or")
_TO: Final = pattern(rf"[ ]*(?:-|/|(?:{any_of('cells', 'until')}|{_OR})(?!\w))[ ]*")
_AND: Final = pattern(rf"[ ]*{any_of('cells', 'and')}(?!\w)[ ]*")
_BETWEEN: Final = pattern(rf"(?<!\w){any_of('cells', 'between')}(?:[ ]+[^\W\d_]{{2,4}})?[ ]*$")
_TO_THE_END: Final = pattern(rf"[ ]?(?:-|to|bis)[ ]?(?:[€£$]|EUR)?[ ]?{_NUMBER}[ ]?(?:,-|{CURRENCY})")
_TIMES: Final = pattern(
    rf"(?<![\w.,])\d{{1,2}}[ ]?(?:x|mal|times|{any_of('amounts', 'instalment')})(?:[ ]+[^\W\d_]{{1,2}})?[ ]*$"
)
_LEAST: Final = 10  # a bare digit counts things
_THOUSAND: Final = 1000
_MOST: Final = 1_000_000
LEAST_ASKED: Final = 50  # below it "he wants 4" speaks of heads or days
_LOWERED: Final = pattern(
    rf"(?:(?<!\w)(?:from|von|de|van|da|desde)[ ])?(?:{CURRENCY}[ ]?)?(?<![\w.,/])(?P<old>{_NUMBER})"
    rf"(?:[ ]?{CURRENCY}|,-)?[ ]?(?:[^\W\d_]{{3,5}}[ ])?"
    rf"(?:->|=>|→|(?:down )?(?:to|auf|naar|tot|à|a|hasta)(?!\w))[ ]?(?:{CURRENCY}[ ]?)?(?P<new>{_NUMBER})"
)
_YEAR: Final = pattern(r"(?:19|20)\d\d[ ]?(?:->|=>|→)")  # "washing machine, 2019 -> 110 €"
_SAYS_LOWERED: Final = pattern(rf"(?<!\w){said('lowered')}(?!\w)")


@dataclass(frozen=True, slots=True)
class Amount:
    """One amount as written. `currencies`: the codes that its currency can stand for, () where none is named. `money`:
    a currency, a k for thousands or an ending such as ",-" stands beside it. `ranged`: it is one end of a range.
    `times`: "4 x" stands before it. `lowered`: it came down "from" here, or "to" here.
    """

    find: Find
    value: Decimal
    currencies: tuple[str, ...]
    money: bool
    ranged: bool = False
    times: bool = False
    lowered: str | None = None


def read_amounts(advert: AdvertText) -> list[Amount]:
    """Every amount in its order. Places that were read as something else are blank in the text."""
    plain = _SECOND.sub(lambda m: f"{m['first'] or ''}|", advert.plain)  # of the same length
    found: list[Amount] = []
    for m in _AMOUNT.finditer(plain):
        money = bool(m["before"] or m["after"] or m["ending"] or m["k"])
        value = _value(m["number"], thousands=m["k"] is not None)
        if (
            value is None
            or (not money and value < _LEAST)
            or (not money and _MEASURE.match(plain[m.end("number") :][:16]))
        ):
            continue
        codes = [c for part in (m["before"], m["after"]) if part for c in meanings(part.strip().rstrip("."))]
        times = _TIMES.search(plain[max(0, m.start() - 32) : m.start()]) is not None
        money = money or _TO_THE_END.match(plain[m.end() : m.end() + 24]) is not None
        found.append(Amount(Find(*m.span()), value, tuple(dict.fromkeys(codes)), money, times=times))
    return _lowered(advert, _ranges(advert, found))


def _value(number: str, *, thousands: bool) -> Decimal | None:
    """The number; three digits behind its one mark are thousands, for no price has a thousandth part."""
    if thousands:
        value = Decimal(number.replace(",", ".")) if number.count(".") + number.count(",") < 2 else Decimal(0)
        return value * _THOUSAND if 0 < value * _THOUSAND < _MOST else None
    read = read_amount(number)
    if isinstance(read, Refusal):
        return None
    return read.as_thousands if isinstance(read, TwoReadings) else read.value


def _ranges(advert: AdvertText, found: list[Amount]) -> list[Amount]:
    """The amounts with the ends of each range marked: "450-500", "350 bis 400", "between 300 and 350"."""
    changed = {}
    for at, (one, two) in enumerate(pairwise(found)):
        gap = advert.plain[one.find.end : two.find.start]
        before = advert.before(one.find.start, 24)
        if _TO.fullmatch(gap) or (_AND.fullmatch(gap) and _BETWEEN.search(before)):
            for place in (at, at + 1):
                changed[place] = replace(found[place], ranged=True, money=one.money or two.money)
    return [changed.get(at, one) for at, one in enumerate(found)]


def _lowered(advert: AdvertText, found: list[Amount]) -> list[Amount]:
    """The amounts with each "from 600 to 480" as what was asked before and what is asked now: going down, it is no
    range. Between bare numbers a word must say that it is a price.
    """
    m, at_first = None, 0
    while m := _LOWERED.search(advert.plain, at_first):
        at_first = m.start("new")  # which may be lowered again
        old, new = _value(m["old"], thousands=False), _value(m["new"], thousands=False)
        if old is None or new is None or not old > new >= LEAST_ASKED or _YEAR.match(m[0]):
            continue
        around = f"{advert.before(m.start(), 40)} {advert.after(m.end(), 24)} {m[0]}"
        by_word = _SAYS_LOWERED.search(around) is not None
        for at, one in enumerate(found):
            if one.find.start <= m.start("old") < one.find.end:
                found[at] = replace(one, ranged=False, lowered="from")
            elif one.find.start <= m.start("new") < one.find.end:
                found[at] = replace(one, ranged=False, money=one.money or by_word, lowered="to")
    return found
