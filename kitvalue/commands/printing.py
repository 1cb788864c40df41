"""Pages to hand out or to carry along: the customer's sheet and the pocket card. One function a command."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kitvalue.commands import keeper
from kitvalue.commands.keeper import OUT
from kitvalue.commands.writing import make_writable, write_whole, write_whole_bytes
from kitvalue.decisions.breakeven import compared
from kitvalue.decisions.original import finished_kit, original_kit
from kitvalue.decisions.pricing import priced
from kitvalue.intake.settings.shop import read_shop
from kitvalue.market.outlook import outlook

if TYPE_CHECKING:
    from kitvalue.intake.settings.plan import DonorTable, Plan
    from kitvalue.intake.settings.shop import Shop, SizeOrder
    from kitvalue.market.fitted import Fit
    from kitvalue.pages.card import CeilingSeen
    from kitvalue.pages.sheet.given import SheetInput


DOTS = 20  # originals in the picture, each as likely as the next
CARD_FILE = "card.html"
MOST_BYTES = 200_000  # of a card; more is slow to pass on


@dataclass(frozen=True, slots=True)
class SheetWanted:
    """A customer's sheet as the command line asks for it."""

    plan: str
    language: str = "en"
    hide_costs: bool = False
    show_purchases: bool = False
    pdf: bool = False


@dataclass(frozen=True, slots=True)
class Printed:
    """What was written, and what the owner should know of it."""

    written: tuple[Path, ...]
    cautions: tuple[str, ...]


def print_sheet(folder: Path, wanted: SheetWanted, today: date) -> Printed:
    """Write out/sheet-NAME.html, and out/sheet-NAME.pdf where asked for. Raises FileError where neither can be."""
    from kitvalue.pages.sheet.page import render_sheet
    from kitvalue.pages.sheet.tongue import tongue
    from kitvalue.pages.sheet.view import sheet_view

    shop = read_shop(folder)
    language = tongue(wanted.language, shop.shop.currency)
    if wanted.pdf:
        from kitvalue.pages.sheet.pdf import require_pdf

        require_pdf()
    given, cautions = _sheet_input(folder, wanted, today)
    make_writable(folder / OUT)
    view = sheet_view(given, language)
    path = folder / OUT / f"sheet-{given.plan.name}.html"
    write_whole(path, render_sheet(view))
    written = [path]
    if wanted.pdf:
        from kitvalue.pages.sheet.pdf import sheet_pdf

        document = sheet_pdf(view, today)
        written.append(path.with_suffix(".pdf"))
        write_whole_bytes(written[-1], document.data)
        if document.lacking:
            lacks = f"the PDF's font lacks {document.lacking}: print the page from a browser instead"
            cautions = (*cautions, lacks)
    return Printed(tuple(written), cautions)


def _sheet_input(folder: Path, wanted: SheetWanted, today: date) -> tuple[SheetInput, tuple[str, ...]]:
    from kitvalue.decisions.original import landed_sample, repair_of
    from kitvalue.intake.settings.plan import read_plan
    from kitvalue.pages.sheet.given import SheetInput, Shown

    shop = read_shop(folder)
    plan = read_plan(wanted.plan, folder, shop)
    market = keeper.market_of(folder, shop)
    found, pricing = compared(plan, shop, market.fit), priced(plan, shop, market.fit)
    original = outlook(market.fit, original_kit(plan))
    door = landed_sample(plan.original, original.sample, repair_of(plan))
    middles = (np.arange(DOTS) + 0.5) / DOTS
    given = SheetInput(
        plan=plan,
        shop=shop,
        fit=market.fit,
        pricing=pricing,
        comparison=found,
        original=original,
        at_door=tuple(float(x) for x in np.quantile(door, middles, method="inverted_cdf")),
        fingerprint=keeper.fingerprint(folder, shop),
        today=today,
        shown=Shown(costs=not wanted.hide_costs, purchases=wanted.show_purchases),
    )
    return given, tuple(dict.fromkeys((*market.cautions, *found.cautions, *_owner_cautions(given, wanted))))


def _owner_cautions(given: SheetInput, wanted: SheetWanted) -> list[str]:
    """What an owner should know before the sheet is handed out."""
    said = []
    promise = given.shop.promise.get(wanted.language)
    if promise is None or promise.guarantee is None or promise.returns is None:
        table = f"[promise.{wanted.language}]"
        said.append(
            f"shop.toml states no guarantee or no return in {table}: the sheet names the rights that the law gives"
        )
    if given.shown.costs and given.comparison.sheet.incomplete:
        said.append("not every cost of this build is known: the sheet leaves out how the price comes about")
    return said


def print_card(folder: Path, plan_name: str | None, today: date) -> Printed:
    """Write out/card.html from the saved fit, or from a fresh one where the files have changed.

    With a plan the card also says up to what price a donor pays for it.
    """
    from kitvalue.intake.settings.plan import read_plan
    from kitvalue.pages.card import CardInput, render_card

    shop = read_shop(folder)
    plan = None if plan_name is None else read_plan(plan_name, folder, shop)
    market = keeper.market_of(folder, shop)
    make_writable(folder / OUT)
    given = CardInput(
        shop_name=shop.shop.name,
        currency=shop.shop.currency,
        today=today,
        fit=market.fit,
        cautions=market.cautions,
        plan="" if plan is None else plan.title,
        ceilings=() if plan is None else _ceilings(plan, shop, market.fit),
    )
    path, page = folder / OUT / CARD_FILE, render_card(given)
    write_whole(path, page)
    size = len(page.encode())
    large = (f"the card has {size // 1000} kB, more than the {MOST_BYTES // 1000} that it should",)
    return Printed((path,), (*market.cautions, *(large if size > MOST_BYTES else ())))


def _ceilings(plan: Plan, shop: Shop, fit: Fit) -> tuple[CeilingSeen, ...]:
    """For each donor of the plan, up to what price another kit may take its place: by the plan's own VAT route, bought
    and sent as the plan's donor is."""
    from kitvalue.decisions.ceiling import REBUILD, donor_needs, own_route, rebuild_bases
    from kitvalue.decisions.offered import grounds_of
    from kitvalue.decisions.shortlist import UseBatch, judged_uses
    from kitvalue.market.outlook import kit_samples
    from kitvalue.pages.card import CeilingSeen
    from kitvalue.workshop.money import percent

    grounds = grounds_of(shop, fit, plan, None, None)
    sold = kit_samples(fit, [finished_kit(plan, fit)])
    share, route = float(percent(plan.finished.share)), own_route(shop, plan, REBUILD)
    found = []
    for need in donor_needs(plan):
        donor = plan.donor[need.at]
        bases = rebuild_bases(plan, shop, need.at, donor.pieces, donor.bought_from)
        freight = float(donor.freight or 0)
        base = next(base for base in bases if base.route == route)
        one = np.zeros(1, dtype=np.int64)
        batch = UseBatch(
            base, one, share * sold.sample, share * sold.clipped, one, np.array([grounds.holding + freight]),
            float(grounds.terms.freight),
        )  # fmt: skip
        use = judged_uses(batch, np.zeros(1), grounds.terms, grounds.loss_chance)[0]
        note = use.reason or _ceiling_note(donor, plan, shop.shop.size_order, use.ceiling)
        found.append(CeilingSeen(f"Donor {donor.id}", _told(use.ceiling), _told(use.safe_ceiling), note))
    return tuple(found)


def _ceiling_note(donor: DonorTable, plan: Plan, order: SizeOrder, ceiling: float | None) -> str:
    from kitvalue.intake.text.sizes import size_text
    from kitvalue.pages.words import exact

    sizes = ", ".join(size_text(drum.size, order) for drum in plan.drum if drum.from_ == donor.id)
    if ceiling is None:
        return f"with its {sizes}: even as a gift it would not leave your margin"
    on_top = "freight comes off" if donor.freight is None else f"freight of {exact(donor.freight)} on top"
    return f"with its {sizes}; {on_top}"


def _told(price: float | None) -> str:
    from kitvalue.pages.words import cents

    return "none" if price is None else cents(Decimal(repr(price)))
