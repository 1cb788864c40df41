"""A kit sold in parts: every case of sold and unsold tried one by one, and no say of the other offers."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import product
from math import floor

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kitvalue.decisions.ceiling import PARTS
from kitvalue.decisions.offered import grounds_of, shortlisted
from kitvalue.decisions.shortlist import MOST_OUTCOMES, SCENARIOS, KitParts, part_sales
from kitvalue.intake.books.offers import Offer, Part
from kitvalue.intake.text.sizes import Size
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.workshop.costing import settings_of
from tests.decisions.test_haggling import offer
from tests.decisions.test_offered import shop_of
from tests.decisions.test_uses import part, sizes
from tests.market.books import invented_book
from tests.reckoning.exact import inside

COPIES = ("22x16", "16x16", "13x11", "12x10", "10x9", "14x6.5")
KITS = st.lists(st.sampled_from(COPIES), min_size=1, max_size=8).map(lambda one: sizes(" ".join(one)))
VALUES = st.tuples(st.sampled_from((5, 20, 60, 61.5, 140)), st.integers(0, 100))


def rows_of(figures: list[tuple[float, int]]) -> list[Part]:
    """A row for each diameter of the drums, two for what is no drum."""
    names = ("22 inch", "16 inch", "13 inch", "12 inch", "10 inch", "14 inch", "legs", "hoops")
    return [
        part(name, value, str(Decimal(chance) / 100), int(name[:2]) if name[:2].isdigit() else None)
        for name, (value, chance) in zip(names, figures, strict=True)
    ]


def cases(parts: list[Part]) -> list[tuple[Fraction, Fraction]]:
    """(what it brings, its chance) of each of the 2^n cases."""
    found = []
    for sold in product((False, True), repeat=len(parts)):
        chance = Fraction(1)
        for each, so in zip(parts, sold, strict=True):
            chance *= Fraction(each.chance) if so else 1 - Fraction(each.chance)
        brings = sum((Fraction(each.value) for each, so in zip(parts, sold, strict=True) if so), Fraction(0))
        found.append((brings, chance))
    return found


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_book(invented_book(n=60, seed=5), 10.0)


@given(st.lists(VALUES, min_size=8, max_size=8), KITS)
@settings(max_examples=25)
def test_what_parts_bring_is_every_case_of_sold_and_unsold(
    figures: list[tuple[float, int]], kit: tuple[Size, ...]
) -> None:
    parts = rows_of(figures)
    own = [next(p for p in parts if p.fits(size)) for size in kit] + parts[6:]
    sales = part_sales(KitParts(tuple(parts.index(p) for p in own), ()), parts)
    told: dict[Fraction, Fraction] = {}
    for brings, chance in cases(own):
        told[brings] = told.get(brings, Fraction(0)) + chance
    assert list(sales.outcomes) == [float(brings) for brings in sorted(told)]
    assert list(sales.chances) == pytest.approx([float(told[brings]) for brings in sorted(told)], abs=1e-12)
    assert sales.value == float(sum(p.value for p in own))


@given(st.lists(VALUES, min_size=8, max_size=8), KITS, st.integers(1, 99), st.integers(0, 400))
@settings(max_examples=25)
def test_ceiling_and_chance_of_a_loss_are_those_of_every_case(
    fit: Fit, figures: list[tuple[float, int]], kit: tuple[Size, ...], loss: int, asked: int
) -> None:  # fmt: skip
    """Under full VAT a case leaves what it brings less its VAT, the fee, the work and the price: a second route."""
    shop, parts = shop_of(loss_chance=Decimal(loss)), rows_of(figures)
    one = offer(series="Series A", sizes=kit, price=Decimal(asked), haggle=Decimal(0))
    (judged,) = shortlisted(grounds_of(shop, fit, None, parts, None), [one]).judged
    use = next(u for u in judged.uses if (u.use, u.route) == (PARTS, "full"))
    own = [next(p for p in parts if p.fits(size)) for size in kit] + parts[6:]
    tax, selling = settings_of(shop)
    k, fee, margin = inside(Fraction(tax.rate) / 100), Fraction(selling.fee) / 100, Fraction(selling.margin) / 100
    spent = Fraction(2 * 42) * Fraction("1.1") + Fraction(one.freight or 0)
    leaves = sorted((brings * (1 - k - fee) - spent, chance) for brings, chance in cases(own))
    mean = sum(brings * chance for brings, chance in cases(own))
    lost = sum(chance for left, chance in leaves if left < asked)
    assume(all(abs(left - asked) > Fraction(1, 10**5) for left, _ in leaves))
    assert use.chance_of_loss == pytest.approx(float(lost), abs=1e-9)
    assert use.expected_profit == pytest.approx(float(mean * (1 - k - fee) - spent - asked), abs=1e-6)
    below, safe = Fraction(0), None
    for left, chance in leaves:
        below += chance
        assume(abs(below - Fraction(loss, 100)) > Fraction(1, 10**8))
        if below > Fraction(loss, 100):
            safe = left
            break
    assert safe is not None
    most = min(safe, mean * ((1 - k) * (1 - margin) - fee) - spent)
    told = None if most < 0 else floor(most * 100) / 100
    assert use.safe_ceiling == (told if told is None else pytest.approx(told, abs=0.011))


@given(st.lists(KITS, min_size=2, max_size=5), st.data())
@settings(max_examples=20)
def test_no_other_offer_and_no_order_changes_what_is_said_of_one(
    fit: Fit, kits: list[tuple], data: st.DataObject
) -> None:
    figures = [(140.0, 60), (61.5, 80), (60, 70), (20, 33), (20, 50), (95, 90), (5, 50), (30, 25)]
    grounds = grounds_of(shop_of(), fit, None, rows_of([(float(v), c) for v, c in figures]), None)
    offers = [offer(offer=f"D{at:02}", row=at + 2, series="Series A", sizes=kit) for at, kit in enumerate(kits)]

    def uses(some: list[Offer]) -> dict[str, object]:
        return {one.offer.offer: (one.stop_at, one.best, one.uses) for one in shortlisted(grounds, some).judged}

    together = uses(offers)
    some = data.draw(st.permutations(offers))[: data.draw(st.integers(1, len(offers)))]
    assert uses(some) == {one.offer: together[one.offer] for one in some}
    turned = [offer(offer=o.offer, row=o.row, series="Series A", sizes=o.sizes[::-1]) for o in offers]
    assert {k: v[1:] for k, v in uses(turned).items()} == {k: v[1:] for k, v in together.items()}


def test_more_parts_than_can_be_told_exactly_are_drawn_from_the_kits_own_seed() -> None:
    """Fourteen parts of which no two sums are equal: each is sold in its chance of the draws, whatever its place."""
    parts = [part(f"part {at}", 2**at, str(Decimal(5 * at + 10) / 100)) for at in range(14)]
    twelve, all_of_them = KitParts(tuple(range(12)), ()), KitParts(tuple(range(14)), ())
    assert len(part_sales(twelve, parts).outcomes) == MOST_OUTCOMES
    sales = part_sales(all_of_them, parts)
    assert len(sales.outcomes) == SCENARIOS
    assert sales.outcomes @ sales.chances == pytest.approx(sum(float(p.value * p.chance) for p in parts))
    turned = part_sales(KitParts(tuple(reversed(range(14))), ()), parts)
    assert list(turned.outcomes) == list(sales.outcomes)
