"""`fit` and `value` as JSON objects."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.intake.text.problems import FileCounts
from kitvalue.market.fitted import Fit, Moved
from kitvalue.market.outlook import Outlook
from kitvalue.market.value import Comparable, Valuation, series_knowledge
from kitvalue.pages.answers.record import Answer, answer, money
from kitvalue.workshop.money import ZERO

_ACCURACY = "median_ape coverage_80 median_ratio cod prd prd_expected prb forward_median_ape forward_rows reasons"


def fit_answer(fit: Fit, counts: FileCounts) -> Answer:
    """`fit`. Coefficients are of the natural log of the price; their range is the 95 % one."""
    known = [] if fit.exact else series_knowledge(fit)
    return {
        "rows": answer(counts, "read used refused set_aside"),
        "terms": [answer(t, "name coefficient se low high percent percent_low percent_high") for t in fit.terms],
        "left_out": [answer(out, "term reason") for out in fit.recipe.left_out],
        "series": [answer(s, "name rows effect percent") for s in fit.series],
        "least_known": [answer(k, "series=name rows level_percent one_more_percent") for k in known],
        "unusual": [
            answer(
                u, "row series weight observed$ expected$ studentised leverage moves_percent hint", hint=u.hint or None
            )
            for u in fit.unusual
        ],
        **answer(fit, "tau2 sigma2 reference_date=recipe.reference_date pooled=recipe.pooled robust"),
        "accuracy": None if fit.accuracy is None else answer(fit.accuracy, _ACCURACY),
    }


def value_answer(
    valuation: Valuation, move: Moved | None, currency: str, holding: Decimal = ZERO, asked: Answer | None = None
) -> Answer:
    """`value`; `asked` is what is said of a price asked for it."""
    return {
        "kit": answer(
            valuation,
            "series=kit.series pieces=kit.pieces condition=kit.condition finished on=kit.on currency features",
            currency=currency,
            features={f.name: f.value for f in valuation.kit.features},
        ),
        "buy_in": _outlook(valuation.buy_in),
        "resale": _outlook(valuation.resale),
        "comparables": [_comparable(c) for c in valuation.comparables],
        "as_of": valuation.as_of.isoformat() if valuation.as_of else None,
        "moved": None if move is None else answer(move, "since to percent low high reason"),
        "holding": money(holding),
        "asked": asked,
    }


def _outlook(o: Outlook) -> Answer:
    return answer(o, "typical$ mean$ low$ high$ level_low$ level_high$ range_percent rests_on")


def _comparable(c: Comparable) -> Answer:
    return answer(
        c,
        "row series pieces condition date observed$ adjustments adjusted$ net_percent gross_percent weight",
        adjustments=[answer(a, "name factor percent") for a in c.adjustments],
    )
