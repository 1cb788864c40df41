"""What the owner is told beside the figures: the texts, and the builds they are for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from kitvalue.intake.plan import LineTable, Plan, WorkLine
from kitvalue.intake.shop import Shop
from kitvalue.workshop.build import Build
from kitvalue.workshop.drums import NEW

VAT = (
    "VAT rules differ by country, and the margin scheme may not fit a rebuilt kit: ask a tax adviser before you use "
    "these figures."
)
MARGIN_TOTALS = (
    "Some countries want the margin scheme reckoned on totals by period instead of item by item "
    "(Directive 2006/112/EC art. 318)."
)
MARGIN_INVOICE = (
    'Under the margin scheme the invoice carries the words "Margin scheme – second-hand goods" (art. 226(14)) and must '
    "not show the VAT apart (art. 325)."
)
MARGIN_NEW_SHELL = "A new shell is in the kit: the margin scheme is for second-hand goods and may not fit it."
MARGIN_HEAVY = (
    "Work and parts cost more than the donors: so heavy a rebuild may count as a new good, and the margin scheme may "
    "not fit it."
)
MARGIN_SEVERAL = (
    "Several donors go into one kit: the margin scheme counts item by item and may not fit a kit made of them."
)
IMPORT = (
    "Donor {ids} is imported: count duty and the carrier's fee at the border with its freight; import VAT is left out."
)
EXEMPT = "Reckoned without VAT (an exempt business): none is charged, and the VAT on purchases stays a cost."
TIMBER = (
    "Restricted timbers: finished instruments and raw veneer or shells are treated differently at a border; ask the "
    "national CITES authority which listing the wood falls under."
)
DUST = (
    "Sanding and cutting shells makes hardwood dust: extract it and wear a mask; local workplace rules set the limit."
)
PAINT = "Old paint may hold lead, and strippers, lacquers and oils give off solvents: follow local workplace rules."
HEAT = "Heat on old wrap can set it alight and give off harmful fumes: ventilate, follow local workplace rules."

# Beginnings of words in a line's operation or text; a hazard is there where every group has one.
VENEER_WORDS = (("veneer",),)
DUST_WORDS = (("sand", "edge", "cut", "drill", "veneer", "patch", "plug", "ply", "round"),)
PAINT_WORDS = (("paint", "lacquer", "spray", "oil", "seal", "stain"),)
HEAT_WORDS = (("strip", "remov", "old"), ("wrap", "covering"))


def build_cautions(plan: Plan, shop: Shop) -> tuple[str, ...]:
    """The cautions for a build whatever its VAT route: timbers at a border, dust, old paint, solvents, heat."""
    exports = shop.tax is not None and any(d.kind == "export" for d in shop.tax.destinations.values())
    veneer = _any_line((*plan.work, *plan.part), VENEER_WORDS)
    cautions = [TIMBER] if exports or veneer else []
    for text, words in ((DUST, DUST_WORDS), (PAINT, PAINT_WORDS), (HEAT, HEAT_WORDS)):
        if _any_line(plan.work, words):
            cautions.append(text)
    imported = [d.id for d in plan.donor if d.bought_from == "import"]
    if imported:
        cautions.append(IMPORT.format(ids=", ".join(imported)))
    return tuple(cautions)


def margin_cautions(build: Build, donors_cost: Decimal, made_cost: Decimal) -> tuple[str, ...]:
    """Why the margin scheme may not fit although nothing closes it. Costs net: the donors, and work with parts."""
    cautions = [MARGIN_TOTALS, MARGIN_INVOICE]
    if any(d.source == NEW for d in build.drums):
        cautions.append(MARGIN_NEW_SHELL)
    if made_cost > donors_cost:
        cautions.append(MARGIN_HEAVY)
    if len(build.donors) > 1:
        cautions.append(MARGIN_SEVERAL)
    return tuple(cautions)


def _any_line(lines: Sequence[LineTable], groups: Sequence[Sequence[str]]) -> bool:
    return any(all(_has_word(line, starts) for starts in groups) for line in lines)


def _has_word(line: LineTable, starts: Sequence[str]) -> bool:
    operation = line.operation if isinstance(line, WorkLine) else None
    words = re.findall(r"[^\W\d_]+", f"{line.what} {operation or ''}".lower())
    return any(word.startswith(tuple(starts)) for word in words)
