"""`shortlist`, `source` and a price asked for a kit as JSON objects."""

from __future__ import annotations

from kitvalue.decisions.asked import JudgedPrice
from kitvalue.decisions.shortlist import JudgedOffer, JudgedUse, ReckonedWith, Shortlist
from kitvalue.decisions.sourcing import Answer as Sources
from kitvalue.decisions.sourcing import Sourcing
from kitvalue.intake.text.sizes import size_text
from kitvalue.pages.answers.record import Answer, answer, features

_SOLD_IN = (
    "finished=offer.finished hours=offer.hours parts=offer.parts$ open_at$ stop_at$ best_route=best.route "
    "expected_profit=best.expected_profit$ chance_of_loss=best.chance_of_loss profit_per_hour=best.profit_per_hour$ "
    "made_up"
)


def shortlist_answer(s: Shortlist) -> Answer:
    """`shortlist`. `rank` and chances are shares of the sample; profits are at the price expected to be paid."""
    return answer(
        s,
        "currency plan on as_of offers portfolio holding$ months_to_sell=reckoned_with.selling.months_to_sell unread "
        "reckoned_with",
        offers=[_offer(one) for one in s.offers],
        portfolio=answer(
            s.portfolio, "buy expected_profit$ chance_of_loss spent$ hours budget$ bench_hours exact"
        ),
        reckoned_with=_reckoned(s.reckoned_with),
    )  # fmt: skip


def _reckoned(r: ReckonedWith | None) -> Answer | None:
    keys = (
        "vat_percent=tax.rate route=tax.route hourly_rate=work.rate$ contingency_percent=work.contingency "
        "prepare_hours=work.prepare part_out_hours=work.part_out margin_percent=selling.margin "
        "fee_percent=selling.fee invented"
    )
    return None if r is None else answer(r, keys)


def _offer(one: JudgedOffer) -> Answer:
    return answer(
        one,
        "offer=offer.offer series=offer.series pieces=offer.pieces condition=offer.condition features "
        "finished=offer.finished hours=offer.hours parts=offer.parts$ asked=offer.price$ buy_in$ "
        "asked_against_percent=against_percent rank expected_paid=paid.price$ paid_rests_on=paid.rests_on open_at$ "
        "stop_at$ best_use=best.use best_route=best.route expected_profit=best.expected_profit$ "
        "chance_of_loss=best.chance_of_loss profit_per_hour=best.profit_per_hour$ uses cautions reason",
        features=features(one.offer.features),
        uses=[_use(use) for use in one.uses],
    )


def _use(use: JudgedUse) -> Answer:
    return answer(
        use,
        "use route ceiling$ safe_ceiling$ expected_profit$ chance_of_loss chance_of_loss_at_ceiling=chance_at_ceiling "
        "hours profit_per_hour$ reason made_up",
        made_up=_made_up(use),
    )


def _made_up(use: JudgedUse | None) -> Answer | None:
    made = None if use is None else use.made_up
    return None if made is None else answer(made, "sells_for$ vat$ fee$ costs$ margin$ leaves$")


def asked_answer(a: JudgedPrice) -> Answer:
    """What is asked for one kit, judged; `sold_in` holds each condition that it could be sold in."""
    judged = answer(a.judged[0] if a.judged else None, "rank expected_paid=paid.price$")
    return answer(
        a,
        "price$ against_percent rank expected_paid sold_in reckoned_with reason",
        sold_in=[answer(one, _SOLD_IN, made_up=_made_up(one.best)) for one in a.judged],
        reckoned_with=_reckoned(a.reckoned),
        **judged,
    )


def source_answer(s: Sourcing, written: str | None) -> Answer:
    """`source`: the cheapest answer, and all that were asked for under `answers`."""
    answers = [_sources(one) for one in s.answers]
    return {"plan": s.plan, "currency": s.currency, **answers[0], "answers": answers, "written": written}


def _sources(one: Sources) -> Answer:
    return answer(
        one,
        "status cost$ gap$ spent$ credit$ buy drums new_shells leftovers reasons",
        drums=[
            {"drum": d.drum, "from": d.offer or "new", "size": size_text(d.size) if d.offer else None,
             "cut_down": d.cut_down}
            for d in one.drums
        ],
        new_shells=[d.drum for d in one.drums if d.offer is None],
        leftovers=[answer(d, "offer size credit$", size=size_text(d.size)) for d in one.leftovers],
    )  # fmt: skip
