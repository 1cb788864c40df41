"""`card`: the pocket page for a market."""

from __future__ import annotations

from datetime import date

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.writing import Printed
from kitvalue.decisions.asked import sold_on
from kitvalue.decisions.offered import donor_ceilings
from kitvalue.intake.text.problems import Caution
from kitvalue.pages.card import CardInput, render_card
from kitvalue.workshop.costing import VAT

MOST_BYTES = 200_000  # of a card; more is slow to pass on


def card(folder: ShopFolder, plan_name: str | None, today: date) -> Printed:
    """Write out/card.html. With a plan the card also says up to what price a donor pays for it."""
    plan = None if plan_name is None else folder.plan(plan_name)
    shop, market = folder.shop, folder.market
    folder.ready()
    terms = sold_on(shop, market.fit)
    given = CardInput(
        shop_name=shop.shop.name,
        currency=shop.shop.currency,
        today=today,
        fit=market.fit,
        cautions=market.cautions if isinstance(terms, str) else (*market.cautions, VAT),
        sold_on=terms,
        plan="" if plan is None else plan.title,
        ceilings=() if plan is None else donor_ceilings(plan, shop, market.fit),
    )
    page = render_card(given)
    path, size = folder.put("card.html", page), len(page.encode())
    large = Caution("large_card", f"the card has {size // 1000} kB, more than the {MOST_BYTES // 1000} that it should")
    return Printed((path,), (*market.cautions, *((large,) if size > MOST_BYTES else ())))
