"""`new --prices` as a JSON object."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.counts import FileCounts
from kitvalue.intake.newsettings import NewLines, SeriesSeen
from kitvalue.intake.takeover import Incoming
from kitvalue.pages.answers.common import Answer, file_answer


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
