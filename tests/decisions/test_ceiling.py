"""Ceilings: the worked case to the cent, and against a search over every price."""

from __future__ import annotations

from dataclasses import astuple, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.decisions.ceiling import (
    Deals,
    break_even_prices,
    ceilings,
    chance_of_loss,
    mean_profit,
    rebuild_bases,
    surplus_over_margin,
)
from kitvalue.intake.books.book import FloatArray
from kitvalue.market.encoding import Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.linear import subset
from kitvalue.market.outlook import kit_samples
from tests import worked
from tests.decisions.test_haggling import offer
from tests.market.books import invented_book

RICHER = worked.CASE["expected"]["richer_market"]  # an invented case worked by hand, not an outside source


def worked_deals(route: str) -> Deals:
    plan, shop = worked.plan(), worked.shop()
    base = next(b for b in rebuild_bases(plan, shop, 0, plan.donor[0]) if b.route == route)
    sample: FloatArray = (5800 * 0.70 * worked.FACTORS)[None, :]
    one = np.ones(1)
    return Deals(
        outcomes=sample, clipped=sample, cost=(base.cost + 45.0) * one, rate=0.23, fee=0.029, margin=0.18, freight=60.0,
        on_margin=route == "margin", others=base.others * one, credit=base.credit * one, least=base.least * one,
    )  # fmt: skip


@pytest.mark.parametrize(("route", "key"), [("full", "full"), ("margin", "margin_route")])
def test_the_worked_case_to_the_cent(route: str, key: str) -> None:
    deals = worked_deals(route)
    found = ceilings(deals, 0.10)
    assert found.ceiling[0] == RICHER[f"ceiling_donor_A_{key}"]
    assert found.safe[0] == RICHER[f"safe_ceiling_donor_A_{key}"]
    assert round(float(mean_profit(deals, np.array([340.0]))[0]), 2) == RICHER[f"mean_profit_at_340_{key}"]


@pytest.mark.parametrize("vat", ["margin", "exempt"])
def test_a_dealers_kit_without_vat_to_deduct_has_a_private_kits_bases(vat: str) -> None:
    """Directive 2006/112/EC art. 314(b) and (d): counted whole, and the margin scheme stays open."""
    plan, shop = worked.plan(), worked.shop()
    dealers = offer(series=plan.donor[0].series, pieces=4, bought_from="trade", vat=vat)
    assert rebuild_bases(plan, shop, 0, dealers) == rebuild_bases(plan, shop, 0, plan.donor[0])


def random_deals(seed: int, *, on_margin: bool, parts: bool) -> Deals:
    """A few purchases of one outcome sample each; prices low enough to search every cent."""
    rng = np.random.default_rng(seed)
    m, n = 3, int(rng.integers(3, 30))
    if parts:
        values = rng.uniform(5, 30, m)
        outcomes = values[:, None] * rng.integers(0, 5, (m, n)) / 4
    else:
        values = None
        outcomes = rng.uniform(2, 25, (m, 1)) * np.exp(rng.normal(0, rng.uniform(0.05, 1.2), (m, n)))
    credit = rng.uniform(0, 4, m) * rng.integers(0, 2, m)
    return Deals(
        outcomes=outcomes, clipped=np.minimum(outcomes, np.quantile(outcomes, 0.9)), cost=rng.uniform(0, 8, m),
        rate=float(rng.uniform(0, 0.27)), fee=float(rng.uniform(0, 0.1)), margin=float(rng.uniform(0, 0.4)),
        freight=0.0 if parts else float(rng.uniform(0, 3)), on_margin=on_margin,
        others=rng.uniform(0, 6, m) * (not parts),
        credit=credit * (not parts), least=0.5 * credit * (not parts), values=values,
        reserve=float(rng.uniform(0, 0.1) * rng.integers(0, 2)), tied=rng.uniform(0, 0.1, m) * rng.integers(0, 2),
    )  # fmt: skip


@given(
    seed=st.integers(0, 10**6), on_margin=st.booleans(), parts=st.booleans(), premium=st.integers(0, 40),
    loss_chance=st.sampled_from((0.0, 0.1, 0.3)),
)  # fmt: skip
def test_a_lots_ceilings_with_their_premium_are_those_of_a_private_kit(
    seed: int, on_margin: bool, parts: bool, premium: int, loss_chance: float
) -> None:
    """By definition: the hammer price times 1 + premium is the price paid. Each is rounded down to its own cent."""
    deals, up = random_deals(seed, on_margin=on_margin, parts=parts), 1 + premium / 100
    bid = replace(deals, slope=up, into=up, credit=deals.credit / up, least=deals.least / up)
    private, lot = ceilings(deals, loss_chance), ceilings(bid, loss_chance)
    for ours, theirs in ((lot.ceiling, private.ceiling), (lot.safe, private.safe)):
        off = theirs - ours * up
        at_the_least = theirs < deals.least + 0.01 * up  # which only one of the two may reach by its cents
        both = (ours >= 0) & (theirs >= 0)
        assert (off[both] > -0.0101).all()
        assert (off[both] < 0.01 * up + 1e-6).all()
        assert (both | (ours < 0) & ((theirs < 0) | at_the_least)).all()


def searched(deals: Deals, at: int, loss_chance: float) -> tuple[float, float]:
    """Both ceilings of one purchase by trying every cent, each outcome's VAT by the directive's own words."""
    prices, tied = np.arange(0, 6000) / 100, deals.tied[at] if isinstance(deals.tied, np.ndarray) else deals.tied
    prices = prices[prices >= deals.least[at] - 1e-12]

    def results(price: float, sample: FloatArray) -> tuple[FloatArray, FloatArray]:
        k = deals.rate / (1 + deals.rate)
        purchase = deals.others[at] + max(0.0, price - deals.credit[at])
        vat = []
        for sold in sample:
            if not deals.on_margin:
                vat.append(k * sold)
            elif deals.values is None:
                vat.append(k * max(0.0, sold + deals.freight - purchase) - k * deals.freight)
            else:  # each part with its share of the purchase price; sold parts only
                vat.append(sold / deals.values[at] * k * max(0.0, deals.values[at] - purchase))
        net = sample - np.array(vat)
        taken = deals.fee * (sample + deals.freight) + deals.reserve * sample
        return net, net - taken - deals.cost[at] - price * (1 + tied)

    best, safe = -1.0, -1.0
    for price in prices:
        net, profit = results(float(price), deals.clipped[at])
        if profit.mean() < deals.margin * net.mean() - 1e-9:
            break
        best = float(price)
        if (results(float(price), deals.outcomes[at])[1] < -1e-6).mean() <= loss_chance + 1e-12:
            safe = float(price)
    return best, safe


@pytest.mark.parametrize("on_margin", [False, True])
@pytest.mark.parametrize("parts", [False, True])
@given(seed=st.integers(0, 10**6))
def test_what_the_ceiling_is_made_up_of(on_margin: bool, parts: bool, seed: int) -> None:
    """The mean sale less VAT, fee, costs and the margin on net revenue is what is left for the kit, to the cent of the
    ceiling where there is one; VAT by the directive's own words."""
    deals = random_deals(seed, on_margin=on_margin, parts=parts)
    found = ceilings(deals, 0.1)
    sells_for, vat, fee, reserve, costs, margin, leaves, _ = np.array([astuple(row) for row in found.made_up]).T
    np.testing.assert_allclose(sells_for, deals.clipped.mean(axis=1))
    net = sells_for - vat
    np.testing.assert_allclose(margin, deals.margin * net, atol=1e-8)
    np.testing.assert_allclose(reserve, deals.reserve * sells_for)
    left = net - fee - reserve - costs - margin
    np.testing.assert_allclose(costs, deals.cost + deals.tied * leaves)
    np.testing.assert_allclose(left, leaves, atol=1e-8)
    has = found.ceiling >= 0
    np.testing.assert_allclose(found.ceiling[has], np.floor(left[has] * 100 + 1e-6) / 100, atol=1e-9)
    if not on_margin:
        np.testing.assert_allclose(vat, sells_for * deals.rate / (1 + deals.rate))


@pytest.mark.parametrize("on_margin", [False, True])
@pytest.mark.parametrize("parts", [False, True])
@given(seed=st.integers(0, 10**6), loss_chance=st.sampled_from([0.0, 0.05, 0.1, 0.25, 0.5]))
def test_equal_to_a_search_over_every_cent(on_margin: bool, parts: bool, seed: int, loss_chance: float) -> None:
    deals = random_deals(seed, on_margin=on_margin, parts=parts)
    found = ceilings(deals, loss_chance)
    for at in range(len(deals.cost)):
        best, safe = searched(deals, at, loss_chance)
        assert abs(found.ceiling[at] - best) <= 0.0100001, (found.ceiling[at], best)
        assert abs(found.safe[at] - safe) <= 0.0100001, (found.safe[at], safe)


@given(seed=st.integers(0, 10**6), on_margin=st.booleans())
def test_of_kits_that_fetch_thousands_too_a_cent_above_the_ceiling_is_too_much(seed: int, on_margin: bool) -> None:
    small = random_deals(seed, on_margin=on_margin, parts=False)
    arrays = {name: getattr(small, name) * 300 for name in ("outcomes", "clipped", "cost", "others", "credit", "least")}
    deals = replace(small, freight=small.freight * 300, **arrays)
    top = ceilings(deals, 0.1).ceiling
    found = top >= 0
    assert (surplus_over_margin(deals, top)[found] >= -1e-4).all()
    assert (surplus_over_margin(deals, top + 0.01)[found] < 0).all()


@given(seed=st.integers(0, 10**6), on_margin=st.booleans())
def test_no_outcome_gains_or_loses_at_its_own_break_even(seed: int, on_margin: bool) -> None:
    deals = random_deals(seed, on_margin=on_margin, parts=False)
    even = break_even_prices(deals)
    for j in range(even.shape[1]):
        profit = deals.profit(deals.outcomes, even[:, j])[:, j]
        assert np.abs(profit).max() < 1e-9


def test_the_chance_at_the_ceiling_is_counted_from_the_sample() -> None:
    deals = worked_deals("full")
    found = ceilings(deals, 0.10)
    by_hand = np.mean(deals.profit(deals.outcomes, found.ceiling)[0] < 0)
    assert found.chance_at_ceiling[0] == by_hand == chance_of_loss(deals, found.ceiling)[0]
    assert 0 < by_hand < 1


def test_a_sample_that_always_loses_has_no_ceiling() -> None:
    deals = worked_deals("full")
    poor = replace(deals, outcomes=deals.outcomes / 9, clipped=deals.clipped / 9)
    found = ceilings(poor, 0.10)
    assert found.ceiling[0] < 0
    assert found.safe[0] < 0


@pytest.mark.parametrize("seed", [21, 22, 24])
def test_a_hundredfold_slip_moves_a_ceiling_as_little_as_the_mean(seed: int) -> None:
    """60 rows: the ceilings of a kit of every series stay within 3 percent, or within what the row's absence
    alone would do."""
    book = invented_book(n=60, series=4, seed=seed)
    kits = [Kit(name, 5, 3) for name in book.series_names]
    clean = fit_book(book, None)
    before = np.array([_ceilings(clean, kit) for kit in kits])
    assert np.all(before > 0)
    for row in (0, 3, 7, 23, 42, 59):
        price = book.price.copy()
        price[row] *= 100
        slipped = fit_book(replace(book, price=price), None)
        absent = fit_book(subset(book, np.delete(np.arange(60), row)), None)
        after = np.array([_ceilings(slipped, kit) for kit in kits])
        least = np.abs(np.array([_ceilings(absent, kit) for kit in kits]) / before - 1)
        assert np.all(np.abs(after / before - 1) <= np.maximum(0.035, least + 0.003))


def _ceilings(fit: Fit, kit: Kit) -> float:
    samples = kit_samples(fit, [kit])
    nothing = np.zeros(1)
    deals = Deals(
        outcomes=samples.sample, clipped=samples.clipped, cost=nothing, rate=0.23, fee=0.029, margin=0.18, freight=60.0,
        on_margin=False, others=nothing, credit=nothing, least=nothing,
    )  # fmt: skip
    return float(ceilings(deals, 0.1).ceiling[0])


def by_hand(outcomes: list[float], cost: float, margin: float = 0.0) -> Deals:
    """No VAT, no fee: profit is the sale less cost and price."""
    sample, one = np.array([outcomes]), np.ones(1)
    return Deals(
        outcomes=sample, clipped=sample, cost=cost * one, rate=0.0, fee=0.0, margin=margin, freight=0.0,
        on_margin=False, others=0 * one, credit=0 * one, least=0 * one,
    )  # fmt: skip


def test_who_risks_any_loss_may_pay_the_ceiling() -> None:
    found = ceilings(by_hand([100.0, 200.0, 300.0], 50.0), 1.0)
    assert (found.ceiling[0], found.safe[0]) == (150.0, 150.0)
    assert found.chance_at_ceiling[0] == pytest.approx(1 / 3)
    # one in three may lose: 200 - 50; none may: 100 - 50
    assert ceilings(by_hand([100.0, 200.0, 300.0], 50.0), 1 / 3).safe[0] == 150.0
    assert ceilings(by_hand([100.0, 200.0, 300.0], 50.0), 0.3).safe[0] == 50.0


def test_a_safe_price_of_nothing_is_a_price() -> None:
    found = ceilings(by_hand([50.0, 200.0, 300.0], 50.0), 0.0)
    assert found.safe[0] == 0.0  # as a gift it never loses
    assert ceilings(by_hand([49.0, 200.0, 300.0], 50.0), 0.0).safe[0] < 0
