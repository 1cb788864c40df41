"""`jot` as text for a terminal."""

from __future__ import annotations

from kitvalue.intake.adverts.record import Understood
from kitvalue.intake.jot import NewRow
from kitvalue.intake.problems import shown
from kitvalue.pages.terminal.table import Column, bullets, table


def jot_text(file: str, understood: Understood, row: NewRow, notices: tuple[str, ...]) -> str:
    """What was understood beside the words it comes from, what is open, and the row as it would stand in the file."""
    columns = [
        Column("column", figures=False), Column("understood", figures=False, most=40),
        Column("from the words", figures=False, most=46),
    ]  # fmt: skip
    parts = [
        "What the advert says",
        table(columns, [(t.field, _visible(t.value, 200), _visible(t.words, 200)) for t in understood.taken]) + "\n",
        bullets("Left blank", [f"{one.field}: {one.reason}" for one in understood.unknown]),
        bullets("Take care", [*notices, *understood.remarks]),
        f"Row {row.row} of {file}:\n  {_visible(row.line, 600)}",
    ]
    return "\n".join(part for part in parts if part)


def _visible(text: str, limit: int) -> str:
    """A text of the advert's with what does not show spelt out."""
    return shown(text, limit)[1:-1]
