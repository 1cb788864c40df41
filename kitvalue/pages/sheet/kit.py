"""The kit on the customer's sheet: what it is, drum by drum, and how its price comes about."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.intake.plan import Plan
from kitvalue.pages.sheet.given import SheetInput
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.tables import Row, Table, figures, words
from kitvalue.workshop.charges import Group
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.drums import NEW, Drum, drums_of
from kitvalue.workshop.money import HUNDRED, ZERO, cents

MM_A_CM = 10


def is_restored(plan: Plan) -> bool:
    """Whether every drum comes from a used original and is sold as one; else it is a rebuild in its dress."""
    series = {donor.series for donor in plan.donor}
    new = any(drum.from_ == NEW for drum in plan.drum)
    return not new and series == {plan.original.series} and plan.finished.series == plan.original.series


def about_words(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """What the kit is, and what it is not."""
    plan, shop = given.plan, given.shop.shop.name
    values = {"shop": shop, "original": plan.original.series, "pieces": t.count("drums", len(plan.drum))}
    donors = t.listed(tuple(dict.fromkeys(donor.series for donor in plan.donor)))
    new = sum(drum.from_ == NEW for drum in plan.drum)
    if is_restored(plan):
        what = t.say("kit.restored", **values)
    elif plan.donor:
        what = t.say("kit.rebuilt", donors=donors, **values)
    else:
        what = t.say("kit.rebuilt_new", **values)
    said = [what]
    if new and plan.donor:
        said.append(t.count("kit.new_shells", new))
    return (*said, t.say("kit.state", condition=condition_words(plan.finished.condition, t)))


def condition_words(grade: Decimal, t: Tongue) -> str:
    """A bench grade as a customer understands it."""
    whole = int(grade)
    text = t.say(f"condition.{whole}")
    return text if grade == whole else t.say("condition.half", text=text)


def drum_table(given: SheetInput, t: Tongue) -> Table:
    """Every drum: its size, its tension points and heads, and where its shell is from."""
    plan = given.plan
    series = {donor.id: donor.series for donor in plan.donor}
    return Table(
        caption=t.say("kit.caption"),
        columns=(
            words(t.say("kit.drum")), figures(t.say("kit.inches")), figures(t.say("kit.centimetres")),
            figures(t.say("kit.lugs")), figures(t.say("kit.heads")), words(t.say("kit.shell")),
        ),
        rows=tuple(_drum_row(d, series.get(d.source), t) for d in drums_of(plan, given.shop.shop.size_order)),
    )  # fmt: skip


def _drum_row(drum: Drum, series: str | None, t: Tongue) -> Row:
    inches = f"{t.number(drum.size.diameter, 3)} × {t.number(drum.size.depth, 3)}"
    across, deep = (t.number(mm / MM_A_CM) for mm in (drum.diameter, drum.depth))
    shell = t.say("kit.shell_new") if series is None else t.say("kit.shell_used", series=series)
    return Row((t.say(f"role.{drum.role}"), inches, f"{across} × {deep}", t.number(drum.positions),
                t.number(drum.heads), shell))  # fmt: skip


def price_table(given: SheetInput, t: Tongue) -> Table | None:
    """From drums and work to the price, or None where it is not to be shown or where a cost is not known.

    What was paid for the used drums stands in one sum with shells and parts unless the owner shows it. Under the margin
    scheme no line lets the VAT be seen (Directive 2006/112/EC art. 325).
    """
    sheet, sale = given.comparison.sheet, given.pricing.sale
    if not given.shown.costs or sheet.incomplete:
        return None
    made = _made_lines(given, sheet, t)
    rest = sale.net - sheet.net_cost
    rows = [Row((what, t.cents(net))) for what, net in made]
    if sheet.route == "full":
        rows.append(Row((t.say("price.keeping"), t.cents(rest))))
        rows.append(Row((t.say("price.net"), t.cents(sale.net)), "subtotal"))
        rows.append(Row((t.say("price.vat", rate=t.percent(sheet.terms.rate * HUNDRED)), t.cents(sale.vat))))
    else:
        key = "price.keeping_taxed" if sheet.route == "margin" else "price.keeping"
        rows.append(Row((t.say(key), t.cents(sale.gross - sheet.net_cost))))
    rows += [
        Row((t.say("price.total"), t.cents(sale.gross)), "subtotal"),
        Row((t.say("price.freight"), t.cents(sheet.terms.freight))),
        Row((t.say("price.door"), t.cents(sale.gross + sheet.terms.freight)), "total"),
    ]
    return Table(
        caption=t.say("price.caption"),
        columns=(words(t.say("price.what")), figures(t.say("price.amount"))),
        rows=tuple(rows),
    )


def _made_lines(given: SheetInput, sheet: CostSheet, t: Tongue) -> list[tuple[str, Decimal]]:
    donors, parts, sold = (_sum(sheet, g) for g in ((Group.DONORS,), (Group.PARTS,), (Group.SURPLUS,)))
    work = _sum(sheet, (Group.WORK, Group.CONTINGENCY, Group.SENT_OUT))
    lines: list[tuple[str, Decimal]] = []
    if given.shown.purchases:
        lines += [(t.say("price.drums"), donors), (t.say("price.parts"), parts)]
        if sold != 0:
            lines.append((t.say("price.sold_off"), sold))
    else:
        lines.append((t.say("price.material"), donors + parts + sold))
    if work > 0:
        lines.append((t.count("price.work", _hours(sheet), hours=t.number(_hours(sheet), 1)), work))
    return lines


def _hours(sheet: CostSheet) -> Decimal:
    return sheet.hours


def _sum(sheet: CostSheet, groups: Sequence[Group]) -> Decimal:
    return cents(sum((x.net for x in sheet.lines if x.group in groups and x.net is not None), ZERO))


def price_words(given: SheetInput, t: Tongue) -> tuple[str, ...]:
    """What was done, where the owner shows the costs, and the words that the VAT route asks for."""
    said = []
    done = tuple(line.what for line in given.plan.work)
    if given.shown.costs and done:
        said.append(t.say("price.work_list", work="; ".join(done)))
    if given.comparison.sheet.route == "margin":
        said.append(t.say("price.margin_note"))
    return tuple(said)


def vat_words(given: SheetInput, t: Tongue) -> str:
    """What stands under the price: VAT inside, the margin scheme's words, or that there is none."""
    sheet = given.comparison.sheet
    if sheet.route == "full":
        return t.say("price.vat_inside", rate=t.percent(sheet.terms.rate * HUNDRED))
    return t.say("price.margin" if sheet.route == "margin" else "price.exempt")
