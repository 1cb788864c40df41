"""A share that is in doubt: its distribution, and the chance of a loss that comes of it, by another route."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import lognorm

from kitvalue.decisions.ceiling import REBUILD, SELL_ON
from kitvalue.decisions.doubt import fetched
from kitvalue.decisions.offered import donor_ceilings, grounds_of, shortlisted
from kitvalue.decisions.pricing import priced
from kitvalue.decisions.together import at_its_ranks, bought_together
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.plancells import Share
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from tests import worked
from tests.decisions.test_haggling import offer
from tests.decisions.test_offered import shop_of
from tests.market.books import invented_book

Z90 = 1.2815515655446004  # of the standard normal, from tables


def share(low: float, high: float) -> Share:
    return Share(Decimal(str(low)), Decimal(str(high)))


def lognormal(low: float, high: float) -> object:
    """scipy's own, from the two quantiles."""
    return lognorm(s=np.log(high / low) / (2 * Z90), scale=np.sqrt(low * high) / 100)


@given(st.integers(40, 99), st.integers(1, 60), st.sampled_from((3, 30, 777, 4000, 9001)))
@settings(max_examples=20)
def test_eight_in_ten_lie_between_the_two_numbers(low: int, wider: int, n: int) -> None:
    """Its 10, 50 and 90 % quantiles are the two numbers and the median, where the market is one price."""
    found = fetched(np.full(n, 1000.0), share(low, low + wider))
    told = 10 * np.array([low, np.sqrt(low * (low + wider)), low + wider])
    assert np.quantile(found, [0.1, 0.5, 0.9]) == pytest.approx(told, rel=2e-3)


@given(st.integers(0, 10**6), st.sampled_from((5, 40, 300, 5000)), st.integers(40, 99), st.integers(1, 60))
@settings(max_examples=20)
def test_market_and_share_are_independent(seed: int, n: int, low: int, wider: int) -> None:
    """The chance to fetch less than any price is the mean of scipy's distribution over the market's sample."""
    sample = np.random.default_rng(seed).lognormal(7, 0.3, n)
    found, doubt = fetched(sample, share(low, low + wider)), lognormal(low, low + wider)
    for price in np.quantile(found, [0.02, 0.1, 0.37, 0.8, 0.97]):
        assert (found < price).mean() == pytest.approx(doubt.cdf(price / sample).mean(), abs=0.004)  # type: ignore[attr-defined]
    assert found.mean() == pytest.approx(sample.mean() * doubt.mean(), rel=2e-3)  # type: ignore[attr-defined]


def test_a_share_without_doubt_is_a_factor() -> None:
    sample = np.array([3.0, 1.0, 2.0])
    assert list(fetched(sample, share(70, 70))) == pytest.approx([2.1, 0.7, 1.4])


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_book(invented_book(n=200, seed=5), 10.0)


def plan(*ends: float) -> Plan:
    finished = worked.plan_tables()["finished"]
    series = {"series": "Series A", "share": ends[0] if len(ends) == 1 else list(ends)}
    original = worked.plan_tables()["original"] | {"series": "Series A"}
    return worked.plan(finished=finished | series, original=original)


def test_price_and_shortlist_tell_one_chance_of_a_loss(fit: Fit) -> None:
    """The plan's own donor as an offer at its own price loses as often as the plan itself, and the doubt counts."""
    shop, found = worked.shop(), []
    for made in (plan(600), plan(500, 720)):
        donor = made.donor[0]
        same = offer(series="Series A", price=donor.price, freight=donor.freight, haggle="fixed", pieces=donor.pieces,
                     sizes=tuple(d.size for d in made.drum if d.from_ == donor.id))  # fmt: skip
        (judged,) = shortlisted(grounds_of(shop, fit, made, None, None), [same]).judged
        use = next(u for u in judged.uses if (u.use, u.route) == (REBUILD, "full"))
        told = priced(made, shop, fit)
        assert told.chance_of_loss == pytest.approx(use.chance_of_loss, abs=5e-4)
        found.append((told.quote, told.chance_of_loss, use))
    (one, sure, certain), (other, doubted, doubtful) = found
    assert one == other  # the median stands where one number is needed
    assert sure != doubted
    assert (doubtful.expected_profit or 0) > (certain.expected_profit or 0)  # a log-normal's mean is above its median


def test_doubt_takes_from_what_may_safely_be_paid(fit: Fit) -> None:
    """Where the chance of a loss binds, not the margin."""
    plans = plan(900), plan(810, 1000), plan(500, 1620)
    known, some, much = (
        [one.safe_ceiling or 0 for one in donor_ceilings(each, worked.shop(margin=0), fit)] for each in plans
    )
    assert all(a > b > c for a, b, c in zip(known, some, much, strict=True))


def test_figures_are_the_same_each_run(fit: Fit) -> None:
    first, second = (priced(plan(60, 90), worked.shop(), fit).chance_of_loss for _ in range(2))
    assert first == second


def test_an_offer_alone_loses_as_often_in_the_set_to_buy_as_in_its_own_row(fit: Fit) -> None:
    """A kit sold on, and one rebuilt under a share in doubt."""
    made, shop = plan(400, 640), shop_of(loss_chance=Decimal(99), margin=Decimal(0))
    needed = tuple(d.size for d in made.drum if d.from_ == made.donor[0].id)
    for drums in ((), needed):
        one = offer(series="Series A", pieces=4, price=Decimal(90), haggle="fixed", sizes=drums)
        grounds = grounds_of(shop, fit, made if drums else None, None, None)
        listed = shortlisted(grounds, [one])
        best, found = listed.judged[0].best, bought_together(grounds, listed, [made] if drums else []).portfolio
        assert best is not None
        assert 0 < (best.chance_of_loss or 0) < 1
        assert best.use == (REBUILD if drums else SELL_ON)
        assert [bought.offer for bought in found.buy] == ["D1"]
        assert found.chance_of_loss == pytest.approx(best.chance_of_loss, abs=1e-3)


def test_draws_keep_their_order_and_take_the_offers_own_sample() -> None:
    draws, own = np.array([5.0, 1.0, 9.0, 7.0]), np.array([40.0, 10.0])
    assert list(at_its_ranks(draws, own)) == [10.0, 10.0, 40.0, 40.0]
