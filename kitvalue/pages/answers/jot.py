"""`jot` as a JSON object."""

from __future__ import annotations

from kitvalue.intake.adverts.record import Understood
from kitvalue.intake.jot import NewRow
from kitvalue.pages.answers.common import Answer


def jot_answer(file: str, understood: Understood, row: NewRow, written: bool) -> Answer:
    """The columns understood with their words, those left open, and the row; `written`: it stands in the file."""
    return {
        "file": file,
        "understood": [{"field": t.field, "value": t.value, "words": t.words} for t in understood.taken],
        "unknown": [{"field": u.field, "reason": u.reason} for u in understood.unknown],
        "row": {"row": row.row, "cells": dict(row.cells), "line": row.line},
        "written": written,
    }
