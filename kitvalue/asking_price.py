"""`value --asked`: what somebody asks for one kit, judged without a row of offers.csv."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.decisions.asked_price import AskedFor, Asking
from kitvalue.decisions.shortlist import reckoned_with
from kitvalue.intake.bookrows import FeatureRead
from kitvalue.intake.offers import Offer
from kitvalue.intake.problems import KitvalueError
from kitvalue.intake.shop import Shop
from kitvalue.laidout import as_laid_out
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import FeatureValue, Kit
from kitvalue.shortlisting import shortlisted, wanted


def judge_asking(shop: Shop, fit: Fit, kit: Kit, finished: float, typical: float, asking: Asking) -> AskedFor:
    """Judge a price asked for a kit whose buy-in value is `typical`, as `shortlist` judges an offer that is sold on."""
    against = 100 * (float(asking.price) / typical - 1)
    loss = 0.0 if shop.selling is None else float(shop.selling.loss_chance)
    offers = [_offer(0, kit, finished, asking)]
    if finished != kit.condition:
        offers.insert(0, _offer(1, kit, kit.condition, Asking(asking.price)))
    try:
        found = {one.offer.row: one for one in shortlisted(wanted(shop, fit, None, None, kit.on), offers).found}
    except KitvalueError as error:
        return AskedFor(asking, against, (), loss, None, error.message)
    reason = next((one.reason for one in found.values() if one.reason is not None), None)
    judged = () if reason is not None else tuple(found[offer.row] for offer in offers)
    return AskedFor(asking, against, judged, loss, reckoned_with(shop, as_laid_out(shop)), reason)


def _offer(row: int, kit: Kit, sold_in: float, asking: Asking) -> Offer:
    return Offer(
        row=row, offer="", series=kit.series, pieces=int(kit.pieces), condition=_exact(kit.condition),
        price=asking.price, freight=None, sizes=(), bought_from="private", haggle=None, note=None,
        features=tuple(_feature(f) for f in kit.features), finished=_exact(sold_in), hours=asking.hours,
        parts=asking.parts,
    )  # fmt: skip


def _feature(f: FeatureValue) -> FeatureRead:
    return FeatureRead(f.name, f.value if isinstance(f.value, bool | str) else _exact(f.value))


def _exact(value: float) -> Decimal:
    return Decimal(str(value))
