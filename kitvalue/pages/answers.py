"""What each command answers as one JSON object: the keys in their order, figures as plain numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias, cast

from kitvalue.intake.text.problems import Caution, first_to_do
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.market.outlook import series_knowledge
from kitvalue.workshop.money import ZERO

if TYPE_CHECKING:
    from kitvalue.decisions.asked import JudgedPrice
    from kitvalue.decisions.breakeven import Comparison
    from kitvalue.decisions.layout import PlanMade
    from kitvalue.decisions.pricing import PriceSheet
    from kitvalue.decisions.shares import LearnedShares
    from kitvalue.decisions.shortlist import Shortlist
    from kitvalue.decisions.sourcing import Sourcing
    from kitvalue.decisions.verdict import Verdict
    from kitvalue.intake.adverts.jot import Jotted, NotJotted
    from kitvalue.intake.arrival.guesses import SeriesSeen
    from kitvalue.intake.arrival.merging import Taken
    from kitvalue.intake.arrival.settings import NewLines
    from kitvalue.intake.arrival.takeover import Incoming
    from kitvalue.intake.books.bookrows import FeatureRead, RowAsRead
    from kitvalue.intake.settings.jobs import Job
    from kitvalue.intake.text.problems import FileCounts, PlanCounts, Problem
    from kitvalue.market.encoding import FeatureValue
    from kitvalue.market.fitted import Fit, Moved
    from kitvalue.market.outlook import Valuation
    from kitvalue.workshop.costing import CostSheet
    from kitvalue.workshop.outcome import JobOutcome, LearnedOperations

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"
Answer: TypeAlias = dict[str, Json]

_COUNTS = "file read used refused set_aside encoding delimiter decimal"
_SHEET = "plan=name title currency"
_RECKONED = """vat_percent=tax.rate registered=tax.registered kind=tax.kind sell_on=tax.sell_on rebuild=tax.rebuild
    hourly_rate=work.rate$ contingency_percent=work.contingency prepare_hours=work.prepare part_out_hours=work.part_out
    margin_percent=selling.margin fee_percent=selling.fee fee_fixed=selling.fee_fixed$
    reserve_percent=selling.reserve capital_percent=selling.capital invented"""
_VERDICT = "code sentence price$ reason"
_MONEYS_WORTH = "landed$ pieces size door$ share_below seen sentence"
_MADE_UP = "sells_for$ vat$ fee$ reserve$ costs$ margin$ deducted$ leaves$"


_WORD = re.compile(r"(\w+)(?:=([\w.]+))?([$?:@]|~\d)?|[{}]")


class _Key(NamedTuple):
    """One key of an answer: the fields that lead to its value, how it is written, the keys of the records in it."""

    name: str
    path: list[str]
    form: str
    keys: tuple[_Key, ...] = ()


@cache
def _keys_of(text: str) -> tuple[_Key, ...]:
    levels: list[list[_Key]] = [[]]
    for word in _WORD.finditer(text):
        name, path, form = word.groups(default="")
        if name:
            levels[-1].append(_Key(name, (path or name).split("."), form))
        elif word[0] == "{":
            levels.append([])
        else:
            inner = tuple(levels.pop())
            levels[-1][-1] = levels[-1][-1]._replace(keys=inner)
    return tuple(levels[0])


def answer(record: object, keys: str | Sequence[_Key], **made: Json) -> Answer:
    """The record under these keys, in this order; a value that no field has as it is to be told comes from `made`.

    A key is a field's name, or `key=field` or `key=part.field`: null where there is no such part; a method is called.
    Behind it stands how it is written: `$` money, `~4` so many decimals, `?` null where it is blank, `:` features, `@`
    the codes of cautions. In `{}` follow the keys of the record, or of each record, that it holds.
    """
    answered: Answer = {}
    for key in _keys_of(keys) if isinstance(keys, str) else keys:
        if key.name in made:
            answered[key.name] = made[key.name]
            continue
        value = record
        for field in key.path:
            value = None if value is None else getattr(value, field)
        answered[key.name] = _json(value() if callable(value) else value, key)
    return answered


def _json(value: Any, key: _Key = _Key("", [], "")) -> Json:  # noqa: ANN401, B008 - any field of any record
    """One value: days and codes as text, tuples as lists, a figure as it is."""
    form = key.form
    if form == ":":
        return features(value)
    if isinstance(value, Caution):
        return value.code if form == "@" else value.text
    if isinstance(value, tuple | list):
        return [_json(part, key) for part in value]
    if key.keys and value is not None:
        return answer(value, key.keys)
    if form == "$" or form.startswith("~"):
        return number(value, 2 if form == "$" else int(form[1:]))
    if isinstance(value, Decimal | float):
        return number(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return cast("str", value.value)
    if isinstance(value, Size):
        return size_text(value)
    return cast("Json", (value or None) if form == "?" else value)


def number(value: Decimal | float | None, decimals: int | None = None) -> float | None:
    """A figure, rounded or as it is; None where it cannot be told."""
    if value is None or not math.isfinite(value):
        return None
    return float(value) if decimals is None else round(float(value), decimals)


def features(read: Sequence[FeatureRead | FeatureValue]) -> Answer:
    """Features as their file tells them; null where one is blank."""
    return {f.name: _json(f.value) for f in read}


def envelope(problems: Sequence[Problem], cautions: Sequence[Caution]) -> Answer:
    """What every answer holds. A caution that several parts of it bring stands once, where it comes first."""
    each = list(dict.fromkeys(cautions))
    return {
        "problems": [answer(p, "file row column text code level message") for p in problems],
        "cautions": [caution.text for caution in each],
        "caution_codes": [caution.code for caution in each],
    }


# ---- the files and the market --------------------------------------------------------------------------------------


def check_answer(
    files: Sequence[FileCounts],
    plans: Sequence[PlanCounts],
    problems: Sequence[Problem],
    rows: Sequence[RowAsRead] | None,
) -> Answer:
    """`check`; `rows`, every column of each with null where unknown, only where they were asked for."""
    row = """file row series pieces condition price$ asked$ price_kind channel premium currency freight$ date weight ref
        note"""
    answered: Answer = {
        "files": [answer(c, _COUNTS) for c in files],
        "plans": [answer(plan, "file drums usable", usable=plan.drums is not None) for plan in plans],
        "first": first_to_do(problems, files),
    }
    if rows is not None:
        answered["rows"] = [answer(r, row, file="prices.csv") | features(r.features) for r in rows]
    return answered


def arrival_answer(
    folder: str,
    files: Sequence[str],
    sheet: Incoming,
    series: Sequence[SeriesSeen],
    currency: str | None,
    counts: Sequence[FileCounts],
    settings: NewLines,
) -> Answer:
    """What was made of a spreadsheet; `guesses` are the words written in that are not beyond doubt, `open_lines`
    the lines of shop.toml whose right side is to be written."""
    return {
        "folder": folder,
        "files": list(files),
        "columns": dict(sheet.columns),
        "unused": list(sheet.unused),
        "rows_left_out_above": sheet.above,
        "series": [answer(one, "name rows alike same", alike=dict(one.alike), same=dict(one.same)) for one in series],
        "currency": currency,
        "read": [answer(c, _COUNTS) for c in counts],
        "guesses": [answer(guess, "column word means rows") for guess in settings.guesses],
        "open_lines": [at for block in settings.to_fill for at in block.open_at],
    }


def jot_answer(jottings: Sequence[Jotted | NotJotted], verdicts: Mapping[int, Verdict], written: bool) -> Answer:
    """The columns understood with their words, those left open, the amounts, and the row; `written`: the file has it.
    Of several adverts an object each under `rows`, with `refused` where one is no offer of one kit.
    """
    from kitvalue.intake.adverts.jot import Jotted

    rows: list[Answer] = [
        _jotted(one, verdicts, written)
        if isinstance(one, Jotted)
        else {"begins": one.begins, "refused": one.why, "written": False}
        for one in jottings
    ]
    return rows[0] if len(rows) == 1 else {"rows": rows}


def _jotted(one: Jotted, verdicts: Mapping[int, Verdict], written: bool) -> Answer:
    verdict = verdicts.get(one.row.row)
    return {
        **({} if verdict is None else {"verdict": answer(verdict, _VERDICT)}),
        "file": one.file,
        **answer(
            one.understood,
            """understood=taken{field value words} unknown{field reason}
            amounts{value words role reasons{role code points words}}""",
        ),
        "row": answer(one.row, "row cells line", cells=dict(one.row.cells)),
        "written": written,
    }


def take_answer(taken: Taken, written: bool) -> Answer:
    """What became of each row of an export, by its number there; `written`: the book has it."""
    rows = "row book_row cells{column old new}"
    return {
        **answer(taken, "file read"),
        "added": [
            answer(row, "row series pieces condition price$ price_kind channel currency date ref note")
            for row in taken.added
        ],
        **answer(taken, f"changed{{{rows}}} open{{{rows}}} left{{row book_row=of_row}}"),
        "refused": [answer(problem, "row column text code message") for problem in taken.refused],
        "written": written,
    }


def fit_answer(fit: Fit, counts: FileCounts) -> Answer:
    """`fit`. Coefficients are of the natural log of the price; their range is the 95 % one."""
    known = [] if fit.exact else series_knowledge(fit)
    return answer(
        fit,
        """rows terms{name coefficient se low high percent percent_low percent_high}
        left_out=recipe.left_out{term reason} series{name rows effect percent} least_known
        unusual{row series weight observed$ expected$ studentised leverage moves_percent hint?}
        tau2 sigma2 reference_date=recipe.reference_date pooled=recipe.pooled robust
        accuracy{median_ape coverage_80 median_ratio cod prd prd_expected prb forward_median_ape forward_rows
            reasons}""",
        rows=answer(counts, "read used refused set_aside"),
        least_known=[answer(k, "series=name rows level_percent one_more_percent") for k in known],
    )


def value_answer(
    valuation: Valuation, move: Moved | None, currency: str, holding: Decimal = ZERO, asked: JudgedPrice | None = None
) -> Answer:
    """`value`; `asked` is what is said of a price asked for it; `sold_in` has each condition it could be sold in."""
    judged = (
        None
        if asked is None
        else answer(
            asked,
            f"""price$ against_percent rank expected_paid open_at=best.open_at$ stop_at=best.stop_at$
        sold_in=judged{{finished=offer.finished hours=offer.hours~2 parts=offer.parts$ open_at$ stop_at$
            best_route=best.route expected_profit=best.expected_profit$ chance_of_loss=best.chance_of_loss
            profit_per_hour=best.profit_per_hour$ made_up=best.made_up{{{_MADE_UP}}}}}
        reckoned_with=reckoned{{{_RECKONED}}} reason""",
            **answer(asked.judged[0] if asked.judged else None, "rank expected_paid$"),
        )
    )
    outlook = "{typical$ mean$ low$ high$ level_low$ level_high$ range_percent rests_on}"
    kit = (
        "series=kit.series pieces=kit.pieces condition=kit.condition finished on=kit.on currency features=kit.features:"
    )
    return answer(
        valuation,
        f"""verdict kit buy_in{outlook} resale{outlook} comparables{{row series pieces condition date observed$
        adjustments{{name factor percent}} adjusted$ net_percent gross_percent weight}} as_of moved holding asked""",
        kit=answer(valuation, kit, currency=currency),
        moved=None if move is None else answer(move, "since to percent low high reason"),
        holding=number(holding, 2),
        asked=judged,
        verdict=None if asked is None else answer(asked.verdict, _VERDICT),
    )


# ---- buying --------------------------------------------------------------------------------------------------------


def shortlist_answer(s: Shortlist) -> Answer:
    """`shortlist`. `rank` and chances are shares of the sample; profits are at the price expected to be paid."""
    return answer(
        s,
        f"""verdict{{{_VERDICT}}} currency plan on as_of
        offers{{verdict{{{_VERDICT}}} offer=offer.offer
            series=offer.series pieces=offer.pieces condition=offer.condition
            features=offer.features: finished=offer.finished hours=offer.hours~2 parts=offer.parts$ asked=offer.price$
            price_kind=offer.price_kind premium=offer.premium bought_from=offer.bought_from vat=offer.vat
            premium_vat=offer.premium_vat freight=offer.freight$ freight_by=offer.freight_by duty=offer.duty
            import_vat=offer.import_vat clearance=offer.clearance$ net
            buy_in$ asked_against_percent=against_percent rank expected_paid$ paid_rests_on=paid.rests_on
            open_at$ stop_at$ best_use=best.use best_route=best.route expected_profit=best.expected_profit$
            chance_of_loss=best.chance_of_loss profit_per_hour=best.profit_per_hour$
            uses{{use route ceiling$ safe_ceiling$ expected_profit$ chance_of_loss
                chance_of_loss_at_ceiling=chance_at_ceiling hours~2 profit_per_hour$ reason made_up{{{_MADE_UP}}}}}
            cautions caution_codes=cautions@ reason}}
        portfolio{{buy{{offer use plan donor route}} expected_profit$ chance_of_loss spent$ hours~2 budget$
            bench_hours~2 exact bound$ gap$}}
        holding$ months_to_sell=reckoned_with.selling.months_to_sell unread reckoned_with{{{_RECKONED}}}""",
    )


def source_answer(s: Sourcing, written: str | None) -> Answer:
    """`source`: the cheapest answer, and all that were asked for under `answers`."""
    answers = [
        answer(
            one,
            """status cost$ gap$ spent$ cash$ credit$ buy drums new_shells leftovers{offer size credit$}
            lines{what net$} common$ net_cost$ route purchase$ floor$ reasons""",
            drums=[
                {"drum": d.drum, "from": d.offer or "new", "size": size_text(d.size) if d.offer else None,
                 "cut_down": d.cut_down}
                for d in one.drums
            ],
        )
        for one in s.answers
    ]  # fmt: skip
    return {"plan": s.plan, "currency": s.currency, **answers[0], "answers": answers, "written": written}


# ---- builds --------------------------------------------------------------------------------------------------------


def cost_answer(sheet: CostSheet, verdict: Verdict | None) -> Answer:
    """`cost`. `lines`, `net_cost` and `purchase` are by the route that the plan or the shop sets; no verdict without a
    price book."""
    return answer(
        sheet,
        f"""verdict {_SHEET} pieces route
        lines=chosen.lines{{what group quantity unit unit_price~4 net$ basis}} subtotals
        quantities{{what quantity unit note?}}
        strips=cuttings{{what drum=strip.drum length_mm=strip.length~1 width_mm=strip.width~1 pieces_mm=pieces~1
            area_m2=strip.area~4}}
        apportioned{{donor price$ sold_off$ kept$ kit$}} hours~2 net_cost$ net_cost_text=total.text
        deducted=chosen.deducted$ purchase=chosen.purchase$
        routes{{route allowed reason net_cost$ purchase$ zero_profit_price$ floor$ landed_at_cost$
            landed_at_floor$ cautions caution_codes=cautions@}} incomplete""",
        verdict=None if verdict is None else answer(verdict, _VERDICT),
        subtotals=[answer(s, "group net$ unknown", unknown=len(s.unknown)) for s in sheet.subtotals()],
    )


def price_answer(sheet: CostSheet, p: PriceSheet) -> Answer:
    """`price`. Prices are gross; `net` to `markup` are at `price`: the suggested one, or the one asked about."""
    return answer(
        p,
        f"""verdict{{{_VERDICT}}} plan title currency route floor=quote.floor$ cap=quote.cap$ resale=quote.resale$
        market_price=quote.market_price$ profit_at_market=quote.profit_at_market$ suggested=quote.suggested$
        binding=quote.binding landed_at_cost landed_at_price=quote.landed_at_price$
        original_landed=quote.original_landed$ price=sale.gross$ net=sale.net$ vat=sale.vat$ fee=sale.fee$
        reserve=sale.reserve$ originals_dearer chance_of_loss profit=sale.profit$ margin=sale.margin markup=sale.markup
        ways_out{{name value text}} destinations{{place kind seller_gets$ buyer_pays$ reason
            parts=door{{goods$ freight$ duty$ vat$ clearance$}}}} business_buyer incomplete
        for_that_money{{{_MONEYS_WORTH}}}""",
        **answer(sheet, f"{_SHEET} route landed_at_cost=chosen.landed_at_cost$ incomplete"),
    )


def plan_answer(made: PlanMade, written: str | None) -> Answer:
    """`plan`. `text` is that of the file, `assumed` says why what nobody named is so."""
    return {
        **answer(
            made,
            f"""verdict{{{_VERDICT}}} plan=plan.name title=plan.title net_cost=sheet.net_cost$ hours=sheet.hours~2
            incomplete=sheet.incomplete text""",
            verdict=None if made.verdict is None else answer(made.verdict, _VERDICT),
        ),
        "drums": [
            {
                "role": drum.role, "size": size_text(drum.size), "from": drum.from_, "positions": drum.positions,
                "cut_from": None if drum.cut_from is None else size_text(drum.cut_from), "holes": drum.holes,
            }
            for drum in made.plan.drum
        ],
        "donors": [donor.id for donor in made.plan.donor],
        "work": [line.what for line in made.plan.work],
        "assumed": dict(made.assumed),
        "written": written,
    }  # fmt: skip


def jobs_answer(jobs: Sequence[Job]) -> Answer:
    """`plan --jobs`."""
    return {"jobs": [{"name": job.name, "title": job.title, "work": [line.what for line in job.work]} for job in jobs]}


def variants_answer(sheets: Sequence[PriceSheet]) -> Answer:
    """`compare` of several plans. `verdict` is that on the build; profit and `profit_an_hour` are at `ask`."""
    keys = f"""plan=sheet.name title=sheet.title verdict=build{{{_VERDICT}}} net_cost=sheet.net_cost$
        landed_at_cost=quote.landed_at_cost$ floor=quote.floor$ ask=sale.gross$ landed_at_price=quote.landed_at_price$
        profit=sale.profit$ hours=sheet.hours~2 profit_an_hour$ market_price=quote.market_price$
        profit_at_market=quote.profit_at_market$ incomplete=sheet.incomplete"""
    return {"currency": sheets[0].sheet.currency, "plans": [answer(sheet, keys) for sheet in sheets]}


def compare_answer(c: Comparison) -> Answer:
    """`compare`. The original's figures are at the buyer's door."""
    return answer(
        c,
        f"""verdict{{{_VERDICT}}} for_that_money{{{_MONEYS_WORTH}}}
        against{{price$ pieces condition freight$ repair$ door$ share_below ours_pieces verdict{{{_VERDICT}}}}}
        plan=sheet.name title=sheet.title currency=sheet.currency
        by_pieces{{pieces=sheet.pieces build_at_cost=quote.landed_at_cost$ build_at_price=quote.asked$
            landed_at_price=quote.landed_at_price$ original_typical=quote.original_landed$ original_low$ original_high$
            chance_build_cheaper note? incomplete=sheet.incomplete binding=quote.binding}}
        crossings=crossings.crossings{{pieces low high build_cheaper reason}} crossings_text=crossings.text
        chance_none=crossings.chance_none tie_price_at_cost=tie_at_cost.price$ tie_price_at_price=tie_at_price.price$
        share_below_tie_at_cost=tie_at_cost.share_below share_below_tie_at_price=tie_at_price.share_below
        hammer_tie_at_cost=tie_at_cost.hammer$ hammer_tie_at_price=tie_at_price.hammer$ priced_to_tie
        chance_build_cheaper suggested=quote.suggested$ market_price=quote.market_price$
        unknowns{{name unit planned break_even break_even_market reason swing_down$ swing_up$}}
        incomplete=sheet.incomplete like_for_like{{what build original}}""",
    )


def outcome_answer(
    jobs: Sequence[JobOutcome], hours: LearnedOperations, shares: LearnedShares, currency: str
) -> Answer:
    """`done`. Money is net but for `sold_for`; hours of `learned_hours` are for one unit, shares in percent."""
    from kitvalue.workshop.outcome import settings_lines

    job = """row=build.row plan=build.plan title=planned.plan.title finished_on=build.finished_on
        hours{planned~2 actual~2 reason}
        operations{operation unit? quantity planned=hours.planned~2 actual=hours.actual~2 reason=hours.reason}
        paid_out=paid{planned$ actual$ reason} net_cost{planned$ actual$ reason} sold_on=build.sold_on
        sold_for=build.sold_for$ vat=sale.vat$ net=sale.net$ profit=sale.profit$ margin=sale.margin markup=sale.markup
        planned_margin sale_reason note=build.note"""
    return {
        "currency": currency,
        "jobs": [answer(one, job) for one in jobs],
        **answer(
            hours,
            """common_hours_factor=common
            learned_hours=operations{operation unit? jobs planned own learned low high weight reason}""",
        ),
        "work_hours_lines": list(settings_lines(hours)),
        **answer(
            shares,
            """sales{row=job.build.row plan=job.build.plan series=finished.series sold_on=job.build.sold_on
            sold_for=job.build.sold_for$ typical=market.typical$ share planned=finished.share.middle}
            learned_shares=learned{plan series sales planned own learned low high weight line} shares_reason=reason""",
        ),
    }
