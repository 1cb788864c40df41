"""`fit` and `value` as JSON objects."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.intake.counts import FileCounts
from kitvalue.market.comparables import Comparable
from kitvalue.market.fitted import Accuracy, Fit
from kitvalue.market.knowledge import series_knowledge
from kitvalue.market.outlook import Outlook
from kitvalue.market.trend import Moved
from kitvalue.market.value import Valuation
from kitvalue.pages.answers.common import Answer, money, number
from kitvalue.workshop.money import ZERO


def fit_answer(fit: Fit, counts: FileCounts) -> Answer:
    """`fit`. Coefficients are of the natural log of the price; their range is the 95 % one."""
    recipe = fit.recipe
    return {
        "rows": {"read": counts.read, "used": counts.used, "refused": counts.refused, "set_aside": counts.set_aside},
        "terms": [
            {
                "name": t.name, "coefficient": t.coefficient, "se": t.se, "low": t.low, "high": t.high,
                "percent": number(t.percent), "percent_low": number(t.percent_low),
                "percent_high": number(t.percent_high),
            }
            for t in fit.terms
        ],
        "left_out": [{"term": out.term, "reason": out.reason} for out in recipe.left_out],
        "series": [
            {"name": s.name, "rows": s.rows, "effect": s.effect, "percent": s.percent} for s in fit.series
        ],
        "least_known": [
            {
                "series": k.name, "rows": k.rows, "level_percent": k.level_percent,
                "one_more_percent": k.one_more_percent,
            }
            for k in ([] if fit.exact else series_knowledge(fit))
        ],
        "unusual": [
            {
                "row": u.row, "series": u.series, "weight": u.weight, "observed": money(u.observed),
                "expected": money(u.expected), "studentised": u.studentised, "leverage": u.leverage,
                "moves_percent": u.moves_percent, "hint": u.hint or None,
            }
            for u in fit.unusual
        ],
        "tau2": fit.tau2,
        "sigma2": fit.sigma2,
        "reference_date": recipe.reference_date.isoformat() if recipe.reference_date else None,
        "pooled": recipe.pooled,
        "robust": fit.robust,
        "accuracy": None if fit.accuracy is None else _accuracy(fit.accuracy),
    }  # fmt: skip


def _accuracy(a: Accuracy) -> Answer:
    return {
        "median_ape": a.median_ape, "coverage_80": number(a.coverage_80), "median_ratio": a.median_ratio,
        "cod": a.cod, "prd": number(a.prd), "prd_expected": number(a.prd_expected), "prb": number(a.prb),
        "forward_median_ape": number(a.forward_median_ape), "forward_rows": a.forward_rows,
        "reasons": list(a.reasons),
    }  # fmt: skip


def value_answer(
    valuation: Valuation, move: Moved | None, currency: str, holding: Decimal = ZERO, asked: Answer | None = None
) -> Answer:
    """`value`; `asked` is what is said of a price asked for it."""
    kit = valuation.kit
    return {
        "kit": {
            "series": kit.series, "pieces": kit.pieces, "condition": kit.condition,
            "finished": valuation.finished, "on": kit.on.isoformat() if kit.on else None, "currency": currency,
            "features": {f.name: f.value for f in kit.features},
        },
        "buy_in": _outlook(valuation.buy_in),
        "resale": _outlook(valuation.resale),
        "comparables": [_comparable(c) for c in valuation.comparables],
        "as_of": valuation.as_of.isoformat() if valuation.as_of else None,
        "moved": None if move is None else _moved(move),
        "holding": money(holding),
        "asked": asked,
    }  # fmt: skip


def _moved(m: Moved) -> Answer:
    return {
        "since": m.since.isoformat(), "to": m.to.isoformat(), "percent": number(m.percent), "low": number(m.low),
        "high": number(m.high), "reason": m.reason,
    }  # fmt: skip


def _outlook(o: Outlook) -> Answer:
    return {
        "typical": money(o.typical), "mean": money(o.mean), "low": money(o.low), "high": money(o.high),
        "level_low": money(o.level_low), "level_high": money(o.level_high), "range_percent": o.range_percent,
        "rests_on": o.rests_on,
    }  # fmt: skip


def _comparable(c: Comparable) -> Answer:
    return {
        "row": c.row, "series": c.series, "pieces": c.pieces, "condition": c.condition,
        "date": c.date.isoformat() if c.date else None, "observed": money(c.observed),
        "adjustments": [{"name": a.name, "factor": a.factor, "percent": a.percent} for a in c.adjustments],
        "adjusted": money(c.adjusted), "net_percent": c.net_percent, "gross_percent": c.gross_percent,
        "weight": c.weight,
    }  # fmt: skip
