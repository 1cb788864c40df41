"""Ceilings, profits and the chance of a loss in the offer's own terms, by the second route (tests/reckoning): in closed
form from the sentences of the directive and of the method, in fractions."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.decisions.ceiling import Base, landed
from kitvalue.decisions.offered import grounds_of, shortlisted
from kitvalue.decisions.shortlist import JudgedUse, UseBatch, judged_uses
from kitvalue.intake.settings.shop import Route, TaxTable
from kitvalue.market.fit import fit_book
from kitvalue.workshop.purchases import is_open
from kitvalue.workshop.tax import Terms as SaleTerms
from tests import worked
from tests.decisions.test_haggling import offer
from tests.market.books import invented_book
from tests.reckoning import ceilings as second
from tests.reckoning.exact import unrounded
from tests.reckoning.floors import Selling, profit
from tests.reckoning.purchases import TABLE, Business, Terms, reckon

CENT = 0.01


def percents(most: int) -> st.SearchStrategy[Fraction]:
    return st.integers(0, 10 * most).map(lambda n: Fraction(n, 10))


def money(most: int) -> st.SearchStrategy[Fraction]:
    return st.integers(0, most * 100).map(lambda n: Fraction(n, 100))


@st.composite
def offers(draw: st.DrawFn) -> Terms:
    """Any source and word of VAT, with premium, freight and terms of import."""
    source, word = draw(st.sampled_from(sorted(TABLE)))
    premium = draw(st.sampled_from([0, 0, 12, 25]).map(Fraction))
    duty, vat, clearance = (
        draw(st.none() | values) if source == "import" else None for values in (percents(12), percents(27), money(80))
    )
    return Terms(
        source, word, premium, draw(st.sampled_from(["", "included"])) if premium else "", draw(money(120)),
        draw(st.sampled_from(["carrier", "seller"])), duty, vat, clearance,
    )  # fmt: skip


BUSINESSES = st.builds(
    Business, rate=percents(27), registered=st.booleans(), kind=st.sampled_from(["vat", "vat", "sales"]),
    duty=percents(8), import_vat=percents(27),
    clearance=money(60),
)  # fmt: skip
SELLINGS = st.builds(
    Selling,
    *(st.integers(0, most).map(lambda n: Fraction(n, 1000)) for most in (300, 100, 50)),
    freight=money(90), capital=st.integers(0, 150).map(lambda n: Fraction(n, 1000)),
    months=st.integers(0, 12).map(Fraction),
)  # fmt: skip


def decimal(value: Fraction | None) -> Decimal | None:
    return None if value is None else Decimal(value.numerator) / Decimal(value.denominator)


def tax_of(business: Business) -> TaxTable:
    own = {key: decimal(getattr(business, of)) for key, of in (("duty", "duty"), ("vat", "import_vat"))}
    table = {"rate": decimal(business.rate), "registered": business.registered, "kind": business.kind}
    return TaxTable.model_validate(table | {"import": own | {"clearance": decimal(business.clearance)}})


def as_offer(terms: Terms) -> Any:
    told = {key: decimal(one) if isinstance(one, Fraction) else one or None for key, one in asdict(terms).items()}
    return offer(**told)


def judged_use(terms: Terms, business: Business, use: second.Use, chance: Fraction, paid: float) -> JudgedUse:
    """The same use of the same offer as the program has it."""
    s, tax = use.selling, tax_of(business)
    base = Base("rebuild", use.route, float(use.others), float(use.other_purchases), 0.0, 0.0, 0.0, 0.0, True, None)  # type: ignore[arg-type]
    sample, nothing = np.array([[float(price) for price in use.sample]]), np.zeros(1)
    batch = UseBatch(
        base, [0], [landed(as_offer(terms), tax)], sample, sample, np.zeros(1, dtype=np.int64), nothing,
        float(s.freight), tied=float(s.tied),
    )  # fmt: skip
    at = (decimal(one) or Decimal(0) for one in (use.rate, s.fee, s.margin, s.freight, Fraction(1), s.reserve))
    (one,) = judged_uses(batch, [paid], SaleTerms(*at), float(chance))
    return one


@settings(max_examples=400)
@given(
    terms=offers(), business=BUSINESSES, selling=SELLINGS, sell_on=st.sampled_from(["full", "margin"]),
    sample=st.lists(money(2500), min_size=1, max_size=14).map(tuple), others=money(500), other=money(300),
    chance=st.sampled_from([Fraction(0), Fraction(1, 10), Fraction(1, 3)]), paid=money(1500),
)  # fmt: skip
def test_every_kind_of_offer_is_judged_as_the_second_route_judges_it(
    terms: Terms, business: Business, selling: Selling, sell_on: Route, sample: tuple[Fraction, ...], others: Fraction,
    other: Fraction, chance: Fraction, paid: Fraction,
) -> None:  # fmt: skip
    bought = reckon(paid, terms, business, unrounded)
    assert is_open(as_offer(terms), tax_of(business)) == bought.open
    route = (sell_on if bought.open else "full") if business.registered else "none"
    route = "sales" if business.deducts < business.registered else route
    use = second.Use(sample, route, business.v, selling, others, other if route == "margin" else Fraction(0))
    found = judged_use(terms, business, use, chance, float(paid))
    both = (
        (found.ceiling, second.ceiling(use, terms, business)),
        (found.safe_ceiling, second.safe_ceiling(use, terms, business, chance)),
    )
    for ours, theirs in both:  # a price that is whole cents may round to either side
        a, b = (-1.0 if one is None else float(one) for one in (ours, theirs))
        assert abs(a - b) < CENT + 1e-6 or max(a, b) == 0, (ours, theirs)
    spent, price = others + (1 + selling.tied) * bought.cost, use.other_purchases + bought.purchase_price
    profits = [profit(one, route, business.v, selling, spent, price) for one in sample]
    assert found.expected_profit == pytest.approx(float(sum(profits) / len(profits)), abs=1e-6)
    assert found.chance_of_loss == pytest.approx(sum(one < -1e-6 for one in profits) / len(profits), abs=1e-9)
    made = found.made_up
    assert made is not None
    left = made.sells_for - made.vat - made.fee - made.reserve - made.costs - made.margin + made.deducted
    assert left == pytest.approx(made.leaves, abs=1e-6)


NO_FEE = Selling()
HOME = Business(rate=Fraction(23), import_vat=Fraction(23))
EXEMPT = Business(rate=Fraction(23), registered=False, import_vat=Fraction(23))


@pytest.mark.parametrize(
    ("terms", "business", "ceiling"),
    [  # B = 1,200, worked by hand from the list of docs/method.md
        (Terms(), HOME, 1200),
        (Terms("trade", "included"), HOME, 1476),  # 1.23 x 1,200
        (Terms("trade", "included", freight=Fraction(45)), HOME, 1420.65),  # 1.23 x (1,200 - 45)
        (Terms("trade", "included", freight=Fraction(45), freight_by="seller"), HOME, 1431),  # 1.23 x 1,200 - 45
        (Terms("trade", "excluded"), HOME, 1200),
        (Terms("trade", "excluded"), EXEMPT, 975.60),  # 1,200 / 1.23
        (Terms("union", "included"), HOME, 1200),
        (Terms("import", freight=Fraction(120), duty=Fraction(37, 10), clearance=Fraction(35)), HOME, 1003.43),
        (Terms("import", freight=Fraction(120), duty=Fraction(37, 10), clearance=Fraction(35)), EXEMPT, 787.04),
        (Terms(premium=Fraction(25)), HOME, 960),
        (Terms(premium=Fraction(25), premium_vat="included"), HOME, 997.29),  # 1,200 / (1 + 0.25 / 1.23)
    ],
)
def test_a_ceiling_in_the_offers_own_terms(terms: Terms, business: Business, ceiling: float) -> None:
    """Worked by hand: a sale that leaves 1,200 for the kit, landed and net."""
    gross = Fraction(1200) * (1 + business.v) if business.deducts else Fraction(1200)
    route = "full" if business.deducts else "none"
    use = second.Use((gross,), route, business.v, NO_FEE)
    assert judged_use(terms, business, use, Fraction(0), 0.0).ceiling == pytest.approx(ceiling)


IMPORTED = Terms("import", freight=Fraction(120), duty=Fraction(37, 10), clearance=Fraction(35))


@pytest.mark.parametrize(
    ("terms", "business", "most", "ceiling"),
    [
        (Terms("trade", "included", freight=Fraction(45)), HOME, "1207", 1429.26),  # 1,162 would be a private kit's
        (Terms(freight=Fraction(45)), HOME, "1207", 1162),
        (IMPORTED, HOME, "1196.44", 1000),  # 1,000 + 120 + 41.44 of duty + 35
        (IMPORTED, EXEMPT, "1471.62", 1000),  # and 275.18 of import VAT
    ],
)
def test_worked_cases(terms: Terms, business: Business, most: str, ceiling: float) -> None:
    """A dealer's kit whose VAT is deducted, its freight counted whole; an import at a landed cost worked by hand."""
    gross = Fraction(most) * (1 + business.v) if business.deducts else Fraction(most)
    use = second.Use((gross,), "full" if business.deducts else "none", business.v, NO_FEE)
    assert judged_use(terms, business, use, Fraction(0), 0.0).ceiling == pytest.approx(ceiling, abs=0.0101)


def test_each_offer_has_the_scheme_of_its_own_origin() -> None:
    """`sell_on` = margin: open for a private kit and a dealer's under the scheme, full VAT where it is closed."""
    shop, fit = worked.shop(route="margin"), fit_book(invented_book(n=200, seed=5), 10.0)
    assert shop.work is not None
    shop = shop.model_copy(update={"work": shop.work.model_copy(update={"prepare": Decimal(3)})})
    told = (("private", None), ("trade", "margin"), ("trade", None), ("trade", "included"), ("union", "excluded"),
            ("import", None))  # fmt: skip
    kits = [
        offer(row=row, offer=f"D{row}", series="Series A", bought_from=source, vat=vat)
        for row, (source, vat) in enumerate(told)
    ]
    judged = sorted(shortlisted(grounds_of(shop, fit, None, None, None), kits).judged, key=lambda one: one.offer.row)
    assert [one.best and one.best.route for one in judged] == ["margin", "margin", "full", "full", "full", "full"]
    codes = [[c.code for c in one.cautions if c.code in ("vat_not_said", "foreign_vat", "imported")] for one in judged]
    assert codes == [[], [], ["vat_not_said"], [], [], ["imported"]]
    assert [one.net for one in judged] == [False] * 4 + [True, False]


def test_a_rate_of_sales_tax_is_none_of_import_vat() -> None:
    """A business that charges sales tax buys untaxed for resale; import VAT is what [tax.import] says, else none."""
    imported = offer(bought_from="import", freight=Decimal(0))
    plain, told = ({"rate": Decimal(8), "kind": "sales"} | more for more in ({}, {"import": {"vat": Decimal(20)}}))
    assert landed(imported, TaxTable.model_validate(plain)).slope == 1
    assert landed(imported, TaxTable.model_validate(told)).slope == pytest.approx(1.2)
