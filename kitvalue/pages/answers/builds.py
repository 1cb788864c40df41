"""`cost` as a JSON object."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.decisions.asked import AskedFor
from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.decisions.shares import LearnedShares
from kitvalue.decisions.shortlist import MadeUp, OfferFound, ReckonedWith, Shortlist, UseFound
from kitvalue.decisions.sourcing import Answer as Found
from kitvalue.decisions.sourcing import Sourced, Sourcing
from kitvalue.pages.answers.market import Answer, feature, money, number
from kitvalue.workshop.costing import CostSheet, RouteCost
from kitvalue.workshop.outcome import Against, JobOutcome, LearnedOperations, settings_lines


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


def price_answer(sheet: CostSheet, p: PriceSheet) -> Answer:
    """`price`. Prices are gross; `net` to `markup` are at `price`: the suggested one, or the one asked about."""
    quote, sale = p.quote, p.sale
    return {
        "plan": sheet.name, "title": sheet.title, "currency": sheet.currency, "route": p.route,
        "floor": money(quote.floor), "cap": money(quote.cap), "resale": money(quote.resale),
        "market_price": money(quote.market_price), "profit_at_market": money(quote.profit_at_market),
        "suggested": money(quote.suggested), "binding": quote.binding,
        "landed_at_cost": money(sheet.chosen.landed_at_cost), "landed_at_price": money(quote.landed_at_price),
        "original_landed": money(quote.original_landed),
        "price": money(sale.gross), "net": money(sale.net), "vat": money(sale.vat), "fee": money(sale.fee),
        "profit": money(sale.profit), "margin": number(sale.margin), "markup": number(sale.markup),
        "ways_out": [{"name": w.name, "value": number(w.value), "text": w.text} for w in p.ways_out],
        "destinations": [
            {
                "place": d.place, "kind": d.kind, "seller_gets": money(d.seller_gets),
                "buyer_pays": money(d.buyer_pays), "reason": d.reason,
                "parts": None if d.door is None else {
                    "goods": money(d.door.goods), "freight": money(d.door.freight), "duty": money(d.door.duty),
                    "vat": money(d.door.vat), "clearance": money(d.door.clearance),
                },
            }
            for d in p.destinations
        ],
        "business_buyer": p.business_buyer,
        "headline": p.headline,
        "incomplete": list(sheet.incomplete),
    }  # fmt: skip


def compare_answer(c: Comparison) -> Answer:
    """`compare`. The original's figures are at the buyer's door."""
    quote = c.quote
    return {
        "plan": c.sheet.name,
        "title": c.sheet.title,
        "currency": c.sheet.currency,
        "by_pieces": [
            {
                "pieces": r.pieces, "build_at_cost": money(r.build_at_cost), "build_at_price": money(r.build_at_price),
                "landed_at_price": money(r.landed_at_price), "original_typical": money(r.original_typical),
                "original_low": money(r.original_low), "original_high": money(r.original_high),
                "chance_build_cheaper": number(r.chance_build_cheaper), "note": r.note or None,
                "incomplete": list(r.incomplete), "binding": r.binding,
            }
            for r in c.by_pieces
        ],
        "crossings": [
            {"pieces": number(x.pieces), "low": number(x.low), "high": number(x.high), "build_cheaper": x.build_cheaper,
             "reason": x.reason}
            for x in c.crossings.crossings
        ],
        "crossings_text": c.crossings.text,
        "chance_none": number(c.crossings.chance_none),
        "tie_price_at_cost": money(c.tie_at_cost.price),
        "tie_price_at_price": money(c.tie_at_price.price),
        "share_below_tie_at_cost": number(c.tie_at_cost.share_below),
        "share_below_tie_at_price": number(c.tie_at_price.share_below),
        "hammer_tie_at_cost": money(c.tie_at_cost.hammer),
        "hammer_tie_at_price": money(c.tie_at_price.hammer),
        "priced_to_tie": c.priced_to_tie,
        "chance_build_cheaper": number(c.chance_build_cheaper),
        "suggested": money(quote.suggested),
        "market_price": money(quote.market_price),
        "unknowns": [
            {
                "name": u.name, "unit": u.unit, "planned": number(u.planned), "break_even": number(u.break_even),
                "break_even_market": number(u.break_even_market), "reason": u.reason,
                "swing_down": money(u.swing_down), "swing_up": money(u.swing_up),
            }
            for u in c.unknowns
        ],
        "incomplete": list(c.sheet.incomplete),
        "like_for_like": [{"what": p.what, "build": p.build, "original": p.original} for p in c.like_for_like],
    }  # fmt: skip


def outcome_answer(
    jobs: Sequence[JobOutcome], hours: LearnedOperations, shares: LearnedShares, currency: str
) -> Answer:
    """`done`. Money is net but for `sold_for`; hours of `learned_hours` are for one unit, shares in percent."""
    return {
        "currency": currency,
        "jobs": [_job(job) for job in jobs],
        "common_hours_factor": number(hours.common),
        "learned_hours": [
            {
                "operation": one.operation, "unit": one.unit or None, "jobs": one.jobs, "planned": number(one.planned),
                "own": number(one.own), "learned": number(one.learned), "low": number(one.low),
                "high": number(one.high), "weight": number(one.weight), "reason": one.reason,
            }
            for one in hours.operations
        ],
        "work_hours_lines": list(settings_lines(hours)),
        "sales": [
            {
                "row": s.row, "plan": s.plan, "series": s.series, "sold_on": s.sold_on.isoformat(),
                "sold_for": money(s.sold_for), "typical": money(s.typical), "share": number(s.share),
                "planned": number(s.planned),
            }
            for s in shares.sales
        ],
        "learned_shares": [
            {
                "plan": s.plan, "series": s.series, "sales": s.sales, "planned": number(s.planned),
                "own": number(s.own), "learned": number(s.learned), "low": number(s.low), "high": number(s.high),
                "weight": number(s.weight), "line": s.line,
            }
            for s in shares.learned
        ],
        "shares_reason": shares.reason,
    }  # fmt: skip


def _job(job: JobOutcome) -> Answer:
    sale = job.sale
    return {
        "row": job.row, "plan": job.plan, "title": job.title, "finished_on": job.finished_on.isoformat(),
        "hours": _figures(job.hours),
        "operations": [
            {
                "operation": one.operation, "unit": one.unit or None, "quantity": number(one.quantity),
                "planned": number(one.hours.planned), "actual": number(one.hours.actual), "reason": one.hours.reason,
            }
            for one in job.operations
        ],
        "paid_out": _sums(job.paid), "net_cost": _sums(job.net_cost),
        "sold_on": job.sold_on.isoformat() if job.sold_on else None, "sold_for": money(job.sold_for),
        "vat": money(sale.vat if sale else None), "net": money(sale.net if sale else None),
        "profit": money(sale.profit if sale else None), "margin": number(sale.margin if sale else None),
        "markup": number(sale.markup if sale else None), "planned_margin": number(job.planned_margin),
        "sale_reason": job.sale_reason, "note": job.note,
    }  # fmt: skip


def _figures(one: Against) -> Answer:
    return {"planned": number(one.planned), "actual": number(one.actual), "reason": one.reason}


def _sums(one: Against) -> Answer:
    return {"planned": money(one.planned), "actual": money(one.actual), "reason": one.reason}


def shortlist_answer(s: Shortlist) -> Answer:
    """`shortlist`. `rank` and chances are shares of the sample; profits are at the price expected to be paid."""
    return {
        "currency": s.currency, "plan": s.plan, "on": s.on.isoformat() if s.on else None,
        "as_of": s.as_of.isoformat() if s.as_of else None,
        "offers": [_offer(one) for one in s.offers],
        "portfolio": None if s.portfolio is None else _portfolio(s.portfolio),
        "holding": money(s.holding), "months_to_sell": number(s.months),
        "unread": s.unread,
        "reckoned_with": None if s.reckoned_with is None else _reckoned(s.reckoned_with),
    }  # fmt: skip


def _reckoned(r: ReckonedWith) -> Answer:
    return {
        "vat_percent": number(r.vat_percent), "route": r.route, "hourly_rate": money(r.hourly_rate),
        "contingency_percent": number(r.contingency_percent), "prepare_hours": number(r.prepare_hours),
        "part_out_hours": number(r.part_out_hours), "margin_percent": number(r.margin_percent),
        "fee_percent": number(r.fee_percent), "invented": r.invented,
    }  # fmt: skip


def _offer(one: OfferFound) -> Answer:
    best = one.best
    return {
        "offer": one.offer.offer, "series": one.offer.series, "pieces": one.offer.pieces,
        "condition": number(one.offer.condition), "features": {f.name: feature(f) for f in one.offer.features},
        "finished": number(one.offer.finished), "hours": number(one.offer.hours),
        "parts": money(one.offer.parts),
        "asked": money(one.offer.price), "buy_in": money(one.buy_in),
        "asked_against_percent": number(one.against_percent), "rank": number(one.rank),
        "expected_paid": money(one.paid.price), "paid_rests_on": one.paid.rests_on,
        "open_at": money(one.open_at), "stop_at": money(one.stop_at),
        "best_use": None if best is None else best.use,
        "best_route": None if best is None else best.route,
        "expected_profit": None if best is None else money(best.expected_profit),
        "chance_of_loss": None if best is None else number(best.chance_of_loss),
        "profit_per_hour": None if best is None else money(best.profit_per_hour),
        "uses": [_use(use) for use in one.uses],
        "cautions": list(one.cautions), "reason": one.reason,
    }  # fmt: skip


def asked_answer(a: AskedFor) -> Answer:
    """What is asked for one kit, judged; `sold_in` holds each condition that it could be sold in."""
    return {
        "price": money(a.asking.price), "against_percent": number(a.against_percent),
        "rank": number(a.judged[0].rank) if a.judged else None,
        "expected_paid": money(a.judged[0].paid.price) if a.judged else None,
        "sold_in": [_sold_in(one) for one in a.judged],
        "reckoned_with": None if a.reckoned is None else _reckoned(a.reckoned),
        "reason": a.reason,
    }  # fmt: skip


def _sold_in(one: OfferFound) -> Answer:
    found = _offer(one)
    kept = (
        "finished", "hours", "parts", "open_at", "stop_at", "best_route", "expected_profit", "chance_of_loss",
        "profit_per_hour",
    )  # fmt: skip
    made_up = None if one.best is None or one.best.made_up is None else _made_up(one.best.made_up)
    return {**{name: found[name] for name in kept}, "made_up": made_up}


def _use(use: UseFound) -> Answer:
    return {
        "use": use.use, "route": use.route, "ceiling": money(use.ceiling), "safe_ceiling": money(use.safe_ceiling),
        "expected_profit": money(use.expected_profit), "chance_of_loss": number(use.chance_of_loss),
        "chance_of_loss_at_ceiling": number(use.chance_at_ceiling), "hours": number(use.hours),
        "profit_per_hour": money(use.profit_per_hour), "reason": use.reason,
        "made_up": None if use.made_up is None else _made_up(use.made_up),
    }  # fmt: skip


def _made_up(one: MadeUp) -> Answer:
    return {
        "sells_for": money(one.sells_for), "vat": money(one.vat), "fee": money(one.fee), "costs": money(one.costs),
        "margin": money(one.margin), "leaves": money(one.leaves),
    }  # fmt: skip


def _portfolio(p: Portfolio) -> Answer:
    return {
        "buy": list(p.buy), "expected_profit": money(p.expected_profit), "chance_of_loss": number(p.chance_of_loss),
        "spent": money(p.spent), "hours": number(p.hours), "budget": money(p.budget),
        "bench_hours": number(p.bench_hours), "exact": p.exact,
    }  # fmt: skip


def source_answer(s: Sourcing, written: str | None) -> Answer:
    """`source`: the cheapest answer, and all that were asked for under `answers`."""
    return {
        "plan": s.plan, "currency": s.currency, **_answer(s.answers[0]),
        "answers": [_answer(one) for one in s.answers], "written": written,
    }  # fmt: skip


def _answer(one: Found) -> Answer:
    return {
        "status": one.status, "cost": money(one.cost), "gap": money(one.gap), "spent": money(one.spent),
        "credit": money(one.credit), "buy": list(one.buy),
        "drums": [
            {
                "drum": d.drum, "from": d.offer or "new", "size": size_text(d) if d.offer else None,
                "cut_down": d.cut_down,
            }
            for d in one.drums
        ],
        "new_shells": [d.drum for d in one.drums if d.offer is None],
        "leftovers": [{"offer": d.offer, "size": size_text(d), "credit": money(d.credit)} for d in one.leftovers],
        "reasons": list(one.reasons),
    }  # fmt: skip


def size_text(one: Sourced) -> str:
    """`16x14`: diameter first."""
    return f"{one.size.diameter.normalize():f}x{one.size.depth.normalize():f}"
