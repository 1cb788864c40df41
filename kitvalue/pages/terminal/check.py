"""`check` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.alike import FEWEST_ROWS, FINE, first_to_do, together
from kitvalue.intake.bookrows import RowAsRead
from kitvalue.intake.counts import FileCounts, PlanCounts
from kitvalue.intake.pasting import PasteBlock
from kitvalue.intake.problems import UNKNOWN_WORDS, Level, Problem
from kitvalue.intake.words import fold, listed
from kitvalue.pages.terminal.market import counts_line
from kitvalue.pages.terminal.table import Column, figure, money, table, wrapped

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}


def problem_lines(problems: Sequence[Problem], paste: Sequence[PasteBlock] = ()) -> list[str]:
    """Every problem in the files' order, those of one kind in one line; warnings marked. Cells that stand in lines to
    paste are not told a second time.
    """
    pasted = {word for block in paste for word in block.words}
    lines = []
    for one in together(problems):
        told = one.first.code in UNKNOWN_WORDS and all(fold(p.text or "") in pasted for p in one.problems)
        lines.append(("warning: " if one.first.level is Level.WARNING else "") + (one.short() if told else one.line()))
    return lines


def check_text(
    files: Sequence[FileCounts],
    plans: Sequence[PlanCounts],
    problems: Sequence[Problem],
    rows: Sequence[RowAsRead] | None,
    paste: Sequence[PasteBlock] = (),
) -> str:
    """How each file was read, what there is to do, and what to paste into shop.toml."""
    parts = [f"{counts_line(c)}{_dialect(c)}" for c in files]
    if plans:
        parts.append(_plans(plans))
    if rows is not None:
        parts.insert(0, _rows(rows) + "\n")
    refused = sum(1 for p in problems if p.level is not Level.WARNING)
    warned = sum(1 for p in problems if p.level is Level.WARNING and p.code not in FINE)
    if refused:
        parts.append(f"{refused} to mend, {warned} to look at")
    elif warned:
        parts.append(f"nothing refused, {warned} to look at")
    else:
        parts.append("nothing to mend")
    if problems:
        parts.append(f"First: {first_to_do(problems, files)}")
    if refused and files and files[0].used >= FEWEST_ROWS:
        parts.append(f"Or go on: the {files[0].used} rows of {files[0].file} that are right are enough for answers")
    return "\n".join([*parts, *map(_to_paste, paste)])


def _to_paste(block: PasteBlock) -> str:
    """Lines for shop.toml as they are to stand there: no sign before them, none of them folded."""
    parts = []
    if block.open_at:
        place = f"{lines_phrase(block.open_at)} under {block.heading}"
        parts.append(wrapped(f"Fill in shop.toml, {place}: write {block.to_fill} on the right", ""))
    if block.lines:
        fill = f"; where the right side is open, write {block.to_fill}" if block.to_fill else ""
        place = "" if block.stands is None else f" under {block.heading}, line {block.stands}"
        more = [f"# and {block.left_out} more words"] if block.left_out else []
        heading = [block.heading] if block.stands is None else []
        parts.append("\n".join([wrapped(f"Paste into shop.toml{place}{fill}:", ""), "", *heading, *block.lines, *more]))
    return "\n\n".join(["", *parts])[1:]


def lines_phrase(numbers: Sequence[int]) -> str:
    """Numbers of lines, in order, for a message: "line 5", "lines 5 to 9", "lines 5, 7 and 8"."""
    first, last = numbers[0], numbers[-1]
    if len(numbers) < 3 or last - first != len(numbers) - 1:
        return f"line{'s' if len(numbers) > 1 else ''} {listed(map(str, numbers), 20)}"
    return f"lines {first} to {last}"


def _plans(plans: Sequence[PlanCounts]) -> str:
    broken = [plan.file.rpartition("/")[2] for plan in plans if plan.drums is None]
    many = f"{len(plans)} plan{'s' if len(plans) > 1 else ''} read"
    return f"builds: {many}, {len(plans) - len(broken)} usable" + (f" (not {', '.join(broken)})" if broken else "")


def _dialect(c: FileCounts) -> str:
    known = [c.encoding, DELIMITERS.get(c.delimiter or ""), f"decimal {c.decimal}" if c.decimal else None]
    said = [k for k in known if k]
    return f"  ({', '.join(said)})" if said else ""


def _rows(rows: Sequence[RowAsRead]) -> str:
    columns = [
        Column("row"), Column("series", figures=False), Column("pieces"), Column("cond."), Column("price"),
        Column("", figures=False), Column("kind", figures=False), Column("channel", figures=False), Column("date"),
        Column("freight"),
    ]  # fmt: skip
    return table(
        columns,
        [
            (
                str(r.row), r.series, str(r.pieces), figure(r.condition), money(r.price, cents=True), r.currency,
                r.price_kind, r.channel, r.date.isoformat() if r.date else "-", money(r.freight, cents=True),
            )
            for r in rows
        ],
    )  # fmt: skip
