"""Ceilings with capital, a reserve and a fixed fee, against the second route (tests/reckoning/ceilings.py)."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.decisions.ceiling import Deals, ceilings, chance_of_loss, mean_profit
from tests.reckoning import ceilings as second
from tests.reckoning.floors import Selling, profit
from tests.reckoning.purchases import Business, Terms

CENT = 0.01


def cents(low: int, high: int) -> st.SearchStrategy[Fraction]:
    return st.integers(low * 100, high * 100).map(lambda n: Fraction(n, 100))


def tenths(high: int) -> st.SearchStrategy[Fraction]:
    return st.integers(0, high * 10).map(lambda n: Fraction(n, 1000))


USES = st.builds(
    second.Use,
    sample=st.lists(cents(200, 3000), min_size=1, max_size=12).map(tuple),
    route=st.sampled_from(["full", "margin", "none"]),
    rate=st.integers(0, 27).map(lambda n: Fraction(n, 100)),
    selling=st.builds(
        Selling, margin=tenths(30), fee=tenths(10), reserve=tenths(5), freight=cents(0, 100),
        capital=tenths(15), months=st.integers(0, 12).map(Fraction),
    ),
    others=cents(0, 600),
    other_purchases=cents(0, 200),
)  # fmt: skip


def deals_of(use: second.Use, freight: Fraction) -> Deals:
    """The same purchase as the program has it: one offer, its freight by a carrier."""
    s, one = use.selling, np.ones(1)
    sample = np.array([[float(price) for price in use.sample]])
    return Deals(
        outcomes=sample, clipped=sample, cost=float(use.others + freight * (1 + s.tied)) * one,
        rate=0.0 if use.route == "none" else float(use.rate), fee=float(s.fee), margin=float(s.margin),
        freight=float(s.freight), on_margin=use.route == "margin", others=float(use.other_purchases) * one,
        credit=0.0 * one, least=0.0 * one, reserve=float(s.reserve), tied=float(s.tied) * one,
    )  # fmt: skip


@settings(max_examples=150)
@given(USES, cents(0, 80), st.sampled_from([Fraction(0), Fraction(1, 10), Fraction(1, 3)]))
def test_ceilings_are_those_of_the_second_route(use: second.Use, freight: Fraction, chance: Fraction) -> None:
    terms, business = Terms(freight=freight), Business(rate=use.rate * 100)
    found = ceilings(deals_of(use, freight), float(chance))
    both = (
        (found.ceiling[0], second.ceiling(use, terms, business)),
        (found.safe[0], second.safe_ceiling(use, terms, business, chance)),
    )
    for ours, theirs in both:  # a price that is whole cents may round to either side
        assert abs(ours - (-1 if theirs is None else float(theirs))) < CENT + 1e-6 or max(ours, float(theirs or 0)) == 0


@settings(max_examples=80)
@given(USES, cents(0, 1500))
def test_profits_are_those_of_the_second_route(use: second.Use, paid: Fraction) -> None:
    deals = deals_of(use, Fraction(0))
    cost, bought = use.others + paid * (1 + use.selling.tied), use.other_purchases + paid
    each = [profit(price, use.route, use.rate, use.selling, cost, bought) for price in use.sample]
    at = np.array([float(paid)])
    assert abs(mean_profit(deals, at)[0] - float(sum(each) / len(each))) < 1e-6
    lost = sum(one < -1e-6 for one in each) / len(each)
    assert abs(chance_of_loss(deals, at)[0] - lost) < 1e-9


@given(st.integers(0, 10**6))
def test_what_a_ceiling_is_made_up_of_adds_up(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sample = [Fraction(int(n), 100) for n in rng.integers(20_000, 300_000, 8)]
    selling = Selling(
        Fraction(18, 100), Fraction(3, 100), Fraction(2, 100), capital=Fraction(6, 100), months=Fraction(5)
    )
    use = second.Use(tuple(sample), "full", Fraction(23, 100), selling, Fraction(100))
    (made,) = ceilings(deals_of(use, Fraction(0)), 0.1).made_up
    assert abs(made.reserve - 0.02 * made.sells_for) < 1e-6
    assert abs(made.costs - 100 - 0.025 * made.leaves) < 1e-6
    left = made.sells_for - made.vat - made.fee - made.reserve - made.costs - made.margin
    assert abs(left - made.leaves) < 1e-6
