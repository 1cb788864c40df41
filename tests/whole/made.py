"""A made-up shop as plain data: written to a folder in any dialect, or changed in one thing only."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

Tree = Any  # nested dicts and lists, as TOML has them, with the leaves below


@dataclass(frozen=True, slots=True)
class Money:
    """An amount with two decimals: what a change of all prices multiplies."""

    amount: Decimal


@dataclass(frozen=True, slots=True)
class Series:
    """The name of a series: what a change of names replaces."""

    name: str


@dataclass(frozen=True, slots=True)
class Sizes:
    """Drums as (diameter, depth) in inches; written in the shop's order."""

    inches: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the shop's tables are written. `stated`: shop.toml says so, too, where a file could leave it open."""

    delimiter: str = ","
    encoding: str = "utf-8"
    line_end: str = "\n"
    decimal: str = "."
    grouped: bool = False
    dates: str = "%Y-%m-%d"
    quote_all: bool = False
    stated: bool = False
    swapped_sizes: bool = False

    def money(self, amount: Decimal) -> str:
        text = f"{amount:,.2f}" if self.grouped else f"{amount:.2f}"
        return text.translate(str.maketrans({".": self.decimal, ",": "." if self.decimal == "," else ","}))

    def cell(self, value: object) -> str:
        match value:
            case None:
                return ""
            case Money():
                return self.money(value.amount)
            case Decimal():
                return f"{value:f}".replace(".", self.decimal)
            case dt.date():
                return value.strftime(self.dates)
            case Series():
                return value.name
            case Sizes():
                return " ".join("x".join(reversed(one) if self.swapped_sizes else one) for one in value.inches)
            case _:
                return str(value)

    def files(self) -> dict[str, object]:
        """What [files] says."""
        said: dict[str, object] = {"encoding": self.encoding} if self.encoding == "cp1252" else {}
        if self.stated:
            said |= {"decimal": self.decimal, "delimiter": self.delimiter}
        if "/" in self.dates:
            said["day_first"] = self.dates.startswith("%d")
        return said


@dataclass(frozen=True, slots=True)
class Table:
    """One CSV file: our columns, and a mapping of them for each row."""

    columns: tuple[str, ...]
    rows: tuple[Mapping[str, object], ...]


@dataclass(frozen=True, repr=False)
class MadeShop:
    """Everything that stands in a shop's folder. `headers`: our column of prices.csv -> the file's header; `origin` is
    the shape that it was made from."""

    settings: Tree
    tables: Mapping[str, Table]
    plans: Mapping[str, Tree]
    dialect: Dialect
    headers: Mapping[str, str]
    asked: Series  # a series of the book
    origin: str = ""

    def __repr__(self) -> str:
        return f"MadeShop({self.origin})"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self))  # hypothesis would print every field

    def write(self, folder: Path) -> Path:
        """The shop laid out anew in `folder`, whatever stood there before."""
        shutil.rmtree(folder, ignore_errors=True)
        (folder / "builds").mkdir(parents=True)
        settings = {**self.settings, "files": self.dialect.files()}
        settings["shop"] = {**settings["shop"]}
        if self.dialect.swapped_sizes:
            settings["shop"]["size_order"] = "depth-diameter"
        (folder / "shop.toml").write_text(toml(settings, self.dialect), encoding="utf-8")
        for name, plan in self.plans.items():
            (folder / "builds" / f"{name}.toml").write_text(toml(plan, self.dialect), encoding="utf-8")
        for name, table in self.tables.items():
            headers = self.headers if name == "prices.csv" else {}
            (folder / name).write_bytes(csv_bytes(table, self.dialect, headers))
        return folder

    def mapped(self, change: Callable[[object], object]) -> MadeShop:
        """The shop with every leaf put through `change`; names of tables that are series are leaves, too."""
        tables = {
            name: replace(t, rows=tuple({k: change(v) for k, v in row.items()} for row in t.rows))
            for name, t in self.tables.items()
        }
        plans = {name: walked(plan, change) for name, plan in self.plans.items()}
        asked = change(self.asked)
        assert isinstance(asked, Series)
        return replace(self, settings=walked(self.settings, change), tables=tables, plans=plans, asked=asked)

    def scaled(self, factor: int) -> MadeShop:
        """All money times a whole number."""
        return self.mapped(lambda v: Money(v.amount * factor) if isinstance(v, Money) else v)

    def renamed(self, names: Mapping[str, str]) -> MadeShop:
        """The series called otherwise."""
        return self.mapped(lambda v: Series(names.get(v.name, v.name)) if isinstance(v, Series) else v)

    def reordered(self, order: Sequence[int]) -> MadeShop:
        """The price book's rows in another order."""
        book = self.tables["prices.csv"]
        rows = tuple(book.rows[i] for i in order)
        return replace(self, tables={**self.tables, "prices.csv": replace(book, rows=rows)})


def walked(tree: Tree, change: Callable[[object], object]) -> Tree:
    """A tree with every leaf changed, keys of the type Series with it."""
    if isinstance(tree, dict):
        return {(change(k) if isinstance(k, Series) else k): walked(v, change) for k, v in tree.items()}
    return [walked(v, change) for v in tree] if isinstance(tree, list) else change(tree)


def csv_bytes(table: Table, dialect: Dialect, headers: Mapping[str, str]) -> bytes:
    out = io.StringIO(newline="")
    quoting = csv.QUOTE_ALL if dialect.quote_all else csv.QUOTE_MINIMAL
    writer = csv.writer(out, delimiter=dialect.delimiter, lineterminator=dialect.line_end, quoting=quoting)
    writer.writerow([headers.get(name, name) for name in table.columns])
    for row in table.rows:
        writer.writerow([dialect.cell(row.get(name)) for name in table.columns])
    return out.getvalue().encode(dialect.encoding)


def toml(tree: Tree, dialect: Dialect, path: tuple[str, ...] = ()) -> str:
    """A tree as TOML: plain keys, then tables, then lists of tables."""
    plain, tables, lists = [], [], []
    for key, value in tree.items():
        name = quoted(key.name if isinstance(key, Series) else key)
        if isinstance(value, dict):
            tables.append(f"\n[{'.'.join((*path, name))}]\n" + toml(value, dialect, (*path, name)))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            lists += [f"\n[[{'.'.join((*path, name))}]]\n" + toml(one, dialect, (*path, name)) for one in value]
        elif value is not None and value != []:
            plain.append(f"{name} = {_scalar(value, dialect)}\n")
    return "".join((*plain, *tables, *lists))


def _scalar(value: object, dialect: Dialect) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case Money():
            return f"{value.amount:f}"
        case int() | Decimal():
            return f"{value:f}" if isinstance(value, Decimal) else str(value)
        case list():
            return f"[{', '.join(_scalar(one, dialect) for one in value)}]"
        case Series() | Sizes():
            return quoted(dialect.cell(value))
        case _:
            return quoted(str(value))


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
