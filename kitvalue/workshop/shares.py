"""A kit that is parted: each piece's share of what was paid for it, and what the sale of a piece leaves.

Directive 2006/112/EC art. 312 and 315: the margin scheme counts item by item, so that what was paid for one thing is
not taken off the margin of another; case C-471/15 opens the scheme to the parts of a used good.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from kitvalue.intake.settings.plan import DonorTable, DrumTable
from kitvalue.intake.settings.shop import Route
from kitvalue.intake.text.drums import DrumMeant
from kitvalue.intake.text.sizes import Size
from kitvalue.workshop.money import CENT, HUNDRED, ZERO


def weights(values: Sequence[Decimal | None]) -> tuple[Decimal, ...]:
    """Each piece's part of one: an unvalued one 1/n, the others what is left in proportion to their values (by count
    where all are worth nothing)."""
    n, known = len(values), sum((value for value in values if value is not None), ZERO)
    if known == 0:
        return (Decimal(1) / n,) * n if n else ()
    for_known = Decimal(n - sum(value is None for value in values)) / n
    return tuple(Decimal(1) / n if value is None else for_known * value / known for value in values)


def in_cents(total: Decimal, parts: Sequence[Decimal]) -> tuple[Decimal, ...]:
    """`total` (whole cents) by `parts` that add up to one, in whole cents that add up to it: the cents that lack go to
    the largest remainders, ties to the first listed."""
    amounts = [total * part * HUNDRED for part in parts]
    whole = [amount.to_integral_value(rounding=ROUND_FLOOR) for amount in amounts]
    lacking = int(total * HUNDRED - sum(whole)) if parts else 0
    for at in sorted(range(len(parts)), key=lambda at: (whole[at] - amounts[at], at))[:lacking]:
        whole[at] += 1
    return tuple(amount * CENT for amount in whole)


@dataclass(frozen=True, slots=True)
class Place:
    """One drum of a donor: its size, None where the donor's sizes are not told, and is it in the build?"""

    size: Size | None
    used: bool


def places(donor: DonorTable, drums: Sequence[DrumTable], sold: Sequence[DrumMeant]) -> tuple[Place, ...]:
    """A donor's drums but those in `sold`, first listed first. A drum of the build is the one of its size, else the
    deeper one that it was cut from."""
    wanted = [drum.shell for drum in drums if drum.from_ == donor.id]
    if not donor.sizes:
        left = max(0, donor.pieces - len(wanted) - len(sold))
        return (Place(None, True),) * len(wanted) + (Place(None, False),) * left
    free, used = dict(enumerate(donor.sizes)), set()

    def take(ranks: dict[int, tuple[bool, Decimal]]) -> int:
        at = min(ranks, key=lambda at: (ranks[at], at))
        free.pop(at)
        return at

    for exact in (True, False):
        for size in [*wanted]:
            if free and (not exact or size in free.values()):
                wanted.remove(size)
                used.add(take({
                    at: (own.diameter != size.diameter or own.depth < size.depth, abs(own.depth - size.depth))
                    for at, own in free.items()
                }))  # fmt: skip
    for drum in sold:
        if free:
            take({at: (False, Decimal(-drum.fits(own))) for at, own in free.items()})
    return tuple(Place(size, at in used) for at, size in enumerate(donor.sizes) if at in used or at in free)


@dataclass(frozen=True, slots=True)
class Parted:
    """What was paid for a donor, parted once: `price` (P) = `sold_off` + `kept` + `kit`, gross money.

    `sold_off` is the share of its surplus, `kept` that of its drums left over, `kit` what remains for the kit; below 0
    where the others are more than the price. For solvers: `moves` is what of P moves with the donor's price, `stated`
    the shares that the plan states, `part` the part of the rest that is in the kit (a fraction).
    """

    donor: str
    price: Decimal
    sold_off: Decimal
    kept: Decimal
    kit: Decimal
    moves: Decimal
    stated: Decimal
    part: Decimal

    def rest(self, donors: Decimal = Decimal(1)) -> Decimal:
        """What of P is left beyond the stated shares, never below 0, where donors' prices are `donors` times the
        planned ones."""
        return max(ZERO, self.price + (donors - 1) * self.moves - self.stated)


def purchase_price(parted: Sequence[Parted], donors: Decimal = Decimal(1)) -> Decimal:
    """P of the kit: what remains for it of each donor's price times `donors`, never below 0. Unrounded."""
    return sum((one.rest(donors) * one.part for one in parted), ZERO)


@dataclass(frozen=True, slots=True)
class Resale:
    """A piece sold on by itself: its scheme (None: that of the build), its `share` of P (of which `moves` moves with
    the donor's price), its chance to be sold."""

    scheme: Route | None
    share: Decimal
    moves: Decimal = ZERO
    chance: Decimal = Decimal(1)

    def brings(self, gross: Decimal, rate: Decimal, fee: Decimal, build: Route, donors: Decimal) -> Decimal:
        """What a sale at a gross price leaves, times its chance: less its VAT (margin scheme: of what is above its
        share) and the channel's fee. Unrounded."""
        share = self.share + (donors - 1) * self.moves
        taxed = {"full": gross, "margin": max(ZERO, gross - max(ZERO, share))}.get(self.scheme or build, ZERO)
        return self.chance * (gross - taxed * rate / (1 + rate) - fee * gross)
