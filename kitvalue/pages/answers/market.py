"""`fit` and `value` as JSON objects."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TypeAlias

from kitvalue.intake.adverts.jot import NewRow
from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.arrival.settings import NewLines, SeriesSeen
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.books.bookrows import FeatureRead, RowAsRead
from kitvalue.intake.text.problems import FileCounts, PlanCounts, Problem, first_to_do
from kitvalue.market.fitted import Accuracy, Fit, Moved
from kitvalue.market.outlook import Outlook
from kitvalue.market.value import Comparable, Valuation, series_knowledge
from kitvalue.workshop.money import ZERO

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"
Answer: TypeAlias = dict[str, Json]


def envelope(problems: Sequence[Problem], cautions: Sequence[str]) -> Answer:
    """What every answer holds. A caution that several parts of it bring stands once, where it comes first."""
    return {
        "problems": [
            {
                "file": p.file, "row": p.row, "column": p.column, "text": p.text, "code": p.code,
                "level": p.level.value, "message": p.message,
            }
            for p in problems
        ],
        "cautions": list(dict.fromkeys(cautions)),
    }  # fmt: skip


def money(value: Decimal | float | None) -> float | None:
    """Money with two decimals, half up for Decimal; None where it cannot be told."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return round(float(value), 2)


def number(value: Decimal | float | None) -> float | None:
    """A figure that is not money: as it is, None where it cannot be told."""
    return None if value is None or not math.isfinite(value) else float(value)


def feature(f: FeatureRead) -> Json:
    """One feature as its file tells it; None where it is blank."""
    return number(f.value) if isinstance(f.value, Decimal) else f.value


def file_answer(counts: FileCounts) -> Answer:
    return {
        "file": counts.file, "read": counts.read, "used": counts.used, "refused": counts.refused,
        "set_aside": counts.set_aside, "encoding": counts.encoding, "delimiter": counts.delimiter,
        "decimal": counts.decimal,
    }  # fmt: skip


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


PRICES = "prices.csv"


def check_answer(
    files: Sequence[FileCounts],
    plans: Sequence[PlanCounts],
    problems: Sequence[Problem],
    rows: Sequence[RowAsRead] | None,
) -> Answer:
    """`check`; `rows` only where they were asked for."""
    answer: Answer = {
        "files": [file_answer(c) for c in files],
        "plans": [{"file": plan.file, "drums": plan.drums, "usable": plan.drums is not None} for plan in plans],
        "first": first_to_do(problems, files),
    }
    if rows is not None:
        answer["rows"] = [row_answer(r) for r in rows]
    return answer


def row_answer(r: RowAsRead) -> Answer:
    """One row as it was read, every column; null where unknown."""
    return {
        "file": PRICES, "row": r.row, "series": r.series, "pieces": r.pieces, "condition": number(r.condition),
        "price": money(r.price), "asked": money(r.asked), "price_kind": r.price_kind, "channel": r.channel,
        "premium": number(r.premium),
        "currency": r.currency, "freight": money(r.freight), "date": r.date.isoformat() if r.date else None,
        "weight": number(r.weight), "ref": r.ref, "note": r.note, **{f.name: feature(f) for f in r.features},
    }  # fmt: skip


def arrival_answer(
    folder: str,
    files: Sequence[str],
    sheet: Incoming,
    series: Sequence[SeriesSeen],
    currency: str | None,
    counts: Sequence[FileCounts],
    settings: NewLines,
) -> Answer:
    """What was made of a spreadsheet; `guesses` are the grades written in for words of conditions, `open_lines` the
    lines of shop.toml whose right side is to be written.
    """
    return {
        "folder": folder,
        "files": list(files),
        "columns": dict(sheet.columns),
        "unused": list(sheet.unused),
        "rows_left_out_above": sheet.above,
        "series": [{"name": one.name, "rows": one.rows, "alike": dict(one.alike)} for one in series],
        "currency": currency,
        "read": [file_answer(one) for one in counts],
        "guesses": [{"word": one.word, "grade": one.grade, "rows": one.rows} for one in settings.guesses],
        "open_lines": [at for block in settings.to_fill for at in block.open_at],
    }


def jot_answer(file: str, understood: Understood, row: NewRow, written: bool) -> Answer:
    """The columns understood with their words, those left open, and the row; `written`: it stands in the file."""
    return {
        "file": file,
        "understood": [{"field": t.field, "value": t.value, "words": t.words} for t in understood.taken],
        "unknown": [{"field": u.field, "reason": u.reason} for u in understood.unknown],
        "row": {"row": row.row, "cells": dict(row.cells), "line": row.line},
        "written": written,
    }
