"""`check`, `new` and `jot` as JSON objects."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.adverts.jot import NewRow
from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.arrival.settings import NewLines, SeriesSeen
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.books.bookrows import RowAsRead
from kitvalue.intake.text.problems import FileCounts, PlanCounts, Problem, first_to_do
from kitvalue.pages.answers.record import Answer, answer, features

_COUNTS = "file read used refused set_aside encoding delimiter decimal"
_ROW = (
    "file row series pieces condition price$ asked$ price_kind channel premium currency freight$ date weight ref note"
)


def check_answer(
    files: Sequence[FileCounts],
    plans: Sequence[PlanCounts],
    problems: Sequence[Problem],
    rows: Sequence[RowAsRead] | None,
) -> Answer:
    """`check`; `rows` only where they were asked for."""
    found: Answer = {
        "files": [answer(c, _COUNTS) for c in files],
        "plans": [answer(plan, "file drums usable", usable=plan.drums is not None) for plan in plans],
        "first": first_to_do(problems, files),
    }
    if rows is not None:
        found["rows"] = [row_answer(r) for r in rows]
    return found


def row_answer(r: RowAsRead) -> Answer:
    """One row as it was read, every column; null where unknown."""
    return answer(r, _ROW, file="prices.csv") | features(r.features)


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
        "series": [answer(one, "name rows alike", alike=dict(one.alike)) for one in series],
        "currency": currency,
        "read": [answer(c, _COUNTS) for c in counts],
        "guesses": [answer(guess, "word grade rows") for guess in settings.guesses],
        "open_lines": [at for block in settings.to_fill for at in block.open_at],
    }


def jot_answer(file: str, understood: Understood, row: NewRow, written: bool) -> Answer:
    """The columns understood with their words, those left open, and the row; `written`: it stands in the file."""
    return {
        "file": file,
        "understood": [answer(taken, "field value words") for taken in understood.taken],
        "unknown": [answer(unknown, "field reason") for unknown in understood.unknown],
        "row": answer(row, "row cells line", cells=dict(row.cells)),
        "written": written,
    }
