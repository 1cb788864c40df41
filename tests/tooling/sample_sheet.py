"""How the sample shop's files are typed: a spreadsheet's dialect, blanks, several spellings of one number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
from sample_rows import CONDITION_WORDS, LOWERED, OTHER_SPELLINGS, OfferSpec, Row

PRICES_HEADER = (
    "date", "series", "pieces", "condition", "price", "price_kind", "channel", "premium", "freight",
    "hardware", "holes", "ref", "note",
)  # fmt: skip
OFFERS_HEADER = (
    "offer", "series", "pieces", "condition", "price", "freight", "sizes", "bought_from", "haggle", "note",
)  # fmt: skip


def price_cells(rows: Sequence[Row], newest: date, rng: np.random.RandomState) -> list[list[str]]:
    """The rows as somebody typed them: blanks where a blank says the same, several spellings of a number."""
    cells = []
    for row in rows:
        plain = row.role == "kept" and row.note != LOWERED
        cells.append(
            [
                "" if plain and row.day != newest and chance(rng, 0.05) else f"{row.day:%d.%m.%Y}",
                OTHER_SPELLINGS[row.series] if row.series in OTHER_SPELLINGS and chance(rng, 0.12) else row.series,
                str(row.pieces),
                _grade(row.condition, rng),
                _money(row.price, rng),
                "" if row.kind == "asked" and chance(rng, 0.15) else row.kind,
                "" if row.channel == "private" and chance(rng, 0.2) else row.channel,
                str(row.premium) if row.premium else "",
                "" if row.channel == "auction" or chance(rng, 0.5) else _money(5 * (5 + int(rng.randint(12))), rng),
                "yes" if row.hardware else "no",
                str(row.holes),
                row.ref,
                row.note,
            ]
        )
    return cells


def offer_cells(offer: OfferSpec, asked: int) -> list[str]:
    """An offer as typed."""
    return [
        offer.offer,
        offer.series,
        str(offer.pieces),
        _with_comma(offer.condition),
        _grouped(asked),
        "" if offer.freight is None else f"{offer.freight},00",
        offer.sizes,
        offer.bought_from,
        offer.haggle,
        offer.note,
    ]


def _grade(grade: float, rng: np.random.RandomState) -> str:
    """A grade as a number, now and then as its word."""
    return CONDITION_WORDS[grade] if grade in CONDITION_WORDS and chance(rng, 0.15) else _with_comma(grade)


def _money(amount: int, rng: np.random.RandomState) -> str:
    """An amount as typed: 450,00 mostly, 450 at times, 1.250,00 or 1250,00."""
    if amount >= 1000 and chance(rng, 0.6):
        return _grouped(amount)
    return str(amount) if amount < 1000 and chance(rng, 0.15) else f"{amount},00"


def _grouped(amount: int) -> str:
    return f"{amount:,}".replace(",", ".") + ",00"


def _with_comma(number: float) -> str:
    return f"{number:g}".replace(".", ",")


def chance(rng: np.random.RandomState, probability: float) -> bool:
    """True with this probability."""
    return bool(rng.random_sample() < probability)


def spreadsheet(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """What a spreadsheet in continental Europe saves: semicolons, CRLF, UTF-8 with a byte order mark."""
    lines = [";".join(map(_quoted, row)) for row in (header, *rows)]
    return ("\ufeff" + "\r\n".join(lines) + "\r\n").encode()


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if any(sign in cell for sign in ';"\n') else cell
