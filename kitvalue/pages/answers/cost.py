"""`cost` as a JSON object."""

from __future__ import annotations

from kitvalue.pages.answers.common import Answer, money, number
from kitvalue.workshop.costing import CostSheet, RouteCost


def cost_answer(sheet: CostSheet) -> Answer:
    """`cost`. `lines`, `net_cost` and `purchase` are by the route that the plan or the shop sets."""
    return {
        "plan": sheet.name,
        "title": sheet.title,
        "currency": sheet.currency,
        "pieces": sheet.pieces,
        "route": sheet.route,
        "lines": [
            {
                "what": line.what, "group": line.group.value, "quantity": number(line.quantity), "unit": line.unit,
                "unit_price": None if line.unit_price is None else round(float(line.unit_price), 4),
                "net": money(line.net), "basis": line.basis,
            }
            for line in sheet.lines
        ],
        "subtotals": [
            {"group": s.group.value, "net": money(s.net), "unknown": len(s.unknown)} for s in sheet.subtotals()
        ],
        "quantities": [
            {"what": q.what, "quantity": number(q.quantity), "unit": q.unit, "note": q.note or None}
            for q in sheet.quantities
        ],
        "strips": [
            {
                "what": c.what, "drum": c.drum, "length_mm": round(float(c.length), 1),
                "width_mm": round(float(c.width), 1), "pieces_mm": [round(float(piece), 1) for piece in c.pieces],
                "area_m2": round(float(c.area), 4),
            }
            for c in sheet.cuttings
        ],
        "apportioned": [
            {
                "donor": a.donor, "price": money(a.price), "sold_off": money(a.sold_off), "kept": money(a.kept),
                "kit": money(a.kit),
            }
            for a in sheet.apportioned
        ],
        "hours": number(sheet.hours),
        "net_cost": money(sheet.net_cost),
        "net_cost_text": sheet.total.text(),
        "purchase": money(sheet.purchase),
        "routes": [_route(r) for r in sheet.routes],
        "incomplete": list(sheet.incomplete),
    }  # fmt: skip


def _route(r: RouteCost) -> Answer:
    return {
        "route": r.route, "allowed": r.allowed, "reason": r.reason, "net_cost": money(r.net_cost),
        "purchase": money(r.purchase), "zero_profit_price": money(r.zero_profit_price), "floor": money(r.floor),
        "landed_at_cost": money(r.landed_at_cost), "landed_at_floor": money(r.landed_at_floor),
        "cautions": list(r.cautions),
    }  # fmt: skip
