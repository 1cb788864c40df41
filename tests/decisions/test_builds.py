"""Builds of offers, against other ways to the same figures: a plan written with the offers as its donors and costed,
tests/reckoning for the cash, and every way to fill the donors written out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from kitvalue.decisions import together
from kitvalue.decisions.builds import BuildChoice, bought_as, builds_of, expected_profits
from kitvalue.decisions.offered import Grounds, JudgedOffers, grounds_of, rebuilds, shortlisted
from kitvalue.decisions.portfolio import Bought, Candidates, Portfolio, best_set
from kitvalue.decisions.together import bought_together
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.workshop.costing import cost_sheet
from kitvalue.workshop.tax import exact_profit
from tests import worked
from tests.decisions.test_haggling import offer
from tests.decisions.test_offered import PARTS, shop_of
from tests.decisions.test_uses import sizes
from tests.market.books import invented_book
from tests.reckoning.purchases import Business, Terms, reckon

A, B = "22x16 13x11 16x16 12x10", "10x9 14x14"  # the drums of the plan's donors


@pytest.fixture(scope="module")
def fit() -> Fit:
    book = invented_book(n=200, seed=5)
    return fit_book(replace(book, price=20 * book.price), 10.0)


def plan_of(work: dict[str, Any] | None = None, **donors: dict[str, Any]) -> Plan:
    """The worked case's plan, with a series of the book, its donors and its first line of work changed."""
    tables = worked.plan_tables()
    for donor in tables["donor"]:
        donor |= donors.get(donor["id"], {})
    tables["work"][0] |= work or {}
    return worked.plan(**tables | {"finished": tables["finished"] | {"series": "Series A"}})


OFFERS = (
    offer(offer="first", series="Series A", sizes=sizes(A), price=Decimal(310)),
    offer(offer="second", series="Series A", sizes=sizes(B), pieces=2, price=Decimal("97.40"), haggle=Decimal(7)),
    offer(offer="large", series="Series A", sizes=sizes(f"{A} {B}"), pieces=6, price=Decimal(500), freight=Decimal(20),
          bought_from="trade", vat="included", freight_by="seller"),
    offer(offer="other", series="Series A", sizes=sizes("8x8"), pieces=1),
    offer(offer="unpriced", series="Series A", sizes=sizes(A), price=None, price_kind="hammer"),
)  # fmt: skip


def judged(
    plan: Plan, fit: Fit, offers: Sequence[Offer] = OFFERS, shop: Shop | None = None
) -> tuple[Grounds, JudgedOffers]:
    grounds = grounds_of(shop or shop_of(capital=Decimal(5), months_to_sell=Decimal(3)), fit, plan, PARTS, None)
    return grounds, shortlisted(grounds, offers)


def filled(build: BuildChoice) -> dict[str, str]:
    return {donor: lot.offer.offer for donor, lot in build.filled}


def test_each_way_to_fill_the_donors_is_a_build(fit: Fit) -> None:
    grounds, answers = judged(plan_of(), fit)
    for_a, for_b = ("first", "large", None), ("second", "large", None)  # by the sizes above; None: as the plan says
    ways = [{"A": a, "B": b} for a in for_a for b in for_b if (a or b) and a != b]
    wanted = [{donor: name for donor, name in way.items() if name} for way in ways]
    made = [filled(build) for build in builds_of(plan_of(), grounds, answers.lots)]
    assert sorted(map(str, made)) == sorted(map(str, wanted))


def test_a_donor_with_the_name_of_an_offer_is_that_offer_and_one_of_unknown_freight_cannot_be_costed(fit: Fit) -> None:
    b = offer(offer="b", series="Series A", pieces=2, price=Decimal(90))
    named = (*OFFERS, b, offer(offer="A", series="Series A", pieces=3))
    plan = plan_of(A={"series": "Series A"}, B={"series": "Series A"})
    grounds, answers = judged(plan, fit, named)
    made = [filled(build) for build in builds_of(plan, grounds, answers.lots)]
    assert {"A": "first", "B": "b"} in made
    assert {"B": "b"} in made
    assert all("B" in one for one in made)  # it is bought as the offer is, or another in its place
    assert all(one.get("A") != "A" for one in made)  # another kit of that name: it has other drums
    unknown = plan_of(A={"freight": None})
    grounds, answers = judged(unknown, fit)
    assert all("A" in filled(build) for build in builds_of(unknown, grounds, answers.lots))


@pytest.mark.parametrize("route", [None, "margin"])
@pytest.mark.parametrize("spare", [None, Decimal(25)])
def test_a_build_leaves_what_a_plan_with_the_offers_as_donors_would(
    fit: Fit, route: str | None, spare: Decimal
) -> None:
    plan = plan_of(A={"spare": spare}, B={"spare": spare}).model_copy(update={"route": route})
    grounds, answers = judged(plan, fit)
    builds = builds_of(plan, grounds, answers.lots)
    outcomes = [Decimal(repr(x)) for x in rebuilds(plan, fit).clipped[0].tolist()]
    assert len(builds) == (7 if route is None else 3)  # a kit bought with VAT shown closes the margin scheme
    for build, profit in zip(builds, expected_profits(builds, grounds), strict=True):
        lots = dict(build.filled)
        donors = tuple(bought_as(d, lots[d.id]) if d.id in lots else d for d in plan.donor)
        sheet = cost_sheet(plan.model_copy(update={"donor": donors}), grounds.shop)
        assert sheet.route == build.route
        assert build.cost == pytest.approx(float(sheet.net_cost), abs=0.011)
        assert build.route == "full" or build.purchase == pytest.approx(float(sheet.chosen.purchase), abs=0.011)
        assert build.hours == float(sheet.hours)
        by_hand = [exact_profit(x, sheet.net_cost, sheet.chosen.purchase, grounds.terms, build.route) for x in outcomes]
        assert profit == pytest.approx(float(sum(by_hand) / len(by_hand)), abs=0.02)


def test_a_kit_under_the_plans_grade_takes_hours_more_a_drum(fit: Fit) -> None:
    """Half a grade at 1.2 h a grade, on the four drums of donor A: 2.4 h at the shop's rate."""
    shop = worked.shop()
    assert shop.work is not None
    shop = shop.model_copy(update={"work": shop.work.model_copy(update={"grade": {"any": Decimal("1.2")}})})
    plan, kits = plan_of(), [offer(sizes=sizes(A), series="Series A", condition=Decimal(g)) for g in ("3", "2.5")]
    (even,), (worse,) = (
        [one for one in builds_of(plan, grounds, answers.lots) if filled(one) == {"A": "D1"}]
        for grounds, answers in (judged(plan, fit, [kit], shop) for kit in kits)
    )
    assert shop.work is not None
    assert worse.hours - even.hours == pytest.approx(2.4)
    more = 2.4 * float(shop.work.rate) * (1 + float(shop.work.contingency) / 100)
    assert worse.cost - even.cost == pytest.approx(more, abs=0.011)


def test_the_cash_is_all_that_goes_out_for_kits_and_new_shells(fit: Fit) -> None:
    """By tests/reckoning; the plan has one new shell, net."""
    plan = plan_of()
    grounds, answers = judged(plan, fit)
    builds = {str(filled(build)): build for build in builds_of(plan, grounds, answers.lots)}
    step = {lot.offer.offer: lot.paid.price for lot in answers.lots if lot.paid is not None}
    shell = Fraction(165) * Fraction(123, 100)
    own = {"A": Fraction(340 + 45), "B": Fraction(280 + 30)}
    cash = {
        "first": reckon(Fraction(round(step["first"], 2)), Terms(freight=Fraction(45)), Business()).paid,
        "second": reckon(Fraction(round(step["second"], 2)), Terms(freight=Fraction(45)), Business()).paid,
        "large": reckon(
            Fraction(round(step["large"], 2)), Terms("trade", "included", freight=Fraction(20), freight_by="seller"),
            Business(),
        ).paid,
    }  # fmt: skip
    for named, build in builds.items():
        paid = [cash[filled(build)[d]] if d in filled(build) else own[d] for d in ("A", "B")]
        assert build.cash == pytest.approx(float(sum(paid) + shell), abs=0.011), named
    told = bought_together(grounds, answers, [plan]).portfolio
    assert told.spent > 0


def noted(monkeypatch: pytest.MonkeyPatch, *given: Any) -> tuple[Candidates, Portfolio]:
    """What is chosen from, and what is chosen."""
    seen: list[Candidates] = []

    def chosen(from_: Candidates, *limits: Any) -> Portfolio:
        seen.append(from_)
        return best_set(from_, *limits)

    monkeypatch.setattr(together, "best_set", chosen)
    found = bought_together(*given).portfolio
    return seen[0], found


def test_a_begun_plan_still_needs_what_it_misses_and_gives_up_what_it_has(
    fit: Fit, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Donor A in hand and the first work done: their money is no longer counted; what A would bring by itself is."""
    fresh, begun = plan_of(), plan_of({"done": True}, A={"in_hand": True, "series": "Series A", "sizes": A})
    offers = [one for one in OFFERS if one.offer == "second"]
    grounds, answers = judged(fresh, fit, offers)
    new, old = builds_of(begun, grounds, answers.lots), builds_of(fresh, grounds, answers.lots)
    assert [filled(build) for build in new] == [{"B": "second"}] == [filled(build) for build in old]
    sheets = [cost_sheet(one, grounds.shop) for one in (fresh, plan_of({"only": ("snare",)}))]
    done = float(sheets[0].net_cost - sheets[1].net_cost)  # no drum of the plan is a snare
    assert done > 0
    capital = float(grounds.terms.tied) * 385
    assert old[0].cost - new[0].cost == pytest.approx(385 + capital + done, abs=0.02)
    assert old[0].cash - new[0].cash == pytest.approx(385)
    assert old[0].hours - new[0].hours == pytest.approx(float(sheets[0].hours - sheets[1].hours))
    assert old[0].purchase == new[0].purchase  # P is what was paid for it
    assert cost_sheet(begun, grounds.shop).net_cost == sheets[0].net_cost  # the floor keeps it
    alone = offer(offer="A", series="Series A", sizes=sizes(A), price=Decimal(340), haggle="fixed")
    uses = judged(fresh, fit, [alone])[1].judged[0].uses
    otherwise = max(use.expected_profit or -9e9 for use in uses if use.use != "rebuild" and use.route == "full")
    given, _ = noted(monkeypatch, grounds, answers, [begun])
    at = [one[0].plan for one in given.uses].index("worked")
    leaves = float(expected_profits(new, grounds)[0])
    assert given.expected[at] == pytest.approx(leaves - max(0, otherwise + 385 + capital), abs=0.02)
    assert given.profits[at].mean() == pytest.approx(given.expected[at], rel=0.1)


def test_two_offers_fill_two_donors_of_one_plan(fit: Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both go into one build, told with its donors. The shop names no hours to sell them on."""
    plan = plan_of(A={"price": 50000}, B={"price": 50000}).model_copy(update={"surplus": ()})
    cheap = [replace(one, price=Decimal(60), haggle="fixed", freight=Decimal(10)) for one in OFFERS[:2]]
    dear = fit_book(replace(fit.book, price=3 * fit.book.price), 10.0)
    grounds, answers = judged(plan, dear, cheap, worked.shop())
    given, found = noted(monkeypatch, grounds, answers, [plan])
    builds = [one for one in found.buy if one.plan is not None]
    assert {(one.offer, one.donor) for one in builds} == {("first", "A"), ("second", "B")}
    assert builds[0] == Bought("first", "rebuild", "worked", "full", "A")
    assert found.spent == pytest.approx(140 + 165 * 1.23)
    assert len(given.uses) == 3
