"""What to do and at what price: the first line of every answer.

A code is what the program decides on, the sentence is for eyes: short, with the price and the one reason, so that it
can be said aloud. Money to bid is rounded down to [buying] `bid_step`; the exact figures stand beside a verdict.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

from kitvalue.decisions.original import Quote, Situation, as_money, landed, original_kit, share_dearer
from kitvalue.decisions.unknowns import Unknown, unknowns_of
from kitvalue.intake.settings.plan import Plan
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlooks
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import HUNDRED, ZERO, cents, down_to_step
from kitvalue.workshop.tax import Sale

OfferCode = Literal["buy", "buy_below", "pass", "unknown"]
BuildCode = Literal["build", "build_if", "leave", "unknown"]
PriceCode = Literal["ask", "ask_less_than_margin", "no_price"]
OriginalCode = Literal["ours_cheaper", "original_cheaper", "level"]
TURNS: Final = ("share", "hours", "donor prices", "covering cost")  # what may turn a build
FURTHEST: Final = Decimal("0.25")  # how far one of them may be moved for that
NUMBERS: Final = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
SERVICE: Final = "the kit is the customer's own, nothing is bought or resold"
LEVEL: Final = Decimal("0.03")  # of the original's price at the door


@dataclass(frozen=True, slots=True)
class Verdict:
    """What to do. `price` is money to bid, to ask, or of the build at the door; None where there is none."""

    code: OfferCode | BuildCode | PriceCode | OriginalCode
    sentence: str
    price: Decimal | None = None
    reason: str | None = None


def whole(amount: Decimal | float) -> str:
    """Money as it is said aloud, the nearest whole unit: 1,125."""
    return f"{amount:,.0f}"


def bid_of(price: float | None, step: Decimal) -> Decimal | None:
    """A price as it is bid; None where it is under one step."""
    stepped = ZERO if price is None else down_to_step(as_money(price), step)
    return stepped if stepped > 0 else None


def build_verdict(sheet: CostSheet, quote: Quote, situation: Situation, sale: Sale | None = None) -> Verdict:
    """Does a build pay? At the owner's own price (`sale`), else at the market's, the margin is met or it is not.

    Where it is not, the smallest single move of `TURNS` that meets it turns the verdict, if it is small enough.
    """
    if sheet.incomplete:
        why = f"not known: {', '.join(sheet.incomplete)}"
        return Verdict("unknown", f"No verdict on the build; {why}.", None, why)
    if sheet.is_service:
        asked = quote.suggested if sale is None else sale.gross
        if asked < quote.floor:
            return Verdict("leave", f"Leave it: {whole(asked)} for work and parts is below your floor.", asked, SERVICE)
        return Verdict("build", f"Take it on and ask {whole(asked)} for work and parts.", asked, SERVICE)
    price = quote.market_price if sale is None else sale.gross
    profit = quote.profit_at_market if sale is None else sale.profit
    at = f"{whole(price)}{', what the market gives,' if sale is None else ''}"
    does = f"loses {whole(-profit)}" if profit < 0 else f"leaves {whole(profit)}"
    margin = f"{(sheet.terms.margin * HUNDRED).normalize():f} %"
    if price >= quote.floor:
        ask = quote.suggested if sale is None else price
        left = f"it leaves {margin} or more" if sale is None else f"that {does}"
        if ask < quote.floor:  # rounded down
            left = f"the market gives {whole(quote.market_price)}"
        return Verdict("build", f"Build it and ask {whole(ask)}: {left}.", ask, left)
    why = f"at {at} it {does}{'' if profit < 0 else f', less than {margin}'}"
    turns = list(_turns(situation, None if sale is None else sale.gross))
    if not turns:
        return Verdict("leave", f"Leave it: {why}.", price, why)
    _, unknown, value = min(turns, key=lambda turn: turn[0])
    turned = f"{_named(unknown)} {_figure(value, unknown.unit)} instead of {_figure(unknown.planned, unknown.unit)}"
    return Verdict("build_if", f"Build it only with {turned}: {why}.", price, turned)


def _turns(situation: Situation, ask: Decimal | None) -> Iterator[tuple[Decimal, Unknown, Decimal]]:
    """Each single move that meets the margin: how far (a fraction of the plan), of what, to where."""

    def short(here: Situation) -> Decimal:
        return here.price(here.terms) - (here.market_price() if ask is None else ask)

    for unknown in unknowns_of(situation, ZERO, float):
        if unknown.name not in TURNS or unknown.absent is not None or unknown.planned <= 0:
            continue
        reach = unknown.planned * FURTHEST
        near = replace(unknown, low=max(unknown.low, unknown.planned - reach), high=unknown.planned + reach)
        root = near.root(short)
        if root is not None:
            yield abs(root - unknown.planned) / unknown.planned, unknown, root


def _named(unknown: Unknown) -> str:
    return {"share": "a share of", "hours": "hours of", "donor prices": "donors at", "covering cost": "a covering at"}[
        unknown.name
    ]


def _figure(value: Decimal, unit: str) -> str:
    if unit == "percent":
        return f"{value:.0f} %"
    return f"{value:.1f}" if unit == "hours" else whole(value)


def price_verdict(quote: Quote, sheet: CostSheet, sale: Sale) -> Verdict:
    """What to ask; `sale` is at the price asked about. Below the floor it says what that price leaves."""
    price, unknown = whole(sale.gross), len(sheet.incomplete)
    lacks = f", with {unknown} cost{'s' * (unknown > 1)} unknown" if unknown else ""
    if sale.gross < quote.floor:
        margin, planned = sale.margin or ZERO, (sheet.terms.margin * HUNDRED).normalize()
        left = f"leaves {margin:.1f} % instead of {planned:f}" if sale.profit >= 0 else f"loses {-sale.profit:,.2f}"
        why = f"{quote.floor - sale.gross:,.2f} less than the floor"
        return Verdict("ask_less_than_margin", f"{price} {left}; {why}{lacks}.", sale.gross, why)
    if sheet.is_service:
        return Verdict("ask", f"Ask {price} for work and parts: {SERVICE}{lacks}.", sale.gross, SERVICE)
    if quote.binding != "floor":
        why = f"at or above your floor of {whole(quote.floor)}"
        return Verdict("ask", f"Ask {price}: {why}{lacks}.", sale.gross, why)
    there, why = quote.profit_at_market, f"the market gives {whole(quote.market_price)}"
    left = f"you lose {whole(-there)}" if there < 0 else f"you keep {whole(there)}"
    return Verdict("ask", f"Ask {price} or leave it: {why}, and there {left}{lacks}.", sale.gross, why)


def original_verdict(ours: Decimal, original: Decimal, what: str = "an original") -> Verdict:
    """Ours against an original, both at the buyer's door (gross money); alike where they are within 3 %."""
    apart = original - ours
    lands = f"ours comes to {whole(ours)} at the door, {what} to {whole(original)}"
    if abs(apart) <= LEVEL * original:
        return Verdict("level", f"About the same: {lands}.", ours, lands)
    if apart > 0:
        return Verdict("ours_cheaper", f"Ours is {whole(apart)} cheaper: {lands}.", ours, lands)
    return Verdict("original_cheaper", f"The original is {whole(-apart)} cheaper: {lands}.", ours, lands)


def work_verdict(ours: Decimal) -> Verdict:
    """What a customer pays in all for work on his own kit (gross money)."""
    return Verdict("ask", f"Work and parts come to {whole(ours)} at the door: {SERVICE}.", ours, SERVICE)


@dataclass(frozen=True, slots=True)
class ForThatMoney:
    """What a price at the door buys in originals, each put right. `pieces` is the most drums of which a typical one is
    at or below it, None where none is; `door` what one of the build's own size comes to, `share_below` the share of
    these that come to less than the price, `seen` the sightings of that size."""

    landed: Decimal
    pieces: int | None
    size: int
    door: Decimal
    share_below: float
    seen: int

    @property
    def sentence(self) -> str:
        first = f"{whole(self.landed)} at the door buys"
        seen = f"put right; {self.seen} of that size seen, and {self.share_below * 100:.0f} % of such come to less."
        if self.pieces == self.size:
            return f"{first} an original of {count_words(self.size)}, which comes to about {whole(self.door)}, {seen}"
        buys = "no original of any size" if self.pieces is None else f"an original of {count_words(self.pieces)}"
        own = count_words(self.size, "drum" if self.pieces is None else "")
        return f"{first} {buys}; one of {own} comes to about {whole(self.door)}, {seen}"


def count_words(pieces: int, what: str = "drum") -> str:
    """`five drums`."""
    number = NUMBERS[pieces - 1] if pieces <= len(NUMBERS) else str(pieces)
    return f"{number} {what}{'s' if what and pieces != 1 else ''}".strip()


def for_that_money(plan: Plan, fit: Fit, landed_price: Decimal) -> ForThatMoney:
    """What a build's price at the door buys in originals, freight and repair counted as `compare` does."""
    size, book = len(plan.drum), fit.book
    known = book.series == list(book.series_names).index(original_kit(plan).series)
    largest = max(size, int(book.pieces[known].max(initial=1.0)))
    counts = range(1, largest + 1)
    looks = outlooks(fit, [original_kit(plan, k) for k in counts])
    repairs = [(plan.original.repair or ZERO) * k / size for k in counts]
    doors = [cents(landed(plan.original, as_money(o.typical), r)) for o, r in zip(looks, repairs, strict=True)]
    own = looks[size - 1]
    return ForThatMoney(
        landed=landed_price,
        pieces=max((k for k, door in zip(counts, doors, strict=True) if door <= landed_price), default=None),
        size=size,
        door=doors[size - 1],
        share_below=1 - share_dearer(plan.original, own.sample, repairs[size - 1], landed_price),
        seen=int((known & (book.pieces == size)).sum()),
    )
