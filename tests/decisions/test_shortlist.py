"""One offer judged by hand: what is asked against its value, profit by the hour, the order of the list."""

from __future__ import annotations

from dataclasses import astuple, replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from kitvalue.decisions import shortlist
from kitvalue.decisions.ceiling import Base, Paid, landed
from kitvalue.decisions.offered import ranked
from kitvalue.decisions.shortlist import (
    JudgedOffer,
    JudgedUse,
    UseBatch,
    judged,
    judged_uses,
    no_verdict,
    offer_verdict,
)
from kitvalue.intake.settings.shop import BuyingTable, TaxTable
from kitvalue.workshop.costing import settings_of
from kitvalue.workshop.tax import terms_of
from tests import worked
from tests.decisions.test_haggling import offer

PAID = Paid(360.0, "the book")
BASE = Base("sell on", "none", 138.6, 0.0, 0.0, 0.0, 3.0, 126.0, own=True, reason=None)
SENT = landed(offer(freight=Decimal(45)), worked.shop().tax or TaxTable())
SALES = np.array([[500.0, 600.0, 700.0, 800.0]])


def used(**changes: object) -> JudgedUse:
    plain = JudgedUse("sell on", "full", True, 420.0, 390.0, 100.0, 0.05, 0.1, 3.0, 75.0, None)
    return replace(plain, **changes)  # type: ignore[arg-type]


def found_of(base: Base, paid: float = 360.0) -> JudgedUse:
    batch = UseBatch(
        base, np.array([0]), [SENT], SALES, SALES, np.array([0]), np.array([0.0]), freight=0.0,
    )  # fmt: skip
    (one,) = judged_uses(batch, np.array([paid]), terms_of(*settings_of(worked.shop(fee=0))), 0.25)
    return one


def test_one_use_reckoned_by_hand() -> None:
    """No VAT, no fee: the mean sale of 650 less 138.60 of work, 45 of freight and 360 paid leaves 106.40."""
    one = found_of(BASE)
    assert one.expected_profit == pytest.approx(650 - 138.6 - 45 - 360)
    assert one.profit_per_hour == pytest.approx((106.4 + 126) / 3)  # the hours' own wage with it
    assert one.chance_of_loss == 0.25  # of the four sales only 500 lies under what is spent, 543.60
    # 18 % of 650 must be left: 650 - 117 - 183.60
    assert one.ceiling == pytest.approx(349.40)
    # one sale in four may lose, which 600 - 183.60 allows; but no higher than the ceiling
    assert one.safe_ceiling == pytest.approx(349.40)
    assert one.chance_at_ceiling == 0.25
    assert one.made_up is not None
    assert astuple(one.made_up) == pytest.approx((650.0, 0.0, 0.0, 0.0, 183.6, 117.0, 349.4, 0.0))


def test_no_hours_no_profit_by_the_hour() -> None:
    assert found_of(replace(BASE, hours=0.0, labour=0.0)).profit_per_hour is None


def test_a_kit_that_loses_as_a_gift_has_no_ceiling() -> None:
    one = found_of(replace(BASE, cost=900.0))
    assert (one.ceiling, one.safe_ceiling, one.chance_at_ceiling) == (None, None, None)
    assert one.made_up is not None
    assert one.made_up.leaves == pytest.approx(650 - 900 - 45 - 117)  # what would have to come with it
    assert one.expected_profit == pytest.approx(650 - 900 - 45 - 360)


@pytest.mark.parametrize(("buy_in", "percent"), [(500.0, -20.0), (400.0, 0.0), (320.0, 25.0)])
def test_what_is_asked_against_the_value(buy_in: float, percent: float) -> None:
    one = judged(offer(), PAID, buy_in, 0.3, [used()], (), BuyingTable(), 20)  # asked at 400
    assert one.against_percent == pytest.approx(percent)
    assert (one.buy_in, one.rank, one.reason) == (buy_in, 0.3, None)
    assert (one.stop_at, one.open_at) == (390.0, 320.0)  # 40 under the expected 360, as that lies under 400


def test_the_shops_own_route_is_taken_where_it_is_open() -> None:
    full, margin = used(), used(route="margin", own=False, expected_profit=180.0)
    assert judged(offer(), PAID, 400.0, 0.3, [full, margin], (), BuyingTable(), 20).best == full
    shut = used(expected_profit=None, reason="imported")
    assert judged(offer(), PAID, 400.0, 0.3, [shut, margin], (), BuyingTable(), 20).best == margin
    parts = used(use="parts", expected_profit=130.0)
    assert judged(offer(), PAID, 400.0, 0.3, [full, parts], (), BuyingTable(), 20).best == parts


def test_the_list_runs_from_profit_over_closed_to_unvalued() -> None:
    def one(row: int, profit: float | None) -> JudgedOffer:
        uses = [used(expected_profit=profit)]
        return judged(
            offer(row=row, offer=f"D{row}", price=Decimal(400)), PAID, 400.0, 0.5, uses, (), BuyingTable(), 20
        )

    gone = offer(row=2, offer="D2")
    lost = JudgedOffer(gone, PAID, no_verdict(gone, "no such series"), reason="no such series")
    rows = [lost, one(8, None), one(3, -50.0), one(4, None), one(5, 200.0), one(6, 80.0)]
    assert [o.offer.row for o in ranked(rows)] == [5, 6, 3, 4, 8, 2]


def test_many_offers_in_several_goes_are_each_found_once(monkeypatch: pytest.MonkeyPatch) -> None:
    paid = np.array([100.0, 200.0, 300.0, 400.0, 350.0])
    batch = UseBatch(
        BASE, np.arange(5), [SENT] * 5, SALES, SALES, np.zeros(5, dtype=np.int64), np.zeros(5), freight=0.0
    )
    terms = terms_of(*settings_of(worked.shop(fee=0)))
    whole = judged_uses(batch, paid, terms, 0.25)
    monkeypatch.setattr(shortlist, "MOST_AT_ONCE", 8)  # two offers of four sales at a time
    assert judged_uses(batch, paid, terms, 0.25) == whole
    assert [one.expected_profit for one in whole] == pytest.approx(list(650 - 138.6 - 45 - paid))


@pytest.mark.parametrize(
    ("stop", "paid", "asked", "freight", "seen", "expected"),
    [
        (397.0, 360.0, 400, 40, 20, ("buy", 395, "Buy D1, up to 395: it will probably cost 360.")),
        (357.0, 360.0, 400, 40, 20, ("buy_below", 355, "Buy D1 only up to 355: it will probably cost 360.")),
        (397.0, 360.0, 400, None, 20,
         ("buy_below", 395, "Buy D1 only up to 395: it will probably cost 360, less the freight.")),
        (397.0, 360.0, 400, 40, 9, ("buy", 395, "Buy D1, up to 395, from 9 sightings: it will probably cost 360.")),
        (397.0, None, None, 40, 1, ("buy_below", 395, "Buy D1 only up to 395, from 1 sighting.")),
        (200.0, 360.0, 400, 40, 20, ("buy_below", 200, "Buy D1 only up to 200: it will probably cost 360.")),
        (199.0, 360.0, 400, 40, 20,
         ("pass", 195, "Pass on D1: it pays up to 195, and 400 is asked; a call is worth it from 390 down.")),
        (4.99, 360.0, 400, 40, 20, ("pass", None, "Pass on D1: at any price it loses money too often.")),
        (None, 360.0, 400, 40, 20, ("pass", None, "Pass on D1: at any price it loses money too often.")),
    ],
)  # fmt: skip
def test_a_verdict_by_its_definition(
    stop: float | None, paid: float | None, asked: int | None, freight: int | None, seen: int, expected: tuple[Any, ...]
) -> None:
    """buy: at the price expected it leaves the margin and is safe, freight known; pass: under half of what is asked, or
    under a step; bids in steps of 5."""
    use = replace(used(), safe_ceiling=stop)
    price, sending = (None if one is None else Decimal(one) for one in (asked, freight))
    of = replace(offer(), offer="D1", price=price, freight=sending)
    given = None if paid is None else Paid(paid, "the haggle")
    verdict = offer_verdict(of, given, use, [use], BuyingTable(), seen)
    assert (verdict.code, verdict.price, verdict.sentence) == expected
