"""A pasted advert, understood: every column's value with the words it comes from, or why it is left open."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts.drums import DrumsSeen, drums_seen, pieces_said
from kitvalue.intake.adverts.kit import (
    SeriesSeen,
    channel_seen,
    condition_seen,
    feature_seen,
    series_seen,
    why_swap,
    why_wanted,
)
from kitvalue.intake.adverts.places import (
    addresses,
    day,
    day_like,
    days,
    left_over,
    listing_numbers,
    numbers_to_call,
    reference,
)
from kitvalue.intake.adverts.price import PriceSeen, price_seen, sums
from kitvalue.intake.adverts.text import LONGEST, AdvertText, Find, Outcome, Taken, Understood, Unknown, advert_text
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.lexicon import MEANINGS, Lexicon, lexicon
from kitvalue.intake.text.problems import FileError, RefusedError, shown
from kitvalue.intake.text.sizes import size_text
from kitvalue.intake.text.words import fold, listed

_TWO_KITS: Final = re.compile(
    r"(?<!\w)(?:two|2|three|3|zwei|drei|beide|both) (?:[^\W\d_]+ ){0,2}(?:drum ?kits|drum ?sets|"
    r"kits|sets|schlagzeuge|drumsets)(?!\w)",
    re.IGNORECASE,
)
_NO_MEANING: Final = "the advert says nothing of it"


@dataclass(frozen=True, slots=True)
class _Seen:
    """Everything found in one advert, before it is put into columns."""

    series: SeriesSeen
    drums: DrumsSeen
    price: PriceSeen
    condition: Outcome
    channel: Outcome
    date: Outcome
    ref: Outcome
    features: tuple[tuple[str, Outcome], ...]
    fetch: str | None  # the words for pick-up only


def understand(text: str, shop: Shop, spellings: Mapping[str, str], today: dt.date) -> Understood:
    """Read an advert for the price book of a shop. `spellings`: every way to write a series -> the shop's own.

    Raises RefusedError for what is no offer of one kit, FileError for a text that is none.
    """
    if not text.strip():
        raise FileError("there is no advert: paste its text behind the command, or send it on standard input")
    if len(text) > LONGEST:
        raise FileError(f"the text has {len(text):,} characters; paste one advert, at most {LONGEST:,}")
    words = lexicon({w: m for w, m in shop.jot.words.items() if fold(m) in MEANINGS})
    advert = advert_text(text)
    wanted = why_wanted(advert, words)
    if wanted is not None:
        raise RefusedError(f"{shown(wanted)}: the advert seeks a kit and offers none, so there is nothing to note")
    seen = _seen(advert, shop, spellings, today, words)
    _refuse_what_is_no_kit(advert, seen, words)
    found = tuple(_columns(seen, shop.shop.currency))
    taken = tuple(one.taken for _, one in found if one.taken is not None)
    unknown = tuple(Unknown(name, one.reason or _NO_MEANING) for name, one in found if one.taken is None)
    remarks = (*seen.price.remarks, *(r for _, one in found for r in one.remarks), *_swap_remark(advert, words))
    rest = left_over(advert.without(seen.drums.counted), taken, [*(one.reason for one in unknown), *remarks], words)
    return Understood(taken, unknown, tuple(dict.fromkeys(remarks)), seen.drums.sizes, seen.price.haggle, rest)


def _seen(advert: AdvertText, shop: Shop, spellings: Mapping[str, str], today: dt.date, words: Lexicon) -> _Seen:
    alike = day_like(advert, words, today)
    dated = advert.without(alike.drums)
    kit_only = advert.without([*addresses(advert), *days(dated), *listing_numbers(dated)])
    kit_only = kit_only.without(numbers_to_call(kit_only))
    perhaps = [*alike.old, *(() if pieces_said(advert, words) else alike.recent)]
    drums = drums_seen(kit_only, words, shop.shop.size_order, perhaps)
    unsure = sorted({*alike.old, *drums.unsure}, key=lambda find: find.start)
    dated = dated.without(unsure)
    amounts = sums(kit_only.without(drums.places), words)
    linkless = advert.without(addresses(advert))
    meanings = [(w, m) for w, m in shop.jot.words.items() if "=" in m]
    features = tuple(
        (name, feature_seen(linkless, name, kind, [(w, _value(m)) for w, m in meanings if _names(m, name)]))
        for name, kind in shop.prices.features.items()
    )
    fetch = words["pick-up"].search(linkless.plain)
    return _Seen(
        series=series_seen(linkless, spellings),
        drums=drums,
        price=price_seen(kit_only, amounts, words, shop.shop.currency),
        condition=condition_seen(linkless, shop.prices.words.get("condition", {})),
        channel=channel_seen(linkless, shop.prices.words.get("channel", {}), words),
        date=day(_days_only(dated), today, shop.files.day_first, [advert.words(find) for find in unsure]),
        ref=reference(advert),
        features=features,
        fetch=None if fetch is None else linkless.words(Find(*fetch.span())),
    )  # fmt: skip


def _days_only(advert: AdvertText) -> AdvertText:
    """The advert without what could be taken for a day and is none."""
    return advert.without([*addresses(advert), *numbers_to_call(advert.without(days(advert)))])


def _names(meaning: str, name: str) -> bool:
    return fold(meaning.partition("=")[0]) == fold(name)


def _value(meaning: str) -> str:
    return meaning.partition("=")[2].strip()


def _refuse_what_is_no_kit(advert: AdvertText, seen: _Seen, words: Lexicon) -> None:
    """Raise RefusedError for two kits in one advert, a swap without a price, and a text that is no advert."""
    several = _TWO_KITS.search(advert.plain)
    kits = len(seen.series.named) > 1 and (seen.price.candidates > 1 or seen.drums.basses > 1)
    if several is not None or kits or (seen.price.candidates > 1 and seen.drums.basses > 1):
        what = (
            listed(seen.series.named) if len(seen.series.named) > 1 else f'"{several[0]}"' if several else "two prices"
        )
        raise RefusedError(f"the advert offers more than one kit ({what}); paste each by itself, with its own price")
    swap = why_swap(advert, words)
    if swap is not None and seen.price.price.taken is None and not seen.price.candidates:
        raise RefusedError(
            f"{shown(swap)}: a swap without a price says nothing of what is paid, so there is nothing to note"
        )
    if not seen.series.named and seen.price.price.taken is None and seen.drums.pieces.taken is None:
        raise RefusedError(
            "nothing of an advert is recognised: no series of the shop, no drums, no price "
            "(series are listed in shop.toml, more words under [jot.words])"
        )


def _swap_remark(advert: AdvertText, words: Lexicon) -> Iterator[str]:
    swap = why_swap(advert, words)
    if swap is not None:
        yield f'"{swap}": a swap is offered as well; only the price is noted'


def _columns(seen: _Seen, own: str) -> Iterator[tuple[str, Outcome]]:
    """Our columns in the order in which they are told."""
    yield "series", seen.series.outcome
    yield "pieces", seen.drums.pieces
    yield "condition", seen.condition
    yield "price", seen.price.price
    yield "currency", _currency(seen.price, own)
    yield "price_kind", seen.price.kind
    if seen.price.premium is not None:
        yield "premium", seen.price.premium
    yield "channel", seen.channel
    yield "freight", seen.price.freight
    yield "date", seen.date
    yield "ref", seen.ref
    yield from seen.features
    note = _note(seen)
    if note is not None:
        yield "note", Outcome(Taken("note", note, "from the above"))


def _currency(price: PriceSeen, own: str) -> Outcome:
    """The price's currency; the shop's own where a sign or a name can mean it, as in prices.csv."""
    if price.money is None or price.price.taken is None:
        return Outcome(None, "without a price there is no currency")
    codes = (own,) if own in price.money.currencies else price.money.currencies
    if len(codes) == 1:
        return Outcome(Taken("currency", codes[0], price.price.taken.words))
    if codes:
        return Outcome(None, f"{price.price.taken.words} can be {listed(codes, 4, last='or')}")
    return Outcome(None, "the price names none; blank counts as the shop's")


def _note(seen: _Seen) -> str | None:
    """What has no column of its own: sizes, whether the price is firm, that it has to be fetched."""
    parts = [" ".join(size_text(size) for size in seen.drums.sizes)]
    parts += [seen.price.haggle or "", seen.fetch or ""]
    text = "; ".join(part for part in parts if part)
    return text or None
