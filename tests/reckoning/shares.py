"""Shares of the purchase price when a kit is parted, and what a leftover brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from tests.reckoning.exact import RefusedError, inside


@dataclass(frozen=True)
class Piece:
    """A drum or part of a kit. `stated` is the value that `spare` or `surplus` gives it; `value` that of parts.csv,
    gross.
    """

    name: str
    value: Fraction | None = None
    stated: Fraction | None = None


def split(purchase_price: Fraction, pieces: Sequence[Piece]) -> tuple[Fraction, ...]:
    """Each piece's share of P, in the order listed; they add up to P.

    Stated values come first; the rest goes in proportion to parts.csv's values, a drum without a value getting its
    share by count of that rest. Cents by largest remainder, ties to the first listed. Stated values above the price
    are refused: more than was paid for the whole cannot have been paid for its parts (312(2) and 315).
    """
    stated = sum((piece.stated for piece in pieces if piece.stated is not None), Fraction(0))
    if stated > purchase_price:
        raise RefusedError("stated_above_price")
    rest = purchase_price - stated
    others = [at for at, piece in enumerate(pieces) if piece.stated is None]
    if not others:
        if rest:
            raise RefusedError("rest_without_piece")
        return tuple(piece.stated or Fraction(0) for piece in pieces)
    shares = [piece.stated or Fraction(0) for piece in pieces]
    weights = weights_of([pieces[at].value for at in others])
    for at, share in zip(others, to_cents([rest * weight for weight in weights]), strict=True):
        shares[at] = share
    return tuple(shares)


def weights_of(values: Sequence[Fraction | None]) -> list[Fraction]:
    """Each piece's part of one: an unvalued one 1/n, the others what is left in proportion (by count where all are
    worth 0).
    """
    count = len(values)
    known = sum((value for value in values if value is not None), Fraction(0))
    if known == 0:
        return [Fraction(1, count)] * count
    for_known = 1 - Fraction(sum(value is None for value in values), count)
    return [Fraction(1, count) if value is None else for_known * value / known for value in values]


def to_cents(amounts: Sequence[Fraction]) -> list[Fraction]:
    """Whole cents that keep the sum (itself of whole cents): the cents missing go to the largest remainders, first
    listed first.
    """
    whole = [floor(amount * 100) for amount in amounts]
    missing = round(sum(amounts) * 100) - sum(whole)
    order = sorted(range(len(amounts)), key=lambda at: (-(amounts[at] * 100 - whole[at]), at))
    for at in order[:missing]:
        whole[at] += 1
    return [Fraction(number, 100) for number in whole]


def brings(
    sold_for: Fraction, share: Fraction, rate: Fraction, fee: Fraction, *, scheme: str, chance: Fraction = Fraction(1)
) -> Fraction:
    """What a leftover sold at a gross price leaves, its fee off, times the chance that it is sold.

    Under the margin scheme VAT is on the margin, none on a loss (315); under full VAT the rate is inside the price;
    an exempt business owes none. `scheme` is its own, by its own donor (schemes.of_item).
    """
    k = inside(rate)
    if scheme == "margin":
        tax = k * max(Fraction(0), sold_for - share)
    elif scheme == "full":
        tax = k * sold_for
    else:
        tax = Fraction(0)
    return chance * (sold_for - tax - fee * sold_for)


@dataclass(frozen=True)
class Leftover:
    """A piece that the build does not use: the share that leaves P, and the credit, None where nothing says what it
    brings.
    """

    name: str
    share: Fraction
    credit: Fraction | None


def left_over(
    purchase_price: Fraction,
    pieces: Sequence[Piece],
    used: Sequence[str],
    rate: Fraction,
    fee: Fraction,
    *,
    scheme: str,
    chances: Sequence[Fraction] | None = None,
) -> tuple[Leftover, ...]:
    """Every piece that is not used, with its share and credit; a stated value is its share and what it is sold for.

    A share leaves P whether or not there is a credit: what was paid for one thing is not taken off the margin of
    another (315).
    """
    shares = split(purchase_price, pieces)
    left = []
    for at, (piece, share) in enumerate(zip(pieces, shares, strict=True)):
        if piece.name in used:
            continue
        gross = piece.value if piece.stated is None else piece.stated
        chance = chances[at] if chances is not None and piece.stated is None else Fraction(1)
        credit = None if gross is None else brings(gross, share, rate, fee, scheme=scheme, chance=chance)
        left.append(Leftover(piece.name, share, credit))
    return tuple(left)
