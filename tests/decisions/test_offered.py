"""What every offer costs on top of its price, use by use, and what the set to buy is drawn from."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from kitvalue.decisions import together
from kitvalue.decisions.offered import JudgedOffers, grounds_of, shortlisted
from kitvalue.decisions.portfolio import Candidates, Portfolio, best_set
from kitvalue.decisions.together import bought_together
from kitvalue.intake.settings.shop import Shop
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from tests import worked
from tests.decisions.test_haggling import offer
from tests.decisions.test_uses import part, sizes
from tests.market.books import invented_book

PARTS = [part("13 inch", 60, "0.85", 13), part("22 inch", 100, "0.75", 22), part("legs", 30, "0.5", weeks=10)]


def shop_of(**selling: Decimal) -> Shop:
    shop = worked.shop()
    assert shop.work is not None
    assert shop.selling is not None
    work = shop.work.model_copy(update={"prepare": Decimal(3), "part_out": Decimal(2)})
    return shop.model_copy(update={"work": work, "selling": shop.selling.model_copy(update=selling)})


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_book(invented_book(n=200, seed=5), 10.0)


def profits(answers: JudgedOffers) -> dict[tuple[str, str], float]:
    (judged,) = answers.judged
    return {(u.use, u.route): u.expected_profit for u in judged.uses if u.expected_profit is not None}


def test_keeping_a_kit_costs_its_months_and_its_parts_theirs(fit: Fit) -> None:
    """8 a month: 20 for a kit sold whole in 2.5 months; in parts until the slowest is sold, ten weeks."""
    kit = offer(series="Series A", sizes=sizes("22x16 13x9 13x11"))
    free, kept = (
        profits(shortlisted(grounds_of(shop_of(**selling), fit, None, PARTS, None), [kit]))
        for selling in ({}, {"holding": Decimal(8), "months_to_sell": Decimal("2.5")})
    )
    assert set(free) == {("sell on", "full"), ("sell on", "margin"), ("parts", "full"), ("parts", "margin")}
    for (use, route), profit in free.items():
        months = 2.5 if use == "sell on" else 10 * 7 * 12 / 365.25
        assert profit - kept[use, route] == pytest.approx(8 * months)


def test_what_is_bought_to_restore_a_kit_is_paid_by_its_sale(fit: Fit) -> None:
    grounds = grounds_of(shop_of(), fit, None, None, None)
    plain, dearer = (
        profits(shortlisted(grounds, [offer(series="Series A", parts=parts)])) for parts in (None, Decimal(55))
    )
    assert plain["sell on", "full"] - dearer["sell on", "full"] == pytest.approx(55)


def test_the_set_is_drawn_as_the_offers_are_judged(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rebuild's draws, at its share of the kit's price, have about the mean that its use has; what is paid counts
    with its freight."""
    drawn: list[Candidates] = []

    def noted(given: Candidates, budget: float | None, bench_hours: float | None, loss_chance: float) -> Portfolio:
        drawn.append(given)
        return best_set(given, budget, bench_hours, loss_chance)

    monkeypatch.setattr(together, "best_set", noted)
    tables = worked.plan_tables()
    finished = tables["finished"] | {"series": "Series A", "share": 80}
    plan = worked.plan(finished=finished, work=[], part=[], surplus=[])
    book = invented_book(n=200, seed=5)
    grounds = grounds_of(shop_of(), fit_book(replace(book, price=20 * book.price), 10.0), plan, None, None)
    kit = offer(series="Series A", sizes=sizes("12x10 22x16 16x16 13x11"), price=Decimal(100))
    answers = shortlisted(grounds, [kit])
    assert [one.offer for one in bought_together(grounds, answers, [plan]).portfolio.buy] == ["D1"]
    best, (given,) = answers.judged[0].best, drawn
    assert best is not None
    assert best.use == "rebuild"
    at = [one.use for (one,) in given.uses].index("rebuild")
    assert given.profits[at].mean() == pytest.approx(best.expected_profit, rel=0.05)
    assert given.spent[at] == pytest.approx(
        answers.judged[0].paid.price + 45 + 280 + 30 + 165 * 1.23, abs=0.01
    )  # all of it
