"""VAT against the published examples and the directive's rules."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.settings.plan import DonorTable
from kitvalue.workshop.money import cents
from kitvalue.workshop.tax import (
    Terms,
    kit_vat,
    margin_vat,
    vat_inside,
    vat_on_net,
    why_no_margin_scheme,
)
from tests import worked
from tests.checks import check, check_rows, check_toml

MARGIN = check_toml("vat_margin.toml")
money = st.decimals(min_value=0, max_value=100_000, places=2)
rates = st.decimals(min_value=0, max_value="0.9999", places=4)


# EN 16931 and Peppol example invoices: sources beside each value in the file, read.
@pytest.mark.parametrize("row", check_rows("vat_en16931_examples.csv"), ids=lambda row: row["id"])
def test_vat_of_the_example_invoices(row: dict[str, str]) -> None:
    assert vat_on_net(Decimal(row["taxable"]), Decimal(row["rate"]) / 100) == Decimal(row["expected"])


def test_vat_is_rounded_once_for_a_rate_and_not_line_by_line() -> None:
    row = check("vat_en16931_examples.csv", "en_8_21")
    rate = Decimal("0.21")
    lines = [Decimal("16.01")] * 56 + [Decimal("12.35")]
    assert sum(lines) == Decimal(row["taxable"])
    assert vat_on_net(sum(lines, Decimal(0)), rate) == Decimal(row["expected"])
    assert sum(vat_on_net(net, rate) for net in lines) != Decimal(row["expected"])


@pytest.mark.parametrize("example", MARGIN["margin_example"], ids=lambda example: str(example["id"]))
def test_published_margins(example: dict[str, Any]) -> None:
    selling, purchase = Decimal(example["selling"]), Decimal(example["purchase"])
    vat = cents(margin_vat(selling, purchase, Decimal(example["rate"]) / 100))
    profit = selling - purchase - vat
    found = vat if example["quantity"] == "VAT" else profit
    assert abs(found - Decimal(example["expected"])) <= Decimal(example["tolerance"])


@pytest.mark.parametrize("example", MARGIN["margin_counterexample"], ids=lambda example: str(example["id"]))
def test_the_rate_is_not_taken_on_the_margin_with_its_vat(example: dict[str, Any]) -> None:
    rate = Decimal(example["rate"]) / 100
    vat = cents(margin_vat(Decimal(example["selling"]), Decimal(example["purchase"]), rate))
    assert vat == Decimal(example["expected"]) != Decimal(example["printed"])


@given(money, money, rates)
def test_a_loss_bears_no_vat_and_gives_none_back(selling: Decimal, purchase: Decimal, rate: Decimal) -> None:
    vat = margin_vat(selling, purchase, rate)
    assert vat == 0 if selling <= purchase else vat >= 0
    assert vat <= vat_inside(selling, rate)


@given(money, rates)
def test_vat_inside_a_gross_price_is_vat_on_its_net(gross: Decimal, rate: Decimal) -> None:
    inside = vat_inside(gross, rate)
    assert abs((gross - inside) * rate - inside) < Decimal("1e-15")


# Directive 2006/112/EC art. 312, content read in Skatteverket's legal guidance: what the dealer charges the buyer for
# freight belongs to the selling price; what the carrier charged the dealer never enlarges the purchase price.
@given(money, money, st.decimals(min_value=0, max_value=300, places=2), rates)
def test_freight_charged_to_the_buyer_is_part_of_the_margin(
    gross: Decimal, purchase: Decimal, freight: Decimal, rate: Decimal
) -> None:
    terms = Terms(rate, Decimal(0), Decimal(0), freight, Decimal(10))
    whole = kit_vat(gross, purchase, terms, "margin") + vat_inside(freight, rate)
    assert abs(whole - margin_vat(gross + freight, purchase, rate)) < Decimal("1e-12")


# The same guidance, read: a loss on one sale may not be set against the margin of another.
@given(st.lists(st.tuples(money, money), min_size=1, max_size=6), rates)
def test_item_by_item_is_never_less_than_on_the_total(items: list[tuple[Decimal, Decimal]], rate: Decimal) -> None:
    by_item = sum((margin_vat(selling, purchase, rate) for selling, purchase in items), Decimal(0))
    total = margin_vat(sum((s for s, _ in items), Decimal(0)), sum((p for _, p in items), Decimal(0)), rate)
    assert by_item >= total - Decimal("1e-12")


# EN 16931: a credit note takes back to the cent what its invoice charged; read.
@given(money, rates)
def test_a_credit_takes_back_what_was_charged(net: Decimal, rate: Decimal) -> None:
    assert vat_on_net(-net, rate) == -vat_on_net(net, rate)


def donor(**changes: Any) -> DonorTable:
    table = {"id": "A", "series": "Burren", "pieces": 4, "condition": 3, "price": 300} | changes
    return DonorTable.model_validate(table)


# Directive 2006/112/EC art. 314; read, lightly abridged in our own words beside the examples.
@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"bought_from": "private"}, None),
        ({"bought_from": "trade", "vat": "margin"}, None),
        ({"bought_from": "trade", "vat": "exempt"}, None),  # art. 314(b)
        ({"bought_from": "trade", "vat": "included"}, "donor A was bought from trade with VAT shown"),
        ({"bought_from": "trade"}, "donor A was bought from trade and its vat is not said"),
        ({"bought_from": "import"}, "donor A was imported"),
    ],
)
def test_who_a_donor_may_come_from(changes: dict[str, str], reason: str | None) -> None:
    tax = worked.shop().tax
    assert tax is not None
    assert why_no_margin_scheme([donor(id="B"), donor(**changes)], tax) == reason
