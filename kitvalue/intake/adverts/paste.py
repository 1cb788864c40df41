"""Several adverts in one paste: where one ends and the next begins."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.adverts import kit
from kitvalue.intake.adverts.drums import read_drums
from kitvalue.intake.adverts.scoring import PRICE, score_amounts
from kitvalue.intake.adverts.text import LONGEST, advert_text
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.lexicon import Lexicon

_RULE: Final = re.compile(r"^[ \t]*(?:[-=_*~#+–—•][ \t]*){3,}$", re.MULTILINE)
_NUMBER: Final = re.compile(r"^[ \t]*(?:#[ ]?)?(\d{1,2})[.)][ \t]+(?=\S)", re.MULTILINE)
_BLANK: Final = re.compile(r"\n[ \t]*(?:\n[ \t]*)+(?=\S)")


@dataclass(frozen=True, slots=True)
class _Signs:
    """What of an advert stands in a piece of a paste. `refused`: it seeks a kit, or offers a swap."""

    series: frozenset[str]
    priced: bool
    drums: bool
    refused: bool


def adverts_of(text: str, shop: Shop, spellings: Mapping[str, str], words: Lexicon) -> list[str]:
    """The adverts of a paste, each by itself: parted by rules, else by numbers that count up, else by blank lines,
    where each piece names a kit of its own. A single advert comes back as it is.
    """
    if len(text) > LONGEST:
        return [text]
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    for pieces, by_hand in ((_RULE.split(lines), True), (_numbered(lines), True), (_BLANK.split(lines), False)):
        groups = list(_grouped([piece for piece in pieces if piece.strip()], shop, spellings, words, by_hand))
        if len(groups) > 1:
            return groups
    return [text]


def _numbered(text: str) -> list[str]:
    """The pieces that numbers at the start of lines count: 1, 2, 3; the text whole where they do not."""
    starts = list(_NUMBER.finditer(text))
    if len(starts) < 2 or [int(m[1]) for m in starts] != list(range(1, len(starts) + 1)):
        return [text]
    ends = [*(m.start() for m in starts[1:]), len(text)]
    head = text[: starts[0].start()]
    return [head, *(text[m.end() : end] for m, end in zip(starts, ends, strict=True))]


def _grouped(
    pieces: Sequence[str], shop: Shop, spellings: Mapping[str, str], words: Lexicon, by_hand: bool
) -> Iterator[str]:
    """The pieces, joined to what stands before them where they begin no advert of their own. `by_hand`: somebody has
    parted them, so that one with drums and a price needs no series that the shop knows.
    """
    if len(pieces) < 2:
        return
    group: list[str] = []
    so_far = _Signs(frozenset(), priced=False, drums=False, refused=False)
    for piece in pieces:
        signs = _signs(piece, shop, spellings, words)
        complete = (so_far.priced and bool(so_far.series or so_far.drums)) or (so_far.refused and bool(so_far.series))
        another = signs.series and not signs.series & so_far.series
        whole = signs.priced and signs.drums and (bool(signs.series) or by_hand)
        own = whole or (another and (signs.priced or signs.drums or signs.refused))
        if group and own and (complete or (another and so_far.drums)):
            yield "\n\n".join(group)
            group, so_far = [], _Signs(frozenset(), priced=False, drums=False, refused=False)
        group.append(piece.strip("\n"))
        so_far = _Signs(
            so_far.series | signs.series,
            so_far.priced or signs.priced,
            so_far.drums or signs.drums,
            so_far.refused or signs.refused,
        )
    yield "\n\n".join(group)


def _signs(piece: str, shop: Shop, spellings: Mapping[str, str], words: Lexicon) -> _Signs:
    advert = advert_text(piece)
    drums = read_drums(advert, words, shop.shop.size_order)
    amounts = score_amounts(advert.without(drums.places), words)
    return _Signs(
        frozenset(kit.read_series(advert, spellings).named),
        any(one.role == PRICE or (one.amount.money and one.role not in ("freight", "extra")) for one in amounts),
        bool(drums.places) or drums.pieces.taken is not None,
        kit.why_wanted(advert, words) is not None or words["swap"].search(advert.plain) is not None,
    )
