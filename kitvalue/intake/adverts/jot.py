"""An advert's row for a file: its cells in the file's own columns and style, and the bytes to set behind the file's."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitvalue.intake.adverts.text import Understood
from kitvalue.intake.books.offers import offer_features
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import shop_grades
from kitvalue.intake.tables.csvout import is_number, quoted, safe_text
from kitvalue.intake.tables.headers import (
    Header,
    WantedColumns,
    declared_delimiter,
    find_header,
    split_lines,
    split_rows,
    unclosed_quote,
)
from kitvalue.intake.tables.table import table_from_text
from kitvalue.intake.text.decoding import decode
from kitvalue.intake.text.numbers import Amount, column_style, meanings, read_amount
from kitvalue.intake.text.problems import FileError
from kitvalue.intake.text.sizes import size_text
from kitvalue.intake.text.words import fold, trimmed

_COUNTED: Final = re.compile(r"(.*?)(\d{0,8})")
_WORD: Final = re.compile(r"[^\W\d_]{2,20}")
_TELLING: Final = 4  # letters of a word that is surely no article
_SHORTENED: Final = 3  # letters that are enough to stand for a series
_NAMELESS: Final = "k"  # for a kit whose series is not known


def next_name(names: Iterable[str], series: str | None, others: Iterable[str]) -> str:
    """A name that no offer has yet. A count (D12) goes on (D13); where offers are named after series, and where there
    is no count, it is a word of the kit's own series, with a number if it is taken. `others`: the shop's other series.
    """
    taken = [_COUNTED.fullmatch(trimmed(name)) for name in names]
    known = [(m[1], m[2]) for m in taken if m is not None]
    foreign = {word for name in others for word in _words(name)}
    own = [word for word in _words(series or "") if word not in foreign] or _words(series or "")
    of_series = [fold(stem) for stem, _ in known if _stands_for(stem, {*own, *foreign})]
    stem, number = next(((stem, number) for stem, number in reversed(known) if number), ("", ""))
    if number and not of_series:
        return _free(stem, int(number) + 1, len(number), known)
    again = next((stem for stem in reversed(of_series) if stem in own), None)
    word = again or next((word for word in own if len(word) >= _TELLING), own[0] if own else None)
    if word is None:
        return _free(_NAMELESS, 1, 1, known)
    if all(fold(stem) != word for stem, _ in known):
        return word
    return _free(word, 1 + max([1, *(int(n) for stem, n in known if fold(stem) == word and n)]), 1, known)


def _words(series: str) -> list[str]:
    return [m[0] for m in _WORD.finditer(fold(series))]


def _stands_for(stem: str, words: set[str]) -> bool:
    """Is a name without its number a word of a series, or the beginning of one?"""
    folded = fold(stem).strip(" -_")
    return folded in words or (len(folded) >= _SHORTENED and any(word.startswith(folded) for word in words))


def _free(stem: str, number: int, width: int, known: Sequence[tuple[str, str]]) -> str:
    """The stem with the first number from `number` on that no offer has."""
    folded = {fold(f"{one}{n}") for one, n in known}
    while fold(f"{stem}{number:0{width}d}") in folded:
        number += 1
    return f"{stem}{number:0{width}d}"


_MONEY: Final = ("price", "sold_for", "freight")
_NUMBERS: Final = (*_MONEY, "condition", "premium", "haggle", "weight")
_OF_OFFERS: Final = ("series", "pieces", "condition", "price", "freight", "note")
_DOTTED: Final = re.compile(r"\d{2}\.\d{2}\.\d{4}")


@dataclass(frozen=True, slots=True)
class FileStyle:
    """How a file writes its rows."""

    file: str
    header: Header
    encoding: str  # for bytes set behind the file's own, without a mark
    line_end: str
    ends_with_line: bool
    decimal: str
    dotted_dates: bool
    rows: tuple[tuple[str, ...], ...]  # cells of every sound row under the header


@dataclass(frozen=True, slots=True)
class NewRow:
    """A row to be written: its number in the spreadsheet, each of the file's columns with its cell, its line, and the
    file's bytes with the row behind them.
    """

    row: int
    cells: tuple[tuple[str, str], ...]
    line: str
    data: bytes


def file_style(data: bytes, file: str, wanted: WantedColumns, shop: Shop) -> FileStyle:
    """The style of a file's rows. Raises FileError where the file cannot be trusted as a whole."""
    decoded = decode(data, file, shop.files.encoding)
    lines = split_lines(decoded.text)
    declared = declared_delimiter(lines)
    header = find_header(lines[1:] if declared else lines, wanted, file, shop.files.delimiter or declared)
    rows = []
    for raw in split_rows(lines[1:] if declared else lines, header.delimiter):
        if raw.damage is not None and raw.damage.spreads:
            raise unclosed_quote(file, raw, raw.damage, header)
        if raw.row > header.row and header.named <= raw.count <= len(header.cells) and raw.cells:
            rows.append((*raw.cells, *[""] * (len(header.cells) - raw.count)))
    return FileStyle(
        file=file,
        header=header,
        encoding=_appending(decoded.encoding, data),
        line_end=_line_end(decoded.text),
        ends_with_line=decoded.text.endswith(("\n", "\r")),
        decimal=_decimal(header, rows, shop),
        dotted_dates=_dotted_dates(header, rows),
        rows=tuple(rows),
    )


def _line_end(text: str) -> str:
    """The file's last line end; CR LF (RFC 4180) where it has none."""
    last = max(text.rfind("\n"), text.rfind("\r"))
    if last < 0:
        return "\r\n"
    return "\r\n" if text[last] == "\n" and last > 0 and text[last - 1] == "\r" else text[last]


def _appending(encoding: str, data: bytes) -> str:
    """The encoding for bytes behind the first: that of the mark, without a mark of its own."""
    for mark, name in ((codecs.BOM_UTF32_LE, "utf-32-le"), (codecs.BOM_UTF32_BE, "utf-32-be"),
                       (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):  # fmt: skip
        if data.startswith(mark):
            return name
    return "utf-8" if encoding.lower().replace("_", "-") == "utf-8-sig" else encoding


def _column(header: Header, rows: Iterable[tuple[str, ...]], name: str) -> list[str]:
    place = header.places.get(name)
    return [] if place is None else [row[place] for row in rows if trimmed(row[place])]


def _decimal(header: Header, rows: Iterable[tuple[str, ...]], shop: Shop) -> str:
    """The decimal sign that the prices show, else the setting, else what goes with the delimiter: a file with commas
    between its cells cannot well have them in its numbers, and one with semicolons comes from where they stand there.
    """
    readings = [read_amount(cell) for name in ("price", "sold_for") for cell in _column(header, rows, name)]
    style = column_style([one for one in readings if isinstance(one, Amount)])
    if style.mixed:
        return "," if style.commas > style.dots else "."
    return style.sign or shop.files.decimal or ("," if header.delimiter == ";" else ".")


def _dotted_dates(header: Header, rows: Iterable[tuple[str, ...]]) -> bool:
    cells = _column(header, rows, "date")
    return bool(cells) and all(_DOTTED.fullmatch(trimmed(cell)) for cell in cells)


def book_values(understood: Understood, shop: Shop, header: Header) -> dict[str, str]:
    """The advert's values for the price book's columns."""
    values = _with_condition({one.field: one.value for one in understood.taken}, shop)
    return _with_sizes(_paid(_with_currency(values, understood, shop, header), header), understood, shop, header)


def _paid(values: dict[str, str], header: Header) -> dict[str, str]:
    """What was paid stands in sold_for where the file has that column."""
    if values.get("price_kind") != "sold" or "price" not in values or "sold_for" not in header.places:
        return values
    return {("sold_for" if name == "price" else name): value for name, value in values.items()}


def _with_condition(values: dict[str, str], shop: Shop) -> dict[str, str]:
    """The grade as the shop's files take it: its own number or our word where shop.toml maps our numbers to others, and
    none where nothing says it.
    """
    if "condition" not in values:
        return values
    written = shop_grades(shop).written(Decimal(values["condition"]))
    others = {name: value for name, value in values.items() if name != "condition"}
    return others if written is None else others | {"condition": written}


def _with_currency(values: dict[str, str], understood: Understood, shop: Shop, header: Header) -> dict[str, str]:
    """A price in another currency carries it in its own cell where no currency column says it."""
    code, own = values.get("currency"), shop.shop.currency
    price = next((one for one in understood.taken if one.field == "price"), None)
    if price is None:
        return values
    if code is None and any(u.field == "currency" and "can be" in u.reason for u in understood.unknown):
        seen = re.findall(r"[^\W\d_]+\.?|[^\w\s.,'()-]", price.words)
        sign = next((word for word in seen if len(meanings(word)) > 1), None)
        if sign is None:  # better no price than one in the shop's own money
            return {name: value for name, value in values.items() if name != "price"}
        return values | {"price": f"{_money(price.value)} {sign}"}
    if code is not None and code != own and "currency" not in header.places:
        return values | {"price": f"{_money(price.value)} {code}"}
    return values


def _money(value: str) -> str:
    return f"{Decimal(value):.2f}" if "." in value else value


def _with_sizes(values: dict[str, str], understood: Understood, shop: Shop, header: Header) -> dict[str, str]:
    sizes = " ".join(size_text(size, shop.shop.size_order) for size in understood.sizes)
    usual = " ".join(size_text(size) for size in understood.sizes)
    if sizes and "note" in values:
        return values | {"note": values["note"].replace(usual, sizes)}
    return values


def offer_values(understood: Understood, shop: Shop, style: FileStyle) -> dict[str, str]:
    """The advert's values for the offers' columns, under a name that is free."""
    values = book_values(understood, shop, style.header)
    taken = (*_OF_OFFERS, *offer_features(shop))
    values = {name: value for name, value in values.items() if name in taken}
    series = values.get("series")
    every = [*shop.series, *(() if shop.series else _column(style.header, style.rows, "series"))]
    others = [name for name in every if series is None or fold(name) != fold(series)]
    values["offer"] = next_name(_column(style.header, style.rows, "offer"), series, others)
    if understood.sizes and str(len(understood.sizes)) == values.get("pieces"):
        values["sizes"] = " ".join(size_text(size, shop.shop.size_order) for size in understood.sizes)
        if "sizes" in style.header.places and "note" in values:
            values["note"] = values["note"].replace(values["sizes"], "").strip("; ")
    if understood.haggle == "fixed":
        values["haggle"] = "fixed"
    source = {"private": "private", "dealer": "trade"}.get(understood.value("channel") or "")
    return values | ({"bought_from": source} if source else {})


def new_row(data: bytes, style: FileStyle, values: Mapping[str, str], wanted: WantedColumns, shop: Shop) -> NewRow:
    """The row with these values (our column -> plain text) and the file with it. The old bytes stay as they are."""
    cells = [""] * len(style.header.cells)
    for name, place in style.header.places.items():
        cells[place] = _cell(name, values[name], style) if name in values else ""
    line = style.header.delimiter.join(quoted(cell, style.header.delimiter) for cell in cells)
    before = "" if style.ends_with_line else style.line_end
    added = (before + line + style.line_end).encode(style.encoding, errors="replace")
    whole = data + added
    names = [style.header.name(name) for name in style.header.places]
    kept = [cells[place] for place in style.header.places.values()]
    row = _number_of_last(whole, style, wanted, shop, cells)
    return NewRow(row, tuple(zip(names, kept, strict=True)), line, whole)


def _cell(name: str, value: str, style: FileStyle) -> str:
    """A value in the file's own style; texts are made safe for a spreadsheet."""
    if name in _NUMBERS and is_number(value):
        money = _money(value) if name in _MONEY else value
        return money.replace(".", style.decimal)
    if name in ("price", "sold_for"):
        number, _, code = value.partition(" ")
        return f"{number.replace('.', style.decimal)} {code}"
    if name == "date" and style.dotted_dates:
        year, month, day = value.split("-")
        return f"{day}.{month}.{year}"
    text = " ".join(value.split())
    return text if is_number(text) else safe_text(text)


def _number_of_last(whole: bytes, style: FileStyle, wanted: WantedColumns, shop: Shop, cells: list[str]) -> int:
    """The new row's number, found by reading the whole file again; FileError where it does not come back as written."""
    text = decode(whole, style.file, shop.files.encoding)
    table = table_from_text(text, style.file, wanted, shop.files.delimiter)
    sent = [cell.encode(style.encoding, errors="replace").decode(style.encoding) for cell in cells]
    if not len(table) or table.row_cells(-1)[: len(sent)] != sent:
        raise FileError(
            f"a row set behind the last line of {style.file} would not be read back as it is written; "
            "mend the last rows first (kitvalue check lists what is wrong)"
        )
    return table.row(-1)
