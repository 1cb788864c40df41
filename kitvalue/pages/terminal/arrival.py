"""`check`, `new` and `jot` as text: how files were read, what was laid out, and what their owner has yet to say."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Final, NamedTuple

from kitvalue.intake.adverts.jot import Jotted, NotJotted
from kitvalue.intake.arrival.guesses import SeriesSeen, WordMeant
from kitvalue.intake.arrival.merging import ChangedRow, Taken
from kitvalue.intake.arrival.questions import Question
from kitvalue.intake.arrival.settings import NewLines
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.books.bookrows import RowAsRead
from kitvalue.intake.settings.pasting import PasteBlock
from kitvalue.intake.settings.words import TURNED
from kitvalue.intake.text.problems import (
    FEWEST_ROWS,
    FINE,
    UNKNOWN_WORDS,
    FileCounts,
    Level,
    PlanCounts,
    Problem,
    first_to_do,
    shown,
    texts,
    together,
)
from kitvalue.intake.text.sizes import read_pieces
from kitvalue.intake.text.tomltext import Place, toml_text
from kitvalue.intake.text.words import fold, listed, spelt_out
from kitvalue.pages.terminal.figures import cents, counted, figure
from kitvalue.pages.terminal.market import counts_line
from kitvalue.pages.terminal.table import bullets, command, folded, page, table, wrapped

_MOST_ROWS: Final = 40  # of a list; with --json all are told
DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}


def problem_lines(problems: Sequence[Problem], paste: Sequence[PasteBlock] = ()) -> list[str]:
    """Every problem in the files' order, those of one kind in one line; cells in lines to paste are not told twice."""
    pasted = {word for block in paste for word in block.words}
    lines = []
    for alike in together(problems):
        told = alike.first.code in UNKNOWN_WORDS and all(fold(p.text or "") in pasted for p in alike.problems)
        mark = "warning: " if alike.first.level is Level.WARNING else ""
        lines.append(mark + (alike.short() if told else alike.line()))
    return lines


def check_text(
    files: Sequence[FileCounts],
    plans: Sequence[PlanCounts],
    problems: Sequence[Problem],
    rows: Sequence[RowAsRead] | None,
    paste: Sequence[PasteBlock] = (),
) -> str:
    """How each file was read, what there is to do, and what to paste into shop.toml."""
    parts = []
    if rows is not None:
        cells = [
            (r.row, r.series, r.pieces, figure(r.condition), cents(r.price), r.currency, r.price_kind, r.channel,
             r.date or "-", cents(r.freight))
            for r in rows
        ]  # fmt: skip
        heads = "row | series< | pieces | cond. | price | < | kind< | channel< | date | freight"
        parts = [table(heads, cells) + "\n"]
    for c in files:
        read = [c.encoding, DELIMITERS.get(c.delimiter or ""), c.decimal and f"decimal {c.decimal}"]
        dialect = ", ".join(filter(None, read))
        parts.append(counts_line(c) + (f"  ({dialect})" if dialect else ""))
    if plans:
        broken = [plan.file.rpartition("/")[2] for plan in plans if plan.drums is None]
        usable = f"{len(plans) - len(broken)} usable" + (f" (not {', '.join(broken)})" if broken else "")
        parts.append(spelt_out(f"builds: {counted(len(plans), 'plan')} read, {usable}"))
    refused = sum(p.level is not Level.WARNING for p in problems)
    warned = sum(p.level is Level.WARNING and p.code not in FINE for p in problems)
    to_mend = f"{refused} to mend" if refused else "nothing refused"
    parts.append(f"{to_mend}, {warned} to look at" if refused or warned else "nothing to mend")
    if problems:
        parts.append(f"First: {first_to_do(problems, files)}")
    in_doubt = any(problem.code == "marks_scale" for problem in problems)  # then no row can be trusted to be right
    if refused and files and files[0].used >= FEWEST_ROWS and not in_doubt:
        parts.append(f"Or go on: the {files[0].used} rows of {files[0].file} that are right are enough for answers")
    return "\n".join([*map(folded, parts), *map(_to_paste, paste)])


def _to_paste(block: PasteBlock) -> str:
    """Lines for shop.toml as they are to stand there: no sign before them, none of them folded."""
    parts = []
    if block.open_at:
        place = f"{_lines_phrase(block.open_at)} under {block.heading}"
        parts.append(wrapped(f"Fill in shop.toml, {place}: write {block.to_fill} on the right", ""))
    if block.lines:
        fill = f"; where the right side is open, write {block.to_fill}" if block.to_fill else ""
        place = "" if block.stands is None else f" under {block.heading}, line {block.stands}"
        heading = [block.heading] if block.stands is None else []
        more = [f"# and {block.left_out} more words"] if block.left_out else []
        parts.append("\n".join([wrapped(f"Paste into shop.toml{place}{fill}:", ""), "", *heading, *block.lines, *more]))
    return "\n" + "\n\n".join(parts)


def _lines_phrase(numbers: Sequence[int]) -> str:
    """Numbers of lines, in order, for a message: "line 5", "lines 5 to 9", "lines 5, 7 and 8"."""
    first, last = numbers[0], numbers[-1]
    if len(numbers) < 3 or last - first != len(numbers) - 1:
        return f"line{'s' if len(numbers) > 1 else ''} {listed(map(str, numbers), 20)}"
    return f"lines {first} to {last}"


_GRADES: Final = (
    "5 wipe: clean and tune; 4 freshen: new heads, polish; 3 mend: one or two repairs; 2 remake: the finish or several "
    "edges; 1 harvest: worth its parts only"
)
_SCHOOL: Final = (
    "Your conditions look like school marks: they are turned round below [prices.words.condition]. If 5 is the best of "
    "yours, delete those lines"
)
_TURNED: Final = (
    "Numbers among your conditions are read as grades, 5 the best. If 1 is the best of yours, take the # away from the "
    "five lines below [prices.words.condition]"
)
_TO_TEN: Final = (
    "Your conditions run to ten: they are halved below [prices.words.condition]. Look whether that is what the bench "
    "must do"
)
_MANY: Final = (
    "Many kits on offer: a row each in offers.csv; `offer` is a name of your choice, `finished`, `hours` and `parts` "
    "what you make of it (blank: sold on as it is). Then"
)
_DAY_ORDER: Final = (
    "day_first = true if 03/04/2026 is in April, day_first = false if it is in March",
    "the order of days",
)
# What a file leaves open: the key of [files] to write, and what its rows wait for.
_OPEN_FILES: Final = {
    "undecided_decimal": (
        'decimal = "." if 1,250 is more than a thousand, decimal = "," if it is little more than one',
        "the decimal sign",
    ),
    "undecided_date": _DAY_ORDER,
    "two_dates": _DAY_ORDER,
}
_COLUMNS: Final = ("prices", "columns")
_RATES: Final[tuple[tuple[str, Place], ...]] = (
    ("VAT rate", ("tax", "rate")), ("its scheme", ("tax", "sell_on")), ("hourly rate", ("work", "rate")),
    ("prepare", ("work", "prepare")), ("margin", ("selling", "margin")),
)  # fmt: skip
# What the owner is told of columns of money, by the field of `Incoming.money` that holds their headers.
_MONEY: Final = {
    "after_work": (
        "{it} is not used: where it is what you got after your own work, that sale is a row of its own (sold, dealer, "
        "the condition it was sold in)"
    ),
    "ticks": (
        "{it} is not used: {price} is what was asked, not what was paid. Where you know what a kit went for, add a "
        'column for it and write sold_for = "ITS HEADER" {place}'
    ),
    "paid": (
        "{price} counts as asked: where it is what was paid, add a column price_kind to prices.csv that says sold in "
        "each row"
    ),
    "left": "{it} is not used: if it is what a kit went for, write sold_for = {it} {place}",
}
_BEST: Final = 5
_SCALES: Final = {
    "ten": "conditions run to ten, so they are halved", "school": "conditions are school marks, so 1 is the best",
}  # fmt: skip


class _Step(NamedTuple):
    """A step of the list, perhaps with a command. `waits`: do rows wait for it?"""

    text: str
    command: str = ""
    waits: bool = False


def laid_out_text(folder: str, files: Sequence[str], shop: str) -> str:
    """The worked example's files. `shop`: the command so far, such as `kitvalue --shop myshop`."""
    listing = "\n".join(f"  {name}" for name in files)
    return (
        f"Laid out {folder}, all figures invented:\n{listing}\n\nNow put your own rows into prices.csv, then:\n"
        f"  {shop} check\nKits on offer go into offers.csv,\nyour VAT, hourly rate and margin into shop.toml; then:\n"
        f"  {shop} shortlist"
    )


def made_text(
    came_from: str, sheet: Incoming, series: Sequence[SeriesSeen], currency: str | None, guesses: Sequence[WordMeant]
) -> str:
    """What a spreadsheet's headers, series, conditions and prices were taken for."""
    above = f", the {counted(sheet.above, 'row')} above its headers left blank" if sheet.above else ""
    sized = sheet.sized
    items = {
        "columns": ", ".join(f"{name} = {header}" for name, header in sheet.columns.items()) or "none that is known",
        "not used": ", ".join(sheet.unused),
        "series": ", ".join(f"{one.name} {one.rows}" for one in series),
        "unsure": ", ".join(f'"{name}" may be {one.name}' for one in series for name in one.alike),
        "by cells": ", ".join(f"{name} = {sheet.columns[name]}" for name in sheet.by_cells),
        "spelt": "; ".join(f"{one.name} also {', '.join(one.same)}" for one in series if one.same),
        "scale": _SCALES.get(sheet.scale or "", ""),
        "guesses": ", ".join(  # the first says that it is rows that are counted
            f"{guess.word} = {guess.means} ({guess.rows if at else counted(guess.rows, 'row')})"
            for at, guess in enumerate(guesses)
        ),
        "currency": f"{currency}, as the prices say" if currency is not None else "",
        "decimal": f'"{sized.sign}", as {sized.why}' if sized is not None and sized.why else "",
    }
    told = [wrapped(text, bullet=f"{name:<9} ") for name, text in items.items() if text]
    return "\n".join([wrapped(f"Laid out from {came_from}{above}:", ""), *told])


def next_text(
    shop: str,
    counts: FileCounts,
    problems: Sequence[Problem],
    sheet: Incoming,
    series: Sequence[SeriesSeen],
    settings: NewLines,
) -> str:
    """What to do next. `shop`: as in `laid_out_text`."""
    lines = settings.lines
    rates = ", ".join(f"line {lines[place]} ({name})" for name, place in _RATES if place in lines)
    named = next((one.name for one in series if one.name.isprintable()), "")  # what can be pasted into a shell
    value = f"{shop} {_value_of(named, sheet, settings.usual)}" if named else ""
    steps = [
        *_to_fill(settings),
        *dict.fromkeys(_not_told(counts.file, problems, sheet, lines)),
        _Step(f"shop.toml, your own figures in the place of invented ones: {rates}"),
    ]
    if value:
        asked = "Is 350 too much for a kit, and what to pay for it? Its condition may be a word of yours:"
        steps.append(_Step(asked, value))
    about = [at for at, step in enumerate(steps, 1) if step.waits]
    waiting, refused = _waiting(counts, problems, settings.to_fill, about)
    if any(block.table == _COLUMNS for block in settings.to_fill):
        waiting = "No row can be read before step 1 is done."  # it says where the header is to be written
    to_mend = f"{counted(refused, 'row')} cannot be used; what to mend in each:"
    later = [_Step(to_mend if refused else "See whether all is read as you mean it:", f"{shop} check")]
    if any(one.alike for one in series):
        first = min((at for place, at in lines.items() if place[0] == "series"), default=0)
        spelling = "where a spelling is the same series, write it behind also as it is said there"
        later.append(_Step(f"shop.toml, from line {first} (series): {spelling}"))
    if settings.private:
        private = "all count as private; write dealer or auction where that is who sells"
        later.append(_Step(f"shop.toml, {_lines_phrase(settings.private)} (channel): {private}"))
    if value and settings.usual < _BEST:
        restored = "Where you would restore it first, in 5 hours on top of those of `prepare`:"
        later.append(_Step(restored, f"{value} --finished {_BEST} --hours 5 --parts 60"))
    later.append(_Step(_MANY, f"{shop} shortlist"))
    told = [
        wrapped(step.text, bullet=f"{at}. ") + (f"\n{command(step.command, '     ')}" if step.command else "")
        for at, step in enumerate([*steps, *later], 1)
    ]
    read = [wrapped(text, "") for text in (counts_line(counts), waiting) if text]
    return "\n".join([*read, "", "Next:", *told[: len(steps)], "", "Then, for more:", *told[len(steps) :]])


def _waiting(
    counts: FileCounts, problems: Sequence[Problem], blocks: Sequence[PasteBlock], steps: Sequence[int]
) -> tuple[str, int]:
    """What refused rows wait for, blank where most wait for nothing in shop.toml, and how many do not wait but are to
    be mended. `steps`: those that are about it."""
    of_file = [problem for problem in problems if problem.file == counts.file]
    words = sum(len(block.open_at) for block in blocks if block.table != _COLUMNS)
    keys = [what for code, (_, what) in _OPEN_FILES.items() if any(problem.code == code for problem in of_file)]
    awaited = [*([counted(words, "word")] if words else []), *dict.fromkeys(keys)]
    if not awaited or any(problem.level is Level.FILE and problem.code not in _OPEN_FILES for problem in of_file):
        return "", counts.refused
    to_mend = [problem for problem in of_file if problem.code not in (*UNKNOWN_WORDS, *_OPEN_FILES)]
    own = len({problem.row for problem in to_mend if problem.level is Level.REFUSED and problem.row is not None})
    waiting = counts.refused - own
    if waiting <= own:
        return "", own
    rows = "the rows wait" if waiting == counts.read else f"{counted(waiting, 'row')} wait{'s' if waiting == 1 else ''}"
    below = f"step{'s' if len(steps) > 1 else ''} {listed(map(str, steps))}"
    others = f"; `check` names what is wrong in {own} more" if own else ""
    return f"That is as it should be: {rows} for {listed(awaited)} in shop.toml ({below} below){others}.", own


def _to_fill(settings: NewLines) -> Iterator[_Step]:
    """Lines that stand open or hold a guess: headers, conditions with the sense of the grades, then other words."""
    blocks = {block.table: block for block in settings.to_fill}
    columns, conditions = blocks.pop(_COLUMNS, None), blocks.pop(("prices", "words", "condition"), None)
    if columns is not None:
        yield _Step(_open_side(columns, f"column {listed(columns.words)}"))
    guessed = {column: at for column, at in settings.guessed.items() if column != "channel"}  # told below
    guesses = ", ".join(f"{_lines_phrase(at)} ({column})" for column, at in guessed.items())
    look = f"shop.toml, {guesses}: look at the guesses, write over what you mean otherwise"
    if guesses and conditions is not None:
        fill = f"fill in {_lines_phrase(conditions.open_at)} (condition). Write {conditions.to_fill}"
        yield _Step(f"{look}; {fill}: that is {_GRADES}", waits=True)
    elif guesses:
        yield _Step(f"{look}. The grades: {_GRADES}" if "condition" in guessed else look)
    elif conditions is not None:
        yield _Step(f"{_open_side(conditions, 'condition')}. That is {_GRADES}", waits=True)
    for block in blocks.values():
        yield _Step(_open_side(block, block.table[-1]), waits=True)


def _open_side(block: PasteBlock, what: str) -> str:
    return f"shop.toml, {_lines_phrase(block.open_at)} ({what}): write {block.to_fill} on the right"


def _not_told(file: str, problems: Sequence[Problem], sheet: Incoming, lines: Mapping[Place, int]) -> Iterator[_Step]:
    """What nothing in the spreadsheet tells: keys of [files], what to mend first, the sense of grades and of money."""
    for problem in (problem for problem in problems if problem.file == file):
        if problem.code in _OPEN_FILES:
            key, _ = _OPEN_FILES[problem.code]
            yield _Step(f"shop.toml, below line {lines.get(('files',))} ([files]): write {key}", waits=True)
        elif problem.level is Level.FILE and problem.unmapped is None:
            yield _Step(problem.line())
    if sheet.scale is not None:
        yield _Step(_TO_TEN if sheet.scale == "ten" else _SCHOOL)
    elif any(cell in TURNED for cell in sheet.cells.get("condition", ())):
        yield _Step(_TURNED)
    place = f"below line {lines.get(_COLUMNS)} of shop.toml ([prices.columns])"
    price = toml_text(sheet.columns.get("price", ""))
    for name, text in _MONEY.items():
        headers = getattr(sheet.money, name) or ()
        for header in (headers,) if isinstance(headers, str) else headers:
            yield _Step(text.format(it=toml_text(header), price=price, place=place))


STOP: Final = "q"


def question_text(question: Question) -> str:
    """One question, and the keys that answer it; any other key leaves it open, q all that are left."""
    rows, word = counted(question.rows, "row"), shown(question.word, 40)
    if not question.word:
        asks = f"Which column holds {question.column}?"
    elif question.like:
        asks = f"Series: is {word} ({rows}) the same as {question.like}?"
    else:
        asks = f"{question.column.capitalize()}: what is {word} ({rows})?"
    keys = ", ".join(f"{key} {shown(answer, 40)[1:-1]}" for key, answer in question.choices.items())
    return wrapped(f"{asks} {keys}; space leaves it open, {STOP} stops asking", "")


def _value_of(series: str, sheet: Incoming, usual: Decimal) -> str:
    """A first question about a kit such as those of the sheet."""
    counts = Counter(drums for cell in sheet.cells.get("pieces", ()) if isinstance(drums := read_pieces(cell), int))
    drums = counts.most_common(1)[0][0] if counts else 5
    return f"value --series {shlex.quote(series)} --pieces {drums} --condition {usual.normalize():f} --asked 350"


def jot_text(jottings: Sequence[Jotted | NotJotted]) -> str:
    """What was understood beside the words it comes from, what is open, and the row as it would stand in the file.
    Several adverts of a paste are numbered.
    """
    several = len(jottings) > 1
    return "\n\n".join(
        (f"Advert {at} of {len(jottings)}\n\n" if several else "")
        + (_jotted(one) if isinstance(one, Jotted) else f"{one.begins}\n{bullets('Not noted', [one.why])}".rstrip())
        for at, one in enumerate(jottings, 1)
    )


def _jotted(one: Jotted) -> str:
    said = one.understood
    cells = [(t.field, *(shown(text, 200)[1:-1] for text in (t.value, t.words))) for t in said.taken]
    return page(
        f"What the advert says\n{table('column< | understood<40 | from the words<46', cells)}",
        bullets("Left blank", [f"{unknown.field}: {unknown.reason}" for unknown in said.unknown]),
        bullets("Take care", [*texts(one.notices), *said.remarks]),
        f"Row {one.row.row} of {one.file}:\n  {shown(one.row.line, 600)[1:-1]}",
    )[:-1]


def take_text(taken: Taken) -> str:
    """What becomes of each row of an export: the counts, the new rows, and each change with its old and new value."""
    counts = {
        "new": len(taken.added), "changed": len(taken.changed), "left": len(taken.left), "open": len(taken.open),
        "not taken": taken.read - len(taken.added) - len(taken.changed) - len(taken.left) - len(taken.open),
    }  # fmt: skip
    said = listed(f"{count} {what}" for what, count in counts.items() if count) or "none that holds a kit"
    rows = [
        (r.row, r.series, r.pieces, figure(r.condition), cents(r.price), r.currency, r.price_kind, r.date or "-")
        for r in taken.added
    ]
    new = table("row | series< | pieces | cond. | price | < | kind< | date", rows[:_MOST_ROWS]) if rows else ""
    more = f"\nand {len(rows) - _MOST_ROWS} more" if len(rows) > _MOST_ROWS else ""
    open_notes = (
        "Not taken: nothing tells whether it is the book's row, changed, or another kit. Correct the row in prices.csv "
        "or give both a ref"
    )
    return page(
        f"{shown(taken.file)[1:-1]}: {counted(taken.read, 'row')}, {said}",
        new and f"New, by their rows there\n{new}{more}",
        _changes("Changed", taken.changed),
        _changes("Open", taken.open, wrapped(open_notes)),
    ).rstrip()


def _changes(heading: str, changed: Sequence[ChangedRow], note: str = "") -> str:
    """The cells of rows in the book and in an export."""
    cells = [
        (row.book_row, row.row, *(shown(text, 60)[1:-1] for text in (cell.column, cell.old, cell.new)))
        for row in changed
        for cell in row.cells
    ]
    if not cells:
        return ""
    more = f"\nand {len(cells) - _MOST_ROWS} more" if len(cells) > _MOST_ROWS else ""
    heads = "book row | export row | column<20 | old<30 | new<30"
    return f"{heading}\n{table(heads, cells[:_MOST_ROWS])}{more}" + (f"\n{note}" if note else "")
