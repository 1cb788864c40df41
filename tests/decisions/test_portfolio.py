"""What to buy together: against trying every set, and within its limits."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest

from kitvalue.decisions import portfolio
from kitvalue.decisions.portfolio import Bought, Candidates, Portfolio, _bound, best_set
from tests.reckoning.portfolio import Choice, Limits, best, bound, expected


def sold_on(*names: str) -> tuple[tuple[Bought, ...], ...]:
    return tuple((Bought(name, "sell on"),) for name in names)


def offers(found: Portfolio) -> tuple[str, ...]:
    return tuple(one.offer for one in found.buy)


def candidates(seed: int, m: int) -> Candidates:
    rng = np.random.default_rng(seed)
    level = rng.normal(0, 1, 300)
    expected = rng.normal(40, 60, m)
    profits = expected[:, None] + 60 * level + rng.normal(0, rng.uniform(20, 150, (m, 1)), (m, 300))
    return Candidates(
        sold_on(*(f"D{i}" for i in range(m))), expected, profits, rng.uniform(100, 900, m), rng.uniform(2, 40, m)
    )


@pytest.mark.parametrize("seed", range(30))
def test_the_best_of_every_set(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    given = candidates(seed, int(rng.integers(1, 9)))
    budget = float(rng.uniform(300, 3000)) if rng.random() < 0.5 else None
    hours = float(rng.uniform(10, 120)) if rng.random() < 0.5 else None
    most = 0.0
    for count in range(len(given.uses) + 1):
        for chosen in itertools.combinations(range(len(given.uses)), count):
            at = list(chosen)
            if budget is not None and given.spent[at].sum() > budget:
                continue
            if hours is not None and given.hours[at].sum() > hours:
                continue
            if at and (given.profits[at].sum(axis=0) < 0).mean() > 0.2:
                continue
            most = max(most, float(given.expected[at].sum()))
    found = best_set(given, budget, hours, 0.2)
    assert found.exact
    assert found.expected_profit == pytest.approx(most)
    assert found.chance_of_loss <= 0.2
    assert budget is None or found.spent <= budget
    assert hours is None or found.hours <= hours


def test_more_than_fifteen_are_chosen_within_the_limits() -> None:
    given = candidates(7, 60)
    found = best_set(given, 6000.0, 300.0, 0.1)
    assert found.exact  # the bound is met
    assert 0 < found.spent <= 6000
    assert found.hours <= 300
    assert found.chance_of_loss <= 0.1
    at = [given.uses.index((one,)) for one in found.buy]
    for i in range(60):  # nothing that gains still fits
        if i not in at and given.expected[i] > 0:
            more = [*at, i]
            fits = given.spent[more].sum() <= 6000 and given.hours[more].sum() <= 300
            assert not fits or (given.profits[more].sum(axis=0) < 0).mean() > 0.1


def test_a_shared_level_keeps_kits_apart_that_their_own_chances_would_join() -> None:
    """Two kits, each losing in one draw of ten: together too where the market's level moves both."""
    level = np.where(np.arange(100) < 10, -50.0, 50.0)
    shared = np.array([level, level])
    apart = np.array([level, np.roll(level, 10)])
    two = Candidates(sold_on("a", "b"), np.array([40.0, 40.0]), shared, np.ones(2), np.ones(2))
    assert best_set(two, None, None, 0.1).chance_of_loss == pytest.approx(0.1)
    other = Candidates(sold_on("a", "b"), np.array([40.0, 40.0]), apart, np.ones(2), np.ones(2))
    assert best_set(other, None, None, 0.1).chance_of_loss == 0.0


def test_the_best_set_may_come_after_a_thousand_that_lose_too_often() -> None:
    """Eleven kits of which one loses half of the time: every set with it (the 1,024 best) loses too often."""
    fair = np.full((10, 4), 1.0)
    risky = np.array([[-5000.0, -5000.0, 7000.0, 7000.0]])
    given = Candidates(
        sold_on(*(f"D{i}" for i in range(11))), np.append(np.ones(10), 1000.0), np.vstack([fair, risky]), np.ones(11),
        np.ones(11),
    )  # fmt: skip
    found = best_set(given, None, None, 0.1)
    assert offers(found) == tuple(f"D{i}" for i in range(10))
    assert (found.expected_profit, found.chance_of_loss) == (10.0, 0.0)


def test_a_limit_reached_exactly_is_kept() -> None:
    given = Candidates(
        sold_on("a", "b"), np.array([40.0, 30.0]), np.full((2, 10), 35.0), np.array([0.1, 0.2]), np.ones(2)
    )
    assert offers(best_set(given, 0.3, 2.0, 0.0)) == ("a", "b")  # 0.1 + 0.2 is above 0.3 in floats
    assert offers(best_set(given, None, 1.0, 0.0)) == ("a",)


def test_swaps_go_on_until_none_gains() -> None:
    """Room for three of sixteen. Two risky kits, each refused alone, are swapped in once sure ones carry their loss;
    no set of three is better."""
    profits = np.full((16, 4), 20.0)
    profits[0], profits[1] = [-30, 140, 140, 140], [140, -30, 140, 140]
    profits[2:] -= np.arange(14)[:, None]
    mean = profits.mean(axis=1)
    given = Candidates(sold_on(*(f"D{i}" for i in range(16))), mean, profits, np.ones(16), np.ones(16))
    sets = [s for n in range(4) for s in itertools.combinations(range(16), n)]
    most = max(mean[list(s)].sum() for s in sets if not s or (profits[list(s)].sum(axis=0) >= 0).all())
    found = best_set(given, 3.0, None, 0.0)
    assert found.expected_profit == most
    assert {"D0", "D1"} < set(offers(found))


def test_many_kits_that_lose_together_are_left_alone() -> None:
    """Each gains on average and loses in two draws of ten, the same two: any set of them does."""
    profits = np.tile([-10.0, -10.0, *[50.0] * 8], (20, 1))
    given = Candidates(sold_on(*(f"D{i}" for i in range(20))), profits.mean(axis=1), profits, np.ones(20), np.ones(20))
    assert offers(best_set(given, None, None, 0.1)) == ()
    assert len(offers(best_set(given, None, None, 0.2))) == 20


def test_an_offer_that_gains_nothing_is_not_bought() -> None:
    for m in (3, 20):  # every set, and greedy
        given = Candidates(sold_on(*(f"D{i}" for i in range(m))), np.zeros(m), np.zeros((m, 4)), np.ones(m), np.ones(m))
        assert offers(best_set(given, None, None, 0.1)) == ()


@pytest.mark.parametrize("seed", range(120))
def test_uses_that_compete_are_chosen_as_by_trying_every_set(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against tests/reckoning: an offer used once, a plan of one or two offers built once, losing uses that
    hedge others. Source: no outside one, two routes."""
    rng = np.random.default_rng(5000 + seed)
    m = int(rng.integers(1, 9))
    profits = rng.integers(-100, 120, (m, 10)).astype(np.float64)  # some lose on average and hedge others
    spent, hours = rng.integers(100, 900, m), rng.integers(2, 40, m)
    uses = [build_or_use(rng, i) for i in range(m)]
    given = Candidates(tuple(uses), profits.mean(axis=1), profits, spent.astype(float), hours.astype(float))
    budget = int(rng.integers(300, 2000)) if rng.random() < 0.6 else None
    choices = [
        Choice(
            str(i), frozenset(one.offer for one in use), Fraction(int(spent[i])), Fraction(int(hours[i])),
            tuple(Fraction(x) for x in profits[i].tolist()), use[0].plan or "",
        )
        for i, use in enumerate(uses)
    ]  # fmt: skip
    loss = Fraction(int(rng.integers(0, 4)), 10)
    limits = Limits(None if budget is None else Fraction(budget), Fraction(60), loss_chance=loss)
    most, over = float(expected(best(choices, limits))), float(bound(choices, limits))
    found = best_set(given, budget, 60.0, float(loss))
    assert found.expected_profit == pytest.approx(most)
    assert (found.exact, found.gap) == (True, 0)
    assert found.spent <= (budget or np.inf)
    assert found.chance_of_loss <= float(loss)
    monkeypatch.setattr(portfolio, "EXACT", 0)  # now as with more uses than can be tried
    found = best_set(given, budget, 60.0, float(loss))
    assert found.bound == pytest.approx(max(over, 0))
    assert found.gap == pytest.approx(found.bound - found.expected_profit, abs=0.005)
    assert most - over * 0.05 <= found.expected_profit + 1e-9 <= most + 1e-6


def build_or_use(rng: np.random.Generator, at: int) -> tuple[Bought, ...]:
    """One offer of four by itself or for a build, or two of them that go into one."""
    first, second = (f"D{i}" for i in rng.choice(4, 2, replace=False))
    plan = f"P{rng.integers(0, 2)}"
    kind = rng.random()
    if kind < 0.5:
        return (Bought(first, "parts" if at % 2 else "sell on"),)
    return tuple(Bought(name, "rebuild", plan) for name in ((first,) if kind < 0.75 else (first, second)))


@pytest.mark.parametrize("seed", range(20))
def test_eighteen_uses_by_steps_come_near_the_best_of_all_sets(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The chance of a loss binds in most of these: a search by single swaps was up to 19 % short of the best."""
    given = candidates(9000 + seed, 18)
    found = best_set(given, 3000.0, 150.0, 0.1)
    monkeypatch.setattr(portfolio, "EXACT", 18)
    exact = best_set(given, 3000.0, 150.0, 0.1)
    assert 0.97 * exact.expected_profit <= found.expected_profit <= exact.expected_profit + 1e-6
    assert found.bound >= exact.expected_profit - 1e-6
    assert found.chance_of_loss <= 0.1


def test_uses_beyond_those_drawn_count_in_the_bound() -> None:
    """Of ninety uses sixty are searched. The bound by hand: all that gain; within a budget what it allows in parts, the
    best for its money first (Dantzig 1957, from memory), which is never less."""
    whole = candidates(11, 90)
    at = np.argsort(-whole.expected)
    given = Candidates(
        tuple(whole.uses[i] for i in at), np.abs(whole.expected[at]), whole.profits[at[:60]], whole.spent[at],
        whole.hours[at],
    )  # fmt: skip
    free, tight = (best_set(given, budget, None, 0.1) for budget in (None, 15000.0))
    assert free.bound == pytest.approx(given.expected.sum())
    assert free.gap == pytest.approx(given.expected.sum() - free.expected_profit)
    assert not free.exact
    room, most = 15000.0, 0.0
    for i in np.argsort(-given.expected / given.spent):
        part = min(1.0, room / given.spent[i])
        room, most = room - part * given.spent[i], most + part * given.expected[i]
    assert tight.expected_profit < tight.bound <= most + 1e-6
    assert tight.bound >= most - given.expected.max()


def test_the_solver_says_nothing_where_answers_are_printed(capfd: pytest.CaptureFixture[str]) -> None:
    """HiGHS prints on its own where a solution is a hair outside a limit; this one makes it do so."""
    for seed in (37, 84, 93):
        given = candidates(seed, 60)
        _bound(given.expected, [(given.spent, 6000.0), (given.hours, 300.0)])
    assert capfd.readouterr().out == ""
