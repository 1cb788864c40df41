"""What was read, what was refused, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitvalue.intake.counts import FileCounts
from kitvalue.intake.problems import Level, Problem
from kitvalue.pages.tables import Row, Table, and_more, figures, sentences, words
from kitvalue.pages.words import count, number

MOST_PROBLEMS = 80
SIGNS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point"}
EFFECTS = {Level.REFUSED: "row not used", Level.WARNING: "noted", Level.FILE: "file not used"}


@dataclass(frozen=True, slots=True)
class FilesView:
    """The section: counts a file, then every problem."""

    lead: str
    counts: Table | None
    problems: Table | None


def files_view(files: Sequence[FileCounts], problems: Sequence[Problem]) -> FilesView:
    """The section for the files read."""
    refused = sum(f.refused for f in files)
    lead = f"{count(sum(f.read for f in files), 'row')} read, {number(refused) if refused else 'none'} refused."
    if not problems:
        lead += " No complaint about any cell."
    return FilesView(lead, _counts(files) if files else None, _problems(problems) if problems else None)


def _counts(files: Sequence[FileCounts]) -> Table:
    return Table(
        caption="Files read",
        columns=(
            words("File"), figures("Read"), figures("Used"), figures("Refused"), figures("Set aside"),
            words("Columns parted by"), words("Decimal sign"), words("Encoding"),
        ),
        rows=tuple(
            Row((f.file, number(f.read), number(f.used), number(f.refused), number(f.set_aside),
                 _sign(f.delimiter), _sign(f.decimal), f.encoding or "not told"))
            for f in files
        ),
        notes=("Set aside: repeated rows, and older listings of a kit that was listed again.",),
    )  # fmt: skip


def _sign(sign: str | None) -> str:
    return "not needed" if sign is None else SIGNS.get(sign, sign)


def _problems(problems: Sequence[Problem]) -> Table:
    order = {Level.FILE: 0, Level.REFUSED: 1, Level.WARNING: 2}
    told = sorted(problems, key=lambda p: order[p.level])
    return Table(
        caption="Problems in the files",
        columns=(
            words("File"), figures("Row"), words("Column"), sentences("What is wrong, what to do"), words("Effect"),
        ),
        rows=tuple(
            Row((p.file, "all" if p.row is None else str(p.row), p.column or "all", p.message, EFFECTS[p.level]))
            for p in told[:MOST_PROBLEMS]
        ),
        notes=and_more(len(told) - MOST_PROBLEMS, "more", "kitvalue check lists them all"),
    )  # fmt: skip
