"""A build, its sale and the original it competes with, nothing rounded: what the solvers vary one part of."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from kitvalue.decisions.original import as_money, landed
from kitvalue.intake.plan import OriginalTable, Plan
from kitvalue.intake.shop import Route
from kitvalue.market.outlook import Outlook
from kitvalue.workshop.asking import Terms, exact_profit, price_for_margin
from kitvalue.workshop.charges import Charge, ExactCost, Scales, exact_cost
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import percent


@dataclass(frozen=True, slots=True)
class Situation:
    """Everything that profit depends on. Fractions and money, all exact."""

    charges: tuple[Charge, ...]
    contingency: Decimal
    scales: Scales
    terms: Terms
    route: Route
    original: OriginalTable
    original_typical: Decimal
    repair: Decimal
    finished_typical: Decimal
    share: Decimal

    def cost(self) -> ExactCost:
        """Net cost and purchase prices."""
        return exact_cost(self.charges, self.terms, self.route, self.contingency, self.scales)

    def price(self, terms: Terms) -> Decimal:
        """The gross price that leaves the margin of `terms`."""
        cost = self.cost()
        return price_for_margin(cost.cost, cost.purchase, terms, self.route)

    def landed_at_cost(self) -> Decimal:
        """The price of zero profit, with freight."""
        return self.price(self.terms.without_margin()) + self.terms.freight

    def original_landed(self) -> Decimal:
        """The original at the buyer's door."""
        return landed(self.original, self.original_typical, self.repair)

    def market_price(self) -> Decimal:
        """The smaller of cap (an original at the door less freight) and resale."""
        return min(self.original_landed() - self.terms.freight, self.finished_typical * self.share)

    def gap(self) -> Decimal:
        """How much more than the original the build costs landed."""
        return self.landed_at_cost() - self.original_landed()

    def profit_at_market(self) -> Decimal:
        """Profit where the kit is sold at the market price."""
        cost = self.cost()
        return exact_profit(self.market_price(), cost.cost, cost.purchase, self.terms, self.route)


def situation_of(plan: Plan, sheet: CostSheet, original: Outlook, finished: Outlook, repair: Decimal) -> Situation:
    """The situation as planned."""
    return Situation(
        charges=sheet.charges,
        contingency=sheet.contingency,
        scales=Scales(),
        terms=sheet.terms,
        route=sheet.route,
        original=plan.original,
        original_typical=as_money(original.typical),
        repair=repair,
        finished_typical=as_money(finished.typical),
        share=percent(plan.finished.share),
    )
