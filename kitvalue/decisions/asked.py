"""The price asked for a kit that a command line names, judged."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.ceiling import SELL_ON, plain_bases
from kitvalue.decisions.named import AskedPrice
from kitvalue.decisions.offered import grounds_of, shortlisted
from kitvalue.decisions.original import as_money
from kitvalue.decisions.shortlist import JudgedOffer, ReckonedWith, reckoned_with
from kitvalue.decisions.verdict import Verdict
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.problems import KitvalueError
from kitvalue.market.encoding import Kit
from kitvalue.market.fitted import Fit
from kitvalue.workshop.money import ZERO


@dataclass(frozen=True, slots=True, eq=False)
class JudgedPrice:
    """A price asked, judged: the kit sold on as it is, and where another grade was named in that one, too.

    `judged` is empty beside a `reason`; then the value alone says something.
    """

    price: Decimal
    against_percent: float  # of the typical buy-in value
    judged: tuple[JudgedOffer, ...]
    reckoned: ReckonedWith | None
    reason: str | None

    @property
    def best(self) -> JudgedOffer | None:
        """The way for which most may be paid; one that makes the kit better only where its bench hours are told."""
        told = [one for one in self.judged if one.offer.hours is not None or one.offer.finished == one.offer.condition]
        return max(told, key=lambda one: -1.0 if one.stop_at is None else one.stop_at, default=None)

    @property
    def verdict(self) -> Verdict:
        """That of the best way."""
        best, why = self.best, self.reason or "it cannot be judged"
        return best.verdict if best is not None else Verdict("unknown", f"No verdict: {why}.", None, why)


def judge_price(shop: Shop, fit: Fit, kit: Kit, finished: float, typical: float, asked: AskedPrice) -> JudgedPrice:
    """Judge a price asked for a kit whose buy-in value is `typical`, as `shortlist` judges an offer that is sold on."""
    against = 100 * (float(asked.price) / typical - 1)
    offers = [_offer(0, kit, finished, asked)]
    if finished != kit.condition:
        offers.insert(0, _offer(1, kit, kit.condition, AskedPrice(asked.price, freight=asked.freight)))
    try:
        judged = {j.offer.row: j for j in shortlisted(grounds_of(shop, fit, None, None, kit.on), offers).judged}
    except KitvalueError as error:
        return JudgedPrice(asked.price, against, (), None, error.message)
    reason = next((j.reason for j in judged.values() if j.reason is not None), None)
    answers = () if reason is not None else tuple(judged[offer.row] for offer in offers)
    return JudgedPrice(asked.price, against, answers, reckoned_with(shop), reason)


@dataclass(frozen=True, slots=True)
class SoldOn:
    """All that `judge_price` takes from a shop and its fit beside the kit: money; chances, shares and rates as
    fractions. Of a price asked `step` is expected to be paid. `hours` are None where the shop does not say them."""

    step: float
    on_margin: bool
    rate: float
    fee: float
    margin: float
    reserve: float
    outward: float  # freight charged to the buyer
    kept: float  # holding, and the fee of a sale
    tied: float
    hourly: float  # contingency included
    hours: float | None
    lacks_hours: str | None  # why none is judged whose hours are not told
    lacks: str | None  # why none is judged
    loss_chance: float
    bid_step: float
    worth_a_call: float  # percent
    freight: float | None  # the usual one


def sold_on(shop: Shop, fit: Fit) -> SoldOn | str:
    """What a private kit sold on is judged with by the shop's own route, or why it cannot be."""
    kit = Kit("", 1.0, 3.0)
    try:
        grounds = grounds_of(shop, fit, None, None, None)
    except KitvalueError as error:
        return error.message
    offer, terms, work, buying = _offer(0, kit, 3.0, AskedPrice(ZERO)), grounds.terms, shop.work, shop.buying
    own = next(base for base in plain_bases(shop, SELL_ON, Decimal(1), offer, "prepare") if base.own)
    untold = plain_bases(shop, SELL_ON, None, offer, "prepare")[0].reason
    prepare = None if work is None else work.prepare
    return SoldOn(
        step=grounds.step.price,
        on_margin=own.route == "margin",
        rate=0.0 if own.route in ("none", "sales") else float(terms.rate),
        fee=float(terms.fee * (1 + terms.rate if own.route == "sales" else 1)),
        margin=float(terms.margin),
        reserve=float(terms.reserve),
        outward=float(terms.freight),
        kept=grounds.holding + float(terms.fee_fixed),
        tied=float(terms.tied),
        hourly=own.cost,
        hours=None if prepare is None else float(prepare),
        lacks_hours=untold,
        lacks=own.reason,
        loss_chance=grounds.loss_chance,
        bid_step=float(buying.bid_step),
        worth_a_call=float(buying.worth_a_call),
        freight=None if buying.freight is None else float(buying.freight),
    )


def _offer(row: int, kit: Kit, sold_in: float, asked: AskedPrice) -> Offer:
    """The kit as a row of offers.csv would tell it."""
    return Offer(
        row=row, offer="", series=kit.series, pieces=int(kit.pieces), condition=as_money(kit.condition),
        price=asked.price, freight=asked.freight, sizes=(), bought_from="private", haggle=None, note=None,
        features=tuple(
            FeatureRead(f.name, f.value if isinstance(f.value, bool | str) else as_money(f.value)) for f in kit.features
        ),
        finished=as_money(sold_in), hours=asked.hours, parts=asked.parts,
    )  # fmt: skip
