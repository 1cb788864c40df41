"""`cost`, `price`, `compare` and `done` as JSON objects."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.pricing import PlacePrice, PriceSheet
from kitvalue.decisions.shares import LearnedShares
from kitvalue.pages.answers.record import Answer, answer, number
from kitvalue.workshop.costing import CostSheet, Line
from kitvalue.workshop.outcome import JobOutcome, LearnedOperations, settings_lines
from kitvalue.workshop.quantities import Cutting

_SHEET = "plan=name title currency"


def cost_answer(sheet: CostSheet) -> Answer:
    """`cost`. `lines`, `net_cost` and `purchase` are by the route that the plan or the shop sets."""
    route = (
        "route allowed reason net_cost$ purchase$ zero_profit_price$ floor$ landed_at_cost$ landed_at_floor$ cautions"
    )
    return answer(
        sheet,
        f"{_SHEET} pieces route lines subtotals quantities strips apportioned hours net_cost$ net_cost_text purchase$ "
        "routes incomplete",
        lines=[_line(line) for line in sheet.lines],
        subtotals=[answer(s, "group net$ unknown", unknown=len(s.unknown)) for s in sheet.subtotals()],
        quantities=[answer(q, "what quantity unit note", note=q.note or None) for q in sheet.quantities],
        strips=[_strip(c) for c in sheet.cuttings],
        apportioned=[answer(a, "donor price$ sold_off$ kept$ kit$") for a in sheet.apportioned],
        net_cost_text=sheet.total.text(),
        routes=[answer(r, route) for r in sheet.routes],
    )


def _line(line: Line) -> Answer:
    price = None if line.unit_price is None else round(float(line.unit_price), 4)
    return answer(line, "what group quantity unit unit_price net$ basis", unit_price=price)


def _strip(c: Cutting) -> Answer:
    return {
        "what": c.what,
        "drum": c.drum,
        "length_mm": round(float(c.length), 1),
        "width_mm": round(float(c.width), 1),
        "pieces_mm": [round(float(piece), 1) for piece in c.pieces],
        "area_m2": round(float(c.area), 4),
    }


def price_answer(sheet: CostSheet, p: PriceSheet) -> Answer:
    """`price`. Prices are gross; `net` to `markup` are at `price`: the suggested one, or the one asked about."""
    return {
        **answer(sheet, _SHEET),
        "route": sheet.route,
        **answer(p.quote, "floor$ cap$ resale$ market_price$ profit_at_market$ suggested$ binding"),
        **answer(sheet, "landed_at_cost=chosen.landed_at_cost$"),
        **answer(p.quote, "landed_at_price$ original_landed$"),
        **answer(p.sale, "price=gross$ net$ vat$ fee$ profit$ margin markup"),
        "ways_out": [answer(way, "name value text") for way in p.ways_out],
        "destinations": [_place(place) for place in p.destinations],
        "business_buyer": p.business_buyer,
        "headline": p.headline,
        "incomplete": list(sheet.incomplete),
    }


def _place(p: PlacePrice) -> Answer:
    parts = None if p.door is None else answer(p.door, "goods$ freight$ duty$ vat$ clearance$")
    return answer(p, "place kind seller_gets$ buyer_pays$ reason parts", parts=parts)


def compare_answer(c: Comparison) -> Answer:
    """`compare`. The original's figures are at the buyer's door."""
    row = (
        "pieces=sheet.pieces build_at_cost=quote.landed_at_cost$ build_at_price=quote.suggested$ "
        "landed_at_price=quote.landed_at_price$ original_typical=quote.original_landed$ original_low$ original_high$ "
        "chance_build_cheaper note incomplete=sheet.incomplete binding=quote.binding"
    )
    unknown = "name unit planned break_even break_even_market reason swing_down$ swing_up$"
    return answer(
        c,
        "plan=sheet.name title=sheet.title currency=sheet.currency by_pieces crossings crossings_text=crossings.text "
        "chance_none=crossings.chance_none tie_price_at_cost=tie_at_cost.price$ tie_price_at_price=tie_at_price.price$ "
        "share_below_tie_at_cost=tie_at_cost.share_below share_below_tie_at_price=tie_at_price.share_below "
        "hammer_tie_at_cost=tie_at_cost.hammer$ hammer_tie_at_price=tie_at_price.hammer$ priced_to_tie "
        "chance_build_cheaper suggested=quote.suggested$ market_price=quote.market_price$ unknowns "
        "incomplete=sheet.incomplete like_for_like",
        by_pieces=[answer(r, row, note=r.note or None) for r in c.by_pieces],
        crossings=[answer(crossing, "pieces low high build_cheaper reason") for crossing in c.crossings.crossings],
        unknowns=[answer(u, unknown) for u in c.unknowns],
        like_for_like=[answer(point, "what build original") for point in c.like_for_like],
    )


def outcome_answer(
    jobs: Sequence[JobOutcome], hours: LearnedOperations, shares: LearnedShares, currency: str
) -> Answer:
    """`done`. Money is net but for `sold_for`; hours of `learned_hours` are for one unit, shares in percent."""
    operation = "operation unit jobs planned own learned low high weight reason"
    learned = "plan series sales planned own learned low high weight line"
    return {
        "currency": currency,
        "jobs": [_job(job) for job in jobs],
        "common_hours_factor": number(hours.common),
        "learned_hours": [answer(one, operation, unit=one.unit or None) for one in hours.operations],
        "work_hours_lines": list(settings_lines(hours)),
        "sales": [answer(s, "row plan series sold_on sold_for$ typical$ share planned") for s in shares.sales],
        "learned_shares": [answer(share, learned) for share in shares.learned],
        "shares_reason": shares.reason,
    }


def _job(job: JobOutcome) -> Answer:
    operation = "operation unit quantity planned=hours.planned actual=hours.actual reason=hours.reason"
    return answer(
        job,
        "row plan title finished_on hours operations paid_out net_cost sold_on sold_for$ vat=sale.vat$ net=sale.net$ "
        "profit=sale.profit$ margin=sale.margin markup=sale.markup planned_margin sale_reason note",
        hours=answer(job.hours, "planned actual reason"),
        operations=[answer(one, operation, unit=one.unit or None) for one in job.operations],
        paid_out=answer(job.paid, "planned$ actual$ reason"),
        net_cost=answer(job.net_cost, "planned$ actual$ reason"),
    )
