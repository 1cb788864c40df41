"""One purchase by every source, word, premium and freight, against the independent second route of tests/reckoning."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any, get_args

from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.settings.plan import DonorTable
from kitvalue.intake.settings.purchase import WITH_INVOICE, BoughtFrom, VatSaid
from kitvalue.intake.settings.shop import TaxTable
from kitvalue.workshop.purchases import purchase_at
from tests.reckoning import purchases as theirs

PERCENTS = st.decimals(0, 99, places=1)
MONEY = st.decimals(0, 9000, places=2)


@st.composite
def purchases(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any]]:
    """A donor's keys and [tax]."""
    source = draw(st.sampled_from(get_args(BoughtFrom)))
    told: dict[str, Any] = {"bought_from": source, "premium": draw(PERCENTS), "freight": draw(MONEY)}
    told["freight_by"] = draw(st.sampled_from(["carrier", "seller"]))
    if told["premium"] and draw(st.booleans()):
        told["premium_vat"] = "included"
    if source in WITH_INVOICE:
        told["vat"] = draw(st.sampled_from([None, *get_args(VatSaid)]))
    if source == "import" and draw(st.booleans()):
        told |= {"duty": draw(PERCENTS), "import_vat": draw(PERCENTS), "clearance": draw(MONEY)}
    tax = {"rate": draw(PERCENTS), "registered": draw(st.booleans()), "kind": draw(st.sampled_from(["vat", "sales"]))}
    return told, tax | {"import": {"duty": draw(PERCENTS), "vat": draw(PERCENTS), "clearance": draw(MONEY)}}


@given(purchases(), MONEY)
def test_every_purchase_is_as_the_second_route_has_it(
    made: tuple[dict[str, Any], dict[str, Any]], price: Decimal
) -> None:
    told, table = made
    donor = DonorTable.model_validate(
        {"id": "A", "series": "Slane", "pieces": 4, "condition": 3, "price": price} | told
    )
    tax = TaxTable.model_validate(table)
    ours = purchase_at(price, donor, tax)
    numbers = {
        key: Fraction(told[key]) for key in ("premium", "freight", "duty", "import_vat", "clearance") if key in told
    }
    words = {key: told.get(key) or "" for key in ("bought_from", "vat", "premium_vat", "freight_by")}
    border = {key: Fraction(table["import"][key]) for key in ("duty", "clearance")}
    business = theirs.Business(
        rate=Fraction(tax.rate),
        registered=tax.registered,
        kind=tax.kind,
        import_vat=Fraction(table["import"]["vat"]),
        **border,
    )
    expected = theirs.reckon(Fraction(price), theirs.Terms(**numbers, **words), business)
    figures = (ours.purchase_price, ours.open, ours.cost(tax), ours.deducted(tax), ours.paid(tax))
    assert figures == (expected.purchase_price, expected.open, expected.cost, expected.deducted, expected.paid)


def test_the_worked_import() -> None:
    """1,000 + 120, 3.7 %, 35, 23 %: duty 41.44, import VAT 275.18; 1,196.44, exempt 1,471.62 (our own worked case)."""
    told = {"bought_from": "import", "freight": 120, "duty": Decimal("3.7"), "import_vat": 23, "clearance": 35}
    donor = DonorTable.model_validate({"id": "A", "series": "Slane", "pieces": 4, "condition": 3, "price": 1000} | told)
    taxed, exempt = TaxTable(rate=Decimal(23)), TaxTable(rate=Decimal(23), registered=False)
    made = purchase_at(Decimal(1000), donor, taxed)
    assert {one.what: one.money for one in made.amounts if one.what in ("duty", "import VAT")} == {
        "duty": Decimal("41.44"), "import VAT": Decimal("275.18"),
    }  # fmt: skip
    assert (made.cost(taxed), made.cost(exempt)) == (Decimal("1196.44"), Decimal("1471.62"))
    assert made.paid(taxed) == Decimal("1471.62")
