"""A pasted advert, understood: every column's value with the words it comes from, or why it is left open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts import kit, places
from kitvalue.intake.adverts.drums import AdvertDrums, pieces_said, read_drums
from kitvalue.intake.adverts.price import AdvertPrice, premiums, read_price
from kitvalue.intake.adverts.scoring import others_for_sale, score_amounts, told_of_others
from kitvalue.intake.adverts.text import LONGEST, AdvertText, Find, Outcome, Taken, Understood, Unknown, advert_text
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.languages import any_of, pattern
from kitvalue.intake.text.lexicon import MEANINGS, Lexicon, lexicon, said
from kitvalue.intake.text.problems import FileError, RefusedError, shown
from kitvalue.intake.text.sizes import size_text
from kitvalue.intake.text.vocabulary import CHANNELS
from kitvalue.intake.text.words import fold, listed

_TWO_KITS: Final = pattern(rf"(?<!\w)(?:2|3|{said('both', 'several')}) (?:[^\W\d_]+ ){{0,2}}{said('kits')}(?!\w)")
_NO_SWAP: Final = pattern(rf"(?<!\w){any_of('adverts', 'without')}(?!\w)[^,]*$")
VAT_WORDS: Final = ("included", "excluded", "margin")  # what a dealer says of it
_NO_CHANNEL: Final = "nothing is said about who sells; blank counts as private"


@dataclass(frozen=True, slots=True)
class _Findings:
    """Everything found in one advert. `columns`: ours in the order in which they are told, each with its finding."""

    series: Mapping[str, Find]
    drums: AdvertDrums
    price: AdvertPrice
    columns: Mapping[str, Outcome]


def understand(text: str, shop: Shop, spellings: Mapping[str, str], today: dt.date) -> Understood:
    """Read an advert for the price book of a shop. `spellings`: every way to write a series -> the shop's own.

    Raises RefusedError for what is no offer of one kit, FileError for a text that is none.
    """
    if not text.strip():
        raise FileError("there is no advert: paste its text behind the command, or send it on standard input")
    if len(text) > LONGEST:
        raise FileError(f"the text has {len(text):,} characters; paste one advert, at most {LONGEST:,}")
    words = shop_lexicon(shop)
    advert = advert_text(text)
    wanted = kit.why_wanted(advert, words)
    if wanted is not None:
        raise RefusedError(f"{shown(wanted)}: the advert seeks a kit and offers none, so there is nothing to note")
    findings = _findings(advert, shop, spellings, today, words)
    swaps = words["swap"].finditer(advert.plain)
    swap = next((m[0] for m in swaps if not _NO_SWAP.search(advert.before(m.start(), 24))), None)
    _refuse_what_is_no_kit(advert, findings, swap)
    taken = tuple(one.taken for one in findings.columns.values() if one.taken is not None)
    unknown = tuple(
        Unknown(name, one.reason or "", one.code) for name, one in findings.columns.items() if one.taken is None
    )
    remarks = [*findings.price.remarks, *(remark for one in findings.columns.values() for remark in one.remarks)]
    if swap is not None:
        remarks.append(f'"{swap}": a swap is offered as well; only the price is noted')
    rest = places.left_over(
        advert.without(findings.drums.counted), taken, [*(one.reason for one in unknown), *remarks], words
    )
    price, sizes = findings.price, findings.drums.sizes
    return Understood(taken, unknown, tuple(dict.fromkeys(remarks)), sizes, price.haggle, rest, price.amounts)


def shop_lexicon(shop: Shop) -> Lexicon:
    """The words of adverts, the shop's own among them."""
    return lexicon({word: meaning for word, meaning in shop.jot.words.items() if fold(meaning) in MEANINGS})


def _findings(
    advert: AdvertText, shop: Shop, spellings: Mapping[str, str], today: dt.date, words: Lexicon
) -> _Findings:
    linkless = advert.without(places.addresses(advert))
    series = kit.read_series(linkless, spellings)
    alike = places.day_like(advert, words, today, series.named.values())
    dated = advert.without(alike.drums)
    kit_only = advert.without([*places.addresses(advert), *places.days(dated), *places.listing_numbers(dated)])
    kit_only = kit_only.without(places.numbers_to_call(kit_only))
    ours = kit_only.without(others_for_sale(kit_only, words))
    perhaps = [*alike.old, *(() if pieces_said(advert, words) else alike.recent)]
    drums = read_drums(ours, words, shop.shop.size_order, perhaps)
    unsure = sorted({*alike.old, *drums.unsure}, key=lambda find: find.start)
    dated = dated.without(unsure)
    days_only = dated.without([*places.addresses(dated), *places.numbers_to_call(dated.without(places.days(dated)))])
    amounts = score_amounts(kit_only.without(drums.places), words)
    price = read_price(kit_only, amounts, words, shop.shop.currency, [*series.named.values(), *drums.counted])
    sellers = {word: fold(ours) for word, ours in shop.prices.words.get("channel", {}).items()}
    seller = kit.value_said(
        linkless.without(told_of_others(linkless, amounts, words)),
        "channel",
        sellers,
        {name: words[name] for name in CHANNELS},
        _NO_CHANNEL,
    )
    if seller.reason == _NO_CHANNEL and price.kind.taken is not None and price.kind.taken.value == "hammer":
        seller = Outcome(Taken("channel", "auction", price.kind.taken.words))  # who else has a hammer?
    vat = kit.value_said(
        linkless.without(premiums(linkless)), "vat", {}, {name: words[f"vat {name}"] for name in VAT_WORDS}, ""
    )
    columns = {
        "series": series.outcome,
        "pieces": drums.pieces,
        "condition": kit.read_condition(linkless, shop.prices.words.get("condition", {}), words),
        "price": price.price,
        "currency": price.currency,
        "price_kind": price.kind,
        **({} if price.premium is None else {"premium": price.premium}),
        "channel": seller,
        **({"vat": vat} if vat.taken or vat.reason else {}),
        "freight": price.freight,
        "date": places.day(days_only, today, shop.files.day_first, [advert.words(find) for find in unsure]),
        "ref": places.reference(advert),
    }
    said = {word: meaning.partition("=") for word, meaning in shop.jot.words.items() if "=" in meaning}
    for name in shop.prices.features:
        own = {word: value.strip() for word, (feature, _, value) in said.items() if fold(feature) == fold(name)}
        none = f'no word for it is mapped under [jot.words], such as "with it" = "{name}=..."'
        columns[name] = kit.value_said(linkless, name, own, {}, "nothing is said of it" if own else none)
    fetch = [linkless.words(find) for find in linkless.finds(words["pick-up"])[:1]]
    # what has no column of its own: sizes, whether the price is firm, that it has to be fetched
    if note := "; ".join(filter(None, (" ".join(map(size_text, drums.sizes)), price.haggle, *fetch))):
        columns["note"] = Outcome(Taken("note", note, "from the above"))
    return _Findings(series.named, drums, price, columns)


def _refuse_what_is_no_kit(advert: AdvertText, findings: _Findings, swap: str | None) -> None:
    """Raise RefusedError for two kits in one advert, a swap without a price, and a text that is no advert."""
    named, candidates, basses = findings.series, findings.price.candidates, findings.drums.basses
    several = _TWO_KITS.search(advert.plain)
    signs_of_two = (len(named) > 1) + (candidates > 1) + (basses > 1)
    if several is not None or signs_of_two > 1:
        what = listed(named) if len(named) > 1 else f'"{several[0]}"' if several else "two prices"
        raise RefusedError(f"the advert offers more than one kit ({what}); paste each by itself, with its own price")
    priced = findings.price.price.taken is not None
    if swap is not None and not priced and not candidates:
        raise RefusedError(
            f"{shown(swap)}: a swap without a price says nothing of what is paid, so there is nothing to note"
        )
    if not named and not priced and findings.drums.pieces.taken is None:
        raise RefusedError(
            "nothing of an advert is recognised: no series of the shop, no drums, no price "
            "(series are listed in shop.toml, more words under [jot.words])"
        )
