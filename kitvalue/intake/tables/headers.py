"""Where a table's header stands, what delimits its cells, and which column is which."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import repeat
from typing import Final

from kitvalue.intake.text.decoding import refused_file
from kitvalue.intake.text.problems import FileError, Level, Problem, Unmapped, shown
from kitvalue.intake.text.vocabulary import REQUIRED, likely_headers
from kitvalue.intake.text.words import fold, listed, look_alike, trimmed

MOST_CELLS: Final = 1000
_BLOCK: Final = 4096  # lines


@dataclass(frozen=True, slots=True)
class Damage:
    """A quote that does not do its work. `spreads`: it reaches beyond its row, so no later row can be trusted."""

    column: int
    text: str
    spreads: bool


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row: its number, its cells (empty where there are more than `MOST_CELLS`), how many, and any damage."""

    row: int
    cells: list[str]
    count: int
    damage: Damage | None = None
    lines: int = 1


def split_lines(text: str) -> list[str]:
    """Lines at CR LF, CR and LF, and at nothing else. A line break inside a quoted cell becomes LF on the way."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    return lines


@dataclass(frozen=True, slots=True)
class PlainRows:
    """`count` rows from row `first` on, each with as many cells as the header: their `cells`, row by row."""

    first: int
    count: int
    cells: list[str]


def split_rows(lines: list[str], delimiter: str) -> Iterator[RawRow]:
    """Every row that is not blank. Stops after a row whose damage spreads."""
    return (row for row in split_blocks(lines, delimiter, None) if isinstance(row, RawRow))


def split_blocks(lines: list[str], delimiter: str, width: int | None) -> Iterator[RawRow | PlainRows]:
    """The same, with rows that have `width` cells and no quote together, thousands at a time."""
    row, at, end = 0, 0, len(lines)
    while at < end:
        line = lines[at]
        if width is not None and line.count(delimiter) == width - 1 and '"' not in line:
            block = lines[at : at + _BLOCK]
            counts = enumerate(map(str.count, block, repeat(delimiter)))
            plain = next((n for n, count in counts if count != width - 1 or '"' in block[n]), len(block))
            yield PlainRows(row + 1, plain, delimiter.join(block[:plain]).split(delimiter))
            row, at = row + plain, at + plain
            continue
        row += 1
        if '"' not in line:
            at += 1
            if not line or line.isspace():
                continue
            count = line.count(delimiter) + 1
            yield RawRow(row, line.split(delimiter) if count <= MOST_CELLS else [], count)
            continue
        found = _quoted_row(lines, at, row, delimiter)
        at += found.lines
        yield found
        if found.damage is not None and found.damage.spreads:
            return


def _quoted_row(lines: list[str], start: int, row: int, delimiter: str) -> RawRow:
    cells: list[str] = []
    at, pos, count = start, 0, 0
    damage: Damage | None = None
    while True:
        line = lines[at]
        if line.startswith('"', pos):
            text, at, pos, spreads = _quoted_cell(lines, at, pos, delimiter)
            line = lines[at]
            if spreads is not None:
                harm = Damage(count, text.split("\n", 1)[0], spreads)
                damage = damage or harm
                if spreads:
                    return RawRow(row, cells, count + 1, harm, at - start + 1)
        else:
            stop = line.find(delimiter, pos)
            text = line[pos:] if stop < 0 else line[pos:stop]
            pos = len(line) if stop < 0 else stop
        count += 1
        if count <= MOST_CELLS:
            cells.append(text)
        if pos >= len(line):
            return RawRow(row, cells if count <= MOST_CELLS else [], count, damage, at - start + 1)
        pos += 1


def _quoted_cell(lines: list[str], start: int, opened: int, delimiter: str) -> tuple[str, int, int, bool | None]:
    """A quoted cell: its text, the line and the place behind it, and whether harm spreads from it: None where it is
    sound, False for text right behind the closing quote, True where no closing quote is its own.
    """
    parts: list[str] = []
    at, pos = start, opened + 1
    while True:
        line = lines[at]
        stop = line.find('"', pos)
        if stop < 0:
            parts.append(line[pos:])
            at, pos = at + 1, 0
            if at == len(lines):
                return "".join(parts), at - 1, len(lines[-1]), True
            parts.append("\n")
        elif line.startswith('"', stop + 1):
            parts.append(line[pos : stop + 1])
            pos = stop + 2
        else:
            parts.append(line[pos:stop])
            behind = stop + 1
            if behind == len(line) or line.startswith(delimiter, behind):
                return "".join(parts), at, behind, None
            if at > start:
                return "".join(parts), at, len(line), True
            end = line.find(delimiter, behind)
            end = len(line) if end < 0 else end
            return line[opened:end], at, end, False


DELIMITERS: Final = (";", ",", "\t", "|")
_SEARCHED_LINES: Final = 60
_FEWEST: Final = 2  # cells of a header row
_LONGEST_HEADER: Final = 1000  # characters of one cell
_NAMES: Final = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "vertical bar"}


@dataclass(frozen=True, slots=True)
class WantedColumns:
    """The columns that a file should have."""

    required: tuple[str, ...]
    optional: tuple[str, ...]
    headers: Mapping[str, str] = field(default_factory=dict)  # our name -> the file's, where shop.toml says so
    table: str | None = None  # the table of shop.toml that does it, None where a file's headers cannot be mapped

    def spellings(self) -> dict[str, str]:
        """Folded header -> our column. A mapped header comes before a header that has our own name."""
        own = {fold(name): name for name in (*self.required, *self.optional)}
        mapped = {fold(header): name for name, header in self.headers.items() if name in own.values()}
        return own | mapped


@dataclass(frozen=True, slots=True)
class Header:
    """The header row: its number, its number of cells, up to which cell it has names, and the place of each column."""

    row: int
    cells: tuple[str, ...]
    named: int  # cells up to the last one with a name
    places: Mapping[str, int]  # our column -> index of its cell
    delimiter: str
    problems: tuple[Problem, ...]

    def name(self, column: str) -> str:
        """The column's header as the file has it."""
        return trimmed(self.cells[self.places[column]]) if column in self.places else column


def declared_delimiter(lines: list[str]) -> str | None:
    """The delimiter in a first line such as `sep=;`, which spreadsheets obey and do not show as a row."""
    found = re.fullmatch(r'"?sep=(.|\t)"?[;,\t|]*', lines[0].strip(" "), re.IGNORECASE) if lines else None
    return found[1] if found is not None and found[1] in DELIMITERS else None


@dataclass(frozen=True, slots=True)
class LikelyHeader:
    """The row that is most likely a sheet's header, and the index of its first line."""

    raw: RawRow
    line: int


def commonest_delimiter(lines: list[str]) -> str:
    """The delimiter by which most rows have one width."""

    def cells_in_line(delimiter: str) -> int:
        """The cells in rows of the commonest width, beyond the first of each: most for the true delimiter."""
        widths = Counter(raw.count for raw in split_rows(lines[:_SEARCHED_LINES], delimiter) if raw.count > 1)
        return max((rows * (width - 1) for width, rows in widths.items()), default=0)

    return max(DELIMITERS, key=cells_in_line)


def likely_header(lines: list[str], delimiter: str, names: Sequence[str]) -> LikelyHeader | None:
    """The row that says most of our columns `names`, in our words or in any that are likely for them; of those alike
    the first. Of rows of two cells and more, none of which is a figure; None where there is no such row.
    """
    rows: list[tuple[tuple[int, int, int], LikelyHeader]] = []
    further = 0  # lines that cells with line breaks took beyond one a row
    for raw in split_rows(lines[:_SEARCHED_LINES], delimiter):
        line = raw.row - 1 + further
        further += raw.lines - 1
        filled = [trimmed(cell) for cell in raw.cells if trimmed(cell)]
        if raw.damage is not None or raw.count > MOST_CELLS or len(filled) < _FEWEST or any(map(is_figure, filled)):
            continue
        known = {fold(cell) for cell in filled}.intersection(names).union(likely_headers(names, filled))
        rows.append(((len(known.intersection(REQUIRED)), len(known), len(filled)), LikelyHeader(raw, line)))
    return max(rows, key=lambda row: row[0])[1] if rows else None


def find_header(lines: list[str], wanted: WantedColumns, file: str, delimiter: str | None) -> Header:
    """Judge delimiter and columns on the header row. Raises FileError where the file cannot be trusted as a whole."""
    candidates = (delimiter,) if delimiter is not None else DELIMITERS
    spellings = wanted.spellings()
    best, sign, (required, known) = None, candidates[0], (0, 0)  # the row with the most of the wanted columns
    for one in candidates:
        for raw in split_rows(lines[:_SEARCHED_LINES], one):
            ours = {spellings[name] for cell in raw.cells if (name := fold(cell)) in spellings}
            score = len(ours.intersection(wanted.required)), len(ours)
            if score > (required, known):
                best, sign, (required, known) = raw, one, score
    if known == 0 and delimiter is None:
        sign = max(DELIMITERS, key=next((line for line in lines if line.strip()), "").count)
    filled = (
        raw
        for raw in split_rows(lines, sign)
        if raw.damage is not None or raw.count > MOST_CELLS or any(map(trimmed, raw.cells))
    )
    first = next(filled, RawRow(1, [], 0))
    if best is None or best.row <= first.row:
        return _read_header(best or first, sign, wanted, file)
    if required >= min(2, len(wanted.required)):
        row = best.row
        over = [raw for raw in split_rows(lines[:_SEARCHED_LINES], sign) if raw.row < row]
        odd = next((raw for raw in over if not _is_title(raw, len(wanted.required))), None)
        if odd is None:
            return _read_header(best, sign, wanted, file)
        above = f"row {first.row}" if row - 1 == first.row else f"rows {first.row} to {row - 1}"
        expected = f"the expected columns ({', '.join(wanted.required)}) are in row {row}"
        message = f"row {first.row} is not the header: {expected}; delete {above}"
        text = next((cell for cell in first.cells if trimmed(cell)), None)
        raise refused_file(file, "late_header", message, row=first.row, text=text)
    return _read_header(first, sign, wanted, file)


def _is_title(raw: RawRow, required: int) -> bool:
    """Can a row above the headers be passed over? Blank, one cell, or cells with a figure that are too few for a row of
    the table; several words are rather a second row of headers.
    """
    filled = [trimmed(cell) for cell in raw.cells if trimmed(cell)]
    few = len(filled) < 2 or (len(filled) < required and any(map(is_figure, filled)))
    return raw.damage is None and raw.count <= MOST_CELLS and few


def _read_header(raw: RawRow, delimiter: str, wanted: WantedColumns, file: str) -> Header:
    if raw.damage is not None:
        raise unclosed_quote(file, raw, raw.damage, None)
    if raw.count > MOST_CELLS:
        raise refused_file(file, "too_wide", f"the header has {raw.count} columns; at most {MOST_CELLS} can be read")
    longest = max(raw.cells, key=len, default="")
    if len(longest) > _LONGEST_HEADER:
        message = f"the header cell {shown(longest, 40)} has {len(longest):,} characters; is that the header?"
        raise refused_file(file, "long_header", message, row=raw.row, text=longest[:_LONGEST_HEADER])
    cells = tuple(raw.cells)
    while cells and not trimmed(cells[-1]):
        cells = cells[:-1]
    places, unknown = _places(cells, wanted, file)
    if any(name not in places for name in wanted.required):
        raise _missing(places, unknown, wanted, file, raw.row, delimiter)
    problems = []
    if raw.row > 1:
        message = (
            f"the header stands in row {raw.row}, what is above it is passed over; rows are numbered as in the sheet"
        )
        problems.append(Problem(file, raw.row, None, None, "blank_above", Level.WARNING, message))
    for name in unknown:
        likely = next((ours for ours in (*wanted.required, *wanted.optional) if look_alike(name, ours)), None)
        message = f"the column {shown(name)} is not used{f'; did you mean {likely}?' if likely else ''}"
        problems.append(Problem(file, None, name, name, "unused_column", Level.WARNING, message))
    return Header(raw.row, tuple(raw.cells), len(cells), places, delimiter, tuple(problems))


def _places(cells: tuple[str, ...], wanted: WantedColumns, file: str) -> tuple[dict[str, int], list[str]]:
    """Our column -> place, and the headers that are none of ours."""
    spellings, mapped = wanted.spellings(), set(map(fold, wanted.headers.values()))
    present = {spellings.get(fold(cell)) for cell in cells if fold(cell) in mapped}
    places: dict[str, int] = {}
    unknown: list[str] = []
    for place, cell in enumerate(cells):
        name = fold(cell)
        column = spellings.get(name)
        if column is None or (column in present and name not in mapped):
            unknown += [trimmed(cell)] if name else []
        elif column in places:
            columns = f"columns {letter(places[column])} and {letter(place)}"
            message = f"the column {shown(trimmed(cell))} stands twice, in {columns}; delete or rename one"
            raise refused_file(file, "column_twice", message, column=trimmed(cell), text=cell)
        else:
            places[column] = place
    return places, unknown


def _missing(
    places: Mapping[str, int], unknown: list[str], wanted: WantedColumns, file: str, row: int, delimiter: str
) -> FileError:
    """The error for a header without a required column: what else stands there, and how to map it."""
    missing = [name for name in wanted.required if name not in places]
    what = f"column {missing[0]} is missing" if len(missing) == 1 else f"columns {listed(missing)} are missing"
    asked = [f"{wanted.headers[name]} for {name}" for name in missing if name in wanted.headers]
    what += f" (shop.toml asks for {listed(asked)})" if asked else ""
    others = f"not recognised: {', '.join(shown(name, 40) for name in unknown[:12])}"
    others += f" and {len(unknown) - 12} more" if len(unknown) > 12 else ""
    cure = "rename it in the file"
    if wanted.table is not None:
        likely = likely_headers(missing, unknown)
        name = next((name for name in missing if name in likely), missing[0])
        example = f"{name} = {shown(likely.get(name, 'the header in the file'), 40)}"
        cure += f", or map it under {wanted.table}, such as {example}"
        if not places and len(unknown) == 1:
            cure = f"if {shown(unknown[0], 40)} is a title, delete the rows above the headers; else {cure}"
    judged = "" if places else f"; the header was split at {_NAMES[delimiter]} signs"
    message = f"{what}; {others if unknown else 'nothing else is there'}; {cure}{judged}"
    problem = Problem(file, row, missing[0], None, "missing_column", Level.FILE, message)
    if wanted.table is not None:
        absent = tuple(name for name in wanted.optional if name not in places)
        problem = replace(problem, unmapped=Unmapped(tuple(missing), absent, tuple(unknown)))
    return FileError(problem.line(), [problem])


def unclosed_quote(file: str, raw: RawRow, damage: Damage, header: Header | None) -> FileError:
    """The FileError for a quote that opens in one row and runs on into the next."""
    column = column_name(header, damage.column) if header is not None else letter(damage.column)
    message = f"in {shown(damage.text, 40)} a quote opens and does not close in this cell; "
    message += "the rows below would be swallowed; close it or delete it"
    return refused_file(file, "unclosed_quote", message, row=raw.row, column=column, text=damage.text)


def column_name(header: Header, place: int) -> str:
    """The header over a cell, or its spreadsheet letter where it has none."""
    name = trimmed(header.cells[place]) if place < len(header.cells) else ""
    return name or letter(place)


def is_figure(cell: str) -> bool:
    """Has a cell digits and no letters?"""
    return any(map(str.isdigit, cell)) and not any(map(str.isalpha, cell))


def letter(place: int) -> str:
    """A column as the spreadsheet letters it: 0 is A, 26 is AA."""
    above, rest = divmod(place, 26)
    return (letter(above - 1) if above else "") + chr(ord("A") + rest)
