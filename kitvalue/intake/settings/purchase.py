"""How a purchase is told, in offers.csv and in plans alike: where the kit comes from, VAT, premium, freight, import."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Final, Literal, Protocol

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.words import Refusal, listed

BoughtFrom = Literal["private", "trade", "union", "import"]
VatSaid = Literal["margin", "exempt", "included", "excluded"]
FreightBy = Literal["carrier", "seller"]
PremiumVat = Literal["included"]
OF_IMPORTS: Final = ("duty", "import_vat", "clearance")
WITH_INVOICE: Final = ("trade", "union")  # sources whose invoice says how VAT stands


class BuyingTerms(Protocol):
    """A kit as it is offered or bought. Money; `premium` is percent of the price, `duty` and `import_vat` percent.
    What is None is not known (`freight`), not said (`vat`, `premium_vat`) or as [tax.import] has it.
    """

    @property
    def bought_from(self) -> BoughtFrom: ...
    @property
    def vat(self) -> VatSaid | None: ...
    @property
    def premium(self) -> Decimal: ...
    @property
    def premium_vat(self) -> PremiumVat | None: ...
    @property
    def freight(self) -> Decimal | None: ...
    @property
    def freight_by(self) -> FreightBy: ...
    @property
    def duty(self) -> Decimal | None: ...
    @property
    def import_vat(self) -> Decimal | None: ...
    @property
    def clearance(self) -> Decimal | None: ...


def purchase_refusals(told: Mapping[str, object], shop: Shop) -> dict[str, Refusal]:
    """By its column: what does not go with where the kit comes from. `told` holds what is said, None where nothing."""
    source, refusals = told.get("bought_from") or "private", {}
    if source == "union" and shop.tax is not None and not shop.tax.union:
        why = "is no source of a shop outside the union (union = false under [tax])"
        refusals["bought_from"] = Refusal("outside_union", why, "write import")
    unfit = {
        "vat": ("vat_unused", source not in WITH_INVOICE, f"only {listed(WITH_INVOICE)} have an invoice that says so"),
        "premium_vat": ("no_premium", not told.get("premium"), "there is no premium"),
        **dict.fromkeys(OF_IMPORTS, ("no_import", source != "import", "only an import has it")),
    }
    for key, (code, is_unfit, why) in unfit.items():
        if is_unfit and told.get(key) is not None:
            refusals[key] = Refusal(code, f"does not go with this purchase: {why}", "take it out")
    return refusals
