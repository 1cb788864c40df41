"""`new` as text for a terminal: what was laid out or made of a spreadsheet, and what its owner has yet to say."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Final

from kitvalue.intake.counts import FileCounts
from kitvalue.intake.marks import TURNED, scale_to_ten
from kitvalue.intake.newsettings import SeriesSeen
from kitvalue.intake.pasting import PasteBlock
from kitvalue.intake.pieces import read_pieces
from kitvalue.intake.problems import UNKNOWN_WORDS, Level, Problem
from kitvalue.intake.takeover import Incoming
from kitvalue.intake.tomllines import Place
from kitvalue.intake.tomltext import toml_text
from kitvalue.intake.words import listed
from kitvalue.pages.terminal.check import lines_phrase
from kitvalue.pages.terminal.market import counts_line
from kitvalue.pages.terminal.table import command, wrapped

_GRADES: Final = (
    "That is 5 wipe: clean and tune; 4 freshen: new heads, polish; 3 mend: one or two repairs; 2 remake: the finish or "
    "several edges; 1 harvest: worth its parts only"
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
    ("VAT", ("tax", "rate")), ("hourly rate", ("work", "rate")), ("margin", ("selling", "margin")),
)  # fmt: skip


def laid_out_text(folder: str, files: Sequence[str], shop: str) -> str:
    """The worked example's files. `shop`: the command so far, such as `kitvalue --shop myshop`."""
    listing = "\n".join(f"  {name}" for name in files)
    return (
        f"Laid out {folder}, all figures invented:\n{listing}\n\nNow put your own rows into prices.csv, then:\n"
        f"  {shop} check\nKits on offer go into offers.csv,\nyour VAT, hourly rate and margin into shop.toml; then:\n"
        f"  {shop} shortlist"
    )


def made_text(came_from: str, sheet: Incoming, series: Sequence[SeriesSeen], currency: str | None) -> str:
    """What a spreadsheet's headers, series and prices were taken for."""
    above = f", the {_rows(sheet.above)} above its headers left blank" if sheet.above else ""
    items = {
        "columns": ", ".join(f"{name} = {header}" for name, header in sheet.columns.items()) or "none that is known",
        "not used": ", ".join(sheet.unused),
        "series": ", ".join(f"{one.name} {one.rows}" for one in series),
        "unsure": ", ".join(f'"{name}" may be {one.name}' for one in series for name in one.alike),
        "currency": f"{currency}, as the prices say" if currency is not None else "",
        "decimal": f'"{sheet.sized.sign}", as {sheet.sized.why}'
        if sheet.sized is not None and sheet.sized.sure
        else "",
    }
    told = [wrapped(text, bullet=f"{name:<9} ") for name, text in items.items() if text]
    return "\n".join([wrapped(f"Laid out from {came_from}{above}:", ""), *told])


def next_text(
    shop: str,
    counts: FileCounts,
    problems: Sequence[Problem],
    sheet: Incoming,
    private: Sequence[int],
    series: Sequence[SeriesSeen],
    blocks: Sequence[PasteBlock],
    lines: Mapping[Place, int],
) -> str:
    """What to do next. `shop`: as in `laid_out_text`; `private`: lines of shop.toml whose words for who sells stand as
    private; `lines`: where its keys stand.
    """
    first = [*_left_open_by_the_file(counts.file, problems, lines), *map(_to_fill, blocks)]
    steps = [
        *first,
        *_numbers(sheet.conditions),
        *_money(sheet, lines),
        f"shop.toml, {_rates(lines)}: your own figures in the place of invented ones",
        f"See what cannot be read:\n{shop} check",
        *([f"Is 350 too much for a kit, and what to pay for it:\n{shop} {_value_of(series[0].name, sheet)}"]
          if series else []),
    ]  # fmt: skip
    later = [
        *(_spellings(lines) if any(one.alike for one in series) else []),
        *([f"shop.toml, {lines_phrase(private)} (channel): {_PRIVATE}"] if private else []),
        "Many kits on offer: a row each in offers.csv; `offer` is a name of your choice, `finished`, `hours` and "
        f"`parts` what you make of it (blank: sold on as it is). Then\n{shop} shortlist",
    ]
    told = [_step(at, step) for at, step in enumerate([*steps, *later], 1)]
    waits = _waits_for(counts, problems, blocks, len(first))
    read = [wrapped(text, "") for text in (counts_line(counts), waits) if text]
    return "\n".join([*read, "", "Next:", *told[: len(steps)], "", "Then, for more:", *told[len(steps) :]])


def _step(at: int, text: str) -> str:
    """A step of the list; a second line of it is a command."""
    said, _, line = text.partition("\n")
    told = wrapped(said, bullet=f"{at}. ")
    return f"{told}\n{command(line, '     ')}" if line else told


def _waits_for(counts: FileCounts, problems: Sequence[Problem], blocks: Sequence[PasteBlock], steps: int) -> str:
    """What most of the refused rows wait for, said first so that they do not look like a failure; blank where they wait
    for nothing in shop.toml. `steps`: how many of the steps below are about that.
    """
    of_file = [problem for problem in problems if problem.file == counts.file]
    open_keys = [what for code, what in _WAITED_FOR.items() if any(problem.code == code for problem in of_file)]
    words = sum(len(block.open_at) for block in blocks if block.table != _COLUMNS)
    wanted = [*([f"{words} word{'s' if words > 1 else ''}"] if words else []), *dict.fromkeys(open_keys)]
    refused = [problem for problem in of_file if problem.level is Level.REFUSED and problem.row is not None]
    own = len({problem.row for problem in refused if problem.code not in (*UNKNOWN_WORDS, *_WAITED_FOR)})
    unusable = any(problem.level is Level.FILE and problem.code not in _WAITED_FOR for problem in of_file)
    waiting = counts.refused - own
    if not wanted or unusable or waiting <= own:
        return ""
    rows = "the rows wait" if waiting == counts.read else f"{_rows(waiting)} wait{'s' if waiting == 1 else ''}"
    below = "step 1" if steps == 1 else f"steps 1 {'and' if steps == 2 else 'to'} {steps}"
    others = f"; `check` names what is wrong in {own} more" if own else ""
    return f"That is as it should be: {rows} for {listed(wanted)} in shop.toml ({below} below){others}."


def _left_open_by_the_file(file: str, problems: Sequence[Problem], lines: Mapping[Place, int]) -> list[str]:
    """What nothing in the spreadsheet tells: a key of [files], or something to mend before any of it can be used."""
    steps = []
    for problem in problems:
        key = _OPEN_FILES.get(problem.code)
        if problem.file == file and key is not None:
            steps.append(f"shop.toml, below line {lines.get(('files',))} ([files]): write {key}")
        elif problem.file == file and problem.level is Level.FILE and problem.unmapped is None:
            steps.append(problem.line())
    return list(dict.fromkeys(steps))


def _to_fill(block: PasteBlock) -> str:
    what = f"column {listed(block.words)}" if block.table == _COLUMNS else block.table[-1]
    place = f"shop.toml, {lines_phrase(block.open_at)} ({what}): write {block.to_fill} on the right"
    return f"{place}. {_GRADES}" if block.table == _CONDITION else place


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


def _spellings(lines: Mapping[Place, int]) -> list[str]:
    first = min((at for place, at in lines.items() if place[0] == "series"), default=0)
    return [f"shop.toml, from line {first} (series): where a spelling is the same series, take the # away before also"]


def _value_of(series: str, sheet: Incoming) -> str:
    """A first question about a kit such as those of the sheet."""
    counts = Counter(drums for cell in sheet.cells.get("pieces", ()) if isinstance(drums := read_pieces(cell), int))
    drums = counts.most_common(1)[0][0] if counts else 5
    name = series if re.fullmatch(r"\w+", series) else f'"{series}"'
    return f"value --series {name} --pieces {drums} --condition 3 --asked 350"


def _rates(lines: Mapping[Place, int]) -> str:
    return ", ".join(f"line {lines[place]} ({name})" for name, place in _RATES if place in lines)


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"
