"""`new` as text for a terminal: what was laid out or made of a spreadsheet, and what its owner has yet to say."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.adverts.jot import NewRow
from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.arrival.settings import Guess, NewLines, SeriesSeen
from kitvalue.intake.arrival.takeover import Incoming
from kitvalue.intake.books.bookrows import RowAsRead
from kitvalue.intake.settings.pasting import PasteBlock
from kitvalue.intake.settings.words import TURNED, scale_to_ten
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
    together,
)
from kitvalue.intake.text.sizes import read_pieces
from kitvalue.intake.text.tomltext import Place, toml_text
from kitvalue.intake.text.words import fold, listed
from kitvalue.pages.terminal.market import counts_line
from kitvalue.pages.terminal.table import Column, bullets, command, figure, money, table, wrapped

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
        parts.insert(0, _rows_check(rows) + "\n")
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


def _rows_check(rows: Sequence[RowAsRead]) -> str:
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


_GRADES: Final = (
    "5 wipe: clean and tune; 4 freshen: new heads, polish; 3 mend: one or two repairs; 2 remake: the finish or several "
    "edges; 1 harvest: worth its parts only"
)
_TURNED: Final = (
    "Numbers among your conditions are read as grades, 5 the best. If 1 is the best of yours, take the # away from the "
    "five lines below [prices.words.condition]"
)
_DAY_ORDER: Final = "day_first = true if 03/04/2026 is in April, day_first = false if it is in March"
_TO_TEN: Final = (
    "Your conditions run to ten: they are halved below [prices.words.condition]. Look whether that is what the bench "
    "must do"
)
_PRIVATE: Final = "all count as private; write dealer or auction where that is who sells"
_NO_COLUMN: Final = "No row can be read before step 1 is done."  # it says where the header is to be written
_MANY: Final = (
    "Many kits on offer: a row each in offers.csv; `offer` is a name of your choice, `finished`, `hours` and `parts` "
    "what you make of it (blank: sold on as it is). Then"
)
_OPEN_FILES: Final = {
    "undecided_decimal": 'decimal = "." if 1,250 is more than a thousand, decimal = "," if it is little more than one',
    "undecided_date": _DAY_ORDER,
    "two_dates": _DAY_ORDER,
}
_WAITED_FOR: Final = {
    "undecided_decimal": "the decimal sign", "undecided_date": "the order of days", "two_dates": "the order of days",
}  # fmt: skip
_COLUMNS: Final = ("prices", "columns")
_CONDITION: Final = ("prices", "words", "condition")
_RATES: Final[tuple[tuple[str, Place], ...]] = (
    ("VAT rate", ("tax", "rate")), ("its route", ("tax", "route")), ("hourly rate", ("work", "rate")),
    ("prepare", ("work", "prepare")), ("margin", ("selling", "margin")),
)  # fmt: skip
_BEST: Final = 5
_RESTORED: Final = f"--finished {_BEST} --hours 5 --parts 60"


@dataclass(frozen=True, slots=True)
class _Step:
    """A step of the list, perhaps with a command. `waits`: do rows wait for it?"""

    text: str
    command: str = ""
    waits: bool = False

    def told(self, at: int) -> str:
        """The step by its number."""
        said = wrapped(self.text, bullet=f"{at}. ")
        return f"{said}\n{command(self.command, '     ')}" if self.command else said


def laid_out_text(folder: str, files: Sequence[str], shop: str) -> str:
    """The worked example's files. `shop`: the command so far, such as `kitvalue --shop myshop`."""
    listing = "\n".join(f"  {name}" for name in files)
    return (
        f"Laid out {folder}, all figures invented:\n{listing}\n\nNow put your own rows into prices.csv, then:\n"
        f"  {shop} check\nKits on offer go into offers.csv,\nyour VAT, hourly rate and margin into shop.toml; then:\n"
        f"  {shop} shortlist"
    )


def made_text(
    came_from: str, sheet: Incoming, series: Sequence[SeriesSeen], currency: str | None, guesses: Sequence[Guess]
) -> str:
    """What a spreadsheet's headers, series, conditions and prices were taken for."""
    above = f", the {_rows(sheet.above)} above its headers left blank" if sheet.above else ""
    items = {
        "columns": ", ".join(f"{name} = {header}" for name, header in sheet.columns.items()) or "none that is known",
        "not used": ", ".join(sheet.unused),
        "series": ", ".join(f"{one.name} {one.rows}" for one in series),
        "unsure": ", ".join(f'"{name}" may be {one.name}' for one in series for name in one.alike),
        "guesses": _guessed(guesses),
        "currency": f"{currency}, as the prices say" if currency is not None else "",
        "decimal": f'"{sheet.sized.sign}", as {sheet.sized.why}'
        if sheet.sized is not None and sheet.sized.sure
        else "",
    }
    told = [wrapped(text, bullet=f"{name:<9} ") for name, text in items.items() if text]
    return "\n".join([wrapped(f"Laid out from {came_from}{above}:", ""), *told])


def _guessed(guesses: Sequence[Guess]) -> str:
    """The guesses, of which the first says that it is rows that are counted."""
    told = [f"{one.word} = {one.grade} ({one.rows if at else _rows(one.rows)})" for at, one in enumerate(guesses)]
    return ", ".join(told)


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
    value = f"{shop} {_value_of(series[0].name, sheet, settings.usual)}" if series else ""
    steps = [
        *_to_fill(settings),
        *_left_open_by_the_file(counts.file, problems, lines),
        *map(_Step, _numbers(sheet.conditions)),
        *map(_Step, _money(sheet, lines)),
        _Step(f"shop.toml, your own figures in the place of invented ones: {_rates(lines)}"),
        *(
            [_Step("Is 350 too much for a kit, and what to pay for it? Its condition may be a word of yours:", value)]
            if value
            else []
        ),
    ]
    waits = _Waits.of(counts, problems, settings.to_fill)
    later = [
        _Step(_check(waits.refused), f"{shop} check"),
        *(_spellings(lines) if any(one.alike for one in series) else []),
        *([_Step(f"shop.toml, {lines_phrase(settings.private)} (channel): {_PRIVATE}")] if settings.private else []),
        *(
            [
                _Step(
                    "Where you would restore it first, in 5 hours on top of those of `prepare`:", f"{value} {_RESTORED}"
                )
            ]
            if value and settings.usual < _BEST
            else []
        ),
        _Step(_MANY, f"{shop} shortlist"),
    ]
    told = [step.told(at) for at, step in enumerate([*steps, *later], 1)]
    lacking = any(block.table == _COLUMNS for block in settings.to_fill)
    below = _NO_COLUMN if lacking else waits.text([at for at, step in enumerate(steps, 1) if step.waits])
    read = [wrapped(text, "") for text in (counts_line(counts), below) if text]
    return "\n".join([*read, "", "Next:", *told[: len(steps)], "", "Then, for more:", *told[len(steps) :]])


def _check(refused: int) -> str:
    """What `check` is for, by the rows that are left to be mended."""
    return (
        f"{_rows(refused)} cannot be used; what to mend in each:"
        if refused
        else "See whether all is read as you mean it:"
    )


@dataclass(frozen=True, slots=True)
class _Waits:
    """What refused rows wait for, told so that they do not look like a failure. `wanted`: what it is, () where most
    wait for nothing in shop.toml; `refused`: rows to be mended, those that wait left out.
    """

    read: int
    wanted: tuple[str, ...]
    waiting: int
    refused: int

    @classmethod
    def of(cls, counts: FileCounts, problems: Sequence[Problem], blocks: Sequence[PasteBlock]) -> _Waits:
        """As a price book's counts and problems have it."""
        of_file = [problem for problem in problems if problem.file == counts.file]
        keys = [what for code, what in _WAITED_FOR.items() if any(problem.code == code for problem in of_file)]
        words = sum(len(block.open_at) for block in blocks if block.table != _COLUMNS)
        wanted = (*([f"{words} word{'s' if words > 1 else ''}"] if words else []), *dict.fromkeys(keys))
        rows = [problem for problem in of_file if problem.level is Level.REFUSED and problem.row is not None]
        own = len({problem.row for problem in rows if problem.code not in (*UNKNOWN_WORDS, *_WAITED_FOR)})
        unusable = any(problem.level is Level.FILE and problem.code not in _WAITED_FOR for problem in of_file)
        if not wanted or unusable:
            return cls(counts.read, (), 0, counts.refused)
        waiting = counts.refused - own
        return cls(counts.read, wanted if waiting > own else (), waiting, own)

    def text(self, steps: Sequence[int]) -> str:
        """A line below the counts; blank where nothing is waited for. `steps`: those that are about it."""
        if not self.wanted:
            return ""
        one = self.waiting == 1
        rows = "the rows wait" if self.waiting == self.read else f"{_rows(self.waiting)} wait{'s' if one else ''}"
        below = f"step{'s' if len(steps) > 1 else ''} {listed(map(str, steps))}"
        others = f"; `check` names what is wrong in {self.refused} more" if self.refused else ""
        return f"That is as it should be: {rows} for {listed(self.wanted)} in shop.toml ({below} below){others}."


def _left_open_by_the_file(file: str, problems: Sequence[Problem], lines: Mapping[Place, int]) -> list[_Step]:
    """What nothing in the spreadsheet tells: a key of [files], or something to mend before any of it can be used."""
    steps = []
    for problem in problems:
        key = _OPEN_FILES.get(problem.code)
        if problem.file == file and key is not None:
            steps.append(_Step(f"shop.toml, below line {lines.get(('files',))} ([files]): write {key}", waits=True))
        elif problem.file == file and problem.level is Level.FILE and problem.unmapped is None:
            steps.append(_Step(problem.line()))
    return list(dict.fromkeys(steps))


def _to_fill(settings: NewLines) -> list[_Step]:
    """Lines that stand open or hold a guess: headers, conditions, then other words."""
    blocks = {block.table: block for block in settings.to_fill}
    columns, conditions = blocks.pop(_COLUMNS, None), blocks.pop(_CONDITION, None)
    return [
        *([_open_step(columns, f"column {listed(columns.words)}")] if columns is not None else []),
        *_conditions(settings.guessed, conditions),
        *(_open_step(block, block.table[-1]) for block in blocks.values()),
    ]


def _open_step(block: PasteBlock, what: str) -> _Step:
    place = f"shop.toml, {lines_phrase(block.open_at)} ({what})"
    return _Step(f"{place}: write {block.to_fill} on the right", waits=block.table != _COLUMNS)


def _conditions(guessed: Sequence[int], left_open: PasteBlock | None) -> list[_Step]:
    """The guesses to look at and the words of conditions that stand open, with the sense of the grades."""
    if not guessed:
        step = _open_step(left_open, "condition") if left_open is not None else None
        return [_Step(f"{step.text}. That is {_GRADES}", waits=True)] if step is not None else []
    look = f"shop.toml, {lines_phrase(guessed)} (condition): look at the guesses, write over what you mean otherwise"
    if left_open is None:
        return [_Step(f"{look}. The grades: {_GRADES}")]
    fill = f"fill in {lines_phrase(left_open.open_at)}"
    return [_Step(f"{look}; {fill}. Write {left_open.to_fill}: that is {_GRADES}", waits=True)]


def _money(sheet: Incoming, lines: Mapping[Place, int]) -> list[str]:
    """Columns of money of which the file does not tell what they are."""
    told, price = sheet.money, toml_text(sheet.columns.get("price", ""))
    place = f"below line {lines.get(_COLUMNS)} of shop.toml ([prices.columns])"
    steps = []
    if told.after_work is not None:
        steps.append(
            f"{toml_text(told.after_work)} is not used: where it is what you got after your own work, that sale is a "
            "row of its own (sold, dealer, the condition it was sold in)"
        )
    if told.ticks is not None:
        steps.append(
            f"{toml_text(told.ticks)} is not used: {price} is what was asked, not what was paid. Where you know what "
            f'a kit went for, add a column for it and write sold_for = "ITS HEADER" {place}'
        )
    if told.paid is not None:
        steps.append(
            f"{price} counts as asked: where it is what was paid, add a column price_kind to prices.csv that says sold "
            "in each row"
        )
    steps += [
        f"{toml_text(header)} is not used: if it is what a kit went for, write sold_for = {toml_text(header)} {place}"
        for header in told.left
    ]
    return steps


def _numbers(conditions: Sequence[str]) -> list[str]:
    """What conditions by numbers were taken for."""
    if scale_to_ten(conditions):
        return [_TO_TEN]
    return [_TURNED] if any(cell in TURNED for cell in conditions) else []


def _spellings(lines: Mapping[Place, int]) -> list[_Step]:
    first = min((at for place, at in lines.items() if place[0] == "series"), default=0)
    where = f"shop.toml, from line {first} (series)"
    return [_Step(f"{where}: where a spelling is the same series, take the # away before also")]


def _value_of(series: str, sheet: Incoming, usual: Decimal) -> str:
    """A first question about a kit such as those of the sheet."""
    counts = Counter(drums for cell in sheet.cells.get("pieces", ()) if isinstance(drums := read_pieces(cell), int))
    drums = counts.most_common(1)[0][0] if counts else 5
    name = series if re.fullmatch(r"\w+", series) else f'"{series}"'
    return f"value --series {name} --pieces {drums} --condition {usual.normalize():f} --asked 350"


def _rates(lines: Mapping[Place, int]) -> str:
    return ", ".join(f"line {lines[place]} ({name})" for name, place in _RATES if place in lines)


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"


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
