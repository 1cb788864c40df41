"""`shortlist` and `source` as JSON objects."""

from __future__ import annotations

from kitvalue.decisions.asked_price import AskedFor
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.shortlist import MadeUp, OfferFound, ReckonedWith, Shortlist, UseFound
from kitvalue.decisions.sourcing import Answer as Found
from kitvalue.decisions.sourcing import Sourced, Sourcing
from kitvalue.pages.answers.common import Answer, feature, money, number


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
