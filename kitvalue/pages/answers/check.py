"""`check` as a JSON object."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.alike import first_to_do
from kitvalue.intake.bookrows import RowAsRead
from kitvalue.intake.counts import FileCounts, PlanCounts
from kitvalue.intake.problems import Problem
from kitvalue.pages.answers.common import Answer, feature, file_answer, money, number

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
